"""CIEDE2000 between two finishes, its 95 % interval from both readings, and the words for it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.colour.library import colour_library
from matcher.colour.types import Floats
from matcher.colour.uncertainty import CHI2_95, NORMAL_95, square_root, squared_distance

DRAWS_LOG2 = 11
CHROMA_SLOPE = 0.045  # of S_C in ISO/CIE 11664-6


def delta_e_2000(lab_1: ArrayLike, lab_2: ArrayLike) -> Floats:
    """Return the colour difference CIEDE2000 (ISO/CIE 11664-6).

    Parameters
    ----------
    lab_1, lab_2 : array_like, shape (..., 3)
        CIELAB under one light and observer; the two broadcast.

    Returns
    -------
    ndarray, shape (...,)
        ΔE00, 0 for the same colour.

    Examples
    --------
    The first pair of Sharma, Wu and Dalal 2005 (Color Res. Appl. 30(1), table 1):

    >>> round(float(delta_e_2000((50, 2.6772, -79.7751), (50, 0, -82.7485))), 4)
    2.0425
    """
    difference = colour_library().difference
    return np.asarray(difference.delta_E_CIE2000(np.asarray(lab_1, float), np.asarray(lab_2, float)), dtype=float)


def delta_e_draws(lab_1: ArrayLike, lab_2: ArrayLike, covariance: ArrayLike, *, expected: bool = False) -> Floats:
    """Return ΔE00 (..., n) over n draws of the true difference.

    ``covariance`` (..., 3, 3) is that of lab_1 − lab_2; propagation by draws rather than by derivatives because
    ΔE00 is far from linear near zero (JCGM 101). The draws are a fixed Sobol sequence: same input, same answer.
    expected: whether the difference is expected by a fitted process and not of readings (``stretch_of_doubt``).
    """
    first, second = np.broadcast_arrays(np.asarray(lab_1, float), np.asarray(lab_2, float))
    root = square_root(np.asarray(covariance, float))
    draws = normal_draws() * doubt_stretch()[:, None] if expected else normal_draws()
    noise = np.einsum("...ij,nj->...ni", root, draws)
    return delta_e_2000(first[..., None, :], second[..., None, :] + noise)


def reach_delta_e00(lab: ArrayLike, covariance: ArrayLike) -> Floats:
    """Return the ΔE00 (...,) within which the truth lies in 95 % of cases; covariance (..., 3, 3) about lab (3,)."""
    here = np.broadcast_to(np.asarray(lab, dtype=float), (*np.shape(covariance)[:-2], 3))
    return np.asarray(np.quantile(delta_e_draws(here, here, covariance), 0.95, axis=-1))


def interval_of(
    lab_1: ArrayLike, lab_2: ArrayLike, covariance: ArrayLike, draws: ArrayLike | None = None, *, given: bool = False
) -> Floats:
    """Return the 95 % interval (..., 2) of ΔE00; it reaches down to 0 when the two can't be told apart.

    One that begins at 0 ends where 95 % of the draws do, so that it holds 95 % and not 97.5. The ΔE00 of the two
    colours as they stand always lies within. The only place where an interval of ΔE00 is made, of what was read and of
    what is expected.

    Parameters
    ----------
    lab_1, lab_2 : array_like, shape (..., 3)
        CIELAB; the two broadcast.
    covariance : array_like, shape (..., 3, 3)
        Of lab_1 − lab_2.
    draws : array_like, shape (..., n), optional
        Draws of ΔE00, where several plates were drawn together; else they are made of the covariance.
    given : bool
        Whether the two were given, as two finishes that are compared, and not one picked for being near the other, as
        from a list. Draws, if any, are then those of ``normal_draws``, in their order.

    Notes
    -----
    Noise in three directions mostly adds to a distance, so that draws which count alike say too much of a small one.
    Where one was picked for being near, the picking takes that away again. Of a given pair each draw counts by
    ΔE00 to the power 1 − k, the reference prior where the distance is asked for (Stein 1959, Ann. Math. Stat. 30;
    Berger, Philippe and Robert 1998, Statistica Sinica 8), with the k directions that the noise takes in effect
    (Satterthwaite 1946, Biometrics Bulletin 2); and the lower end is never above the least ΔE00 that its own 95 %
    region of one dimension holds (profile likelihood: Venzon and Moolgavkar 1988, Applied Statistics 37).

    Examples
    --------
    >>> interval_of((40, 12, 20), (40.2, 12, 20), np.eye(3)).round(1).tolist()
    [0.0, 2.3]
    """
    drawn = delta_e_draws(lab_1, lab_2, covariance) if draws is None else np.asarray(draws, float)
    shares = (0.025, 0.95, 0.975)
    if given:
        low, middle, high = _quantiles_of_given(drawn, shares, _directions(lab_1, lab_2, covariance))
        low = np.minimum(low, np.min(drawn[..., _near_the_middle()[: drawn.shape[-1]]], axis=-1))
    else:
        low, middle, high = np.quantile(drawn, shares, axis=-1)
    near, here = alike(lab_1, lab_2, covariance), delta_e_2000(lab_1, lab_2)
    return np.stack(
        [np.where(near, 0.0, np.minimum(low, here)), np.maximum(np.where(near, middle, high), here)], axis=-1
    )


def chance_of(
    tolerance: float, lab_1: ArrayLike, lab_2: ArrayLike, covariance: ArrayLike, *, given: bool = False
) -> Floats:
    """Return the chance (..., 0 to 1) that the true ΔE00 is at most ``tolerance``; the rest as for ``interval_of``."""
    ordered = np.sort(delta_e_draws(lab_1, lab_2, covariance), axis=-1)
    within = ordered <= tolerance
    if not given:
        return np.asarray(np.mean(within, axis=-1))
    weights = _weights_of_given(ordered, _directions(lab_1, lab_2, covariance))
    return np.asarray(np.sum(weights * within, axis=-1) / np.sum(weights, axis=-1))


def _quantiles_of_given(drawn: Floats, shares: Sequence[float], directions: Floats) -> list[Floats]:
    ordered = np.sort(drawn, axis=-1)
    up_to = np.cumsum(_weights_of_given(ordered, directions), axis=-1)
    places = [np.sum(up_to < share * up_to[..., -1:], axis=-1, keepdims=True) for share in shares]
    return [np.take_along_axis(ordered, place, axis=-1)[..., 0] for place in places]


def _weights_of_given(ordered: Floats, directions: Floats) -> Floats:
    """Return how much draws of ΔE00 (..., n), from the least up, count where the noise takes so many directions."""
    least = ordered[..., ordered.shape[-1] // 100, None]  # the nearest in a hundred count alike: none decides alone
    return np.asarray(np.maximum(ordered, np.maximum(least, 1e-12)) ** (1 - directions[..., None]))


def _directions(lab_1: ArrayLike, lab_2: ArrayLike, covariance: ArrayLike) -> Floats:
    """Return in how many directions, 1 to 3, the noise of a covariance (..., 3, 3) moves ΔE00 in effect, (...,)."""
    middle = (np.asarray(lab_1, float) + np.asarray(lab_2, float)) / 2
    sides = middle[..., None, None, :] + np.array([0.5, -0.5])[:, None, None] * np.eye(3)
    there, back = np.moveaxis(near_uniform(sides), -3, 0)
    turned = there - back  # (..., 3, 3): a row for each of L*, a*, b*
    moved = np.swapaxes(turned, -1, -2) @ np.asarray(covariance, float) @ turned
    squares = np.trace(moved @ moved, axis1=-2, axis2=-1)
    counted = np.square(np.trace(moved, axis1=-2, axis2=-1)) / np.where(squares > 0, squares, 1.0)
    return np.asarray(np.clip(counted, 1.0, 3.0))


@lru_cache(maxsize=1)
def _near_the_middle() -> NDArray[np.bool_]:
    """Tell which of the draws lie within the 95 % region of one dimension."""
    return np.asarray(np.sum(np.square(normal_draws()), axis=-1) <= NORMAL_95**2)


def interval_of_mean(deltas: ArrayLike) -> tuple[float, float]:
    """Return the 95 % interval of the mean of which the ΔE00 (n,) are a sample, by Student's t; 0 to ∞ of fewer than 2.

    Examples
    --------
    >>> low, high = interval_of_mean([1.0, 2.0, 3.0])
    >>> print(f"{low:.2f} to {high:.2f}")
    0.00 to 4.48
    """
    from scipy.special import stdtrit

    values = np.asarray(deltas, dtype=float)
    if len(values) < 2:
        return 0.0, float("inf")
    half = float(stdtrit(len(values) - 1, 0.975) * values.std(ddof=1) / np.sqrt(len(values)))
    mean = float(values.mean())
    return max(0.0, mean - half), mean + half


def alike(lab_1: ArrayLike, lab_2: ArrayLike, covariance: ArrayLike) -> NDArray[np.bool_]:
    """Tell whether zero lies within the 95 % ellipsoid of lab_1 − lab_2, (...,)."""
    difference = np.asarray(lab_1, float) - np.asarray(lab_2, float)
    return np.asarray(squared_distance(difference, covariance) <= CHI2_95)


@lru_cache(maxsize=1)
def normal_draws() -> Floats:
    from scipy.special import ndtri
    from scipy.stats import qmc

    points = qmc.Sobol(3, scramble=True, rng=np.random.default_rng(20001)).random_base2(DRAWS_LOG2)
    return np.asarray(ndtri(points))


DEGREES_OF_DOUBT = 4.0
"""Degrees of freedom of Student's t for a colour that a fitted process expects."""


