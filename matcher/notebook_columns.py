"""What the columns of a studio's own table of plates mean: the choices, and a proposal by name and content.

A column means a cell of `matcher.trials.spreadsheet`, in one of the units of that cell. Before `notebook`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from matcher import typed
from matcher.errors import StudioError
from matcher.recipe.fields import COAT, METAL, SEAL, UNDERCOAT
from matcher.trials.fields import TYPED

OF_STOCK, PERCENT, PARTS, ONE_IN, GRAMS = "of stock", "%", "parts stock : water", "one part in", "g/L"
CELSIUS, FAHRENHEIT = "°C", "°F"
SHARE = "0 to 1"
ISO, DAY_FIRST, MONTH_FIRST = "year-month-day", "day first", "month first"
MOST_COATS = 4
KEPT, LAB = "keep", "lab"
"""A column whose text goes into the notes under its own name, and one that holds L*, a*, b* in one cell."""
_IN_NOTES = (KEPT, "notes")
_AXES = ("lab_l", "lab_a", "lab_b")

_TEMP = r"(?:temp\w*|heat|deg\w*|[cf])"
_BY_NAME = (  # the first that fits; in a heading without case, signs and what stands in brackets
    (r"(l|lab l|cie ?l|l star|lightness|l value)", "lab_l"),
    (r"(a|lab a|cie ?a|a star|a value)", "lab_a"),
    (r"(b|lab b|cie ?b|b star|b value)", "lab_b"),
    (r"(cie ?)?l ?a ?b( values?)?|colou?r( lab| reading)?", LAB),
    (r"(sigma|sd|u) ([lab])", "sigma_"),
    (rf"(.* )?(air|ambient|room|shop|workshop)( .*)?( {_TEMP})?", "ambient_temp_c"),
    (r"(.* )?(humid\w*|rh)( .*)?", "ambient_humidity_percent"),
    (rf"(.* )?{_TEMP}( .*)?|(surface|metal|torch) hot", "surface_temp_c"),
    (r"(.* )?(alloy|metal|bronze|substrate)( .*)?", "alloy"),
    (r"(surface|surface prep.*|prep.*|clean.*|.*blast.*)", "surface"),
    (r"(.* )?(under ?coat|base|ground)( .*)? (strength|conc\w*|dilut\w*|percent)", "undercoat_strength_of_stock"),
    (r"(.* )?(burnish\w*|rub\w*)( .*)?", "undercoat_burnish"),
    (r"(.* )?(under ?coat|base coat|base|ground)( .*)?", "undercoat"),
    (r"(.* )?(seal\w*|wax|lacquer)( .*)? (coats|layers|number|times)|coats of (wax|lacquer)", "seal_coats"),
    (r"(.* )?(seal\w*|wax|lacquer)( .*)? (hot|warm)( .*)?|(hot|warm) (seal|wax)", "seal_first_coat_hot"),
    (r"(.* )?(seal\w*|wax|lacquer|finish coat)( .*)?", "seal"),
    (r"(.* )?(strength|conc|concentration|dilut\w*|mix|percent of stock|of stock|stock|ratio)", "strength_of_stock"),
    (r"(.* )?(pass|passes|applications|times|sprays|mists|nr of coats)", "passes"),
    (r"(.* )?(applied|application|laid on|laid on as|method|how|tool|technique)", "application"),
    (r"(.* )?(chemical|chem|solution|patina|salt|\w*nitrate|colou?rant|acid|reagent)", "chemical"),
    (r"(.* )?(date|day|made on|when)", "made_at"),
    (r"(.* )?(made by|who|maker|hand|by|operator|initials)", "made_by"),
    (r"(.* )?(piece|plate|mark|sample|test|label|id|nr|no|number|swatch)", "piece"),
    (r"(.* )?(note|notes|remark\w*|comment\w*|observation\w*)", "notes"),
)  # fmt: skip
"""What workshops call a column: common practice, no source."""
_IN_BRACKETS = re.compile(r"[(\[].*?[)\]]")
_COAT_NUMBER = re.compile(r"\b(?:coat|chem(?:ical)?|layer)?\s*([1-4])(?:st|nd|rd|th)?\b")
_RATIO = re.compile(r"\s*\d+(?:[.,]\d+)?\s*[:/]\s*\d+(?:[.,]\d+)?\s*")
_DATE = re.compile(r"\s*(\d{1,4})[./-](\d{1,2})[./-](\d{1,4})\s*")
_OF_COAT = frozenset(field.cell for field in COAT)


@dataclass(frozen=True)
class Use:
    """What a column means: a cell of the table of trials, KEPT or LAB, "" for nothing; its unit, "" for none."""

    cell: str = ""
    unit: str = ""


@dataclass(frozen=True)
class Meanings:
    """What the columns of a table mean, in their order. alloy: of all plates, where no column says it."""

    uses: tuple[Use, ...]
    alloy: str = ""

    def as_dict(self) -> dict[str, Any]:
        return {"uses": [[use.cell, use.unit] for use in self.uses], "alloy": self.alloy}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Meanings:
        """Take back what ``as_dict`` gave. Raises StudioError for anything else."""
        try:
            return cls(tuple(Use(str(cell), str(unit)) for cell, unit in data["uses"]), str(data["alloy"]))
        except (KeyError, TypeError, ValueError) as error:
            raise StudioError("Say again what the columns mean: what was kept of them cannot be read.") from error

    def checked(self) -> Meanings:
        """Return these. Raises StudioError where two columns mean one thing, or the colour or the alloy is nowhere."""
        cells = [use.cell for use in self.uses if use.cell and use.cell not in _IN_NOTES]
        if LAB in cells:
            cells += _AXES
        known = titles()
        for use in self.uses:
            if use.cell and (use.cell not in known or (use.unit and use.unit not in units_of(use.cell))):
                raise StudioError(f"Choose what a column means from the list: {use.cell} {use.unit} is not in it.")
        for cell in cells:
            if cells.count(cell) > 1:
                raise StudioError(f"Let one column alone be the {known[cell]}: {cells.count(cell)} are.")
        lacking = [known[f"lab_{axis}"] for axis in "lab" if f"lab_{axis}" not in cells]
        if lacking:
            raise StudioError(f"Say which column is {lacking[0]}: a plate is logged with its colour.")
        if "alloy" not in cells and not self.alloy.strip():
            raise StudioError("Say which column is the alloy, or give the one alloy that all plates are of.")
        return self


def titles() -> dict[str, str]:
    """Return all that a column can mean, each in words."""
    found = {field.cell: field.title.lower() for field in METAL}
    for part in (UNDERCOAT, SEAL):
        found |= {field.cell: f"{part.title.lower()}, {field.title}" for field in part if field.kind != "label"}
    for number in range(1, MOST_COATS + 1):
        coat = COAT.title.lower() if number == 1 else f"{COAT.title.lower()} {number}"
        found |= {f"coat_{number}_{field.cell}": f"{coat}, {field.title}" for field in COAT if field.kind != "label"}
    found |= {"lab_l": "L*", "lab_a": "a*", "lab_b": "b*", LAB: "L*, a*, b* in one cell"}
    found |= {
        f"sigma_{axis}": f"standard uncertainty of {name}" for axis, name in zip("lab", ("L*", "a*", "b*"), strict=True)
    }
    found |= {field.cell: field.title.lower() for field in TYPED if field.kind != "target"}
    return found | {KEPT: "kept in the notes, under its name"}


def units_of(cell: str) -> tuple[str, ...]:
    """Return the units that a cell can be written in, the usual first; none where there is but one."""
    if cell.endswith("strength_of_stock"):
        return (OF_STOCK, PERCENT, PARTS, ONE_IN, GRAMS)
    if cell.endswith("temp_c"):
        return (CELSIUS, FAHRENHEIT)
    if cell == "undercoat_burnish":
        return (SHARE, PERCENT)
    return (ISO, DAY_FIRST, MONTH_FIRST) if cell == "made_at" else ()


def proposed(heading: Sequence[str], rows: Sequence[Sequence[str]]) -> Meanings:
    """Return what the columns are likely to mean, by their names and by what stands in them; each meaning once.

    What cannot be told is kept in the notes, so that nothing is lost.
    """
    taken: set[str] = set()
    uses = []
    for at, name in enumerate(heading):
        filled = [row[at].strip() for row in rows if at < len(row) and row[at].strip()]
        cell = by_name(name)
        if cell.removeprefix("coat_1_") in _OF_COAT:  # the same again is of the next coat
            cell = next((next_one for next_one in _coats_from(cell) if next_one not in taken), "")
        if (cell in taken and cell not in _IN_NOTES) or not _fits(cell, filled):
            cell = ""
        if not cell and filled:
            cell = next((one for one, holds in _BY_CONTENT if one not in taken and holds(filled)), KEPT)
        taken.update(_AXES if cell == LAB else (cell,))
        uses.append(Use(cell, _unit(cell, name, filled)))
    return Meanings(tuple(uses))


def three(text: str) -> tuple[str, str, str] | None:
    """Return three numbers written in one cell ("38.1 / 14.2 / 22", "L 38,1; a 14,2; b 22"), None for anything else."""
    comma = "," if re.search(r"[;/]|\d\s+\d", text) else ""
    number = rf"[+−-]?\d+(?:[.{comma}]\d+)?"
    found = re.findall(number, text)
    if len(found) != 3 or re.sub(r"[lab*=:;,/\s()]", "", re.sub(number, "", text).casefold()):
        return None
    return found[0], found[1], found[2]


def _fits(cell: str, filled: Sequence[str]) -> bool:
    """Tell whether a column can hold what its name says: figures where there have to be some."""
    if cell == LAB:
        return not filled or any(three(text) for text in filled)
    of_figures = cell.startswith(("lab_", "sigma_")) or cell.endswith(("temp_c", "_passes", "_coats", "_percent"))
    return not of_figures or not filled or any(character.isdigit() for text in filled for character in text)


def _all(pattern: str) -> Callable[[Sequence[str]], bool]:
    return lambda filled: all(re.fullmatch(pattern, text.casefold()) for text in filled if text not in ("?", "-"))


_BY_CONTENT: tuple[tuple[str, Callable[[Sequence[str]], bool]], ...] = (
    ("made_at", _all(r"\d{1,2}[./-]\d{1,2}[./-]\d{2,4}|\d{4}-\d{2}-\d{2}")),
    (LAB, lambda filled: all(three(text) for text in filled)),
    ("coat_1_surface_temp_c", _all(r"\d{2,3} ?(?:°|° ?[cf]|[cf])")),
    ("coat_1_strength_of_stock", _all(r"\d+ ?: ?\d+|[\w-]+ strength")),
    ("alloy", _all(r"(?:.* )?(?:bronze|brass|copper)")),
    ("coat_1_chemical", _all(r".*(?:nitrate|chloride|sulph|sulf|permanganate|patina).*")),
)
"""What a column without a telling name is taken for by what stands in it, the first that fits."""


def by_name(name: str) -> str:
    """Return the cell that a column's name stands for, "" for none."""
    own = name.strip().casefold().replace(" ", "_")
    if own in titles():
        return own
    plain = _IN_BRACKETS.sub(" ", name.casefold().replace("*", "")).replace("%", " percent ")
    plain = " ".join(re.sub(r"[^\w]+", " ", plain.replace("_", " ")).split())
    number = _COAT_NUMBER.search(plain)
    for pattern, cell in _BY_NAME:
        found = re.fullmatch(pattern, plain) or re.fullmatch(pattern, _COAT_NUMBER.sub(" ", plain).strip())
        if found is None:
            continue
        if cell == "sigma_":
            return f"sigma_{found[2]}"
        return f"coat_{number[1] if number else 1}_{cell}" if cell in _OF_COAT else cell
    return ""


