"""A studio's own table of plates taken in: other names of columns, units and separators, mapped once by a person.

Any table is read, its heading found, its rows turned into the cells of `matcher.trials.spreadsheet`, and taken in as
that does it. What the columns mean is kept in the studio by the heading, and found again with the next table.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from matcher import typed
from matcher.errors import MatcherError, Misfit, StudioError
from matcher.files import read_whole
from matcher.notebook_columns import (
    DAY_FIRST,
    FAHRENHEIT,
    GRAMS,
    KEPT,
    LAB,
    MONTH_FIRST,
    ONE_IN,
    PARTS,
    PERCENT,
    Meanings,
    by_name,
    proposed,
    three,
    titles,
)
from matcher.recipe.fields import NOT_NOTED
from matcher.recipe.names import canonical
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import TableColumnsRow
from matcher.trials.archive import Imported
from matcher.trials.log import logged_uids, note_change
from matcher.trials.spreadsheet import row_of_cells, take_rows
from matcher.trials.stocks import Stock
from matcher.trials.trial import Trial

MAX_BYTES = 16 * 1024**2
HEADING_WITHIN = 40
"""Rows from the top among which the heading is looked for."""
MOST_COLUMNS = 200
EXAMPLES = 3
_NONE = frozenset({"", "?", "-", "–", "—", "n/a", "na", "unknown", "not noted", "none noted"})
_WORDS = {
    "full": 1.0, "neat": 1.0, "undiluted": 1.0, "half": 0.5, "quarter": 0.25, "three quarter": 0.75,
    "three-quarter": 0.75, "third": 1 / 3, "½": 0.5, "¼": 0.25, "¾": 0.75, "⅓": 1 / 3, "⅔": 2 / 3,
}  # fmt: skip
_RATIO = re.compile(r"(\d+(?:[.,]\d+)?)\s*[:/]\s*(\d+(?:[.,]\d+)?)")
_DATE = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{2}|\d{4})")
_ALSO_NOT_NOTED = {"undercoat": ("undercoat_burnish",), "seal": ("seal_coats",)}
"""Figures that go without saying in the tool's own table. One that is missing in another table was not noted."""


@dataclass(frozen=True)
class OwnTable:
    """A table as it stands. rows: each with its number in the file, the first being 1; cells as they are written."""

    name: str
    heading: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]

    @property
    def key(self) -> str:
        """What the meaning of its columns is remembered by."""
        said = "\n".join(" ".join(name.casefold().split()) for name in self.heading)
        return hashlib.sha256(said.encode()).hexdigest()

    def examples(self, at: int) -> list[str]:
        """Return the first different values of a column."""
        values = dict.fromkeys(cells[at].strip() for _, cells in self.rows if at < len(cells) and cells[at].strip())
        return list(values)[:EXAMPLES]

    def proposed(self) -> Meanings:
        """Return what the columns are likely to mean."""
        return proposed(self.heading, [cells for _, cells in self.rows])


def read_own_table(path: Path) -> OwnTable:
    """Read any table of text. Raises StudioError, saying what to do, for what is none."""
    try:
        content = read_whole(path, MAX_BYTES)
    except Misfit as misfit:
        raise StudioError(f"{path} {misfit}.") from misfit
    text = _decoded(content)
    if "\0" in text:
        raise StudioError(f"Save {path.name} as CSV: it is no table of text.")
    best: tuple[tuple[int, int], int, list[list[str]]] | None = None
    for delimiter in (";", "\t", ",", "|"):
        try:
            rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
        except csv.Error:
            continue
        at, score = _heading_of(rows)
        if best is None or score > best[0]:
            best = score, at, rows
    if best is None or best[0] < (0, 2):
        raise StudioError(f"Save {path.name} as CSV with a heading row: no columns are found in it.")
    _, at, rows = best
    width = max(len(row) for row in rows[at:])
    if width > MOST_COLUMNS:
        raise StudioError(f"Leave out columns of {path.name}: it has {width}, and {MOST_COLUMNS} can be taken in.")
    heading = _named([*rows[at], *[""] * (width - len(rows[at]))])
    body = tuple((number, tuple(row)) for number, row in enumerate(rows[at + 1 :], start=at + 2) if any(_filled(row)))
    if not body:
        raise StudioError(f"Put plates into {path.name}: there is nothing under its heading.")
    return OwnTable(path.name, heading, body)


def _decoded(content: bytes) -> str:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16", "replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", "replace")  # what older spreadsheets write


def _heading_of(rows: Sequence[Sequence[str]]) -> tuple[int, tuple[int, int]]:
    """Return which row is the heading, and how well it does: names that are known, and cells of text."""
    scored = [
        ((sum(bool(by_name(cell)) for cell in row), len(_filled(row))), -at)
        for at, row in enumerate(rows[:HEADING_WITHIN])
        if not any(typed.number(cell) is not None for cell in row if cell.strip())
    ]
    if not scored:
        return 0, (0, 0)
    score, at = max(scored)
    return -at, score


