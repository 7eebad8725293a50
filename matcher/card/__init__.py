"""Reference cards: what is known of each, finding one in a photograph, reading it, printing its carrier.

May import ``photo`` and ``colour``.
"""
