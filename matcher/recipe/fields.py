"""The fields of a recipe in one table: what each is called, may be, and goes by wherever recipes are kept or typed.

`recipe` checks by it; the log's rows and the spreadsheet, the words of a correction, the page's form and the command
line read it. A new field of a recipe is a line here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from matcher.errors import RecipeError

MAX_PASSES = 200
MAX_NAME = 200
SURFACE_TEMP_RANGE_C = (0.0, 400.0)

NOT_NOTED = "?"
"""What is typed, and stands in a spreadsheet, for a figure that nobody noted."""

Kind = Literal["name", "label", "strength", "number", "whole", "yes or no"]
"""A name is text; a label too, and may be None; a strength is a fraction of stock above 0 up to 1."""


@dataclass(frozen=True)
class Field:
    """One field of a recipe or of one of its parts.

    name: of the value in `recipe`. title: in words. asked: how an error calls it. column: in the database. cell: in
    a spreadsheet. least, most, unit: of a number. optional: may be left out, and is then as the value's own default
    says. unknown: may be None where nobody noted it. word: what stands for it on the command line, None where it is
    not typed there.
    """

    name: str
    title: str
    asked: str
    kind: Kind
    column: str
    cell: str
    word: str | None = None
    least: float = 0.0
    most: float = 1.0
    unit: str = ""
    optional: bool = False
    unknown: bool = False

    def checked(self, value: object) -> object:
        """Return a value as a recipe holds it, None where nobody noted it. Raises RecipeError for what cannot be."""
        if self.unknown and (value is None or (isinstance(value, str) and value.strip() == NOT_NOTED)):
            return None
        if self.kind == "yes or no":
            if value not in (True, False):
                raise RecipeError(f"Say with True or False if {self.asked}: {value!r} is neither.")
            return bool(value)
        if self.kind in ("name", "label"):
            none = self.kind == "label" and (value is None or value == "")
            if isinstance(value, str) and value.strip() == NOT_NOTED:
                raise RecipeError(f"Name the {self.asked}: {NOT_NOTED} stands for a figure that nobody noted.")
            return None if none else _text(value, self.asked)
        if self.kind == "strength":
            return _strength(value, self.asked)
        number = _number(value, self.asked, self.least, self.most, self.unit)
        return _whole(number, value, self.asked) if self.kind == "whole" else number


@dataclass(frozen=True)
class Part:
    """A part of a recipe: how it is called in words, and its fields in the order in which they are typed.

    The first field names what it is: without it there is no such part. prefix: before a field's name in a form.
    """

    title: str
    prefix: str
    fields: tuple[Field, ...]

    def __iter__(self) -> Iterator[Field]:
        return iter(self.fields)

    @property
    def first(self) -> Field:
        return self.fields[0]

    @property
    def typed(self) -> tuple[Field, ...]:
        """The fields that the command line takes."""
        return tuple(field for field in self.fields if field.word is not None)


METAL = Part(
    "Metal",
    "",
    (
        Field("alloy", "Alloy", "alloy", "name", "alloy", "alloy", "silicon bronze"),
        Field("surface", "Surface", "surface", "name", "surface", "surface", "cleaned, bright", optional=True),
    ),
)
UNDERCOAT = Part(
    "Undercoat",
    "under_",
    (
        Field("chemical", "chemical", "undercoat's chemical", "name", "undercoat_chemical", "undercoat", "chemical"),
        Field(
            "strength", "strength", "undercoat's strength", "strength",
            "undercoat_strength_of_stock", "undercoat_strength_of_stock", "strength", unit=" of stock",
            unknown=True,
        ),
        Field(
            "burnish", "burnish", "burnish", "number", "undercoat_burnish", "undercoat_burnish", "burnish",
            optional=True, unknown=True,
        ),
        Field("stock", "bottle", "stock's label", "label", "undercoat_stock", "undercoat_stock", optional=True),
    ),
)  # fmt: skip
COAT = Part(
    "Coat",
    "coat{number}_",
    (
        Field("chemical", "chemical", "coat's chemical", "name", "chemical", "chemical", "chemical"),
        Field(
            "strength", "strength", "coat's strength", "strength", "strength_of_stock", "strength_of_stock", "strength",
            unit=" of stock", unknown=True,
        ),
        Field("passes", "passes", "number of passes", "whole", "passes", "passes", "passes", 1, MAX_PASSES,
              unknown=True),
        Field(
            "surface_temp_c", "surface temperature", "surface temperature", "number",
            "surface_temp_c", "surface_temp_c", "°C", *SURFACE_TEMP_RANGE_C, " °C",
            unknown=True,
        ),
        Field(
            "application", "laid on as", "way of application", "name", "application", "application", "application",
            optional=True,
        ),
        Field("stock", "bottle", "stock's label", "label", "stock", "stock", optional=True),
    ),
)  # fmt: skip
SEAL = Part(
    "Seal",
    "seal_",
    (
        Field("kind", "kind", "seal", "name", "seal_kind", "seal", "kind"),
        Field("coats", "coats", "number of seal coats", "whole", "seal_coats", "seal_coats", "coats", 1, 20,
              optional=True, unknown=True),
        Field("hot", "first coat", "the first seal coat went on hot", "yes or no",
              "seal_first_coat_hot", "seal_first_coat_hot", "hot or cold", optional=True),
    ),
)  # fmt: skip


def _text(value: object, what: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise RecipeError(f"Give the {what} a name: {value!r} is empty.")
    text = " ".join(value.split())
    if len(text) > MAX_NAME or not text.isprintable():
        raise RecipeError(f"Write the {what} in at most {MAX_NAME} plain characters: {text[:40]!r} is not that.")
    return text


def _whole(number: float, value: object, what: str) -> int:
    if number != int(number):
        raise RecipeError(f"Give the {what} as a whole number: {value!r} is not one.")
    return int(number)


def _number(value: object, what: str, low: float, high: float, unit: str = "") -> float:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if isinstance(value, bool) or not math.isfinite(number) or not low <= number <= high:
        raise RecipeError(f"Give the {what} as a number from {low:g} to {high:g}{unit}: {value!r} is not one.")
    return number


def _strength(value: object, what: str) -> float:
    strength = _number(value, what, 0.0, 1.0, " (1 is the stock as it is, 0.5 half strength)")
    if strength == 0.0:
        raise RecipeError(f"Give the {what} more than 0: at 0 there is only water in the bottle.")
    return strength
