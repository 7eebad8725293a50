"""Rows under named columns become what they state: what CGATS text and CSV have in common.

Columns go by their names in CGATS.17 (LAB_L, XYZ_X, SPECTRAL_NM420, STDEV_L); a CSV's are turned into these first.
What else a heading says ("M0_LAB_L", "L*(10/D65)", "SCE L*") sets the columns apart that belong together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matcher.colour.types import Floats
from matcher.errors import InstrumentFileError
from matcher.instrument.choices import Row
from matcher.instrument.measured import Measured, Sample
from matcher.instrument.munsell import munsell_reading
from matcher.instrument.written import (
    Said,
    angle_of,
    condition_of,
    illuminant_and_observer,
    says_percent,
    wavelength_of,
)
from matcher.typed import number

NAMES = ("SAMPLE_NAME", "SAMPLE_ID", "SAMPLEID", "STRING")
MOST_NOTATIONS = 200
SUMS_TO_ONE = 0.003
_NOTHING = Said()
_TRIPLES = (("LAB_L", "LAB_A", "LAB_B"), ("LAB_L", "LAB_C", "LAB_H"), ("XYZ_X", "XYZ_Y", "XYZ_Z"))
_COLOURS = {name for triple in _TRIPLES for name in triple} | {"MUNSELL"}


@dataclass(frozen=True)
class Column:
    """One column. title: its name in CGATS.17, or its own. said: what else its heading says."""

    title: str
    said: Said = _NOTHING


@dataclass(frozen=True)
class Heading:
    """What a file says of all its rows. in_words: what is said in comments and lines of text only.

    white: what reflectances are for a perfect white, None when that is not said.
    """

    said: Said = _NOTHING
    in_words: Said = _NOTHING
    white: float | None = None


@dataclass(frozen=True)
class _Group:
    """The columns that belong together, by title, and the spectral ones: (wavelength or its column, column)."""

    said: Said
    places: Mapping[str, int]
    spectral: Sequence[tuple[float | int, int]]
    white: float | None


def rows_stated(columns: Sequence[Column], rows: Sequence[Sequence[str]], heading: Heading) -> list[Row]:
    """Return what every row states (cells as text, as many as columns). Raises InstrumentFileError."""
    titles = [column.title for column in columns]
    if "MUNSELL" in titles and len(rows) > MOST_NOTATIONS:
        raise InstrumentFileError(
            f"Give up to {MOST_NOTATIONS} Munsell notations in one file: they are slow to look up."
        )
    _refuse_twice(columns)
    _refuse_chromaticities(titles, rows)
    groups = _groups(columns, heading)
    found = []
    for place, cells in enumerate(rows, start=1):
        row = dict(zip(titles, cells, strict=True))
        name = next((row[key].strip() for key in NAMES if row.get(key, "").strip()), f"sample {place}")[:80]
        if notation := row.get("MUNSELL", "").strip():
            found.append(Row(name, sample=Sample(name, munsell_reading(notation), f"Munsell {notation}")))
        else:
            stated = [one for group in groups for one in _stated(name, row, cells, heading, group)]
            found.append(Row(name, tuple(stated)))
            if not stated:
                raise InstrumentFileError(
                    f"Export CIELAB, XYZ or reflectance: {name!r} has none of them, or not all of one."
                )
    return found


def can_be_used(titles: Sequence[str]) -> bool:
    """Tell whether columns hold a colour."""
    known = set(titles)
    spectral = sum(wavelength_of(title) is not None for title in titles) + 2 * ("SPECTRAL_NM" in known)
    return "MUNSELL" in known or any(set(triple) <= known for triple in _TRIPLES) or spectral >= 2


def _refuse_twice(columns: Sequence[Column]) -> None:
    twice = {column.title for column in columns if column.title in _COLOURS and columns.count(column) > 1}
    if twice:
        raise InstrumentFileError(f"Name each column once: {min(twice)} is there twice.")


def _refuse_chromaticities(titles: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Refuse x, y, z that add up to 1 in every row: these are no XYZ."""
    places = [titles.index(title) for title in ("XYZ_X", "XYZ_Y", "XYZ_Z") if title in titles]
    sums = [sum(number(row[place]) or 0.0 for place in places) for row in rows]
    if len(places) == 3 and sums and all(abs(one - 1) < SUMS_TO_ONE for one in sums):
        raise InstrumentFileError("Export XYZ: these are chromaticities x, y, z, which say nothing of how light it is.")


