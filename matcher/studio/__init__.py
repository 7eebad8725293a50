"""A studio: its log, photographs, supplies and forms behind one door, and the suggestions made from them.

A thin composition: what it hands out comes from ``matcher.trials``, ``matcher.tags`` and ``matcher.suggest``; the page
and the command line talk to this. ``Studio`` is all of its parts in one class, each part a class in a file of its own
that can be read by itself. ``keeping`` moves, backs up and checks a studio as a whole, and uses it as anyone does.
"""

from matcher.studio.studio import Studio

__all__ = ["Studio"]
