"""The answer to a target: logged and predicted recipes in one list, best first.

May import ``bench``, ``validation``, ``plan``, ``process`` and what is beneath them.
"""
