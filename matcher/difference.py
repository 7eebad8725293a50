"""CIEDE2000 between two finishes, its 95 % interval from both readings, and the words for it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.colour_library import colour_library
from matcher.uncertainty import shared_covariance, square_root, squared_distance

if TYPE_CHECKING:
    from matcher.finish import Reading

Floats = NDArray[np.float64]

DRAWS_LOG2 = 11
DRAWN_TOGETHER = 24
INDISTINGUISHABLE_CHI2 = 7.815  # 95 % point of chi-square with 3 degrees of freedom


def delta_e_2000(lab_1: ArrayLike, lab_2: ArrayLike) -> Floats:
    """Return CIEDE2000 (...,) of two CIELAB arrays (..., 3) that broadcast (ISO/CIE 11664-6)."""
    difference = colour_library().difference
    return np.asarray(difference.delta_E_CIE2000(np.asarray(lab_1, float), np.asarray(lab_2, float)), dtype=float)


def delta_e_draws(lab_1: ArrayLike, lab_2: ArrayLike, covariance: ArrayLike) -> Floats:
    """Return ΔE00 (..., n) over n draws of the true difference.

    ``covariance`` (..., 3, 3) is that of lab_1 − lab_2; propagation by draws rather than by derivatives because
    ΔE00 is far from linear near zero (JCGM 101). The draws are a fixed Sobol sequence: same input, same answer.
    """
    first, second = np.broadcast_arrays(np.asarray(lab_1, float), np.asarray(lab_2, float))
    root = square_root(np.asarray(covariance, float))
    noise = np.einsum("...ij,nj->...ni", root, _normal_draws())
    return delta_e_2000(first[..., None, :], second[..., None, :] + noise)


def reach_delta_e00(lab: ArrayLike, covariance: ArrayLike) -> Floats:
    """Return the ΔE00 (...,) within which the truth lies in 95 % of cases; covariance (..., 3, 3) about lab (3,)."""
    here = np.broadcast_to(np.asarray(lab, dtype=float), (*np.shape(covariance)[:-2], 3))
    return np.asarray(np.quantile(delta_e_draws(here, here, covariance), 0.95, axis=-1))


def draws_to_target(target: Reading, plates: Sequence[Reading]) -> Floats:
    """Return ΔE00 (m, n) of m plates to one target over n draws of all their errors.

    All plates meet the same target, and what plates and target share (camera, light, card, profile) is drawn once
    for them, so that plates photographed alike are told apart as well as they can be. Long lists are drawn in
    groups, between which only the target is shared.
    """
    groups = [plates[start : start + DRAWN_TOGETHER] for start in range(0, len(plates), DRAWN_TOGETHER)]
    return np.concatenate([_joint_draws(target, group) for group in groups]) if groups else np.zeros((0, 1))


def _joint_draws(target: Reading, plates: Sequence[Reading]) -> Floats:
    readings = [target, *plates]
    size = len(readings)
    joint = np.zeros((size, 3, size, 3))
    for row, first in enumerate(readings):
        joint[row, :, row] = first.covariance + 1e-9 * max(1.0, float(np.trace(first.covariance))) * np.eye(3)
        for column in range(row + 1, size):
            common = shared_covariance(first.budget, readings[column].budget)
            joint[row, :, column], joint[column, :, row] = common, common.T
    root = _root_of(joint.reshape(3 * size, 3 * size))
    own = np.random.default_rng(20003).standard_normal((3 * len(plates), 2**DRAWS_LOG2))
    noise = (root @ np.concatenate([_normal_draws().T, own])).reshape(size, 3, -1)
    shown = np.array([reading.lab for reading in readings])[:, :, None] + noise
    return delta_e_2000(shown[:1].transpose(0, 2, 1), shown[1:].transpose(0, 2, 1))


def _root_of(covariance: Floats) -> Floats:
    """Return the Cholesky factor, off-diagonal parts lessened as far as rounding or a budget at odds demands."""
    for share in (1.0, 0.999, 0.9, 0.5):
        shrunk = share * covariance + (1 - share) * np.diag(np.diag(covariance))
        try:
            return np.asarray(np.linalg.cholesky(shrunk))
        except np.linalg.LinAlgError:
            continue
    return np.diag(np.sqrt(np.diag(covariance)))


def interval_of(lab_1: ArrayLike, lab_2: ArrayLike, covariance: ArrayLike) -> Floats:
    """Return the 95 % interval (..., 2) of ΔE00; it reaches down to 0 when the two can't be told apart."""
    low, high = np.quantile(delta_e_draws(lab_1, lab_2, covariance), [0.025, 0.975], axis=-1)
    return np.stack([np.where(alike(lab_1, lab_2, covariance), 0.0, low), high], axis=-1)


