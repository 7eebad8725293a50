"""The studio's process, learned from its plates: a recipe's colour with its uncertainty.

May import ``reading``, ``recipe`` and ``colour``.
"""
