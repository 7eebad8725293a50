"""CSV from anywhere: a heading row, then one sample a row; comma, semicolon or tab between cells.

Lines above the heading row may say how the samples were measured. A spectrum written down the page is
known by its first column, and left to `down_the_page`.
"""

from __future__ import annotations

import csv
import re

from matcher.errors import InstrumentFileError
from matcher.instrument.choices import Row
from matcher.instrument.columns import Column, Heading, can_be_used, rows_stated
from matcher.instrument.down_the_page import WAVELENGTH_WORDS, is_down_the_page, rows_down_the_page
from matcher.instrument.written import column_said, refuse_other_space, refuse_unless_reflected, said_in, wavelength_of

_MEANINGS = {
    "LAB_L": ("l", "l*", "lab_l", "cie l", "cie l*", "lightness"),
    "LAB_A": ("a", "a*", "lab_a", "cie a", "cie a*"),
    "LAB_B": ("b", "b*", "lab_b", "cie b", "cie b*"),
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
    "LAB_C": ("c", "c*", "c*ab", "lab_c", "chroma"),
    "LAB_H": ("h", "h°", "hab", "h*ab", "lab_h", "hue", "hue angle"),
    "ANGLE": ("angle", "geometry", "measurement geometry", "mode", "specular", "specular component", "aspecular angle"),
    "CONDITION": ("condition", "m condition", "m-condition", "measurement condition"),
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
MOST_LINES_ABOVE = 60
"""How far down a heading row is looked for."""
_REFLECTANCE_PERCENT = re.compile(r"(?:reflect\w*|\bR\b)[^\n]{0,20}(?:%|percent)|%\s?R\b", re.IGNORECASE)


def rows_of(text: str, most: int) -> list[Row]:
    """Return what every row states. Raises InstrumentFileError."""
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    comments = [line for line in text.splitlines() if line.lstrip().startswith("#")]
    start, down = _start(lines)
    rows = _rows(lines[start:])
    above = "\n".join([*comments, *lines[:start]])
    refuse_unless_reflected(above)
    refuse_other_space("\n".join([above, *lines[start : start + 1]]))
    heading = Heading(in_words=said_in(above), white=100.0 if _REFLECTANCE_PERCENT.search(above) else None)
    if down:
        if len(rows[0]) - 1 > most:
            raise InstrumentFileError(_FEWER.format(most))
        return rows_down_the_page([rows[0], *_body(rows)], heading)
    columns = _columns(rows[0])
    body = _body(rows)
    if not body:
        raise InstrumentFileError("Export it again with samples: it holds none.")
    if len(body) > most:
        raise InstrumentFileError(_FEWER.format(most))
    return rows_stated(columns, body, heading)


def _start(lines: list[str]) -> tuple[int, bool]:
    """Return the line of the heading row, and whether spectra run down the page under it."""
    if not lines:
        raise InstrumentFileError(_HOW)
    for place, line in enumerate(lines[:MOST_LINES_ABOVE]):
        cells = _cells(line)
        if len(cells) > 1 and " ".join(_plain_words(cells[0])) in WAVELENGTH_WORDS and is_down_the_page([cells]):
            return place, True
        if can_be_used([column.title for column in _named(cells)]):
            return place, False
    for place in range(min(len(lines), MOST_LINES_ABOVE)):
        both = _rows(lines[place : place + 2])
        if len(both) == 2 and len(both[0]) == len(both[1]) == 2 and is_down_the_page(_rows(lines[place:])):
            return place, True
    return 0, is_down_the_page(_rows(lines))


def _plain_words(cell: str) -> list[str]:
    words = re.sub(r"[(\[].*?[)\]]", " ", cell).replace("_", " ").casefold().split()
    return [word for word in words if word != "nm"] or words


def _body(rows: list[list[str]]) -> list[list[str]]:
    """Return the rows under the first one, each as wide as that."""
    return [_fitted(row, len(rows[0]), place) for place, row in enumerate(rows[1:], start=2)]


def _delimiter(line: str) -> str:
    return max(";\t,", key=lambda mark: (line.count(mark), mark != ","))


def _cells(line: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=_delimiter(line)), [])
    except csv.Error:
        return []


def _rows(lines: list[str]) -> list[list[str]]:
    try:
        read = csv.reader(lines, delimiter=_delimiter(lines[0]))
        return [row for row in read if any(cell.strip() for cell in row)] or [[]]
    except csv.Error as error:
        raise InstrumentFileError(f"Export it again as CSV: its cells cannot be told apart ({error}).") from error


def _columns(heading: list[str]) -> list[Column]:
    """Return the columns by their names in CGATS.17; a column that means nothing here keeps its own."""
    columns = _named(heading)
    for naming in ("SAMPLE_NAME", "SAMPLE_ID"):  # of several columns that could name a sample the first one does
        columns = _once(columns, heading, naming)
    titles = [column.title for column in columns]
    if not can_be_used(titles):
        raise InstrumentFileError(_HOW)
    if not {"SAMPLE_NAME", "SAMPLE_ID"} & set(titles) and " ".join(_plain_words(heading[0])) in WAVELENGTH_WORDS:
        columns[0] = Column("SAMPLE_NAME")  # it heads the wavelengths beside it, and stands over the names
    twice = sorted({column.title for column in columns if columns.count(column) > 1 and column.title in _MEANINGS})
    if twice:
        raise InstrumentFileError(f"Name each column once: {twice[0].lower()} is there twice.")
    return columns


def _named(heading: list[str]) -> list[Column]:
    found = []
    for cell in heading:
        meaning = _meaning(cell)
        if meaning in _MEANINGS or wavelength_of(cell) is not None:
            found.append(Column(meaning))
            continue
        plain, said = column_said(cell)
        meaning = _meaning(plain)
        known = meaning in _MEANINGS or wavelength_of(plain) is not None
        found.append(Column(meaning, said) if known else Column(cell.strip()))
    return found


def _once(columns: list[Column], heading: list[str], meaning: str) -> list[Column]:
    """Let only the first column of a meaning keep it; the others keep what is written over them."""
    first = next((place for place, column in enumerate(columns) if column.title == meaning), -1)
    return [
        Column(cell.strip()) if column.title == meaning and place != first else column
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
