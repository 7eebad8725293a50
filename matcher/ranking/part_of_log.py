"""The plates that suggestions and forms are worked out from: all of a log, or of a long one a part chosen for them.

Of a long log: the plates nearest to what is asked about, so that a ranked list is that of the whole; the latest; some
of everything that was ever used; and a sample of all times, so that the process model knows what lies between.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import sqlalchemy as sa
from numpy.typing import ArrayLike

from matcher.ranking import long_log
from matcher.ranking.in_log import MOST, PORTION, NearestPlates, values_in
from matcher.recipe.recipe import Recipe
from matcher.storage.database import Database
from matcher.storage.schema import CoatRow, TrialRow
from matcher.trials.log import TrialLog
from matcher.trials.trial import Trial

NEAREST = 1_500
"""More than a list ever asks for (``suggest.suggester.MAX_COUNT``)."""
ENOUGH_WITHIN = 100
"""Plates within today's limits up to which those are looked for farther away, among the ``MOST`` nearest."""
LATEST, SAMPLE, OF_EACH = 500, 1_500, 24


@dataclass(frozen=True, eq=False)
class PartOfLog:
    """Plates that count, by their numbers, out of a log.

    of: how many the log has. nearest: how many plates nearest to what was asked about, within the limits, are all among
    these; None where all of the log is here or nothing was asked about.
    """

    trials: tuple[Trial, ...]
    of: int
    nearest: int | None = None

    @property
    def is_whole(self) -> bool:
        return self.nearest is None and len(self.trials) >= self.of

    def as_dict(self) -> dict[str, int | None]:
        return {"plates": len(self.trials), "of": self.of, "nearest": self.nearest}


class LongLog:
    """Chooses parts of one log as it stands. count: how many plates of it count."""

    def __init__(self, database: Database, nearest: NearestPlates, count: int) -> None:
        self.database = database
        self.count = count
        self._nearest = nearest
        self._log = TrialLog(database)
        self._apart: dict[int, Trial] | None = None

    def part(self, target: ArrayLike | None = None, allow: Callable[[Recipe], bool] | None = None) -> PartOfLog:
        """Return the part that suits a target (3,) CIELAB; allow: what of it may be suggested, None for everything.

        Raises ReadingError for no colour.
        """
        if self._apart is None:
            self._apart = {trial.id or 0: trial for trial in self._whatever_is_asked()}
        if target is None:
            return PartOfLog(_by_number(self._apart), self.count)
        near = self._near(target, allow)
        within = len(near) if allow is None else sum(allow(trial.recipe) for trial in near)
        return PartOfLog(_by_number(self._apart | {trial.id or 0: trial for trial in near}), self.count, within)

    def _near(self, target: ArrayLike, allow: Callable[[Recipe], bool] | None) -> list[Trial]:
        near = list(self._nearest.plates(target, NEAREST).trials)
        if allow is None or sum(allow(trial.recipe) for trial in near) >= ENOUGH_WITHIN:
            return near
        farther = self._nearest.rank(target, MOST).numbers[NEAREST:]
        for start in range(0, len(farther), PORTION):
            near += [trial for trial in self._log.some(farther[start : start + PORTION]) if allow(trial.recipe)]
            if sum(allow(trial.recipe) for trial in near) >= ENOUGH_WITHIN:
                break
        return near

    def _whatever_is_asked(self) -> list[Trial]:
        with self.database.reading() as session:
            last = session.scalar(sa.select(sa.func.max(TrialRow.id))) or 0
            numbers = {*range(last, max(0, last - LATEST), -1), *range(last, 0, -max(1, last // SAMPLE))}
            for column, number in (
                (CoatRow.chemical, CoatRow.trial_id),
                (TrialRow.undercoat_chemical, TrialRow.id),
                (TrialRow.alloy, TrialRow.id),
                (TrialRow.seal_kind, TrialRow.id),
            ):
                for value in values_in(session, column):
                    of_it = sa.select(number).where(column == value).order_by(number.desc()).limit(OF_EACH)
                    numbers |= set(session.scalars(of_it))
        wanted = sorted(numbers)
        return [
            trial
            for start in range(0, len(wanted), PORTION)
            for trial in self._log.some(wanted[start : start + PORTION])
            if trial.set_aside is None
        ]


def part_of(log: TrialLog, nearest: NearestPlates) -> LongLog | PartOfLog:
    """Return all of a log, or what chooses parts of one that is longer than ``long_log.READ_WHOLE``."""
    count = log.count()
    if count > long_log.READ_WHOLE:
        return LongLog(log.database, nearest, count)
    trials = tuple(log.trials())
    return PartOfLog(trials, len(trials))


def _by_number(trials: dict[int, Trial]) -> tuple[Trial, ...]:
    return tuple(trials[number] for number in sorted(trials))
