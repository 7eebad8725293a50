"""Reference cards: what is known of each, finding one in a photograph, reading it, printing its carrier. Plates too:
where they lie (`outline`), for a person to confirm.

May import ``photo`` and ``colour``.
"""
