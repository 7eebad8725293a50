"""Where each page lies, for links and for going on from one page to the next."""

from __future__ import annotations

from typing import NamedTuple


class Place(NamedTuple):
    """A page: its file beside ``ui/app.py``, the word in the bar at the top, its address."""

    file: str
    title: str
    address: str


START = Place("pages/start.py", "Start", "start")
TARGET = Place("pages/target.py", "Target", "target")
SUGGESTIONS = Place("pages/suggestions.py", "Suggestions", "suggestions")
RECORD = Place("pages/record.py", "Record", "record")
LOG = Place("pages/log.py", "Log", "log")
PHOTOGRAPHING = Place("pages/photographing.py", "How to photograph", "how-to-photograph")

IN_THE_BAR = (START, TARGET, SUGGESTIONS, RECORD, LOG)
ALL = (*IN_THE_BAR, PHOTOGRAPHING)
