"""Logged plates with their colours, the nearest of them, and what their readings share. Between log and suggestions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.types import Floats, Indices
from matcher.plan.prediction import with_errors
from matcher.process.logged import LoggedTrial
from matcher.ranking.nearest import nearest
from matcher.reading.reading import Reading

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
    """Turns expected colours into the readings that would show them, with the error that these plates share."""

    def __init__(self, plates: Plates) -> None:
        self._plates = plates

    def __call__(self, lab: Floats, covariance: Floats) -> Reading:
        """Return the reading of an expected colour (3,) whose own covariance is (3, 3)."""
        nearest = self._plates.trials[int(self._plates.nearest(lab, 1)[0][0])].reading
        return with_errors(lab, covariance, [term for term in nearest.budget if term.shared in self._often])

    @cached_property
    def _often(self) -> set[str]:
        latest = self._plates.trials[-COMMON_AMONG:]
        named = Counter(term.shared for trial in latest for term in trial.reading.budget)
        return {name for name, times in named.items() if name is not None and times > 1}
