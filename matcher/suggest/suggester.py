"""Ranks the studio's trials against a target: the nearest by ΔE00, with interval, words and ties."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.cielab import checked_lab
from matcher.difference import alike, difference_in_words, shared_target_draws
from matcher.errors import SuggestionError
from matcher.finish import Reading
from matcher.suggest.limits import Limits
from matcher.suggest.neighbours import PlateIndex
from matcher.suggest.suggestion import LoggedTrial, Suggestion

Floats = NDArray[np.float64]

DEFAULT_TOLERANCE = 2.0
MAX_COUNT = 1000


class Suggester:
    """Suggestions from trials, in memory; no database needed.

    trials: anything with a recipe and a reading; those set aside are passed over. limits: what the studio can
    do, None for no limit. tolerance: ΔE00 within which a plate counts as a match.
    """

    def __init__(
        self,
        trials: Iterable[LoggedTrial],
        limits: Limits | None = None,
        tolerance: float = DEFAULT_TOLERANCE,
    ) -> None:
        self.limits = limits if limits is not None else Limits()
        self.tolerance = _checked_tolerance(tolerance)
        self.trials: Sequence[LoggedTrial] = [trial for trial in trials if self._counts(trial)]
        self._index = PlateIndex.build([trial.reading.lab for trial in self.trials])

    def suggest(self, target: Reading | ArrayLike, count: int = 5) -> list[Suggestion]:
        """Return the ``count`` nearest logged recipes, nearest first.

        target: a Reading, or CIELAB (3,) taken as exact. Raises SuggestionError when nothing is logged within
        the limits or count is not a whole number from 1 to 1000.
        """
        wanted = as_target(target)
        if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MAX_COUNT:
            raise SuggestionError(f"Ask for 1 to {MAX_COUNT} suggestions: {count!r} is not that.")
        if not self.trials:
            raise SuggestionError("No trial is logged within these limits: log a plate first, or widen the limits.")
        rows, delta = self._index.nearest(wanted.lab, count)
        nearest = [self.trials[row] for row in rows]
        draws = shared_target_draws(
            wanted,
            np.array([trial.reading.lab for trial in nearest]),
            np.array([trial.reading.covariance for trial in nearest]),
        )
        ties = _ties(draws)
        return [
            self._logged(wanted, trial, float(distance), draws[rank], ties[rank])
            for rank, (trial, distance) in enumerate(zip(nearest, delta, strict=True))
        ]

    def with_trial(self, trial: LoggedTrial) -> Suggester:
        """Return a suggester that also knows ``trial``; this one stays as it is."""
        grown = object.__new__(type(self))
        grown.limits, grown.tolerance = self.limits, self.tolerance
        new = [trial] if self._counts(trial) else []
        grown.trials = [*self.trials, *new]
        grown._index = self._index.with_plates([item.reading.lab for item in new])
        return grown

    def _counts(self, trial: LoggedTrial) -> bool:
        return trial.set_aside is None and self.limits.allow(trial.recipe)

    def _logged(
        self, target: Reading, trial: LoggedTrial, delta: float, draws: Floats, ties: tuple[int, ...]
    ) -> Suggestion:
        words = difference_in_words(target.lab, trial.reading.lab)
        plate = "This plate" if trial.id is None else f"Plate {trial.id}"
        low, high = interval_from_draws(target, trial.reading, draws)
        return Suggestion(
            recipe=trial.recipe,
            basis="logged",
            lab=trial.reading.lab,
            covariance=trial.reading.covariance,
            delta_e00=delta,
            delta_e00_interval=(low, high),
            difference=words,
            because=f"{plate} was measured at ΔE00 {delta:.1f} ({low:.1f} to {high:.1f}): {words}.",
            draws=draws,
            tied_with=ties,
            trial=trial,
        )


def as_target(target: Reading | ArrayLike) -> Reading:
    """Return the target as a Reading; CIELAB alone is taken as exact. Raises ReadingError."""
    if isinstance(target, Reading):
        return target
    return Reading(lab=checked_lab(target), covariance=np.zeros((3, 3)), source="typed")


def interval_from_draws(target: Reading, plate: Reading, draws: Floats) -> tuple[float, float]:
    """Return the 95 % interval of ΔE00 from its draws, down to 0 when target and plate can't be told apart."""
    low, high = np.quantile(draws, [0.025, 0.975])
    same = bool(alike(target.lab, plate.lab, target.covariance + plate.covariance))
    return (0.0 if same else float(low)), float(high)


def _ties(draws: Floats) -> list[tuple[int, ...]]:
    """Return for each row of ΔE00 draws (m, n) the ranks (from 1) whose difference from it may be zero."""
    ties: list[tuple[int, ...]] = []
    for own in range(len(draws)):
        low, high = np.quantile(draws - draws[own], [0.025, 0.975], axis=1)
        ties.append(tuple(int(k) + 1 for k in np.flatnonzero((low <= 0) & (high >= 0)) if k != own))
    return ties


def _checked_tolerance(tolerance: float) -> float:
    if not np.isfinite(tolerance) or tolerance <= 0:
        raise SuggestionError(f"Give the tolerance as a ΔE00 above 0: {tolerance!r} is not one.")
    return float(tolerance)
