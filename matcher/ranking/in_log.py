"""The plates of a log nearest to a colour, exactly, without loading the log: one door, two stores under it.

On PostgreSQL an index of nearly uniform coordinates gives plates that are near; the farthest of them says within
which ΔE00 the list must lie, and `bound` where all such plates are, which the same index then gives. In a SQLite
file the colours alone are read, and ranked in memory by `nearest`.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

import numpy as np
import sqlalchemy as sa
from numpy.typing import ArrayLike
from sqlalchemy.orm import InstrumentedAttribute, Session

from matcher.colour.cielab import checked_lab
from matcher.colour.difference import delta_e_2000, near_uniform
from matcher.colour.types import Floats, Indices
from matcher.errors import SuggestionError
from matcher.ranking.bound import Within, within
from matcher.ranking.colour_index import POINT, NoIndex, colour_index
from matcher.ranking.nearest import nearest
from matcher.recipe.names import canonical
from matcher.storage.database import Database
from matcher.storage.schema import CoatRow, PlateColourRow, StudioRow, TrialRow
from matcher.trials.log import TrialLog
from matcher.trials.trial import Trial

FIRST, FIRST_EACH, FARTHER = 64, 4, (2_000, 20_000)
"""Plates that are looked at first, and how many more for each that is asked for; then, where too few of them have what
is asked for."""
MOST, PORTION = 10_000, 500
_LEAST = 1e-9
_TABLE = PlateColourRow.__table__

By = Literal["memory", "index", "scan"]


@dataclass(frozen=True)
class Among:
    """Which plates are ranked: those that count, and of them those with all that is said here.

    alloy, chemical (of a coat): by any way of writing the name. made_since: a moment. set_aside: whether those that no
    longer count are ranked too.
    """

    alloy: str | None = None
    chemical: str | None = None
    made_since: datetime | None = None
    set_aside: bool = False


ALL = Among()


@dataclass(frozen=True, eq=False)
class Ranked:
    """Plates by their ΔE00 to a colour, the nearest first, ties by number.

    numbers: (n,) of the plates. delta_e00: (n,). compared: how many plates the formula itself was worked out for.
    by: how they were found: by an index, by a scan of all colours, or in memory. why_no_index: a sentence, where
    PostgreSQL has no index of colours; "" else.
    """

    numbers: tuple[int, ...]
    delta_e00: Floats
    compared: int
    by: By
    why_no_index: str = ""


@dataclass(frozen=True, eq=False)
class NearPlates:
    """Plates by their ΔE00 to a colour, the nearest first. delta_e00: (n,). how: what ranked them."""

    trials: tuple[Trial, ...]
    delta_e00: Floats
    how: Ranked


class NearestPlates:
    """Ranks the plates of one log, by their colours as logged; may be used by several threads."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self._lock = threading.Lock()
        self._kept: tuple[int, Indices, Floats] | None = None
        self._index: NoIndex | None = None

    def rank(self, target: ArrayLike, count: int, among: Among = ALL) -> Ranked:
        """Return the ``count`` plates nearest to a target (3,) CIELAB: the list of comparing it with every one.

        Raises ReadingError for no colour, SuggestionError for a count that is none, or a name that no plate has.
        """
        goal = checked_lab(target)
        if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MOST:
            raise SuggestionError(f"Ask for 1 to {MOST:,} plates: {count!r} is not that.")
        if self.database.is_sqlite:
            return self._in_memory(goal, count, among)
        if self._index is None:
            self._index = colour_index(self.database)
        with self.database.reading() as session:
            session.execute(sa.text("SET LOCAL jit = off"))  # compiling takes longer than any of these queries
            if self._index.why:
                found = _ranked(goal, *_colours(session, among)[1:], count, "scan")
                return Ranked(found.numbers, found.delta_e00, found.compared, "scan", self._index.why)
            return _by_index(session, goal, count, among)

    def plates(self, target: ArrayLike, count: int, among: Among = ALL) -> NearPlates:
        """Return the ``count`` plates nearest to a target themselves; one that is damaged in the log is left out.

        Raises as ``rank`` does.
        """
        asked = count
        while True:
            how = self.rank(target, asked, among)
            log = TrialLog(self.database)
            trials = [
                trial
                for start in range(0, len(how.numbers), PORTION)
                for trial in log.some(how.numbers[start : start + PORTION])
            ]
            damaged = len(how.numbers) - len(trials)
            if len(trials) >= count or len(how.numbers) < asked or asked >= MOST or not damaged:
                break
            asked = min(MOST, count + damaged)
        read = {trial.id for trial in trials}
        delta = how.delta_e00[[number in read for number in how.numbers]]
        return NearPlates(tuple(trials[:count]), delta[:count], how)

    def _in_memory(self, goal: Floats, count: int, among: Among) -> Ranked:
        with self.database.reading() as session:
            if among == ALL:
                numbers, labs = self._all(session)
            else:
                _, numbers, labs = _colours(session, among)
        return _ranked(goal, numbers, labs, count, "memory")

    def _all(self, session: Session) -> tuple[Indices, Floats]:
        """Return the colours of all plates that count, read anew only when the log has changed."""
        revision = session.scalars(sa.select(StudioRow.trials_revision)).one()
        with self._lock:
            if self._kept is None or self._kept[0] != revision:
                self._kept = (revision, *_colours(session, ALL)[1:])
            return self._kept[1:]


