"""From a card, and a camera profile where there is one, to CIELAB with everything that is not known of it.

May import ``card``, ``photo`` and ``colour``.
"""