def _filled(row: Sequence[str]) -> list[str]:
    return [cell for cell in row if cell.strip()]


def _named(cells: Sequence[str]) -> tuple[str, ...]:
    """Return names for all columns, each another."""
    names: list[str] = []
    for at, cell in enumerate(cells, start=1):
        name = " ".join(cell.split())[:100] or f"Column {at}"
        names.append(name if name not in names else f"{name} ({at})")
    return tuple(names)


def plates_of(table: OwnTable, meanings: Meanings, stocks: Sequence[Stock]) -> Iterator[tuple[int, Trial | str | None]]:
    """Give each row with its number: a trial, what is wrong with it, or None for one that has no colour.

    A row's uid comes of the row as it is written, so that a table taken in again, with whatever meanings, adds
    nothing twice. Raises StudioError where the meanings cannot be.
    """
    meanings.checked()
    if len(meanings.uses) != len(table.heading):
        raise StudioError(f"Say what each of the {len(table.heading)} columns of {table.name} means.")
    alike = Counter[str]()
    for number, cells in table.rows:
        filled = [(name, cell.strip()) for name, cell in zip(table.heading, cells, strict=False) if cell.strip()]
        said = "\n".join(f"{name}={cell}" for name, cell in sorted(filled))  # an empty column more makes no other row
        alike[said] += 1
        uid = hashlib.sha256(f"{said}\n{alike[said]}".encode()).hexdigest()
        try:
            yield number, row_of_cells({**_cells(table.heading, cells, meanings, stocks), "uid": uid})
        except MatcherError as error:
            yield number, str(error)


def _cells(heading: Sequence[str], cells: Sequence[str], meanings: Meanings, stocks: Sequence[Stock]) -> dict[str, str]:
    """Return a row as the cells of the table of trials."""
    raw = {use.cell: (cell.strip(), use.unit) for use, cell in zip(meanings.uses, cells, strict=False) if use.cell}
    found: dict[str, str] = {}
    notes = _notes(heading, cells, meanings)
    raw = {cell: said for cell, said in raw.items() if cell not in (KEPT, "notes")}
    if (one := raw.pop(LAB, ("", ""))[0]).casefold() not in _NONE:
        raw |= {cell: (text, "") for cell, text in zip(("lab_l", "lab_a", "lab_b"), _colour(one), strict=True)}
    for cell, (text, unit) in raw.items():
        if text.casefold() not in _NONE:
            found[cell] = _value(cell, text, unit, raw, stocks, found)
    if meanings.alloy and "alloy" not in found:
        found["alloy"] = meanings.alloy
    if "undercoat" not in found:  # a nought beside no undercoat says that there was none
        found = {name: value for name, value in found.items() if not (name.startswith("undercoat_") and value == "0.0")}
    for part, figures in _ALSO_NOT_NOTED.items():
        if found.get(part, "").casefold() == "none":
            del found[part]
        for figure in figures:
            if part in found:
                found.setdefault(figure, NOT_NOTED)
    return {**found, "notes": notes} if notes else found


def _notes(heading: Sequence[str], cells: Sequence[str], meanings: Meanings) -> str:
    """Return a row's notes, and after them what is kept of other columns, each under its name."""
    filled = [
        (use.cell, name, cell.strip())
        for use, name, cell in zip(meanings.uses, heading, cells, strict=False)
        if cell.strip()
    ]
    own = [text for cell, _, text in filled if cell == "notes"]
    return "\n".join([*own, *(f"{name}: {text}" for cell, name, text in filled if cell == KEPT)])


def _colour(text: str) -> tuple[str, str, str]:
    found = three(text)
    if found is None:
        raise StudioError(f"Write L*, a* and b* as three numbers: {text!r} is not that.")
    return found


def _value(
    cell: str,
    text: str,
    unit: str,
    raw: Mapping[str, tuple[str, str]],
    stocks: Sequence[Stock],
    found: dict[str, str],
) -> str:
    """Return one cell in the units of the table of trials. Raises StudioError for what cannot be read."""
    if cell.endswith("strength_of_stock"):
        return _strength(cell, text, unit, raw, stocks, found)
    if cell.endswith("temp_c"):
        value, own = _figure(cell, text, r"(?:°|deg\w*\.?)?\s*[cf]?")
        fahrenheit = own[-1] == "f" if own[-1:] in ("c", "f") else unit == FAHRENHEIT
        return repr(round((value - 32) * 5 / 9, 2) if fahrenheit else value)
    if cell == "undercoat_burnish":
        value, own = _figure(cell, text, "%?")
        return repr(value / 100 if own == "%" or unit == PERCENT else value)
    if cell == "made_at":
        return _day(text, unit)
    if cell.startswith(("lab_", "sigma_")) or cell.endswith(("_passes", "seal_coats", "humidity_percent")):
        return repr(_figure(cell, text, r"(?:x|×|pass(?:es)?|coats?|layers?|times|sprays?|mists?|%(?: ?rh)?)?")[0])
    return text


