"""What a person typed of a plate: everything that the log holds of it but its readings and photographs.

`corrections` mends these facts; the words here say what a correction changed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from itertools import zip_longest
from textwrap import shorten
from typing import Any

from matcher.dates import LONG, in_utc, moment, shown
from matcher.errors import StudioError, fault_in_words
from matcher.recipe.fields import COAT, METAL, SEAL, UNDERCOAT, Field, Part
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat, coat_in_words, seal_in_words, undercoat_in_words
from matcher.trials.fields import TYPED, PlateField
from matcher.trials.trial import Trial

LONGEST_QUOTED = 80


@dataclass(frozen=True)
class TypedFacts:
    """What was typed of one plate; units and meanings are those of `Trial`."""

    recipe: Recipe
    made_at: datetime
    made_by: str = ""
    piece: str = ""
    ambient_temp_c: float | None = None
    ambient_humidity_percent: float | None = None
    notes: str = ""
    target_id: int | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``TypedFacts.from_dict`` takes them back."""
        return {**vars(self), "recipe": self.recipe.as_dict(), "made_at": in_utc(self.made_at).isoformat()}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> TypedFacts:
        """Take back what ``as_dict`` gave. Raises a MatcherError."""
        try:
            return cls(**{**data, "recipe": Recipe.from_dict(data["recipe"]), "made_at": moment(data["made_at"])})
        except (KeyError, TypeError) as error:
            raise StudioError(
                f"Check what was typed of this plate against an exported trial: {fault_in_words(error)}."
            ) from error


def facts_of(trial: Trial) -> TypedFacts:
    """Return what was typed of a trial."""
    return TypedFacts(**{item.name: getattr(trial, item.name) for item in fields(TypedFacts)})


def what_changed(was: TypedFacts, now: TypedFacts, targets: Mapping[int, str]) -> tuple[str, ...]:
    """Say each difference in one line, in the order of the bench: "Coat 1, passes: 8, was 6".

    targets: the names of the targets by their numbers.
    """
    return (*_recipe_changes(was.recipe, now.recipe), *_about_changes(was, now, targets))


def _recipe_changes(was: Recipe, now: Recipe) -> list[str]:
    said = [line for field in METAL for line in _field_line(field.title, field, was, now)]
    said += _part(UNDERCOAT, UNDERCOAT.title, was.undercoat, now.undercoat)
    single = max(len(was.coats), len(now.coats)) == 1
    for number, (before, after) in enumerate(zip_longest(was.coats, now.coats), start=1):
        said += _part(COAT, COAT.title if single else f"{COAT.title} {number}", before, after)
    return said + _part(SEAL, SEAL.title, was.seal, now.seal)


Layer = Undercoat | Coat | Seal


def _part(part: Part, name: str, was: Layer | None, now: Layer | None) -> list[str]:
    """Say what changed in one part of a recipe, or that it came in or went out."""
    if was is None or now is None:
        there = was or now
        return [] if there is None else [f"{name} {'added' if was is None else 'taken out'}: {_in_words(there)}"]
    return [line for field in part for line in _field_line(f"{name}, {field.title}", field, was, now)]


def _field_line(title: str, field: Field, was: object, now: object) -> list[str]:
    after, before = getattr(now, field.name), getattr(was, field.name)
    if field.kind == "yes or no":
        after, before = ("on warm metal" if value else "on cold metal" for value in (after, before))
    return _line(title, after, before, field.unit)


def _in_words(part: Layer) -> str:
    if isinstance(part, Undercoat):
        return undercoat_in_words(part)
    return coat_in_words(part) if isinstance(part, Coat) else seal_in_words(part)


def _about_changes(was: TypedFacts, now: TypedFacts, targets: Mapping[int, str]) -> list[str]:
    return [line for field in TYPED for line in _about_line(field, was, now, targets)]


def _about_line(field: PlateField, was: TypedFacts, now: TypedFacts, targets: Mapping[int, str]) -> list[str]:
    after, before = getattr(now, field.name), getattr(was, field.name)
    match field.kind:
        case "text":
            return _text_line(field.title, after, before)
        case "target":
            after, before = _target(after, targets), _target(before, targets)
        case "moment":
            form = f"{LONG}, %H:%M" if shown(after) == shown(before) else LONG
            after, before = shown(after, form), shown(before, form)
    return _line(field.title, after, before, field.unit)


def _text_line(title: str, now: str, was: str) -> list[str]:
    short = [shorten(text, LONGEST_QUOTED, placeholder=" …") for text in (now, was)]
    if was != now and short[0] == short[1]:
        return [f"{title}: changed"]
    return _line(title, *short)


def _target(number: int | None, targets: Mapping[int, str]) -> str:
    return "" if number is None else targets.get(number, f"target {number}")


def _line(title: str, now: object, was: object, unit: str = "") -> list[str]:
    return [] if now == was else [f"{title}: {_value(now, unit)}, was {_value(was, unit)}"]


def _value(value: object, unit: str) -> str:
    if value is None or value == "":
        return "not noted"
    return f"{value:g}{unit}" if isinstance(value, float) else f"{value}{unit}"