def student_stretch(shares: ArrayLike) -> Floats:
    """Return what makes normal draws Student's t of ``DEGREES_OF_DOUBT`` (n,), for shares (n,) spread over 0 to 1."""
    from scipy.special import chdtri

    return np.asarray(np.sqrt(DEGREES_OF_DOUBT / chdtri(DEGREES_OF_DOUBT, 1 - np.asarray(shares, float))))


def stretch_of_doubt(shares: ArrayLike) -> Floats:
    """Return what normal draws of an expected colour are multiplied by (n,), for shares (n,) spread evenly over 0 to 1.

    A covariance that was itself learned from few plates is not known to size, and an error of unknown size is Student's
    t (Gelman et al., Bayesian Data Analysis, 3rd edition, section 3.2), here with the scale at which its 95 % region is
    the covariance's own. On invented processes the squared distances of true colours are about half of a normal's in
    the median, as large at 95 % and two to three times as large at 99 %, as with four degrees of freedom.
    """
    from scipy.special import fdtri

    return np.sqrt(CHI2_95 / (3 * fdtri(3, DEGREES_OF_DOUBT, 0.95))) * student_stretch(shares)


@lru_cache(maxsize=1)
def doubt_stretch() -> Floats:
    """Return ``stretch_of_doubt`` for each of ``normal_draws``."""
    even = (np.arange(2**DRAWS_LOG2) + 0.5) / 2**DRAWS_LOG2
    return stretch_of_doubt(np.random.default_rng(20011).permutation(even))


