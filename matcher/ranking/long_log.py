"""Plates found in a log that is too long to be read whole: the same answers as `finding` gives, portion by portion.

The database narrows and orders by what it keeps; `finding` decides on the plates that it sends. A search reads on from
where it stood when more is asked for, and halts when it has looked at many plates and found few.
"""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import ArrayLike
from sqlalchemy.orm import InstrumentedAttribute, Session

from matcher.colour.cielab import checked_lab
from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.colour.words_for_colours import SHADES
from matcher.dates import local, year_span
from matcher.errors import SuggestionError
from matcher.ranking.finding import (
    ANY,
    FACETS,
    NONE,
    SEASONS,
    UNDER_HEADINGS,
    Facet,
    Finder,
    Found,
    Group,
    Order,
    Wanted,
    all_called,
    are_called,
    check_search,
    grouped,
)
from matcher.ranking.in_log import MOST, Among, NearestPlates, values_in
from matcher.ranking.made_for import MadeFor
from matcher.recipe.names import canonical
from matcher.storage.database import Database
from matcher.storage.schema import CoatRow, PlateColourRow, TrialRow
from matcher.trials.log import TrialLog
from matcher.trials.trial import Trial

READ_WHOLE = 6_000
"""Plates, those set aside too, up to which a log is read whole: then every value can be counted and every order is at
hand; about two seconds' reading."""
PORTION = 500
MOST_LOOKED_AT = 4_000
"""Plates that are looked at in one go; then a search that has found too few says so and can be gone on with."""
WALKS_KEPT = 16

_CANONICAL: dict[Facet, InstrumentedAttribute[Any]] = {
    "chemical": CoatRow.chemical,
    "undercoat": TrialRow.undercoat_chemical,
    "alloy": TrialRow.alloy,
    "seal": TrialRow.seal_kind,
}
"""The columns of names that are compared however they are written."""


class LongLogFinder:
    """What finds plates in a long log as it stands; see ``finding.Finder`` for what each search means.

    Parameters
    ----------
    database : Database
    nearest : NearestPlates
        What ranks the log by likeness.
    target_names : mapping of int to str
        What each target is called, by its number.
    count : int
        How many plates the log has, those set aside too.
    made_for : MadeFor
        The commissions that plates were made for.
    """

    def __init__(
        self,
        database: Database,
        nearest: NearestPlates,
        target_names: Mapping[int, str],
        count: int,
        made_for: MadeFor | None = None,
    ) -> None:
        self.database = database
        self.count = count
        self.target_names = dict(target_names)
        self.made_for = made_for or MadeFor()
        self._nearest = nearest
        self._log = TrialLog(database)
        self._lock = threading.Lock()
        self._walks: OrderedDict[object, _Walk] = OrderedDict()

    def plates(self, numbers: Sequence[int]) -> list[Trial]:
        """Return plates by their numbers, in this order; those that are not there are left out."""
        return self._log.some(numbers)

    def find(
        self,
        wanted: Wanted = ANY,
        order: Order = "newest",
        like: ArrayLike | None = None,
        most: int | None = None,
        looks: int | None = 1,
    ) -> Found:
        """Return the first ``most`` plates that are wanted, in order, and where the search halted if it did.

        most : int, optional
            None for a page of ``PORTION``.
        looks : int, optional
            How many times ``MOST_LOOKED_AT`` plates are looked at, beside ``most`` of them, before the search halts;
            None for until it has found enough or come to the end.

        Raises SuggestionError and ReadingError as ``Finder.find`` does.
        """
        check_search(wanted, most, lambda facet: self._known[facet])
        goal = None if like is None else checked_lab(like)
        if order == "likeness" and goal is None:
            raise SuggestionError("Name the plate or the colour that they should be like.")
        key = (wanted, order, None if goal is None or order != "likeness" else tuple(goal))
        with self._lock:
            walk = self._walks.setdefault(key, _Walk(self, wanted, order, goal))
            self._walks.move_to_end(key)
            while len(self._walks) > WALKS_KEPT:
                self._walks.popitem(last=False)
        with walk.lock:
            return walk.found(PORTION if most is None else most, looks, goal)

    def choices(self, facet: Facet, wanted: Wanted = ANY) -> tuple[tuple[str, None], ...]:
        """Return the values of a facet that the log knows, whatever else is wanted; none is counted."""
        return tuple((value, None) for value in self._known[facet])

    @cached_property
    def _known(self) -> dict[Facet, tuple[str, ...]]:
        with self.database.reading() as session:
            return {facet: _values(session, facet, self) for facet in FACETS}


