"""What is typed on a command line becomes values: colours, outlines, steps of a recipe.

Each function raises MatcherError with the form that was wanted; the recipe's own values are judged by `Recipe`.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher import typed
from matcher.errors import MatcherError, Misfit
from matcher.files import read_whole
from matcher.recipe.fields import COAT, SEAL, UNDERCOAT, Field, Part
from matcher.recipe.names import same
from matcher.recipe.recipe import MAX_PASSES, SURFACE_TEMP_RANGE_C, Coat, Recipe, Seal, Undercoat
from matcher.words import counted

if TYPE_CHECKING:
    from matcher.colour.types import Floats
    from matcher.instrument.measured import Sample
    from matcher.sheets.paper import Paper

MOST_NAMED = 8
HOT_OR_COLD = ("hot", "cold")
TOLERANCE = 2.0
"""ΔE00 that counts as a match where nothing else is said."""
MAX_RECIPE_BYTES = 1_000_000
HIGHEST_TEMP_C = SURFACE_TEMP_RANGE_C[1]
CLEARED = "none"
"""What takes out a part of a logged plate: it was not there, or is not known."""
Colour = tuple[float, float, float]
Outline = tuple[tuple[float, float], ...]


class TypingError(MatcherError):
    """Something on the command line is not of the form that is wanted."""


def colour(text: str) -> Colour:
    """Read "L,a,b"."""
    first, second, third = _numbers(text, 3, "CIELAB as L,a,b (38.2,14,22.5)")
    if not 0 <= first <= 100:
        raise TypingError(f"Give L* from 0 (black) to 100 (white): {first:g} is not that.")
    return first, second, third


def colours(text: str) -> Colour | tuple[Colour, ...]:
    """Read "L,a,b" of a card with one patch, or "L,a,b L,a,b ..." of one with several."""
    several = tuple(colour(part) for part in text.split())
    return several[0] if len(several) == 1 else several or colour(text)


def outline(text: str) -> Outline:
    """Read "x,y x,y x,y ...", at least three points, in pixels."""
    form = "the outline as at least three points in pixels (120,80 400,80 400,300)"
    points = typed.points(text)
    if points is None or len(points) < 3:
        raise TypingError(f"Give {form}: {text!r} is not that.")
    return points


def outline_as_typed(points: Floats) -> str:
    """Return an outline (n, 2) as ``outline`` reads it, to the nearest pixel."""
    return " ".join(f"{x:.0f},{y:.0f}" for x, y in points)


def corners(text: str) -> Outline:
    """Read the four corners of a card."""
    form = "the card's four corners in pixels (120,80 400,80 400,300 120,300)"
    points = typed.points(text)
    if points is None or len(points) != 4:
        raise TypingError(f"Give {form}: {text!r} is not that.")
    return points


def undercoat(text: str) -> Undercoat:
    """Read "chemical,strength[,burnish]"."""
    return Undercoat(**_part(UNDERCOAT, text, "liver of sulphur,0.5,0.25"))


def coat(text: str) -> Coat:
    """Read "chemical,strength,passes,temperature in °C[,application]"."""
    return Coat(**_part(COAT, text, "ferric nitrate,0.5,6,105,fine mist"))


def seal(text: str) -> Seal:
    """Read "kind[,coats[,hot or cold]]"."""
    return Seal(**_part(SEAL, text, "wax,3,hot"))


def _part(part: Part, text: str, example: str) -> dict[str, Any]:
    """Read the fields of a part of a recipe, in their order; those that may be left out come last."""
    form = f"{','.join(str(field.word) for field in part.typed)} ({example})"
    needed = sum(not field.optional for field in part.typed)
    parts = _parts(text, needed, len(part.typed), form)
    return {field.name: _typed(field, word, part, form) for field, word in zip(part.typed, parts, strict=False)}


def _typed(field: Field, word: str, part: Part, form: str) -> Any:
    if field.kind != "yes or no":
        return word  # a recipe reads numbers that are typed as text
    if word.lower() not in HOT_OR_COLD:
        raise TypingError(f"Give the {part.title.lower()} as {form}: {word!r} is neither hot nor cold.")
    return word.lower() == HOT_OR_COLD[0]


def chosen(samples: Sequence[Sample], names: Sequence[str], file: str) -> tuple[Sample, ...]:
    """Return the samples of these names, in the order of the names; case counts only where it must."""
    found = []
    for name in names:
        same = [one for one in samples if one.name == name] or [
            one for one in samples if one.name.casefold() == name.strip().casefold()
        ]
        if len(same) != 1:
            listed = ", ".join(one.name for one in samples[:MOST_NAMED])
            more = f" and {len(samples) - MOST_NAMED} more" if len(samples) > MOST_NAMED else ""
            how_many = "none" if not same else counted(len(same), "colour")
            raise TypingError(f"Choose from {listed}{more}: {Path(file).name} has {how_many} named {name!r}.")
        found += same
    return tuple(found)


def recipe_file(path: str) -> Recipe:
    """Read a recipe from a JSON file: a recipe as exported, or a trial or suggestion that has one."""
    try:
        data = json.loads(read_whole(Path(path), MAX_RECIPE_BYTES))
    except Misfit as misfit:
        raise TypingError(f"The recipe {path} {misfit}.") from misfit
    except (ValueError, RecursionError) as error:
        raise TypingError(f"The recipe in {path} cannot be read (not JSON): give a JSON file with a recipe.") from error
    if isinstance(data, dict) and isinstance(data.get("recipe"), dict):
        data = data["recipe"]
    return Recipe.from_dict(data)


def recipe_given(options: argparse.Namespace) -> Recipe:
    """Return the recipe that the options give, as a file or step by step."""
    if options.recipe is None:
        return recipe(options.alloy, options.surface, options.undercoat, options.coat, options.seal)
    if is_stepwise(options):
        raise TypingError("Give the recipe either as a file or step by step, not both.")
    return recipe_file(options.recipe)


def is_none(text: str) -> bool:
    """Tell whether a word takes out what is logged."""
    return text.strip().casefold() == CLEARED


def whole(text: str) -> int:
    """Read a whole number, for argparse."""
    number = typed.whole_number(text)
    if number is None:
        raise argparse.ArgumentTypeError(f"give a whole number, not {text!r}")
    return number


def figure(text: str) -> float:
    """Read a number, for argparse."""
    number = typed.number(text, comma=False)
    if number is None:
        raise argparse.ArgumentTypeError(f"give a number, not {text!r}")
    return number


def whole_or_none(text: str) -> int | str:
    """Read a whole number, or "none" as CLEARED."""
    number = CLEARED if is_none(text) else typed.whole_number(text)
    if number is None:
        raise argparse.ArgumentTypeError(f"give a whole number or none, not {text!r}")
    return number


def figure_or_none(text: str) -> float | str:
    """Read a number, or "none" as CLEARED."""
    number = CLEARED if is_none(text) else typed.number(text, comma=False)
    if number is None:
        raise argparse.ArgumentTypeError(f"give a number or none, not {text!r}")
    return number


def is_stepwise(options: argparse.Namespace) -> bool:
    """Tell whether the options give a recipe step by step."""
    return any((options.alloy, options.surface, options.undercoat, options.coat, options.seal))


def recipe(
    alloy: str | None, surface: str | None, base: str | None, coats: Sequence[str], sealed: str | None
) -> Recipe:
    """Put a recipe together from the options of the command line."""
    if alloy is None:
        raise TypingError("Give the alloy, or a whole recipe as a file.")
    return Recipe(
        alloy=alloy,
        undercoat=None if base is None else undercoat(base),
        coats=tuple(coat(text) for text in coats),
        seal=None if sealed is None else seal(sealed),
        surface=Recipe.surface if surface is None else surface,
    )


def strengths(text: str) -> tuple[float, ...]:
    """Read "0.25,0.5,1": fractions of stock."""
    form = "the strengths as fractions of stock above 0 up to 1 (0.25,0.5,1)"
    return _listed_numbers(text, form, 0.0, 1.0)


def temperatures(text: str) -> tuple[float, float]:
    """Read "95,115": least and most °C."""
    form = f"the temperatures as least and most °C from 0 to {HIGHEST_TEMP_C:g} (95,115)"
    found = _listed_numbers(text, form, -1.0, HIGHEST_TEMP_C)
    if len(found) != 2 or not 0 <= found[0] <= found[1]:
        raise TypingError(f"Give {form}: {text!r} is not that.")
    return found[0], found[1]


def pair(text: str, form: str) -> tuple[float, float]:
    """Read two numbers with a comma between them; form: how an error asks for them."""
    found = _numbers(text, 2, form)
    return found[0], found[1]


def most_passes(count: int) -> int:
    """Return the most passes of a coat. Raises TypingError."""
    if not 1 <= count <= MAX_PASSES:
        raise TypingError(f"Give --max-passes from 1 to {MAX_PASSES}: {count} is not that.")
    return count


def after_passes(texts: Sequence[str]) -> dict[int, Colour]:
    """Read "n:L,a,b" of readings taken after n passes."""
    form = "each reading as passes:L,a,b (3:52,12,26)"
    found: dict[int, Colour] = {}
    for text in texts:
        count, _, lab = text.partition(":")
        passes = typed.whole_number(count)
        if passes is None or not 0 <= passes <= MAX_PASSES:
            raise TypingError(f"Give {form}: {text!r} is not that.")
        if passes in found:
            raise TypingError(f"Give one reading after {counted(passes, 'pass')}, the right one: there are two.")
        found[passes] = colour(lab)
    return found


def whole_numbers(text: str, form: str) -> list[int]:
    """Read "5,6,12"; form: how an error asks for them. Raises TypingError."""
    found = [typed.whole_number(part) for part in text.split(",")]
    known = [number for number in found if number is not None]
    if len(known) < len(found):
        raise TypingError(f"Give {form}: {text!r} is not that.")
    return known


def known_name(text: str, known: Sequence[str], what: str) -> str:
    """Return the name as the studio writes it, for any way of writing it. Raises TypingError."""
    for name in known:
        if same(name, text):
            return name
    listed = ", ".join(known[:MOST_NAMED]) or "nothing yet"
    raise TypingError(f"Check the {what} {text!r}: nothing here has that name. There is {listed}.")


def _listed_numbers(text: str, form: str, above: float, most: float) -> tuple[float, ...]:
    found = typed.numbers(text)
    if found is None or not all(above < number <= most for number in found):
        raise TypingError(f"Give {form}: {text!r} is not that.")
    return found


def _numbers(text: str, count: int, form: str) -> tuple[float, ...]:
    found = typed.numbers(text)
    if found is None or len(found) != count:
        raise TypingError(f"Give {form}: {text!r} is not that.")
    return found


def _parts(text: str, least: int, most: int, form: str) -> list[str]:
    parts = [part.strip() for part in text.split(",")]
    if not least <= len(parts) <= most or not all(parts):
        raise TypingError(f"Give this step as {form}: {text!r} is not that.")
    return parts


def paper(name: str | None) -> Paper:
    """Return the paper to print on. Raises StudioError for a size that is not known."""
    from matcher.sheets.paper import A4, paper_named

    return A4 if name is None else paper_named(name)
