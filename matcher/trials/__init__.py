"""The log: trials, targets, stocks, cards and profiles of a studio, recorded whole and never deleted.

``matcher.studio.Studio`` is the door. May import ``storage``, ``reading``, ``calibration`` and ``recipe``.
"""
