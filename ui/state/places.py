"""Where each page lies, for links and for going on from one page to the next."""

from __future__ import annotations

from typing import NamedTuple


class Place(NamedTuple):
    """A page: its file beside ``ui/app.py``, the word in the bar at the top, its address."""

    file: str
    title: str
    address: str


START = Place("screens/start.py", "Start", "start")
COMMISSIONS = Place("screens/commissions.py", "Commissions", "commissions")
TARGET = Place("screens/target.py", "Target", "target")
SUGGESTIONS = Place("screens/suggestions.py", "Suggestions", "suggestions")
BENCH = Place("screens/bench.py", "Bench", "bench")
SOLUTIONS = Place("screens/solutions.py", "Solutions", "solutions")
RECORD = Place("screens/record.py", "Record", "record")
LOG = Place("screens/log.py", "Log", "log")
PHOTOGRAPHING = Place("screens_at_the_foot/photographing.py", "How to photograph a finish", "how-to-photograph")
CAMERA = Place("screens_at_the_foot/camera.py", "Camera and light", "camera")
COMPARE = Place("screens_at_the_foot/compare.py", "Two finishes side by side", "compare")
REPEATS = Place("screens_at_the_foot/repeats.py", "How well readings repeat", "repeats")
TRUST = Place("screens_at_the_foot/trust.py", "How far to trust predictions", "trust")
FIRST_PLATES = Place("screens_at_the_foot/first_plates.py", "First plates", "first-plates")
PREDICT = Place("screens_at_the_foot/predict.py", "What would it give?", "predict")
PEOPLE = Place("screens_at_the_foot/people.py", "People and devices", "people")

IN_THE_BAR = (START, COMMISSIONS, TARGET, SUGGESTIONS, SOLUTIONS, BENCH, RECORD, LOG)
AT_THE_FOOT = (PHOTOGRAPHING, CAMERA, COMPARE, REPEATS, TRUST, PREDICT, FIRST_PLATES, PEOPLE)
ALL = (*IN_THE_BAR, *AT_THE_FOOT)
