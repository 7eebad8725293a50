"""What is noted of a plate besides recipe and colour, in one table: titles, columns, cells, fields of form and options.

The log's rows, the spreadsheet, the words of a correction, the page's form and the command line read it, as they read
the recipe's own fields in `matcher.recipe.fields`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from matcher.storage import checked

Kind = Literal["moment", "line", "text", "number", "target", "reason", "uid"]


@dataclass(frozen=True)
class PlateField:
    """One thing noted of a plate.

    name: of the value in `trial`. title: in words. asked: how an error calls it. column: in the database. cell: in a
    spreadsheet. form: in the page's forms, option: among those of the command line; None where it is not typed there.
    least, most, unit: of a number.
    """

    name: str
    title: str
    asked: str
    kind: Kind
    column: str
    cell: str
    form: str | None = None
    option: str | None = None
    least: float = 0.0
    most: float = 0.0
    unit: str = ""

    def kept(self, value: object) -> object:
        """Return a value as the log keeps it. Raises StudioError for what cannot be kept."""
        match self.kind:
            case "moment":
                return checked.when(value)  # type: ignore[arg-type]  # it judges what it is given
            case "line":
                return checked.line(value, self.asked)
            case "text":
                return checked.storable(value, self.asked)
            case "number":
                return None if value is None else checked.number(value, self.asked, self.least, self.most, self.unit)
            case "reason":
                return checked.reason(value)  # type: ignore[arg-type]
            case "uid":
                return checked.uid_of(value)
            case "target":
                return value


TYPED = (
    PlateField(
        "target_id", "For the target", "target", "target", "target_id", "target", "target_id", "target",
    ),
    PlateField("piece", "Mark on the plate", "name of the piece", "line", "piece", "piece", "piece", "piece"),
    PlateField("made_by", "Made by", "maker's name", "line", "made_by", "made_by", "made_by", "made_by"),
    PlateField("made_at", "Made on", "date", "moment", "made_at", "made_at", "made_on", "made_at"),
    PlateField(
        "ambient_temp_c", "Air temperature", "air temperature", "number", "ambient_temp_c", "ambient_temp_c",
        "ambient_c", "air", -60.0, 80.0, " °C",
    ),
    PlateField(
        "ambient_humidity_percent", "Humidity", "humidity", "number", "ambient_humidity_percent",
        "ambient_humidity_percent", "humidity", "humidity", 0.0, 100.0, " %",
    ),
    PlateField("notes", "Notes", "notes", "text", "notes", "notes", "notes", "notes"),
)  # fmt: skip
"""What a person types of a plate and may correct, in the order in which a correction tells it."""
KEPT = (
    PlateField("uid", "Uid", "uid", "uid", "uid", "uid"),
    PlateField("set_aside", "Set aside", "reason for setting it aside", "reason", "set_aside_reason", "set_aside"),
)
"""What the log itself keeps of a plate."""
NUMBER_CELL, PHOTOS_CELL = "number", "photos"
"""Cells for the reader: a plate's number in this studio, and its photographs."""
