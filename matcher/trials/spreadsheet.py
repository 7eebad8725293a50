"""Trials as a table for a spreadsheet (CSV), and logs kept by hand in one taken in.

One row is one trial. Columns, units in their names; ``alloy``, ``lab_l``, ``lab_a`` and ``lab_b`` are needed, all
others may be empty or left out:

    uid                            stays the same wherever a trial is carried to; leave it out of hand-kept logs
    made_at                        2025-03-31 or 2025-03-31T14:30 (without a zone: this machine's)
    made_by, piece, notes          free text
    alloy, surface                 "silicon bronze"; "sandblasted"
    undercoat                      chemical; empty when there was none
    undercoat_strength_of_stock    above 0 to 1; 0.5 is half strength
    undercoat_burnish              0 to 1
    undercoat_stock                label of a stock that the studio knows
    coat_1_chemical, coat_1_strength_of_stock, coat_1_passes, coat_1_surface_temp_c, coat_1_application, coat_1_stock
                                   the first coat; coat_2_… the second, and so on
    seal, seal_coats, seal_first_coat_hot          "wax"; 3; yes or no
    A figure of an undercoat, a coat or a seal that nobody noted is "?"; a strength, passes or a surface temperature
    may be empty too. An empty burnish is none, and an empty number of seal coats is one.
    lab_l, lab_a, lab_b            CIELAB of the finish, D50, 2 degrees
    sigma_l, sigma_a, sigma_b      their standard uncertainties; empty: an instrument's
    source                         "instrument", "photograph" or "typed"
    ambient_temp_c, ambient_humidity_percent
    set_aside                      the reason; empty when the trial counts
    number, target, photos         written for the reader, passed over on import

Cells are separated by commas, semicolons or tabs; with the last two a decimal comma is understood. A cell that a
spreadsheet would take for a formula is written with an apostrophe before it, and that is taken off again on import.
Stages, photographs and the rest of a reading travel only in the studio's own export.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from sqlalchemy.orm import Session

from matcher import typed
from matcher.dates import local, moment
from matcher.errors import MatcherError, Misfit, StudioError
from matcher.files import opened, whole_file
from matcher.reading.reading import Reading
from matcher.recipe.fields import COAT, METAL, NOT_NOTED, SEAL, UNDERCOAT, Field, Part
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.trials import rows
from matcher.trials.archive import Imported
from matcher.trials.fields import KEPT, NUMBER_CELL, PHOTOS_CELL, TYPED, PlateField
from matcher.trials.log import logged_uids, record_in
from matcher.trials.trial import Trial
from matcher.words import agreeing, counted

T = TypeVar("T")

MAX_CSV_BYTES = 64 * 1024**2
MAX_LINE_CHARACTERS = 1_000_000
_COATS_CELLS = tuple(field.cell for field in COAT)
_COLOUR = ("lab_l", "lab_a", "lab_b")
_METAL_AND_GROUND = tuple(field.cell for field in (*METAL, *UNDERCOAT))
_SEAL = tuple(field.cell for field in SEAL)
NEEDED = ("alloy", *_COLOUR)
PASSED_OVER = frozenset({NUMBER_CELL, PHOTOS_CELL, *(field.cell for field in TYPED if field.kind == "target")})
_BEFORE_COATS = (NUMBER_CELL, "uid", "made_at", "made_by", "piece", "target", *_METAL_AND_GROUND)
_AFTER_COATS = (
    *_SEAL, *_COLOUR, "sigma_l", "sigma_a", "sigma_b", "source",
    "ambient_temp_c", "ambient_humidity_percent", "notes", "set_aside", PHOTOS_CELL,
)  # fmt: skip
_MEASURED = (*_COLOUR, "sigma_l", "sigma_a", "sigma_b", "source")
_PLANNED_BEFORE = (NUMBER_CELL, "piece", *_METAL_AND_GROUND)
_PLANNED_AFTER = (*_SEAL, *_COLOUR, "notes")
_COAT_COLUMN = re.compile(r"coat_([1-9]|[1-9][0-9])_(" + "|".join(_COATS_CELLS) + ")")
_FORMULA = re.compile(r"'*[=+\-@\t\r]")
_TAKEN_OFF = re.compile(r"'+[=+\-@\t\r]")
_SHOWN_PROBLEMS = 10
_KEPT_PROBLEMS = 1000
_PORTION = 500
"""Rows recorded at once: few enough to need little memory, and enough to need few queries."""


class TableProblem(StudioError):
    """A table that cannot be taken in; all of what is wrong is shown."""

    longest = 4000


class RowProblems(TableProblem):
    """Rows of a table that cannot be taken in; ``problems`` holds one sentence for each, with its row number."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        shown = " ".join(self.problems[:_SHOWN_PROBLEMS])
        more = f" And {len(self.problems) - _SHOWN_PROBLEMS} more." if len(self.problems) > _SHOWN_PROBLEMS else ""
        super().__init__(f"Nothing was taken in; put these rows right, or leave them out: {shown}{more}")


