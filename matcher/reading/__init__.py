"""A marked region becomes a Reading; what it is made of, how far to trust it, and how two of them compare.

May import ``calibration``, ``card``, ``photo`` and ``colour``.
"""