def _ranked(goal: Floats, numbers: Indices, labs: Floats, count: int, by: By) -> Ranked:
    rows, delta = nearest(goal, labs, count)
    return Ranked(tuple(numbers[rows].tolist()), delta, len(labs), by)


def _by_index(session: Session, goal: Floats, count: int, among: Among) -> Ranked:
    """Rank by the index: some plates that are near give a ΔE00, and `bound` all that may be within it.

    Each time the index is asked first and what is asked for after it, since PostgreSQL cannot tell which of the two
    leaves fewer; where what is asked for lies elsewhere in colour, all that has it is read.
    """
    by_distance = sa.select(_TABLE).order_by(POINT.op("<->")(sa.func.cube(_array(near_uniform(goal)))))
    for most in (FIRST + FIRST_EACH * count, *FARTHER):
        looked_at, numbers, labs = _colours(session, among, by_distance.limit(most))
        if looked_at < most:
            return _ranked(goal, numbers, labs, count, "index")
        if len(numbers) >= count:
            reach = float(np.partition(delta_e_2000(goal, labs), count - 1)[count - 1])
            bound = within(goal, reach)
            inside = None if bound is None else sa.select(_TABLE).where(*_inside(goal, bound)).offset(0)
            return _ranked(goal, *_colours(session, among, inside)[1:], count, "index")
    return _ranked(goal, *_colours(session, among)[1:], count, "scan")


def _inside(goal: Floats, bound: Within) -> list[sa.ColumnElement[bool]]:
    """Return the conditions of lying in the box, which the index knows, and in the ellipsoid about the target."""
    row = PlateColourRow
    box = POINT.op("<@", is_comparison=True)(sa.func.cube(_array(bound.low), _array(bound.high)))
    apart = [_apart(column, at) for column, at in zip((row.lab_l, row.lab_a, row.lab_b), goal, strict=True)]
    in_plane = (apart[1] * apart[1] + apart[2] * apart[2]) / bound.plane**2
    return [box, apart[0] * apart[0] / bound.lightness**2 + in_plane <= 1]


def _apart(column: InstrumentedAttribute[float], place: float) -> sa.ColumnElement[float]:
    """Return how far a coordinate is from a place; never so little that the server refuses to square it."""
    place = float(place) if abs(place) > _LEAST else 0.0
    return sa.func.greatest(sa.func.abs(column - place), _LEAST, type_=sa.Double())


def _where(session: Session, among: Among, number: sa.ColumnElement[int]) -> list[sa.ColumnElement[bool]]:
    """Return the conditions that the plate of a number counts, and has what is asked for."""
    own = TrialRow.id == number
    where = [] if among.set_aside else [~sa.exists().where(own, TrialRow.set_aside_reason.is_not(None))]
    if among.alloy is not None:
        where.append(sa.exists().where(own, TrialRow.alloy.in_(_spelt(session, TrialRow.alloy, among.alloy))))
    if among.chemical is not None:
        spelt = _spelt(session, CoatRow.chemical, among.chemical)
        where.append(sa.exists().where(CoatRow.trial_id == number, CoatRow.chemical.in_(spelt)))
    if among.made_since is not None:
        where.append(sa.exists().where(own, TrialRow.made_at >= among.made_since))
    return where


def _spelt(session: Session, column: InstrumentedAttribute[str], name: str) -> list[str]:
    """Return the ways in which the log writes a name. Raises SuggestionError where no plate has it."""
    known = values_in(session, column)
    spelt = [one for one in known if canonical(one) == canonical(name)]
    if not spelt:
        raise SuggestionError(f"No plate has {name!r}: the log has {', '.join(known[:12]) or 'nothing yet'}.")
    return spelt


def values_in(session: Session, column: InstrumentedAttribute[Any]) -> list[Any]:
    """Return the values of an indexed column, each once: a step of the index for each, however many rows there are."""
    first = sa.select(sa.func.min(column).label("value")).cte("found", recursive=True)
    following = sa.select(sa.func.min(column)).where(column > first.c.value).scalar_subquery()
    found = first.union_all(sa.select(following).where(first.c.value.is_not(None)))
    return [value for value in session.scalars(sa.select(found.c.value)) if value is not None]


def _colours(session: Session, among: Among, only: sa.Select[Any] | None = None) -> tuple[int, Indices, Floats]:
    """Return how many plates were looked at, and numbers (n,) and CIELAB (n, 3) of those asked for, by their numbers.

    only: those that are looked at, None for all; what is asked for is looked up for each of them.
    """
    of = _TABLE if only is None else only.subquery()
    where = _where(session, among, of.c.trial_id)
    query = sa.select(of.c.trial_id, of.c.lab_l, of.c.lab_a, of.c.lab_b)
    query = query.where(*where) if only is None else query.add_columns(sa.and_(sa.true(), *where))
    rows = np.array([tuple(one) for one in session.execute(query)], dtype=float).reshape(-1, 4 if only is None else 5)
    found = rows if only is None else rows[rows[:, 4] == 1]
    found = found[np.argsort(found[:, 0], kind="stable")]
    return len(rows), found[:, 0].astype(np.intp), found[:, 1:4]


def _array(values: ArrayLike) -> Any:
    from sqlalchemy.dialects.postgresql import array

    places = [0.0 if abs(value) < _LEAST else float(value) for value in np.asarray(values)]
    return array([sa.literal(place, sa.Double()) for place in places])
