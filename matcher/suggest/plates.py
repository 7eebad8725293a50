"""Logged plates with their colours, and the nearest of them. Between the log and what is suggested from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.types import Floats, Indices
from matcher.process.logged import LoggedTrial
from matcher.suggest.nearest import nearest


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
