"""Plates that were written down or read wrongly: how likely each is one, and how little it then counts in the fit.

Each plate is sound, or with a small share of them a mistake, whose colour may lie anywhere about: two normal
distributions of one centre, the second far wider (Box and Tiao 1968, A Bayesian approach to some outlier problems,
Biometrika 55, 119-129). Nothing is dropped: a plate counts by what is left of its precision, and another plate that
bears it out gives it its weight back.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.colour.uncertainty import squared_distance

MISTAKE_SD = np.array([14.0, 8.0, 12.0])
"""In L*, a*, b*: how far a plate may lie off that was mislabelled or misread. Invented, from other recipes' colours."""
EXPECTED_SHARE, SURE_OF_SHARE = 0.04, 25.0
"""The share of plates that are mistakes, thought of beforehand, and how many plates that thought weighs as much as."""
NEGLIGIBLE = 0.02
"""A chance below which a plate counts in full, so that a clean log is learned from exactly as it stands."""


def chances_of_mistake(
    residuals: Floats, covariances: Floats, mistaken: Floats | None = None, checked: NDArray[np.bool_] | None = None
) -> Floats:
    """Return the chance (n,) that each plate is a mistake, by its residual when left out.

    residuals: (n, 3). covariances: (n, 3, 3) of them, were the plates sound. mistaken: (n,) chances as thought so far,
    from which the share of mistakes is learned. checked: (n,) plates that somebody has checked: they are none.
    """
    n, found = len(residuals), 0.0 if mistaken is None else float(mistaken.sum())
    share = (EXPECTED_SHARE * SURE_OF_SHARE + found) / (SURE_OF_SHARE + n)
    odds = np.log(share / (1 - share)) + log_density(residuals, covariances + np.diag(np.square(MISTAKE_SD)))
    chance = 1 / (1 + np.exp(np.clip(log_density(residuals, covariances) - odds, -700, 700)))
    none = chance < NEGLIGIBLE if checked is None else (chance < NEGLIGIBLE) | checked
    return np.where(none, 0.0, chance)


def doubts(mistaken: Floats, noise: Floats) -> Floats:
    """Return the covariance (n, 3, 3) added to each plate's noise (n, 3, 3), so that only its precision's rest counts.

    mistaken: (n,) the chance that each is a mistake; the expected precision is that of the two taken by their chances.
    """
    added = np.zeros_like(noise)
    some = np.flatnonzero(mistaken)
    if len(some):
        share = mistaken[some, None, None]
        precision = (1 - share) * np.linalg.inv(noise[some])
        precision = precision + share * np.linalg.inv(noise[some] + np.diag(np.square(MISTAKE_SD)))
        added[some] = np.linalg.inv(precision) - noise[some]
    return added


def log_prior(mistakes: int, plates: int) -> float:
    """Return the log probability that these of so many plates are mistakes and the others sound."""
    from scipy.special import betaln

    few, many = EXPECTED_SHARE * SURE_OF_SHARE, (1 - EXPECTED_SHARE) * SURE_OF_SHARE
    return float(betaln(few + mistakes, many + plates - mistakes) - betaln(few, many))


def log_density(residuals: Floats, covariances: Floats) -> Floats:
    """Return the normal log density (n,) of residuals (n, 3) with covariances (n, 3, 3), but for a constant."""
    return np.asarray(-0.5 * (squared_distance(residuals, covariances) + np.linalg.slogdet(covariances)[1]))