def _figure(cell: str, text: str, unit: str) -> tuple[float, str]:
    """Return a number and the unit written after it, in small letters, one that ``unit`` (a pattern) allows."""
    found = re.fullmatch(rf"(?:[~≈]|ca\.?|about)?\s*([^\s%°a-z]+)\s*({unit})", text.casefold())
    value = None if found is None else typed.number(found[1])
    if found is None or value is None:
        raise StudioError(f"Write the {titles()[cell]} as one number: {text!r} is not one.")
    return value, found[2]


def _strength(
    cell: str,
    text: str,
    unit: str,
    raw: Mapping[str, tuple[str, str]],
    stocks: Sequence[Stock],
    found: dict[str, str],
) -> str:
    text = text.casefold().removesuffix("of stock").removesuffix("strength").strip(" -")
    if text in _WORDS:
        return repr(_WORDS[text])
    ratio = _RATIO.fullmatch(text)
    if ratio:
        one, other = (float(part.replace(",", ".")) for part in ratio.groups())
        if unit not in (PARTS, ONE_IN) or not one or not other:
            raise StudioError(
                f"Say how the {titles()[cell]} {text!r} is meant: parts to parts of water, or one in so many."
            )
        return repr(one / (one + other) if unit == PARTS else one / other)
    if share := re.fullmatch(r"1 in (\d+)", text):
        return repr(1 / max(int(share[1]), 1))
    value, own = _figure(cell, text, r"%|(?:g ?/ ?l)?")
    if own == "%" or unit == PERCENT:
        return repr(value / 100)
    if unit == GRAMS or own:
        prefix = cell.removesuffix("strength_of_stock")
        chemical = raw.get("undercoat" if prefix == "undercoat_" else f"{prefix}chemical", ("", ""))[0]
        known = [stock for stock in stocks if canonical(stock.chemical) == canonical(chemical or "?")]
        if len({stock.grams_per_litre for stock in known}) != 1:
            several = "several bottles of it differ" if known else "no bottle of it is on the shelf"
            raise StudioError(
                f"Write the {titles()[cell]} as a share of stock: of {text} g/L it can't be told, {several}."
            )
        found[f"{prefix}stock"] = known[-1].label
        return repr(round(value / known[-1].grams_per_litre, 6))
    if unit == ONE_IN and value >= 1:
        return repr(1 / value)
    return repr(value)


def _day(text: str, unit: str) -> str:
    parts = _DATE.fullmatch(text)
    if parts is None or unit not in (DAY_FIRST, MONTH_FIRST):
        return text
    day, month = (parts[1], parts[2]) if unit == DAY_FIRST else (parts[2], parts[1])
    year = parts[3] if len(parts[3]) == 4 else f"20{parts[3]}"
    return f"{year}-{int(month):02d}-{int(day):02d}"


class Notebooks:
    """The own tables of one studio: what their columns mean, and their plates taken in."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def remembered(self, table: OwnTable) -> Meanings | None:
        """Return what was said of a table with this heading before, or None."""
        with self._database.reading() as session:
            body = session.scalar(sa.select(TableColumnsRow.body).where(TableColumnsRow.uid == table.key))
        if body is None:
            return None
        meanings = Meanings.from_dict(body)
        return meanings if len(meanings.uses) == len(table.heading) else None

    def here_before(self, plates: Sequence[Trial]) -> int:
        """Return how many of a table's plates are in the log already."""
        with self._database.reading() as session:
            return len(logged_uids(session, [str(plate.uid) for plate in plates]))

    def take_in(
        self,
        table: OwnTable,
        meanings: Meanings,
        stocks: Sequence[Stock],
        skip_bad: bool = False,
        who: str = "",
    ) -> Imported:
        """Take in a table's plates, and remember what its columns mean.

        Raises RowProblems when a row cannot be taken in, and then takes in none; with ``skip_bad`` the good rows are
        taken in. Raises StudioError where the meanings cannot be.
        """
        brought = take_rows(self._database, plates_of(table, meanings, stocks), skip_bad, who)
        body = {**meanings.as_dict(), "heading": list(table.heading)}
        with self._database.writing() as session:
            said = session.scalar(sa.select(TableColumnsRow.body).where(TableColumnsRow.uid == table.key))
            if said is not None and said != body:
                note_change(session, "table", checked.file_name(table.name), {"columns": said}, {"columns": body}, who)
            session.execute(sa.delete(TableColumnsRow).where(TableColumnsRow.uid == table.key))
            session.execute(sa.insert(TableColumnsRow), [{"uid": table.key, "body": body}])
        return brought