class _Walk:
    """One search as far as it has got."""

    def __init__(self, of: LongLogFinder, wanted: Wanted, order: Order, goal: Floats | None) -> None:
        self.lock = threading.Lock()
        self._of, self._wanted, self._order = of, wanted, order
        self._trials: list[Trial] = []
        self._looked_at = 0
        self._ended = False
        self._goal = goal
        self._last: tuple[Any, ...] | None = None
        self._ranked: tuple[int, ...] = ()

    def found(self, most: int, looks: int | None, goal: Floats | None) -> Found:
        """Return the first ``most`` that were found, after looking on where there are fewer."""
        stop = math.inf if looks is None else most + looks * MOST_LOOKED_AT
        while len(self._trials) < most and not self._ended and self._looked_at < stop:
            self._look_on()
        trials = tuple(self._trials[:most])
        ended = self._ended and len(self._trials) == len(trials)
        halted = not self._ended and len(self._trials) < most
        return Found(
            trials,
            None if goal is None else delta_e_2000(goal, np.array([t.reading.lab for t in trials]).reshape(-1, 3)),
            self._groups(trials),
            total=len(trials) if ended else None,
            looked_through=self._looked_at if halted else None,
        )

    def _look_on(self) -> None:
        """Look at the next portion of the places; nothing is noted of it before all of it was read."""
        goal = self._goal if self._order == "likeness" else None
        portion, last = self._next_in_columns() if goal is None else (self._next_ranked(goal), None)
        plates = self._of.plates(self._of_the_colours(portion))
        rows = Finder(plates, self._of.target_names, self._of.made_for).rows(self._wanted)
        self._trials += [plate for plate, is_wanted in zip(plates, rows, strict=True) if is_wanted]
        self._looked_at += len(portion)
        self._ended, self._last = not portion, last

    def _of_the_colours(self, numbers: list[int]) -> list[int]:
        """Return the numbers of plates that are called by a colour that is wanted: of the others no more is read."""
        if not self._wanted.colours:
            return numbers
        row = PlateColourRow
        query = sa.select(row.trial_id, row.lab_l, row.lab_a, row.lab_b).where(row.trial_id.in_(numbers))
        with self._of.database.reading() as session:
            labs = {number: np.array(lab) for number, *lab in session.execute(query)}
        there = [number for number in numbers if number in labs]
        called = are_called([all_called(labs[number]) for number in there], self._wanted.colours)
        return [number for number, is_called in zip(there, called, strict=True) if is_called]

    def _groups(self, trials: Sequence[Trial]) -> tuple[Group, ...]:
        if self._order not in UNDER_HEADINGS:
            return ()
        return grouped(Finder(trials).headings(self._order), counted=False)

    def _next_ranked(self, goal: Floats) -> list[int]:
        """Return the numbers of the next plates by likeness, up to so many as are ever ranked."""
        asked = len(self._ranked)
        if self._looked_at == asked < MOST:
            asked = min(MOST, max(PORTION, 4 * asked))
            self._ranked = self._of._nearest.rank(goal, asked, Among(set_aside=self._wanted.set_aside)).numbers
        return list(self._ranked[self._looked_at : self._looked_at + PORTION])

    def _next_in_columns(self) -> tuple[list[int], tuple[Any, ...] | None]:
        """Return the numbers of the next plates in an order that the database keeps an index of, and its last place."""
        with self._of.database.reading() as session:
            found = session.execute(self._query(session, self._last).limit(PORTION)).all()
        return [row[-1] for row in found], tuple(found[-1]) if found else None

    def _query(self, session: Session, last: tuple[Any, ...] | None) -> sa.Select[Any]:
        """Return the query of what comes after ``last``: the columns of the order, the plate's number at their end."""
        by: tuple[InstrumentedAttribute[Any], ...]
        if self._order == "colour":
            by = (PlateColourRow.shade, PlateColourRow.lab_l, PlateColourRow.trial_id)
        else:
            by = (TrialRow.id,) if self._order == "number" else (TrialRow.made_at, TrialRow.id)
        query: sa.Select[Any] = sa.select(*by).join_from(
            TrialRow, PlateColourRow, PlateColourRow.trial_id == TrialRow.id
        )
        query = query.where(*self._narrowed(session))
        if last is not None:
            here, there = sa.tuple_(*by), sa.tuple_(*last, types=[column.type for column in by])
            query = query.where(here < there if self._order == "newest" else here > there)
        return query.order_by(*(column.desc() if self._order == "newest" else column for column in by))

    def _narrowed(self, session: Session) -> list[sa.ColumnElement[bool]]:
        """Return conditions that every plate wanted meets; some that is not wanted may meet them too."""
        where: list[sa.ColumnElement[bool]] = []
        if not self._wanted.set_aside:
            where.append(TrialRow.set_aside_reason.is_(None))
        for facet, values in self._wanted.chosen:
            has = [_has(session, facet, value, self._of) for value in values]
            if has and all(one is not None for one in has):
                where.append(sa.or_(*(one for one in has if one is not None)))
        return where


