"""Two finishes in one photograph: how far apart they are, how surely, and whether that is within a tolerance.

After both readings. What they share of their errors, one light, card and camera, moves both alike and cancels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matcher.cielab import lab_to_xyz, xyz_to_lab
from matcher.difference import delta_e_2000, delta_e_draws, difference_covariance, difference_in_words, interval_of
from matcher.errors import ReadingError
from matcher.finish import Reading
from matcher.light_field import LOCAL_SIGMA

Floats = NDArray[np.float64]

SURE = 0.95
UNTOLD_FALLOFF = 0.05
"""Of log light per width of the marks, where no card's face tells of it: a bench near a window loses a fifth or so over
some 40 cm (common practice, no source)."""
MOST_UNEVEN = 0.8  # of log light between the two finishes


@dataclass(frozen=True, eq=False)
class SideBySide:
    """Two readings compared. delta_e00; covariance (3, 3) of the difference of their CIELAB; interval: 95 % of ΔE00;
    interval_apart: what that would be if the readings shared nothing, as of two photographs with two cards under two
    lights; words: the second against the first."""

    first: Reading
    second: Reading
    delta_e00: float
    covariance: Floats
    interval: tuple[float, float]
    interval_apart: tuple[float, float]
    words: str

    def chance_within(self, tolerance: float) -> float:
        """Return the chance (0 to 1) that the true ΔE00 is at most ``tolerance``."""
        return float(np.mean(delta_e_draws(self.first.lab, self.second.lab, self.covariance) <= tolerance))

    def verdict(self, tolerance: float) -> str:
        """Say whether the two match within a tolerance in ΔE00, as far as it can be told: with 95 % or not at all."""
        chance = self.chance_within(tolerance)
        if chance >= SURE:
            return f"They match within ΔE00 {tolerance:g}: {_percent(chance)} sure."
        if chance <= 1 - SURE:
            return f"They do not match within ΔE00 {tolerance:g}: {_percent(1 - chance)} sure."
        return (
            f"It cannot be told for certain whether they match within ΔE00 {tolerance:g}: the chance that they do is "
            f"{_percent(chance)}."
        )

    @property
    def gain_in_words(self) -> str:
        """Say what the common photograph is worth."""
        (low, high), (low_apart, high_apart) = self.interval, self.interval_apart
        apart = f"{low_apart:.1f} to {high_apart:.1f}"
        if high_apart - low_apart < 1.05 * (high - low):
            return f"From two photographs that share nothing the interval would be hardly wider, {apart}."
        return (
            "One light and one camera: most of what is wrong with one reading is wrong with the other, and cancels. "
            f"From two photographs that share nothing the interval would be {apart}."
        )


def side_by_side(first: Reading, second: Reading) -> SideBySide:
    """Compare two readings of one photograph. Raises ReadingError when they are of two photographs."""
    if first.photo is None or first.photo != second.photo:
        raise ReadingError("Put both finishes into one photograph: these two readings are not of one.")
    uneven = _uneven_light(first, second)
    covariance = difference_covariance(first, second) + uneven
    return SideBySide(
        first,
        second,
        float(delta_e_2000(first.lab, second.lab)),
        covariance,
        _interval(first, second, covariance),
        _interval(first, second, first.covariance + second.covariance + uneven),
        difference_in_words(first.lab, second.lab, "than the first"),
    )


def _interval(first: Reading, second: Reading, covariance: Floats) -> tuple[float, float]:
    low, high = interval_of(first.lab, second.lab, covariance)
    return float(low), float(high)


def _uneven_light(first: Reading, second: Reading) -> Floats:
    """Return what an unknown fall-off of the light adds to the difference, (3, 3), where no card's face tells of it.

    Nothing is added where the readings' own budgets hold it.
    """
    known = any(term.name == "uneven light" for reading in (first, second) for term in reading.budget)
    if known or first.region is None or second.region is None:
        return np.zeros((3, 3))
    size = max(float(np.ptp(region, axis=0).max()) for region in (first.region, second.region))
    away = float(np.linalg.norm(first.region.mean(axis=0) - second.region.mean(axis=0))) / max(size, 1.0)
    sigma = min(float(np.hypot(UNTOLD_FALLOFF * away, np.sqrt(2) * LOCAL_SIGMA)), MOST_UNEVEN)
    step = xyz_to_lab(lab_to_xyz(second.lab) * np.exp(sigma)) - second.lab
    return np.asarray(np.outer(step, step))


def _percent(share: float) -> str:
    return "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"
