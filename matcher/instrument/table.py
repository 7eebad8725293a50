"""CSV from anywhere: a heading row, then one sample a row; comma, semicolon or tab between cells.

A spectrum written down the page is known by its first column, and left to `down_the_page`.
"""

from __future__ import annotations

import csv

from matcher.errors import InstrumentFileError
from matcher.instrument.columns import Heading, samples_of_rows
from matcher.instrument.down_the_page import is_down_the_page, samples_down_the_page
from matcher.instrument.measured import Sample
from matcher.instrument.written import wavelength_of

_MEANINGS = {
    "LAB_L": ("l", "l*", "lab_l", "cie l", "lightness"),
    "LAB_A": ("a", "a*", "lab_a", "cie a"),
    "LAB_B": ("b", "b*", "lab_b", "cie b"),
    "XYZ_X": ("x", "xyz_x"),
    "XYZ_Y": ("y", "xyz_y"),
    "XYZ_Z": ("z", "xyz_z"),
    "SAMPLE_NAME": (
        *(
            "name",
            "sample",
            "samples",
            "sample name",
            "sample_name",
            "label",
            "title",
            "description",
            "colour",
            "color",
        ),
        *("probe", "probes", "specimen", "swatch", "patch", "plate", "finish"),
    ),
    "SAMPLE_ID": ("id", "sample_id", "sample id", "sample no", "sample no.", "sample number", "number", "no", "no."),
    "ILLUMINANT": ("illuminant", "light", "illum", "light source"),
    "OBSERVER": ("observer", "observer angle"),
    "U": ("standard uncertainty", "standard_uncertainty", "u", "sigma"),
    "U_L": ("u_l", "u(l)", "u(l*)"),
    "U_A": ("u_a", "u(a)", "u(a*)"),
    "U_B": ("u_b", "u(b)", "u(b*)"),
    "MUNSELL": ("munsell", "munsell notation"),
}
_HOW = (
    "Give a heading row with L, a, b, or wavelengths in nm, or munsell, then one sample a row; "
    "or two columns, wavelength and reflectance."
)

_FEWER = "Export fewer samples: up to {} can be read."


def samples_of(text: str, most: int) -> tuple[Sample, ...]:
    """Return the sample of every row. Raises InstrumentFileError."""
    rows = _rows(text)
    if is_down_the_page(rows):
        if len(rows[0]) - 1 > most:
            raise InstrumentFileError(_FEWER.format(most))
        return samples_down_the_page([rows[0], *_body(rows)])
    columns = _columns(rows[0])
    body = _body(rows)
    if not body:
        raise InstrumentFileError("Export it again with samples: it holds none.")
    if len(body) > most:
        raise InstrumentFileError(_FEWER.format(most))
    return tuple(samples_of_rows(columns, body, Heading()))


def _body(rows: list[list[str]]) -> list[list[str]]:
    """Return the rows under the first one, each as wide as that."""
    return [_fitted(row, len(rows[0]), place) for place, row in enumerate(rows[1:], start=2)]


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
    for naming in ("SAMPLE_NAME", "SAMPLE_ID"):  # of several columns that could name a sample the first one does
        columns = _once(columns, heading, naming)
    known = set(columns)
    colours = ({"LAB_L", "LAB_A", "LAB_B"}, {"XYZ_X", "XYZ_Y", "XYZ_Z"}, {"MUNSELL"})
    spectral = sum(wavelength_of(cell) is not None for cell in heading)
    if not any(wanted <= known for wanted in colours) and spectral < 2:
        raise InstrumentFileError(_HOW)
    twice = sorted({column for column in columns if columns.count(column) > 1 and column in _MEANINGS})
    if twice:
        raise InstrumentFileError(f"Name each column once: {twice[0].lower()} is there twice.")
    return columns


def _once(columns: list[str], heading: list[str], meaning: str) -> list[str]:
    """Let only the first column of a meaning keep it; the others keep what is written over them."""
    first = columns.index(meaning) if meaning in columns else -1
    return [
        cell.strip() if column == meaning and place != first else column
        for place, (column, cell) in enumerate(zip(columns, heading, strict=True))
    ]


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
