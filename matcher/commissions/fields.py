"""What is typed of a commission and of an area, in one table each: titles, columns, options and what may be kept.

The store's rows, the words of a change, the page's forms and the command line read it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from matcher.dates import day_shown
from matcher.errors import StudioError
from matcher.storage import checked
from matcher.typed import whole_number

Kind = Literal["line", "text", "number", "count", "day", "target"]
MOST_CASTS = 9999


@dataclass(frozen=True)
class CommissionField:
    """One thing typed of a commission or an area.

    name: of the value. title: in words. asked: how an error calls it. column: in the database, and the option of the
    command line. least, most, unit: of a number. required: whether it may be empty.
    """

    name: str
    title: str
    asked: str
    kind: Kind
    column: str
    required: bool = False
    least: float = 0.0
    most: float = 0.0
    unit: str = ""

    def kept(self, value: object) -> Any:
        """Return a value as its column keeps it. Raises StudioError for what cannot be kept."""
        match self.kind:
            case "line":
                return checked.line(value, self.asked, required=self.required)
            case "text":
                return checked.storable(value, self.asked)
            case "number":
                if value is None and not self.required:
                    return None
                return checked.number(value, self.asked, self.least, self.most, self.unit)
            case "count":
                return _count(value, self.asked, int(self.least), int(self.most))
            case "day":
                if self.required and value in (None, ""):
                    raise StudioError(f"Give the {self.asked}, as 2026-03-31: it is empty.")
                return _day(value, self.asked)
            case "target":
                return value

    def taken(self, kept: Any) -> Any:
        """Return the value that a column holds."""
        return date.fromisoformat(kept) if self.kind == "day" and kept is not None else kept

    def said(self, value: object, targets: Mapping[str, str]) -> str:
        """Say a value in words; targets: their names by their uids."""
        if value is None or value == "":
            return "none" if self.kind == "target" else "not noted"
        if isinstance(value, date):
            return day_shown(value)
        if self.kind == "target":
            return targets.get(str(value), "a target that is not in this studio")
        return f"{value:g}{self.unit}" if isinstance(value, float) else f"{value}"


COMMISSION = (
    CommissionField("title", "The piece", "title of the piece", "line", "title", required=True),
    CommissionField("client", "Client", "client's label", "line", "client"),
    CommissionField("alloy", "Alloy", "alloy", "line", "alloy", required=True),
    CommissionField("size", "Size", "size", "line", "size"),
    CommissionField("area_cm2", "Surface of one cast", "surface of one cast", "number", "area_cm2",
                    least=0.01, most=1e8, unit=" cm²"),
    CommissionField("casts", "Casts in the edition", "number of casts", "count", "casts", least=1, most=MOST_CASTS),
    CommissionField("due_on", "Due on", "day on which it is due", "day", "due_on"),
    CommissionField("tolerance", "Tolerance", "tolerance", "number", "tolerance_delta_e00", required=True,
                    least=0.01, most=100.0, unit=" ΔE00"),
    CommissionField("notes", "Notes", "notes", "text", "notes"),
)  # fmt: skip
"""What a person types of a commission and may change."""
AREA = (
    CommissionField("name", "Area", "area's name", "line", "name", required=True),
    CommissionField("area_cm2", "Its surface", "area's surface", "number", "area_cm2",
                    least=0.01, most=1e8, unit=" cm²"),
    CommissionField("target_id", "Target", "target", "target", "target_id"),
)  # fmt: skip
"""What a person types of an area and may change."""
DELIVERY = (
    CommissionField("number", "Cast", "number of the cast", "count", "number", least=1, most=MOST_CASTS),
    CommissionField("on", "Delivered on", "day on which it was delivered", "day", "delivered_on", required=True),
    CommissionField("to", "Delivered to", "name of who has it", "line", "delivered_to"),
)
"""What a person types of a delivery."""
TARGET = (
    CommissionField("name", "Name", "target's name", "line", "name", required=True),
    CommissionField("tolerance", "Tolerance", "tolerance", "number", "tolerance_delta_e00", required=True,
                    least=0.01, most=100.0, unit=" ΔE00"),
    CommissionField("notes", "Notes", "notes", "text", "notes"),
)  # fmt: skip
"""What a person may change of a target: the words for its history."""


def values_of(fields: tuple[CommissionField, ...], thing: object) -> dict[str, Any]:
    """Return the columns of a thing as they are kept. Raises StudioError."""
    return {field.column: field.kept(getattr(thing, field.name)) for field in fields}


def taken_from(fields: tuple[CommissionField, ...], row: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values that a row's columns hold, by their names."""
    return {field.name: field.taken(row[field.column]) for field in fields}


def what_changed(
    fields: tuple[CommissionField, ...], was: Mapping[str, Any], now: Mapping[str, Any], targets: Mapping[str, str]
) -> tuple[str, ...]:
    """Say each difference between two rows' columns in one line: "Casts in the edition: 5, was 3".

    was, now: the columns that differ, as a line of history keeps them. targets: their names by their uids.
    """
    return tuple(
        f"{field.title}: {field.said(field.taken(now[field.column]), targets)}, "
        f"was {field.said(field.taken(was[field.column]), targets)}"
        for field in fields
        if field.column in was and was[field.column] != now[field.column]
    )


def _count(value: object, asked: str, least: int, most: int) -> int:
    number = whole_number(value) if isinstance(value, str) else value
    if isinstance(number, bool) or not isinstance(number, int) or not least <= number <= most:
        raise StudioError(f"Give the {asked} as a whole number from {least} to {most}: {value!r} is not one.")
    return number


def _day(value: object, asked: str) -> str | None:
    """Return a day as 2026-03-31, None where there is none."""
    if value is None or value == "":
        return None
    try:
        return (value if isinstance(value, date) else date.fromisoformat(str(value).strip())).isoformat()[:10]
    except ValueError as error:
        raise StudioError(f"Give the {asked} as 2026-03-31: {value!r} is not one.") from error