def _groups(columns: Sequence[Column], heading: Heading) -> list[_Group]:
    groups = []
    for said in dict.fromkeys(column.said for column in columns):
        places = {column.title: place for place, column in enumerate(columns) if column.said == said}
        spectral = _spectral_columns(columns, said)
        titles = [columns[place].title for _, place in spectral]
        groups.append(_Group(said, places, spectral, _white(titles) or heading.white))
    return groups


def _white(titles: Sequence[str]) -> float | None:
    """Return what spectral columns' names say of a perfect white."""
    if any(title.upper().startswith("SPECTRAL_PCT") or says_percent(title) for title in titles):
        return 100.0
    return 1.0 if any(title.upper().startswith("SPECTRAL_DEC") for title in titles) else None


def _stated(name: str, row: Mapping[str, str], cells: Sequence[str], heading: Heading, group: _Group) -> list[Measured]:
    own = {title: cells[place] for title, place in group.places.items()}
    said = group.said.or_else(_said_of_row(row)).or_else(heading.said)
    light = said.or_else(heading.in_words)
    only_in_words = (light.illuminant, light.observer) != (said.illuminant, said.observer)
    sigma = _triple(name, row, ("U_L", "U_A", "U_B"))
    if sigma is None and (one := _cell(name, row, "U")) is not None:
        sigma = np.full(3, one)

    def measured(kind: str, values: Floats, spread: str, white: float | None) -> Measured:
        deviation = _triple(name, own, (f"STDEV_{spread[0]}", f"STDEV_{spread[1]}", f"STDEV_{spread[2]}"))
        return Measured(
            kind, values, None, light.illuminant, light.observer, sigma, deviation, light.angle, light.condition, white,
            only_in_words,
        )  # fmt: skip

    found = []
    lab = _triple(name, own, ("LAB_L", "LAB_A", "LAB_B"))
    if lab is None and (polar := _triple(name, own, ("LAB_L", "LAB_C", "LAB_H"))) is not None:
        hue = np.radians(polar[2])
        lab = np.array([polar[0], polar[1] * np.cos(hue), polar[1] * np.sin(hue)])
    if lab is not None:
        found.append(measured("lab", lab, "LAB", None))
    if (xyz := _triple(name, own, ("XYZ_X", "XYZ_Y", "XYZ_Z"))) is not None:
        found.append(measured("xyz", xyz, "XYZ", None))
    pairs = [
        (_number(name, cells[at]) if isinstance(at, int) else at, _number(name, cells[k])) for at, k in group.spectral
    ]
    known = np.array([(at, value) for at, value in pairs if at is not None and value is not None], dtype=float)
    if len(known):
        found.append(
            Measured(
                "spectrum", known[:, 1], known[:, 0], sigma=sigma, angle=light.angle, condition=light.condition,
                white=group.white,
            )
        )  # fmt: skip
    return found


def _said_of_row(row: Mapping[str, str]) -> Said:
    """Return what a row's own columns say; a light of "D65/10" says both."""
    illuminant, observer = row.get("ILLUMINANT", "").strip() or None, row.get("OBSERVER", "").strip() or None
    if illuminant is not None:
        illuminant, also = illuminant_and_observer(illuminant)
        observer = observer or also
    return Said(illuminant, observer, angle_of(row.get("ANGLE", "")), condition_of(row.get("CONDITION", "")))


def _spectral_columns(columns: Sequence[Column], said: Said) -> list[tuple[float | int, int]]:
    """Return (wavelength in nm, column), or (column of the wavelength, column) where each row states its own."""
    own = [(place, column.title) for place, column in enumerate(columns) if column.said == said]
    found: list[tuple[float | int, int]] = [
        (at, place) for place, title in own if (at := wavelength_of(title)) is not None
    ]
    before: int | None = None
    for place, title in own:
        if title == "SPECTRAL_NM":
            before = place
        elif title in ("SPECTRAL_PCT", "SPECTRAL_DEC") and before is not None:
            found.append((before, place))
            before = None
    return found


def _triple(name: str, row: Mapping[str, str], keys: tuple[str, str, str]) -> Floats | None:
    values = [_cell(name, row, key) for key in keys]
    return None if any(value is None for value in values) else np.array(values, dtype=float)


def _cell(name: str, row: Mapping[str, str], key: str) -> float | None:
    return _number(name, row.get(key, ""))


def _number(name: str, cell: str) -> float | None:
    """Return a cell's number, None where nothing was measured. Raises InstrumentFileError for anything else."""
    text = cell.strip()
    if text.lower() in ("", "-", "--", "---", "n/a", "na", "nan"):
        return None
    value = number(text)
    if value is None:
        raise InstrumentFileError(f"Write a number instead of {text[:30]!r} for {name!r}.")
    return value