def _coats_from(cell: str) -> list[str]:
    return [cell.replace("coat_1_", f"coat_{number}_") for number in range(1, MOST_COATS + 1)]


def _unit(cell: str, name: str, filled: Sequence[str]) -> str:
    """Return the unit that a column is likely to be in."""
    offered, said = units_of(cell), name.casefold()
    if not offered:
        return ""
    numbers = [value for text in filled if (value := typed.number(text.strip("~≈%°CFcf "))) is not None]
    if cell.endswith("temp_c"):
        hot = 150.0 if "ambient" not in cell else 45.0
        told = re.search(r"°\s*f|\bf\b|fahrenheit", said)
        return FAHRENHEIT if told or (numbers and sorted(numbers)[len(numbers) // 2] > hot) else CELSIUS
    if cell == "made_at":
        dates = [found for text in filled if (found := _DATE.fullmatch(text))]
        if not dates or len(dates[0][1]) == 4:
            return ISO
        return MONTH_FIRST if any(int(date[2]) > 12 for date in dates) else DAY_FIRST
    if re.search(r"g\s*/\s*l|grams", said) and GRAMS in offered:
        return GRAMS
    if any(_RATIO.fullmatch(text) for text in filled) and PARTS in offered:
        return PARTS
    return PERCENT if "%" in said or "percent" in said or any(value > 1.0 for value in numbers) else offered[0]
