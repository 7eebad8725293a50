"""Rows under named columns become Samples: what CGATS text and CSV have in common.

Columns go by their names in CGATS.17 (LAB_L, XYZ_X, SPECTRAL_NM420, STDEV_L); a CSV's are turned into these first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matcher.colour.types import Floats
from matcher.errors import InstrumentFileError
from matcher.instrument.measured import Measured, Sample, best_sample
from matcher.instrument.munsell import munsell_reading
from matcher.instrument.written import illuminant_and_observer, wavelength_of
from matcher.typed import number

NAMES = ("SAMPLE_NAME", "SAMPLE_ID", "STRING")
PERCENT_ABOVE = 2.0
"""Reflectances that somewhere exceed this are percent: no surface reflects twice what a perfect white does."""


MOST_NOTATIONS = 200


@dataclass(frozen=True)
class Heading:
    """What a file says of all its rows. illuminant, observer: as written, or None."""

    illuminant: str | None = None
    observer: str | None = None
    with_gloss: bool = False


def samples_of_rows(columns: Sequence[str], rows: Sequence[Sequence[str]], heading: Heading) -> list[Sample]:
    """Return a Sample of every row (cells as text, as many as columns). Raises InstrumentFileError."""
    spectral = _spectral_columns(columns)
    scale = _spectral_scale(columns, rows, spectral)
    if "MUNSELL" in columns and len(rows) > MOST_NOTATIONS:
        raise InstrumentFileError(
            f"Give up to {MOST_NOTATIONS} Munsell notations in one file: they are slow to look up."
        )
    samples = []
    for place, cells in enumerate(rows, start=1):
        row = dict(zip(columns, cells, strict=True))
        name = next((row[key].strip() for key in NAMES if row.get(key, "").strip()), f"sample {place}")[:80]
        if notation := row.get("MUNSELL", "").strip():
            samples.append(Sample(name, munsell_reading(notation), f"Munsell {notation}"))
        else:
            samples.append(best_sample(name, _stated(name, row, cells, heading, spectral, scale)))
    return samples


def _stated(
    name: str,
    row: Mapping[str, str],
    cells: Sequence[str],
    heading: Heading,
    spectral: Sequence[tuple[float | int, int]],
    scale: float,
) -> list[Measured]:
    illuminant, observer = _conditions(row, heading)
    gloss, found = heading.with_gloss, []
    sigma = _triple(name, row, ("U_L", "U_A", "U_B"))
    if sigma is None and (one := _cell(name, row, "U")) is not None:
        sigma = np.full(3, one)
    lab = _triple(name, row, ("LAB_L", "LAB_A", "LAB_B"))
    if lab is None and (polar := _triple(name, row, ("LAB_L", "LAB_C", "LAB_H"))) is not None:
        hue = np.radians(polar[2])
        lab = np.array([polar[0], polar[1] * np.cos(hue), polar[1] * np.sin(hue)])
    if lab is not None:
        standard_deviation = _triple(name, row, ("STDEV_L", "STDEV_A", "STDEV_B"))
        found.append(Measured("lab", lab, None, illuminant, observer, sigma, standard_deviation, gloss))
    if (xyz := _triple(name, row, ("XYZ_X", "XYZ_Y", "XYZ_Z"))) is not None:
        standard_deviation = _triple(name, row, ("STDEV_X", "STDEV_Y", "STDEV_Z"))
        found.append(Measured("xyz", xyz, None, illuminant, observer, sigma, standard_deviation, gloss))
    pairs = [(_number(name, cells[at]) if isinstance(at, int) else at, _number(name, cells[k])) for at, k in spectral]
    known = np.array([(at, value) for at, value in pairs if at is not None and value is not None], dtype=float)
    if len(known):
        found.append(Measured("spectrum", known[:, 1] * scale, known[:, 0], sigma=sigma, with_gloss=gloss))
    return found


def _conditions(row: Mapping[str, str], heading: Heading) -> tuple[str | None, str | None]:
    """Return illuminant and observer as a row or else the file's heading says; "D65/10" says both."""
    illuminant = row.get("ILLUMINANT", "").strip() or heading.illuminant
    observer = row.get("OBSERVER", "").strip() or heading.observer
    if illuminant is not None:
        illuminant, also = illuminant_and_observer(illuminant)
        observer = observer or also
    return illuminant, observer


def _spectral_columns(columns: Sequence[str]) -> list[tuple[float | int, int]]:
    """Return (wavelength in nm, column), or (column of the wavelength, column) where each row states its own."""
    found: list[tuple[float | int, int]] = [
        (at, place) for place, column in enumerate(columns) if (at := wavelength_of(column)) is not None
    ]
    before: int | None = None
    for place, column in enumerate(columns):
        if column == "SPECTRAL_NM":
            before = place
        elif column in ("SPECTRAL_PCT", "SPECTRAL_DEC") and before is not None:
            found.append((before, place))
            before = None
    return found


def _spectral_scale(
    columns: Sequence[str], rows: Sequence[Sequence[str]], spectral: Sequence[tuple[float | int, int]]
) -> float:
    if any(columns[place].startswith("SPECTRAL_PCT") for _, place in spectral):
        return 0.01
    if any(columns[place].startswith("SPECTRAL_DEC") for _, place in spectral):
        return 1.0
    most = max((number(cells[place]) or 0.0 for cells in rows for _, place in spectral), default=0.0)
    return 0.01 if most > PERCENT_ABOVE else 1.0


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
