"""The answer to a target: logged and predicted recipes in one list, best first; and how far to trust it.

May import ``bench``, ``plan``, ``process`` and what is beneath them.
"""
