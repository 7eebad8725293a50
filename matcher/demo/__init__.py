"""An invented studio to try the tool on, copied from what travels with the package.

May import ``studio`` and what is beneath it.
"""
