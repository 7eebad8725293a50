"""A covariance in CIELAB as people read it: plus-minus, and an ellipse to draw. After the reading, before the page."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

NORMAL_95 = 1.959964  # two-sided 95 % point of the normal distribution
CHI_95_PLANE = 2.447747  # root of the 95 % point of chi-square with 2 degrees of freedom, 5.991465


def plus_minus_95(covariance: ArrayLike) -> Floats:
    """Return the half widths (3,) of the 95 % intervals of L*, a*, b*, each by itself, from a covariance (3, 3)."""
    return NORMAL_95 * np.sqrt(np.diag(np.asarray(covariance, dtype=float)))


def ellipse_95(lab: ArrayLike, covariance: ArrayLike, points: int = 96) -> Floats:
    """Return the outline (points, 2) in a*, b* that holds the true a*, b* with 95 %; its last point is its first."""
    spread = np.asarray(covariance, dtype=float)[1:, 1:]
    values, vectors = np.linalg.eigh(spread)
    around = np.linspace(0.0, 2 * np.pi, points)
    circle = np.stack([np.cos(around), np.sin(around)])
    reach = vectors @ (np.sqrt(np.maximum(values, 0.0))[:, None] * circle)
    return np.asarray(np.asarray(lab, dtype=float)[1:] + CHI_95_PLANE * reach.T)
