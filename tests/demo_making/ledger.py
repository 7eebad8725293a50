"""The invented foundry's day book: what was tried, by whom, when, and what they wrote beside it.

Read from ``log.csv``; what each plate then looked like comes from ``process`` and its photograph from ``render``.
Foundry, commission and makers are made up.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from tests.rendering.process import PlateVariation

STUDIO_TITLE = "Oddlow Yard (invented demo studio)"
ENDS_ON = date(2025, 3, 14)
"""The day on which the day book stands as it is shipped; the demo studio moves it to the day on which it is made."""
COMMISSION = "Three herons for a mill pond (invented)"
FOUNTAIN = {
    "uid": "demo-commission-1",
    "title": "Heron fountain (invented)",
    "alloy": "silicon bronze",
    "client": "the mill at Oddlow (invented)",
    "size": "three herons, 1.4 m high, in a basin",
    "area_cm2": 18500.0,
    "casts": 3,
    "due_on": "2025-05-05",
    "tolerance_delta_e00": 2.0,
    "notes": "Stands in spray from April to October.",
    "made_at": "2024-04-09T12:00:00+00:00",
    "made_by": "B.N.",
    "areas": [{"name": "herons", "area_cm2": 12500.0}, {"name": "basin", "area_cm2": 6000.0}],
}
"""The commission that the target is read for; its first area is to match it, the second has no target yet."""
FOUNTAIN_JOURNAL = [
    {
        "uid": "demo-journal-1",
        "kind": "decision",
        "text": "The herons are to sit beside the client's own piece: its brown, not a brighter one.",
        "who": "B.N.",
        "at": "2024-04-10T14:00:00+00:00",
    },
    {
        "uid": "demo-journal-2",
        "kind": "handover",
        "text": "Outdoors: wax it again every spring, on a dry day.",
        "who": "K.O.",
        "at": "2024-06-12T10:00:00+00:00",
    },
]

_COAT = re.compile(r"(?P<chemical>\D+) (?P<strength>[\d.]+) x(?P<passes>\d+) (?P<temp>\d+)C (?P<application>.+)")


@dataclass(frozen=True)
class Entry:
    """One line of the day book. number: the plate's, struck into it. set_aside: the reason, or None."""

    number: int
    made_at: datetime
    made_by: str
    recipe: Recipe
    ambient_temp_c: float
    ambient_humidity_percent: float
    notes: str
    set_aside: str | None


def entries() -> list[Entry]:
    """Return the day book, oldest first."""
    with (Path(__file__).parent / "log.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    days = [row["made_on"] for row in rows]
    return [_entry(number, row, days[:number].count(row["made_on"])) for number, row in enumerate(rows, start=1)]


def _entry(number: int, row: dict[str, str], of_the_day: int) -> Entry:
    # a plate takes about an hour and a half with heating and cooling; the first is done by nine
    made_at = datetime.fromisoformat(row["made_on"]).replace(hour=7, minute=40, tzinfo=UTC)
    made_at += timedelta(minutes=85 * of_the_day + 7 * number % 20)
    return Entry(
        number=number,
        made_at=made_at,
        made_by=row["by"],
        recipe=_recipe(row),
        ambient_temp_c=float(row["ambient_c"]),
        ambient_humidity_percent=float(row["humidity"]),
        notes=row["notes"],
        set_aside=row["set_aside"] or None,
    )


def _recipe(row: dict[str, str]) -> Recipe:
    undercoat = None
    if row["base"]:
        undercoat = Undercoat(row["base"], float(row["base_strength"]), float(row["burnish"]))
    coats = tuple(_coat(text) for text in row["coats"].split(" + ") if text)
    seal = None
    if row["seal"]:
        kind, count, first = row["seal"].split()
        seal = Seal(kind, int(count), hot=first == "hot")
    return Recipe(row["alloy"], undercoat, coats, seal)


def _coat(text: str) -> Coat:
    found = _COAT.fullmatch(text)
    if found is None:
        raise ValueError(f"not a coat: {text!r}")
    return Coat(
        found["chemical"], float(found["strength"]), int(found["passes"]), float(found["temp"]), found["application"]
    )


def client_recipe() -> Recipe:
    """Return how the client's own piece came about; nobody in the invented studio knows it."""
    return Recipe(
        "silicon bronze",
        Undercoat("liver of sulphur", 0.3, 0.75),
        (Coat("ferric nitrate", 0.55, 5, 108.0),),
        Seal("wax", 2),
    )


def basin_recipe() -> Recipe:
    """Return how the green piece came about that the basin is to match."""
    return Recipe(
        "silicon bronze",
        Undercoat("liver of sulphur", 0.35, 0.3),
        (Coat("cupric nitrate", 0.6, 5, 100.0), Coat("ferric nitrate", 0.2, 1, 100.0)),
    )


def next_plate_recipe() -> Recipe:
    """Return the plate that the walk-through makes next, nearer to the client's piece than any in the day book."""
    return Recipe(
        "silicon bronze",
        Undercoat("liver of sulphur", 0.5, 0.75),
        (Coat("ferric nitrate", 0.5, 5, 105.0),),
        Seal("wax", 3, hot=True),
    )


NEXT_PLATE_NOTES = "For the herons. Base rubbed back three quarters this time, five passes. Nearest yet."
NEXT_PLATE_VARIATION = PlateVariation(metal=0.99, base=1.03, dose=1.04)
"""How the next plate came out against its recipe as written; set, so that the walk-through holds for every seed."""
