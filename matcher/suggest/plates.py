"""Logged plates with their colours, the nearest of them, and what their readings share. Between log and suggestions."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.types import Floats, Indices
from matcher.colour.uncertainty import BudgetTerm, by_cause
from matcher.plan.prediction import with_errors
from matcher.process.logged import LoggedTrial, scatter_of
from matcher.ranking.nearest import nearest
from matcher.reading.reading import Reading

TOLD_BY = 12
"""Plates nearest to an expected colour, which say what errors it shares."""
ROUNDING = 1e-9  # CIELAB squared
COMMON_AMONG = 200
"""Latest plates among which a shared cause of error is looked for."""


@dataclass(frozen=True, eq=False)
class Plates:
    """n trials in their order. labs: (n, 3) CIELAB of their readings."""

    trials: tuple[LoggedTrial, ...]
    labs: Floats

    @classmethod
    def of(cls, trials: Sequence[LoggedTrial]) -> Plates:
        return cls(tuple(trials), np.array([trial.reading.lab for trial in trials], dtype=float).reshape(-1, 3))

    def rows(self, keep: Indices) -> Plates:
        """Return some of them: these themselves when all are kept."""
        if len(keep) == len(self.trials):
            return self
        return Plates(tuple(self.trials[row] for row in keep), self.labs[keep])

    def grown(self, trial: LoggedTrial) -> Plates:
        """Return these and one more."""
        return Plates((*self.trials, trial), np.vstack([self.labs, trial.reading.lab]))

    def nearest(self, target: ArrayLike, count: int) -> tuple[Indices, Floats]:
        """Return the rows of the ``count`` plates nearest to a target (3,) and their ΔE00, nearest first."""
        return nearest(target, self.labs, count)


class AsRead:
    """Turns expected colours into the readings that would show them, with the error that these plates share.

    An expected colour errs as the plates do that it was learned from. It is a colour as they are usually read, and so
    has what is usual whole (``ProcessModel.usual``). What some of them share besides is in its own covariance
    (``ProcessModel.together``), or else it has of each such cause the share that their part of the weight is, each
    plate near it weighed by how surely it tells of such a colour.
    """

    def __init__(self, plates: Plates, usual: frozenset[str] = frozenset(), together: bool = False) -> None:
        self._plates, self._usual, self._together = plates, usual, together

    def __call__(self, lab: Floats, covariance: Floats) -> Reading:
        """Return the reading of an expected colour (3,) whose own covariance is (3, 3)."""
        near = self._near(lab, TOLD_BY)
        scatter = scatter_of(near, self._usual, near) + covariance + ROUNDING * np.eye(3)
        precision = 1 / np.trace(scatter, axis1=1, axis2=2)
        terms: dict[str, BudgetTerm] = {}  # as of the nearest that has it
        weights: defaultdict[str, float] = defaultdict(float)
        for reading, weight in zip(near, precision / precision.sum(), strict=True):
            for cause, term in by_cause(reading.budget).items():
                terms.setdefault(cause, term)
                weights[cause] += float(weight)
        if not self._usual <= terms.keys():
            for reading in self._near(lab, len(self._plates.trials)):
                terms = by_cause(reading.budget) | terms
        kept = [
            replace(term, effect=(1.0 if cause in self._usual else weights[cause]) * term.effect)
            for cause, term in terms.items()
            if cause in self._usual or (cause in self._often and not self._together)
        ]
        return with_errors(lab, covariance, kept)

    def _near(self, lab: Floats, count: int) -> list[Reading]:
        return [self._plates.trials[int(row)].reading for row in self._plates.nearest(lab, count)[0]]

    @cached_property
    def _often(self) -> set[str]:
        latest = self._plates.trials[-COMMON_AMONG:]
        named = Counter(term.shared for trial in latest for term in trial.reading.budget)
        return {name for name, times in named.items() if name is not None and times > 1}
