"""A client's commission from the first photograph to the repair: its areas and targets, decisions, casts and journal.

May import ``suggest`` and what is beneath it.
"""
