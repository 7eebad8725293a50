"""A spectrum written down the page: wavelengths in the first column, the reflectance of one sample or more beside.

CSV's other shape; `table` hands its rows over before it looks for a sample in each.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from matcher.colour.types import Floats
from matcher.errors import InstrumentFileError
from matcher.instrument.choices import Row
from matcher.instrument.columns import Heading
from matcher.instrument.measured import Measured
from matcher.instrument.written import column_said, says_percent, wavelength_of
from matcher.typed import number

WAVELENGTH_WORDS = ("wavelength", "wavelengths", "wave length", "nm", "lambda", "λ", "wl", "wellenlänge")
REFLECTANCE_WORDS = ("reflectance", "reflectances", "reflectance factor", "reflection", "r", "refl", "value", "")
NOT_REFLECTANCE = ("absor", "transm", "density", "k/s", "count", "intensity", "radiance", "power")
NOT_REFLECTANCE_ALONE = ("t", "a", "abs", "od", "trans", "d")
RANGE_NM = (200.0, 2500.0)
_TELL = "Head the two columns wavelength (nm) and reflectance: it can't be told which is which."


def is_down_the_page(rows: Sequence[Sequence[str]]) -> bool:
    """Tell whether a table's rows (as text) are a spectrum down the page. Raises InstrumentFileError when unsure.

    They are when the first column is headed so, or when there are two columns of numbers, with or without a heading,
    and the first holds wavelengths in order. Two columns of other numbers under no heading could be anything.
    """
    if len(rows[0]) < 2:
        return False
    if _plain(rows[0][0]) in WAVELENGTH_WORDS:
        return sum(wavelength_of(cell) is not None for cell in rows[0][1:]) < 2  # else they run across
    body = rows if _numbers(rows[0]) is not None else rows[1:]
    pairs = [_numbers(row) for row in body]
    if len(rows[0]) != 2 or len(body) < 2 or any(pair is None for pair in pairs):
        return False
    first = np.array([pair[0] for pair in pairs if pair is not None])
    if _are_wavelengths(first):
        return True
    if body is rows:
        raise InstrumentFileError(_TELL)
    return False


def rows_down_the_page(rows: Sequence[Sequence[str]], about: Heading) -> list[Row]:
    """Return what each column after the first states, by its heading. Raises InstrumentFileError."""
    heading = [""] * len(rows[0]) if _numbers(rows[0]) is not None else [cell.strip() for cell in rows[0]]
    body = rows if heading == [""] * len(rows[0]) else rows[1:]
    wavelengths = [number(row[0]) for row in body]
    if not wavelengths or any(at is None or not RANGE_NM[0] <= at <= RANGE_NM[1] for at in wavelengths):
        raise InstrumentFileError("Give the wavelengths in nm, a number in every row of the first column.")
    return [
        _row(place, title, np.array(wavelengths, dtype=float), [row[place] for row in body], about)
        for place, title in enumerate(heading)
        if place > 0 and (title or any(row[place].strip() for row in body))
    ]


def _row(place: int, title: str, wavelengths_nm: Floats, cells: Sequence[str], about: Heading) -> Row:
    plain = _plain(title)
    name = (f"sample {place}" if plain in REFLECTANCE_WORDS else title)[:80]
    if plain in NOT_REFLECTANCE_ALONE or any(word in title.casefold() for word in NOT_REFLECTANCE):
        raise InstrumentFileError(f"Export reflectance: a column is headed {title[:40]!r}.")
    read = [None if cell.strip().lower() in ("nan", "-", "n/a") else number(cell) for cell in cells]
    for at, cell, value in zip(wavelengths_nm, cells, read, strict=True):
        if value is None and cell.strip().lower() not in ("", "nan", "-", "n/a"):
            raise InstrumentFileError(f"Write a number instead of {cell.strip()[:30]!r} at {at:g} nm.")
    measured = np.array([value is not None for value in read])
    values = np.array([value for value in read if value is not None])
    if not len(values):
        raise InstrumentFileError(f"Export reflectance: {name!r} has none.")
    said = column_said(title)[1].or_else(about.said).or_else(about.in_words)
    white = 100.0 if says_percent(title) else about.white
    spectrum = Measured(
        "spectrum", values, wavelengths_nm[measured], angle=said.angle, condition=said.condition, white=white
    )
    return Row(name, (spectrum,))


def _plain(title: str) -> str:
    """Return a heading without its unit: "Wavelength (nm)" and "wavelength_nm" are "wavelength", "%R" is "r"."""
    words = re.sub(r"[(\[].*?[)\]]", " ", title).replace("_", " ").replace("%", " ").casefold().split()
    unitless = [word for word in words if word not in ("nm", "pct", "percent")]
    return " ".join(unitless or words)


def _numbers(row: Sequence[str]) -> list[float] | None:
    found = [number(cell) for cell in row]
    return None if any(value is None for value in found) else [value for value in found if value is not None]


def _are_wavelengths(values: Floats) -> bool:
    steps = np.diff(values)
    inside = bool((values >= RANGE_NM[0]).all() and (values <= RANGE_NM[1]).all())
    return inside and bool((steps > 0).all() or (steps < 0).all())
