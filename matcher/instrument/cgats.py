"""CGATS.17 text, as ISO 28178 has it: keywords, a data format and data sets, several times over in one file."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from matcher.errors import InstrumentFileError
from matcher.instrument.choices import Row
from matcher.instrument.columns import Column, Heading, can_be_used, rows_stated
from matcher.instrument.written import (
    angle_of,
    column_said,
    illuminant_name,
    observer_name,
    refuse_unless_reflected,
    said_in,
)
from matcher.typed import number
from matcher.words import counted

_TOKEN = re.compile(r'"((?:[^"]|"")*)"|#.*|(\S+)')
_COMMENT = re.compile(r'"(?:[^"]|"")*"|#(.*)')
_DENSITY = re.compile(r"D_(?:RED|GREEN|BLUE|VIS|CMYK?_?\w*)|DENSITY.*")


@dataclass
class _Section:
    """One data set as it stands in the file.

    number_of_sets: as declared, or None. own: the light and the observer as its own keywords declare them. remarks:
    its own comments, and keywords that hold words.
    """

    columns: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    heading: Heading = field(default_factory=Heading)
    number_of_sets: int | None = None
    own: dict[str, str] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)


def is_cgats(text: str) -> bool:
    """Tell whether a text has the marks of the format."""
    return re.search(r"^\s*BEGIN_DATA\b", text, re.MULTILINE | re.IGNORECASE) is not None


def rows_of(text: str, most: int) -> list[Row]:
    """Return what the rows of all data sets that hold colour state. Raises InstrumentFileError."""
    found: list[Row] = []
    sections = _sections(text)
    if sum(len(section.lines) for section in sections) > 4 * most:
        raise InstrumentFileError(f"Export fewer samples: up to {most} can be read.")
    columns = [[_column(title) for title in section.columns] for section in sections]
    usable = [can_be_used([column.title for column in own]) or not own for own in columns]
    if not any(usable):
        _refuse_what_is_no_colour(sections)
    for section, own, use in zip(sections, columns, usable, strict=True):
        if not use and any(usable):
            continue  # a table of another kind, such as one of device values, beside those of colours
        rows = _rows(section)
        if section.number_of_sets not in (None, len(rows)):
            raise InstrumentFileError(
                f"Export it again: it declares {counted(section.number_of_sets, 'sample')} and holds {len(rows)}."
            )
        found += rows_stated(own, rows, section.heading)
    if not found:
        raise InstrumentFileError("Export it again with samples: it holds none.")
    if len(found) > most:
        raise InstrumentFileError(f"Export fewer samples: up to {most} can be read.")
    return found


def _column(title: str) -> Column:
    plain, said = column_said(title)
    return Column(plain.replace(" ", "_").upper(), said)


def _refuse_what_is_no_colour(sections: list[_Section]) -> None:
    titles = [title for section in sections for title in section.columns]
    held = "densities" if any(_DENSITY.fullmatch(title) for title in titles) else ", ".join(titles[:4]) or "nothing"
    raise InstrumentFileError(f"Export CIELAB, XYZ or reflectance: it holds {held[:80]} only.")


def _sections(text: str) -> list[_Section]:
    """Cut the file into data sets. What a later one does not declare anew holds from the one before."""
    found: list[_Section] = []
    current, inside = _Section(), ""
    for line in text.splitlines():
        if inside != "data":
            _take_comment(current, line)
        tokens = _tokens(line)
        first = tokens[0].upper() if tokens else ""
        if inside == "data" and first != "END_DATA":
            if tokens:
                current.lines.append(line)
        elif first == "END_DATA":
            if inside != "data":
                raise InstrumentFileError("Export it again: a data set ends that has not begun.")
            found.append(current)
            current, inside = _Section(current.columns, [], current.heading), ""
        elif first == "BEGIN_DATA":
            written = said_in("\n".join(current.remarks)).or_else(current.heading.in_words)
            current.heading, inside = replace(current.heading, in_words=written), "data"
        elif first == "BEGIN_DATA_FORMAT":
            current.columns, inside = [token.upper() for token in tokens[1:]], "format"
        elif first == "END_DATA_FORMAT":
            inside = ""
        elif inside == "format":
            current.columns += [token.upper() for token in tokens]
        elif tokens:
            _take_keyword(current, first, tokens[1:])
    if inside:
        raise InstrumentFileError("Export it again: it is cut short.")
    return found


def _take_comment(section: _Section, line: str) -> None:
    section.remarks += [found[1] for found in _COMMENT.finditer(line) if found[1]]


def _take_keyword(section: _Section, keyword: str, values: list[str]) -> None:
    value = " ".join(values).strip()
    if keyword == "WEIGHTING_FUNCTION":
        keyword, _, value = (part.strip() for part in value.partition(","))
        keyword = keyword.upper()
    said = section.heading.said
    if keyword in ("ILLUMINANT", "ILLUMINATION_NAME") and value:
        said = replace(said, illuminant=_once(section, "light", illuminant_name(value)))
    elif keyword in ("OBSERVER", "OBSERVER_ANGLE") and value:
        said = replace(said, observer=_once(section, "observer", observer_name(value)))
    elif keyword == "MEASUREMENT_GEOMETRY":
        said = replace(said, angle=angle_of(value))
    elif keyword in ("MEASUREMENT_SOURCE", "MEASUREMENT_CONDITION", "ILLUMINATION"):
        written = said_in(value)
        section.remarks += [value] if "=" in value else []  # without a name a light is the instrument's own lamp
        said = replace(said, condition=written.condition or said.condition, angle=written.angle or said.angle)
    elif keyword == "SPECTRAL_NORM":
        section.heading = replace(section.heading, white=_norm(value))
    elif keyword in ("MEASUREMENT_TYPE", "MEASUREMENT_MODE", "DEVICE_CLASS", "MODE"):
        refuse_unless_reflected(value)
    elif keyword == "NUMBER_OF_SETS" and (count := number(value)) is not None:
        section.number_of_sets = int(count)
    section.heading = replace(section.heading, said=said)


def _once(section: _Section, what: str, value: str) -> str:
    """Return a value, which no other keyword of the same data set may contradict."""
    before = section.own.setdefault(what, value)
    if before != value:
        raise InstrumentFileError(f"Export it with one {what}: it declares {before} and {value}.")
    return value


def _norm(value: str) -> float:
    """Return what SPECTRAL_NORM says a perfect white is."""
    white = number(value)
    if white is None or white not in (1.0, 100.0):
        raise InstrumentFileError(f"Export it with SPECTRAL_NORM 1 or 100: {value[:30]!r} is neither.")
    return white


def _rows(section: _Section) -> list[list[str]]:
    """Return the cells of every data set: a line each, or run on over lines; tabs may hold blank cells apart."""
    width = len(section.columns)
    if width == 0:
        raise InstrumentFileError("Export it again: its data format names no columns.")
    rows = [_fitted(line, width) for line in section.lines]
    whole = [row for row in rows if row is not None]
    if len(whole) == len(rows):
        return whole
    run_on = [token for line in section.lines for token in _tokens(line)]
    if len(run_on) % width:
        raise InstrumentFileError(f"Export it again: its rows do not fill the {width} columns that it names.")
    return [run_on[start : start + width] for start in range(0, len(run_on), width)]


def _fitted(line: str, width: int) -> list[str] | None:
    tokens = _tokens(line)
    if len(tokens) == width:
        return tokens
    cells = [cell.strip().strip('"') for cell in line.rstrip("\r\n").split("\t")]
    return cells if len(cells) == width else None


def _tokens(line: str) -> list[str]:
    """Return the words of a line; quotes hold words together, # starts a comment."""
    return [
        found[1].replace('""', '"') if found[1] is not None else found[2]
        for found in _TOKEN.finditer(line)
        if not found[0].startswith("#")
    ]
