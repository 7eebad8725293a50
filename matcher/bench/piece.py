"""How one piece departs from its recipe, told by readings of it: the path of passes conditioned on them.

Part of the bench path. A piece departs as plates do, by what the model calls plate-to-plate; and it may take the coat
faster or slower throughout, which moves it along the path. How much of either is learned from its readings: while they
agree with the prediction there is no more than plates show; when they do not, the piece is let depart farther.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.colour.uncertainty import squared_distance
from matcher.reading.reading import Reading

PLATE_FACTORS = (1.0, 4.0, 16.0, 64.0, 256.0)
"""By how much the piece's own variance may exceed that of plates."""
UPTAKE_SDS = (0.0, 0.1, 0.2, 0.4, 0.8)
"""How far the piece may take the coat faster or slower, in the logarithm of the dose."""
LOG_FACTOR_SD, UPTAKE_SD = 1.4, 0.25
"""How readily either is believed: guesses that two or three readings overrule."""
HARDLY_EVER = 0.999


@dataclass(frozen=True, eq=False)
class PredictedPath:
    """The recipe's own colour after 0, 1, 2 ... passes: labs (k, 3), covariance (3k, 3k).

    along: (m, 3k) how far a piece that takes one of its m coats faster lies from them, per unit of the logarithm of the
    dose; None where all passes are of one coat.
    """

    labs: Floats
    covariance: Floats
    along: Floats | None = None


def corrected(
    predicted: PredictedPath, plate: Floats, readings: Mapping[int, Reading], no_lighter_from: int | None = None
) -> tuple[Floats, Floats, bool]:
    """Return the piece's colours (k, 3), their covariance (3k, 3k), and whether its readings are unlike a plate's.

    plate: (3, 3) how plates of one recipe scatter. no_lighter_from: count of passes after which no pass lightens.
    """
    counts = [count for count in sorted(readings) if count < len(predicted.labs)]
    whole = predicted.covariance + _departure(predicted, plate, 1.0, 0.0)
    labs, unlike = predicted.labs, False
    if counts:
        at = np.concatenate([np.arange(3 * count, 3 * count + 3) for count in counts])
        noise = _block_diagonal([readings[count].covariance for count in counts])
        miss = np.concatenate([readings[count].lab for count in counts]) - labs.ravel()[at]
        unlike = _surprising(miss, whole[np.ix_(at, at)] + noise)
        step, whole = _averaged(predicted, plate, at, noise, miss)
        labs = labs + step.reshape(labs.shape)
    if no_lighter_from is not None:
        labs = labs.copy()
        labs[no_lighter_from:, 0] = np.minimum.accumulate(labs[no_lighter_from:, 0])
    return labs, whole, unlike


def _departure(predicted: PredictedPath, plate: Floats, factor: float, uptake_sd: float) -> Floats:
    """Return (3k, 3k): what all passes share of the piece's departure."""
    k, along = len(predicted.labs), predicted.along
    if along is None:
        along = (np.gradient(predicted.labs, axis=0) * np.arange(k)[:, None]).reshape(1, -1)
    return np.asarray(factor * np.tile(plate, (k, k)) + uptake_sd**2 * along.T @ along)


def _averaged(
    predicted: PredictedPath, plate: Floats, at: NDArray[np.intp], noise: Floats, miss: Floats
) -> tuple[Floats, Floats]:
    """Return the correction (3k,) and covariance (3k, 3k) given the readings' misses, over all sizes of departure.

    Each size counts by how likely it makes the misses, large ones being rare (Hoeting et al. 1999, Stat. Sci. 14,
    382-417): so what is not known of the size widens the path too.
    """
    likely, steps, spreads = [], [], []
    for factor, uptake_sd in itertools.product(PLATE_FACTORS, UPTAKE_SDS):
        whole = predicted.covariance + _departure(predicted, plate, factor, uptake_sd)
        seen = whole[np.ix_(at, at)] + noise + 1e-9 * np.eye(len(at))
        gain = np.linalg.solve(seen, whole[at]).T
        rare = (np.log(factor) / LOG_FACTOR_SD) ** 2 + (uptake_sd / UPTAKE_SD) ** 2
        likely.append(-0.5 * (miss @ np.linalg.solve(seen, miss) + np.linalg.slogdet(seen)[1] + rare))
        steps.append(gain @ miss)
        spreads.append(whole - gain @ whole[at])
    weights = np.exp(np.array(likely) - max(likely))
    weights /= weights.sum()
    each = np.array(steps)
    step = weights @ each
    between = (weights[:, None] * (each - step)).T @ (each - step)
    return np.asarray(step), np.asarray(np.einsum("i,ijk->jk", weights, np.array(spreads)) + between)


def _surprising(miss: Floats, covariance: Floats) -> bool:
    from scipy.stats import chi2

    return float(squared_distance(miss, covariance)) > float(chi2.ppf(HARDLY_EVER, len(miss)))


def _block_diagonal(blocks: list[Floats]) -> Floats:
    whole = np.zeros((3 * len(blocks), 3 * len(blocks)))
    for place, block in enumerate(blocks):
        whole[3 * place : 3 * place + 3, 3 * place : 3 * place + 3] = block
    return whole
