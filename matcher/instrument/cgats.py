"""CGATS.17 text, as ISO 28178 has it: keywords, a data format and data sets, several times over in one file."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from matcher.errors import InstrumentFileError
from matcher.instrument.columns import Heading, samples_of_rows
from matcher.instrument.measured import Sample
from matcher.typed import number
from matcher.words import counted

_TOKEN = re.compile(r'"((?:[^"]|"")*)"|#.*|(\S+)')
_GLOSS_IN = re.compile(r"\b(sci|spin|rsin|specular included|di[:/]\s?8|8[:/]\s?di)\b", re.IGNORECASE)


@dataclass
class _Section:
    """One data set as it stands in the file. number_of_sets: as declared, or None."""

    columns: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    heading: Heading = field(default_factory=Heading)
    number_of_sets: int | None = None


def is_cgats(text: str) -> bool:
    """Tell whether a text has the marks of the format."""
    return re.search(r"^\s*BEGIN_DATA\b", text, re.MULTILINE) is not None


def samples_of(text: str, most: int) -> tuple[Sample, ...]:
    """Return the samples of all data sets that hold colour. Raises InstrumentFileError."""
    samples: list[Sample] = []
    sections = _sections(text)
    if sum(len(section.lines) for section in sections) > 4 * most:
        raise InstrumentFileError(f"Export fewer samples: up to {most} can be read.")
    for section in sections:
        rows = _rows(section)
        if section.number_of_sets not in (None, len(rows)):
            raise InstrumentFileError(
                f"Export it again: it declares {counted(section.number_of_sets, 'sample')} and holds {len(rows)}."
            )
        samples += samples_of_rows(section.columns, rows, section.heading)
    if not samples:
        raise InstrumentFileError("Export it again with samples: it holds none.")
    if len(samples) > most:
        raise InstrumentFileError(f"Export fewer samples: up to {most} can be read.")
    return tuple(samples)


def _sections(text: str) -> list[_Section]:
    """Cut the file into data sets. What a later one does not declare anew holds from the one before."""
    found: list[_Section] = []
    current, inside = _Section(), ""
    for line in text.splitlines():
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
            inside = "data"
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


def _take_keyword(section: _Section, keyword: str, values: list[str]) -> None:
    value = " ".join(values).strip()
    if keyword == "WEIGHTING_FUNCTION":
        keyword, _, value = (part.strip() for part in value.partition(","))
        keyword = keyword.upper()
    if keyword in ("ILLUMINANT", "ILLUMINATION_NAME") and value:
        section.heading = replace(section.heading, illuminant=value)
    elif keyword in ("OBSERVER", "OBSERVER_ANGLE") and value:
        section.heading = replace(section.heading, observer=value)
    elif keyword == "MEASUREMENT_GEOMETRY":
        section.heading = replace(section.heading, with_gloss=bool(_GLOSS_IN.search(value)))
    elif keyword == "NUMBER_OF_SETS" and (count := number(value)) is not None:
        section.number_of_sets = int(count)


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
