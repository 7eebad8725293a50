"""Two finishes in one photograph: how far apart they are, how surely, and whether that is within a tolerance.

After both readings. What they share of their errors, one light, card and camera, moves both alike and cancels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.calibration.illumination import LOCAL_SIGMA
from matcher.calibration.references.reference import cause_of_own, own_root
from matcher.colour.cielab import lab_to_xyz, xyz_to_lab
from matcher.colour.difference import (
    DRAWS_LOG2,
    chance_of,
    delta_e_2000,
    doubt_stretch,
    interval_of,
    normal_draws,
)
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import shared_covariance, square_root, sum_of
from matcher.colour.verdict import standing
from matcher.colour.wording import difference_in_words
from matcher.errors import ReadingError
from matcher.reading.reading import Reading
from matcher.words import percent

if TYPE_CHECKING:
    from matcher.reading.reading import Reading

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
        return float(chance_of(tolerance, self.first.lab, self.second.lab, self.covariance, given=True))

    def verdict(self, tolerance: float) -> str:
        """Say whether the two match within a tolerance in ΔE00, as far as it can be told: with 95 % or not at all."""
        chance = self.chance_within(tolerance)
        stands = standing(self.interval, chance, tolerance)
        if stands == "within":
            return f"They match within ΔE00 {tolerance:g}: {_percent(chance)} sure."
        if stands == "outside":
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


def side_by_side(first: Reading, second: Reading, than: str = "than the first") -> SideBySide:
    """Compare two readings of one photograph; than: ends the words of it. Raises ReadingError when they are of two."""
    if first.photo is None or first.photo != second.photo:
        raise ReadingError("Put both finishes into one photograph: these two readings are not of one.")
    uneven = _uneven_light(first, second)
    covariance = difference_covariance(first, second) + uneven
    interval = _interval(first, second, covariance)
    return SideBySide(
        first,
        second,
        float(delta_e_2000(first.lab, second.lab)),
        covariance,
        interval,
        _interval(first, second, first.covariance + second.covariance + uneven),
        difference_in_words(first.lab, second.lab, than, interval),
    )


def _interval(first: Reading, second: Reading, covariance: Floats) -> tuple[float, float]:
    low, high = interval_of(first.lab, second.lab, covariance, given=True)
    return float(low), float(high)


def _uneven_light(first: Reading, second: Reading) -> Floats:
    """Return what an unknown fall-off of the light adds to the difference, (3, 3), where no card's face tells of it.

    Nothing is added where the readings' own budgets hold it.
    """
    known = any(term.name == Source.UNEVEN_LIGHT for reading in (first, second) for term in reading.budget)
    if known or first.region is None or second.region is None:
        return np.zeros((3, 3))
    size = max(float(np.ptp(region, axis=0).max()) for region in (first.region, second.region))
    away = float(np.linalg.norm(first.region.mean(axis=0) - second.region.mean(axis=0))) / max(size, 1.0)
    sigma = min(float(np.hypot(UNTOLD_FALLOFF * away, np.sqrt(2) * LOCAL_SIGMA)), MOST_UNEVEN)
    step = xyz_to_lab(lab_to_xyz(second.lab) * np.exp(sigma)) - second.lab
    return np.asarray(np.outer(step, step))


def _percent(share: float) -> str:
    return f"over {percent(0.99)}" if share > 0.99 else percent(share)


DRAWN_TOGETHER = 24


def draws_to_target(target: Reading, plates: Sequence[Reading], expected: Sequence[bool] | None = None) -> Floats:
    """Return ΔE00 (m, n) of m plates to one target over n draws of all their errors.

    All plates meet the same target, and what plates and target share (camera, light, card, profile) is drawn once
    for them, so that plates photographed alike are told apart as well as they can be. Long lists are drawn in
    groups, between which only the target is shared. expected: which of the plates (m,) nobody read, so that their
    colours are those that a fitted process expects (``colour.difference.stretch_of_doubt``); None for none.
    """
    of_process = np.zeros(len(plates), dtype=bool) if expected is None else np.asarray(expected, dtype=bool)
    groups = [slice(start, start + DRAWN_TOGETHER) for start in range(0, len(plates), DRAWN_TOGETHER)]
    drawn = [_joint_draws(target, plates[group], of_process[group]) for group in groups]
    return np.concatenate(drawn) if drawn else np.zeros((0, 1))


def ties(draws: Floats) -> list[tuple[int, ...]]:
    """Return for each row of ΔE00 draws (m, n) the ranks (from 1) whose difference from it may be zero."""
    found: list[tuple[int, ...]] = []
    for own in range(len(draws)):
        low, high = np.quantile(draws - draws[own], [0.025, 0.975], axis=1)
        found.append(tuple(int(k) + 1 for k in np.flatnonzero((low <= 0) & (high >= 0)) if k != own))
    return found


def _joint_draws(target: Reading, plates: Sequence[Reading], expected: NDArray[np.bool_]) -> Floats:
    # of a colour that is expected, what its budget does not account for is the process's own doubt: drawn by itself
    errors = [
        replace(plate, covariance=sum_of(plate.budget)) if of_process else plate
        for plate, of_process in zip(plates, expected, strict=True)
    ]
    readings = [target, *errors]
    root = np.linalg.cholesky(joint_covariance(readings))
    rng = np.random.default_rng(20003)
    own = rng.standard_normal((3 * len(plates), 2**DRAWS_LOG2))
    noise = (root @ np.concatenate([normal_draws().T, own])).reshape(len(readings), 3, -1)
    for k, (plate, rest) in enumerate(zip(plates, errors, strict=True), start=1):
        if rest is not plate:
            doubt = square_root(plate.covariance - rest.covariance)
            noise[k] += doubt @ rng.standard_normal((3, 2**DRAWS_LOG2)) * doubt_stretch()
    shown = np.array([reading.lab for reading in readings])[:, :, None] + noise
    return delta_e_2000(shown[:1].transpose(0, 2, 1), shown[1:].transpose(0, 2, 1))


def joint_covariance(readings: Sequence[Reading]) -> Floats:
    """Return the covariance (3 m, 3 m) of all errors of m readings together, what each two share among them.

    Positive definite: what is shared counts less where rounding, or a budget at odds with itself, demands it.
    """
    size = len(readings)
    joint = np.zeros((size, 3, size, 3))
    own = np.zeros((size, 3, size, 3))
    for row, first in enumerate(readings):
        own[row, :, row] = first.covariance + 1e-9 * max(1.0, float(np.trace(first.covariance))) * np.eye(3)
        for column in range(row + 1, size):
            common = common_covariance(first, readings[column])
            joint[row, :, column], joint[column, :, row] = common, common.T
    apart, alone = joint.reshape(3 * size, 3 * size), own.reshape(3 * size, 3 * size)
    for share in (1.0, 0.999, 0.99, 0.9, 0.5):
        try:
            np.linalg.cholesky(alone + share * apart)
        except np.linalg.LinAlgError:
            continue
        return alone + share * apart
    return alone


def difference_covariance(first: Reading, second: Reading) -> Floats:
    """Return the covariance (3, 3) of the difference of two readings' CIELAB.

    What they share (photograph, card, profile) moves both alike and cancels as far as it is alike.
    """
    common = common_covariance(first, second)
    return np.asarray(first.covariance + second.covariance - common - common.T)


def common_covariance(first: Reading, second: Reading) -> Floats:
    """Return the covariance (3, 3) between the errors of two readings: rows of the first, columns of the second.

    A finish that was read beside a known one shares that one's own errors too, whatever it was known by.
    """
    common = shared_covariance(first.budget, second.budget)
    for one, other in ((first, second), (second, first)):
        carried = [term for term in one.budget if term.name == Source.REFERENCES and term.shared is not None]
        if not carried:
            continue
        cause = cause_of_own(other)
        for term in carried:
            if term.shared == cause:
                both = term.effect @ own_root(other).T
                common = common + (both if one is first else both.T)
    return common


def delta_e_interval(
    first: Reading, second: Reading, draws: ArrayLike | None = None, *, given: bool = False
) -> tuple[float, float]:
    """Return the 95 % interval of ΔE00 between two readings, what they share of their errors taken into account.

    Parameters
    ----------
    first, second : Reading
        Parts of their budgets with one cause (one photograph, card or profile) move both alike and cancel.
    draws : array_like, shape (n,), optional
        Draws of that ΔE00, where they were made of several plates together.
    given : bool
        Whether both were given, as two plates that are compared; not where one was picked for being near the other.

    Returns
    -------
    tuple of float
        Lower and upper end; the lower is 0 when the two can't be told apart.

    Examples
    --------
    >>> low, high = delta_e_interval(Reading((40.0, 12.0, 20.0)), Reading((46.0, 12.0, 20.0)))
    >>> print(f"{low:.1f} to {high:.1f}")
    4.7 to 6.3
    """
    low, high = interval_of(first.lab, second.lab, difference_covariance(first, second), draws, given=given)
    return float(low), float(high)


def chance_within(first: Reading, second: Reading, tolerance: float, *, given: bool = False) -> float:
    """Return the chance (0 to 1) that the true ΔE00 between two readings is at most ``tolerance``.

    given: whether both were given, as for ``delta_e_interval``.
    """
    return float(chance_of(tolerance, first.lab, second.lab, difference_covariance(first, second), given=given))