def lightness_weight(lightness: ArrayLike) -> Floats:
    """Return S_L of ISO/CIE 11664-6 at a (mean) lightness."""
    from_middle = np.square(np.asarray(lightness, float) - 50)
    return np.asarray(1 + 0.015 * from_middle / np.sqrt(20 + from_middle))


def near_uniform(lab: ArrayLike) -> Floats:
    """Place CIELAB (..., 3) where Euclidean distance nearly is ΔE00 for close, brownish colours.

    Lightness is stretched by the integral of 1 / S_L; chroma by that of 1 / S_C, keeping the hue angle.
    """
    values = np.asarray(lab, dtype=float)
    knots = np.linspace(-10, 160, 3401)
    stretched = np.concatenate([[0.0], np.cumsum(1 / lightness_weight((knots[1:] + knots[:-1]) / 2))])
    lightness = np.interp(values[..., 0], knots, stretched * (knots[1] - knots[0]))
    shrink = _chroma_shrink(np.hypot(values[..., 1], values[..., 2]))
    return np.stack([lightness, values[..., 1] * shrink, values[..., 2] * shrink], axis=-1)


def _chroma_shrink(chroma: Floats) -> Floats:
    scaled = CHROMA_SLOPE * np.maximum(chroma, 1e-9)
    return np.asarray(np.log1p(scaled) / scaled)