def export_table(
    trials: Iterable[Trial], path: Path, target_names: Mapping[int | None, str], overwrite: bool = False
) -> int:
    """Write ``trials`` as CSV (UTF-8 with its mark, as spreadsheets expect). Returns how many. Raises StudioError."""
    trials = list(trials)
    coats = _most_coats([trial.recipe for trial in trials])
    with whole_file(path, overwrite) as temporary, temporary.open("w", encoding="utf-8-sig", newline="") as file:
        table = csv.DictWriter(file, columns(coats))
        table.writeheader()
        for trial in trials:
            cells = _cells(trial, target_names)
            table.writerow({name: _safe(value) for name, value in cells.items()})
    return len(trials)


def planned_table(recipes: Sequence[Recipe], notes: Sequence[str]) -> bytes:
    """Return plates still to be made as CSV, numbered from 1, each with a note.

    Its columns are those of ``import_table``: with the colours filled in, it is taken in as trials.
    """
    stream = io.StringIO(newline="")
    table = csv.DictWriter(stream, [*_PLANNED_BEFORE, *_coat_columns(_most_coats(recipes)), *_PLANNED_AFTER])
    table.writeheader()
    for number, (recipe, note) in enumerate(zip(recipes, notes, strict=True), start=1):
        cells = {"number": number, **_recipe_cells(recipe), "notes": note}
        table.writerow({name: _safe(value) for name, value in cells.items()})
    return stream.getvalue().encode("utf-8-sig")


def import_table(database: Database, path: Path, skip_bad: bool = False, who: str = "") -> Imported:
    """Take in a table of trials; those logged before stay as they are.

    Raises RowProblems when a row cannot be taken in, and then takes in none; with ``skip_bad`` the good rows are
    taken in and the bad ones reported. Raises StudioError when the table as a whole cannot be read.
    """
    with opened_table(path) as found:
        return take_rows(database, found, skip_bad, who)


def take_rows(
    database: Database, found: Iterable[tuple[int, Trial | str | None]], skip_bad: bool = False, who: str = ""
) -> Imported:
    """Take in numbered rows, each a trial, what is wrong with it, or None for one that has no colour yet.

    Raises as ``import_table`` does.
    """
    table = _Taken(skip_bad)
    with database.writing() as session:
        for portion in _portions(found):
            table.take(session, portion, who)
        if table.problems and not skip_bad:
            raise RowProblems(table.sentences())
    return Imported(
        table.new,
        trials_here_before=table.here_before,
        unfilled=table.unfilled,
        problems=tuple(table.sentences()),
    )


class _Taken:
    """What has been taken in of a table so far. Only this grows with the table: its rows come in portions."""

    def __init__(self, skip_bad: bool) -> None:
        self.skip_bad = skip_bad
        self.new = self.here_before = self.unfilled = self.untold = 0
        self.problems: list[tuple[int, str]] = []
        self._own: set[str] = set()

    def take(self, session: Session, portion: Sequence[tuple[int, Trial | str | None]], who: str) -> None:
        """Record a portion of rows, each a trial, what is wrong with it, or None for one that waits for its plate."""
        bad = [(row, given) for row, given in portion if isinstance(given, str)]
        good = [(row, given) for row, given in portion if isinstance(given, Trial)]
        self.unfilled += len(portion) - len(bad) - len(good)
        known = logged_uids(session, [str(trial.uid) for _, trial in good]) - self._own
        new = [(row, trial) for row, trial in good if trial.uid not in known]
        refused = _record(session, new, who)
        self._own.update(str(trial.uid) for _, trial in new)
        self.new += len(new) - len(refused)
        self.here_before += len(good) - len(new)
        room = _KEPT_PROBLEMS - len(self.problems)
        found = sorted([*bad, *refused])
        self.problems += found[:room]
        self.untold += len(found[room:])
        if self.untold and not self.skip_bad:
            raise RowProblems(self.sentences())  # the rest of such a table would say no more

    def sentences(self) -> list[str]:
        """Return one sentence for each row that is left out, and one for those beyond what anybody reads."""
        more = [f"And {counted(self.untold, 'more row')} cannot be taken in."] if self.untold else []
        return [*(f"Row {row}: {message}" for row, message in self.problems), *more]