def alike(lab_1: ArrayLike, lab_2: ArrayLike, covariance: ArrayLike) -> NDArray[np.bool_]:
    """Tell whether zero lies within the 95 % ellipsoid of lab_1 − lab_2, (...,)."""
    difference = np.asarray(lab_1, float) - np.asarray(lab_2, float)
    return np.asarray(squared_distance(difference, covariance) <= INDISTINGUISHABLE_CHI2)


def difference_covariance(first: Reading, second: Reading) -> Floats:
    """Return the covariance (3, 3) of the difference of two readings' CIELAB.

    What they share (photograph, card, profile) moves both alike and cancels as far as it is alike.
    """
    common = shared_covariance(first.budget, second.budget)
    return np.asarray(first.covariance + second.covariance - common - common.T)


def delta_e_interval(first: Reading, second: Reading) -> tuple[float, float]:
    """Return the 95 % interval of ΔE00 between two readings, what they share of their errors taken into account."""
    low, high = interval_of(first.lab, second.lab, difference_covariance(first, second))
    return float(low), float(high)


def chance_within(first: Reading, second: Reading, tolerance: float) -> float:
    """Return the chance (0 to 1) that the true ΔE00 between two readings is at most ``tolerance``."""
    draws = delta_e_draws(first.lab, second.lab, difference_covariance(first, second))
    return float(np.mean(draws <= tolerance))


WORDS = (("lighter", "darker"), ("redder", "greener"), ("yellower", "bluer"))


def difference_in_words(target_lab: ArrayLike, plate_lab: ArrayLike, than: str = "than the target") -> str:
    """Say how the plate differs from the target: "a little darker and redder than the target".

    Each of L*, a*, b* weighs as much as the ΔE00 that it makes alone, so that the words follow the eye.
    """
    target, plate = np.asarray(target_lab, float), np.asarray(plate_lab, float)
    if delta_e_2000(target, plate) < 0.5:
        return "no difference to the eye"
    alone = np.where(np.eye(3, dtype=bool), plate, target)
    parts = delta_e_2000(alone, target)
    order = [k for k in np.argsort(-parts) if parts[k] >= max(0.4, 0.35 * parts.max())] or [int(parts.argmax())]
    names = [WORDS[k][0 if plate[k] > target[k] else 1] for k in order]
    joined = names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
    return f"{how_much(float(parts[order[0]]))}{joined} {than}"


def how_much(part: float) -> str:
    """Say how much a ΔE00 in one direction is to the eye: "a touch ", "a little ", "clearly ", "much "."""
    for limit, words in ((1.0, "a touch "), (2.5, "a little "), (5.0, "clearly ")):
        if part < limit:
            return words
    return "much "


@lru_cache(maxsize=1)
def _normal_draws() -> Floats:
    from scipy.special import ndtri
    from scipy.stats import qmc

    points = qmc.Sobol(3, scramble=True, rng=np.random.default_rng(20001)).random_base2(DRAWS_LOG2)
    return np.asarray(ndtri(points))
