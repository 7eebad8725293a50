"""CSV from anywhere: a heading row, then one sample a row; comma, semicolon or tab between cells."""

from __future__ import annotations

import csv

from matcher.errors import InstrumentFileError
from matcher.targets_from.columns import Heading, samples_of_rows
from matcher.targets_from.measured import Sample
from matcher.targets_from.written import wavelength_of

_MEANINGS = {
    "LAB_L": ("l", "l*", "lab_l", "cie l", "lightness"),
    "LAB_A": ("a", "a*", "lab_a", "cie a"),
    "LAB_B": ("b", "b*", "lab_b", "cie b"),
    "XYZ_X": ("x", "xyz_x"),
    "XYZ_Y": ("y", "xyz_y"),
    "XYZ_Z": ("z", "xyz_z"),
    "SAMPLE_NAME": ("name", "sample", "sample name", "sample_name", "label", "colour", "color"),
    "SAMPLE_ID": ("id", "sample_id", "number", "no", "no."),
    "ILLUMINANT": ("illuminant", "light", "illum", "light source"),
    "OBSERVER": ("observer", "observer angle"),
    "U": ("standard uncertainty", "standard_uncertainty", "u", "sigma"),
    "U_L": ("u_l", "u(l)", "u(l*)"),
    "U_A": ("u_a", "u(a)", "u(a*)"),
    "U_B": ("u_b", "u(b)", "u(b*)"),
    "MUNSELL": ("munsell", "munsell notation"),
}
_HOW = "Give a heading row with L, a, b, or wavelengths in nm, or munsell, then one sample a row."


def samples_of(text: str, most: int) -> tuple[Sample, ...]:
    """Return the sample of every row. Raises InstrumentFileError."""
    rows = _rows(text)
    columns = _columns(rows[0])
    body = [_fitted(row, len(columns), place) for place, row in enumerate(rows[1:], start=2)]
    if not body:
        raise InstrumentFileError("Export it again with samples: it holds none.")
    if len(body) > most:
        raise InstrumentFileError(f"Export fewer samples: up to {most} can be read.")
    return tuple(samples_of_rows(columns, body, Heading()))


def _rows(text: str) -> list[list[str]]:
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        raise InstrumentFileError(_HOW)
    delimiter = max(";\t,", key=lambda mark: (lines[0].count(mark), mark != ","))
    try:
        return [row for row in csv.reader(lines, delimiter=delimiter) if any(cell.strip() for cell in row)] or [[]]
    except csv.Error as error:
        raise InstrumentFileError(f"Export it again as CSV: its cells cannot be told apart ({error}).") from error


def _columns(heading: list[str]) -> list[str]:
    """Return the columns' names in CGATS.17; a column that means nothing here keeps its own."""
    columns = [_meaning(cell) for cell in heading]
    known = set(columns)
    colours = ({"LAB_L", "LAB_A", "LAB_B"}, {"XYZ_X", "XYZ_Y", "XYZ_Z"}, {"MUNSELL"})
    spectral = sum(wavelength_of(cell) is not None for cell in heading)
    if not any(wanted <= known for wanted in colours) and spectral < 2:
        raise InstrumentFileError(_HOW)
    twice = sorted({column for column in columns if columns.count(column) > 1 and column in _MEANINGS})
    if twice:
        raise InstrumentFileError(f"Name each column once: {twice[0].lower()} is there twice.")
    return columns


def _meaning(cell: str) -> str:
    plain = " ".join(cell.strip().lower().split())
    return next((meaning for meaning, words in _MEANINGS.items() if plain in words), cell.strip())


def _fitted(row: list[str], width: int, place: int) -> list[str]:
    """Return a row's cells, blank ones added; more cells than columns is a row that cannot be trusted."""
    if any(cell.strip() for cell in row[width:]):
        raise InstrumentFileError(
            f"Check row {place}: it has more cells than the heading; between cells use semicolons or tabs "
            "when numbers have decimal commas."
        )
    return row[:width] + [""] * (width - len(row))
