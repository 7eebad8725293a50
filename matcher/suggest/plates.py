"""Logged plates with their colours, the nearest of them, and what their readings share. Between log and suggestions."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.types import Floats, Indices
from matcher.colour.uncertainty import BudgetTerm
from matcher.plan.prediction import with_errors
from matcher.process.logged import LoggedTrial
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

    An expected colour errs as the plates do that it was learned from: of a cause that some of them share it has the
    share that their part of the weight is, each plate near it weighed by how surely it tells of such a colour.
    """

    def __init__(self, plates: Plates) -> None:
        self._plates = plates

    def __call__(self, lab: Floats, covariance: Floats) -> Reading:
        """Return the reading of an expected colour (3,) whose own covariance is (3, 3)."""
        near = [self._plates.trials[int(row)].reading for row in self._plates.nearest(lab, TOLD_BY)[0]]
        precision = np.array([1 / np.trace(one.covariance + covariance + ROUNDING * np.eye(3)) for one in near])
        terms: dict[str, BudgetTerm] = {}
        weights: defaultdict[str, float] = defaultdict(float)
        for reading, weight in zip(near, precision / precision.sum(), strict=True):
            for cause, term in {term.shared: term for term in reversed(reading.budget)}.items():
                if cause in self._often:
                    terms.setdefault(str(cause), term)  # as of the nearest that has it
                    weights[str(cause)] += float(weight)
        return with_errors(
            lab, covariance, [replace(term, effect=weights[cause] * term.effect) for cause, term in terms.items()]
        )

    @cached_property
    def _often(self) -> set[str]:
        latest = self._plates.trials[-COMMON_AMONG:]
        named = Counter(term.shared for trial in latest for term in trial.reading.budget)
        return {name for name, times in named.items() if name is not None and times > 1}