def _has(session: Session, facet: Facet, value: str, of: LongLogFinder) -> sa.ColumnElement[bool] | None:
    """Return the condition of having a value of a facet, None where the database does not keep it."""
    match facet:
        case "shade":
            return PlateColourRow.shade == SHADES.index(value)
        case "season":
            return None
        case "year":
            try:
                begins, ends = year_span(int(value))
            except ValueError:
                return None
            return (TrialRow.made_at >= begins) & (TrialRow.made_at < ends)
        case "maker":
            return TrialRow.made_by.in_([value, ""] if value == NONE else [value])
        case "commission":
            targets, plates = of.made_for.numbers(None if value == NONE else value)
            with_target = TrialRow.target_id.is_not(None) & TrialRow.target_id.in_(targets)
            made_for_it = with_target | TrialRow.id.in_(plates)
            return ~made_for_it if value == NONE else made_for_it
        case "target":
            numbers = [number for number, name in of.target_names.items() if (name or NONE) == value]
            has_it: sa.ColumnElement[bool] = TrialRow.target_id.in_(numbers)
            return has_it | TrialRow.target_id.is_(None) if value == NONE else has_it
    column = _CANONICAL[facet]
    spelt = [name for name in values_in(session, column) if canonical(name) == value]
    if facet == "chemical":
        of_plate = CoatRow.trial_id == TrialRow.id
        has_it = sa.exists().where(of_plate, column.in_(spelt))
        return has_it | ~sa.exists().where(of_plate) if value == NONE else has_it
    has_it = column.in_(spelt)
    return has_it | column.is_(None) if value == NONE else has_it


def _values(session: Session, facet: Facet, of: LongLogFinder) -> tuple[str, ...]:
    """Return the values that a facet may have in this log, in the order of ``Finder.choices`` or by name."""
    match facet:
        case "shade":
            return tuple(SHADES[place] for place in values_in(session, PlateColourRow.shade))
        case "season":
            return SEASONS
        case "year":
            first, last = session.execute(sa.select(sa.func.min(TrialRow.made_at), sa.func.max(TrialRow.made_at))).one()
            years = [] if first is None else range(local(last).year, local(first).year - 1, -1)
            return tuple(str(year) for year in years)
        case "maker":
            names = [name or NONE for name in values_in(session, TrialRow.made_by)]
        case "commission":
            names = [*of.made_for.titles, NONE]
        case "target":
            names = [*(name or NONE for name in of.target_names.values()), NONE]
        case "alloy":
            names = [canonical(name) for name in values_in(session, TrialRow.alloy)]
        case _:
            names = [*(canonical(name) for name in values_in(session, _CANONICAL[facet])), NONE]
    return tuple(sorted(set(names), key=lambda name: (name == NONE, name)))