def _record(session: Session, numbered: list[tuple[int, Trial]], who: str) -> list[tuple[int, str]]:
    """Record the trials at once; when the log refuses one, each by itself, to learn which. Returns those refused."""
    try:
        with session.begin_nested():
            record_in(session, [trial for _, trial in numbered], who, what="imported")
        return []
    except MatcherError as error:
        if len(numbered) == 1:
            return [(numbered[0][0], str(error))]
    return [refused for pair in numbered for refused in _record(session, [pair], who)]


@contextmanager
def opened_table(path: Path) -> Iterator[Iterator[tuple[int, Trial | str | None]]]:
    """Give a table's filled rows one by one: its number, the heading's being 1, and its trial or what is wrong with it.

    None stands for a row that waits: it says what is to be done, and no colour yet.
    Raises StudioError, here or on the way, when the table as a whole cannot be read.
    """
    with _rows_of(path) as (heading, body):
        yield _trials(heading, body, path.name)


def _trials(heading: _Heading, body: Iterable[list[str]], name: str) -> Iterator[tuple[int, Trial | str | None]]:
    names = [_as_named(cell) for cell in heading.cells]
    _check_heading(names, name)
    decimal_comma = heading.delimiter != ","
    alike = Counter[bytes]()
    for at, cells in enumerate(body, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        try:
            named = _named(names, cells)
            yield at, None if _is_planned(named) else _trial(named, decimal_comma, alike)
        except MatcherError as error:
            yield at, str(error)


def row_of_cells(cells: Mapping[str, str]) -> Trial | None:
    """Return the trial that named cells say, numbers with a point; None for one that has no colour yet.

    Raises MatcherError for what cannot be.
    """
    filled = {name: value for name, value in cells.items() if value}
    return None if _is_planned(filled) else _trial(filled, False, Counter())


def is_own_table(path: Path) -> bool:
    """Tell whether a table has the columns of this module. Raises StudioError where it cannot be read at all."""
    with _rows_of(path) as (heading, _):
        names = [_as_named(cell) for cell in heading.cells]
    return set(NEEDED) <= set(names) and all(_is_known(name) for name in names)


def _as_named(cell: str) -> str:
    return cell.strip().casefold().replace(" ", "_")


def _is_known(name: str) -> bool:
    return not name or name in _BEFORE_COATS or name in _AFTER_COATS or bool(_COAT_COLUMN.fullmatch(name))


def _portions(found: Iterable[T]) -> Iterator[list[T]]:
    them = iter(found)
    while portion := list(islice(them, _PORTION)):
        yield portion


def waiting_in_words(rows: int) -> str:
    """Say that rows of a table were passed over because their plates are not made yet."""
    return f"{counted(rows, 'row')} {agreeing(rows, 'has', 'have')} no colour yet: passed over until the plate is made."


def columns(coats: int) -> list[str]:
    """Return the names of all columns of a table whose trials have up to ``coats`` coats."""
    return [*_BEFORE_COATS, *_coat_columns(coats), *_AFTER_COATS]


def _coat_columns(coats: int) -> list[str]:
    return [f"coat_{number}_{name}" for number in range(1, coats + 1) for name in _COATS_CELLS]


# Writing


def _most_coats(recipes: Sequence[Recipe]) -> int:
    return max((len(recipe.coats) for recipe in recipes), default=1) or 1


def _cells(trial: Trial, target_names: Mapping[int | None, str]) -> dict[str, Any]:
    sigmas = np.sqrt(np.diag(trial.reading.covariance)).tolist()
    cells: dict[str, Any] = {field.cell: getattr(trial, field.name) for field in (*TYPED, *KEPT)}
    cells |= {
        NUMBER_CELL: trial.id,
        "made_at": local(trial.made_at).isoformat(),
        "target": target_names.get(trial.target_id, ""),
        "source": trial.reading.source,
        PHOTOS_CELL: " ".join(trial.photos),
    }
    for axis, value, sigma in zip("lab", trial.reading.lab.tolist(), sigmas, strict=True):
        cells |= {f"lab_{axis}": value, f"sigma_{axis}": sigma}
    return cells | _recipe_cells(trial.recipe)


def _recipe_cells(recipe: Recipe) -> dict[str, Any]:
    cells = _part_cells(METAL, recipe) | _part_cells(UNDERCOAT, recipe.undercoat) | _part_cells(SEAL, recipe.seal)
    for number, coat in enumerate(recipe.coats, start=1):
        cells |= _part_cells(COAT, coat, f"coat_{number}_")
    return cells


def _part_cells(part: Part, value: object | None, prefix: str = "") -> dict[str, Any]:
    return {} if value is None else {prefix + field.cell: _cell(field, getattr(value, field.name)) for field in part}


def _cell(field: Field, value: Any) -> Any:
    if field.unknown and value is None:
        return NOT_NOTED
    return ("yes" if value else "no") if field.kind == "yes or no" else value


def _safe(value: object) -> object:
    """Keep a spreadsheet from taking text for a formula; numbers stay numbers."""
    return f"'{value}" if isinstance(value, str) and _FORMULA.match(value) else value


# Reading


@dataclass(frozen=True)
class _Heading:
    cells: list[str]
    delimiter: str


@contextmanager
def _rows_of(path: Path) -> Iterator[tuple[_Heading, Iterator[list[str]]]]:
    """Open a table; give its heading and its further rows, which are read one by one. Raises StudioError."""
    name = path.name
    try:
        with opened(path) as file:
            if os.fstat(file.fileno()).st_size > MAX_CSV_BYTES:
                raise StudioError(f"{name} is over {MAX_CSV_BYTES // 1024**2} MB: import it in parts.")
            marked = file.read(2) in (b"\xff\xfe", b"\xfe\xff")
            file.seek(0)
            lines = _lines(io.TextIOWrapper(file, "utf-16" if marked else "utf-8-sig", newline=""), name)
            first = next((line for line in lines if line.strip()), "").lstrip()
            if not first:
                raise StudioError(f"{name} is empty: its first row must hold the names of the columns.")
            delimiter = max(",;\t", key=first.count)
            table = csv.reader(chain([first], lines), delimiter=delimiter, strict=True)
            yield _Heading(next(table), delimiter), table
    except Misfit as misfit:
        raise StudioError(f"{path} {misfit}.") from misfit
    except UnicodeError as error:
        raise StudioError(f"Save {name} as CSV in UTF-8: it is in another encoding, or no table.") from error
    except csv.Error as error:
        raise StudioError(f"{name} is not a whole table ({error}): save it as CSV again.") from error


def _lines(stream: io.TextIOWrapper, name: str) -> Iterator[str]:
    while line := stream.readline(MAX_LINE_CHARACTERS + 1):
        if len(line) > MAX_LINE_CHARACTERS:
            raise StudioError(f"Save {name} as CSV again: a line of it has over {MAX_LINE_CHARACTERS} characters.")
        if "\0" in line:
            raise StudioError(f"Save {name} as CSV in UTF-8: it is no table of text.")
        yield line


def _check_heading(names: Sequence[str], name: str) -> None:
    twice = [column for column, count in Counter(names).items() if count > 1 and column]
    if twice:
        raise StudioError(f"Name each column of {name} once: {twice[0]!r} is there twice.")
    strange = [column for column in names if not _is_known(column)]
    if strange:
        raise TableProblem(
            f"Rename or remove the column {strange[0]!r} of {name}, or say what the columns of your own table mean."
        )
    lacking = [column for column in NEEDED if column not in names]
    if lacking:
        raise StudioError(f"Add the column {lacking[0]!r} to {name}: {', '.join(NEEDED)} are needed.")


def _named(names: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    if any(cell.strip() for cell in cells[len(names) :]):
        raise StudioError(f"Check the separators: there are {len(cells)} cells under {len(names)} column names.")
    named = {name: _plain(cell) for name, cell in zip(names, cells, strict=False) if name not in PASSED_OVER}
    if any(value for name, value in named.items() if not name):
        raise StudioError("Name the column of every filled cell: one here has none.")
    return {name: value for name, value in named.items() if value}


def _is_planned(cells: Mapping[str, str]) -> bool:
    """Tell whether a row holds a recipe whose plate is still to be made: nothing was measured of it."""
    return "alloy" in cells and not any(name in cells for name in _MEASURED)


def _plain(cell: str) -> str:
    """Take off the apostrophe that keeps a formula from being one."""
    return (cell[1:] if _TAKEN_OFF.match(cell) else cell).strip(" \n")


def _trial(cells: Mapping[str, str], decimal_comma: bool, alike: Counter[bytes]) -> Trial:
    def number(name: str, default: float | None = None) -> float:
        text = cells.get(name)
        if text is None and default is not None:
            return default
        return _number(text, name, decimal_comma)

    options = {
        field.name: _noted(field, cells[field.cell], number)
        for field in (*TYPED, *KEPT)
        if field.cell in cells and field.kind != "uid"
    }
    trial = Trial(_recipe(cells, number), _reading(cells, number), uid=_uid(cells, alike), **options)
    rows.trial_values(trial)
    return trial


def _noted(field: PlateField, text: str, number: Callable[..., float]) -> Any:
    if field.kind == "moment":
        return moment(text)
    return number(field.cell) if field.kind == "number" else text


def _recipe(cells: Mapping[str, str], number: Callable[..., float]) -> Recipe:
    undercoat = seal = None
    if UNDERCOAT.first.cell in cells:
        undercoat = Undercoat(**_values(UNDERCOAT, cells, number))
    elif any(field.cell in cells for field in UNDERCOAT):
        raise StudioError("Name the chemical in the column 'undercoat', or empty the undercoat's other cells.")
    if SEAL.first.cell in cells:
        seal = Seal(**_values(SEAL, cells, number))
    metal = _values(METAL, cells, number)
    return Recipe(**metal, undercoat=undercoat, coats=_coats(cells, number), seal=seal)


def _coats(cells: Mapping[str, str], number: Callable[..., float]) -> tuple[Coat, ...]:
    matches = [match for match in map(_COAT_COLUMN.fullmatch, cells) if match]
    used = sorted({int(match[1]) for match in matches})
    if used != list(range(1, len(used) + 1)):
        raise StudioError("Number the coats from 1 without a gap.")
    return tuple(Coat(**_values(COAT, cells, number, f"coat_{at}_")) for at in used)


def _values(part: Part, cells: Mapping[str, str], number: Callable[..., float], prefix: str = "") -> dict[str, Any]:
    """Return the fields of a part of a recipe from its cells; one that may be left out is, where its cell is empty.

    Of the others, a figure with an empty cell was not noted.
    """
    values: dict[str, Any] = {}
    for field in part:
        cell = prefix + field.cell
        if cell not in cells and field.optional:
            continue
        if field.unknown and cells.get(cell, NOT_NOTED) == NOT_NOTED:
            values[field.name] = None
        elif field.kind in ("name", "label"):
            values[field.name] = cells.get(cell, "")
        else:
            values[field.name] = _yes(cells[cell]) if field.kind == "yes or no" else number(cell)
    return values


def _reading(cells: Mapping[str, str], number: Callable[..., float]) -> Reading:
    lab = np.array([number(f"lab_{axis}") for axis in "lab"])
    options: dict[str, Any] = {"source": cells["source"]} if "source" in cells else {}
    given = [axis for axis in "lab" if f"sigma_{axis}" in cells]
    if given:
        options["covariance"] = np.diag(
            [checked.number(number(f"sigma_{axis}"), f"sigma_{axis}", 0, 100) ** 2 for axis in "lab"]
        )
    return Reading(lab, **options)


def _number(text: str | None, name: str, decimal_comma: bool) -> float:
    if text is None:
        raise StudioError(f"Fill in {name!r}: it is empty.")
    value = typed.number(text, comma=decimal_comma)
    if value is None:
        raise StudioError(f"Give {name!r} as a number: {text!r} is not one.")
    return value


def _yes(text: str) -> bool:
    answer = text.casefold()
    if answer not in ("yes", "no", "true", "false", "1", "0", "hot", "cold"):
        raise StudioError(f"Answer 'seal_first_coat_hot' with yes or no: {text!r} is neither.")
    return answer in ("yes", "true", "1", "hot")


def _uid(cells: Mapping[str, str], alike: Counter[bytes]) -> str:
    """Return the row's uid; without one, a hash of what it says, so that the same log taken in twice counts once.

    Rows that say the very same are different plates: the second gets another uid than the first.
    """
    if "uid" in cells:
        return cells["uid"]
    said = "\n".join(f"{name}={value}" for name, value in sorted(cells.items()))
    key = hashlib.sha256(said.encode()).digest()  # in place of what it says: there may be a million rows
    alike[key] += 1
    return hashlib.sha256(f"{said}\n{alike[key]}".encode()).hexdigest()
