"""Where each page lies, for links and for going on from one page to the next."""

from __future__ import annotations

from typing import NamedTuple


class Place(NamedTuple):
    """A page: its file beside ``ui/app.py``, the word in the bar at the top, its address."""

    file: str
    title: str
    address: str


START = Place("screens/start.py", "Start", "start")
TARGET = Place("screens/target.py", "Target", "target")
SUGGESTIONS = Place("screens/suggestions.py", "Suggestions", "suggestions")
RECORD = Place("screens/record.py", "Record", "record")
LOG = Place("screens/log.py", "Log", "log")
PHOTOGRAPHING = Place("screens/photographing.py", "How to photograph", "how-to-photograph")

IN_THE_BAR = (START, TARGET, SUGGESTIONS, RECORD, LOG)
ALL = (*IN_THE_BAR, PHOTOGRAPHING)
