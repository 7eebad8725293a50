"""The command line, `patina-matcher` or `python -m matcher`: parses, calls, prints.

May import everything of ``matcher``; nothing imports it.
"""
