"""CIEDE2000 close to one colour as a quadratic form, for spreads and directions around it.

Used where many small differences about one colour are judged at once: repeatability, palettes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats

STEP = 0.1
"""Half of the difference, in CIELAB, from which the form is taken: small, yet far above rounding."""


def delta_e_metric(lab: ArrayLike) -> Floats:
    """Return G (3, 3), symmetric and positive definite: ΔE00² ≈ d·G·d for a small CIELAB difference d at lab (3,).

    By differences of ISO/CIE 11664-6 itself, taken to both sides of the colour.
    """
    here = np.asarray(lab, dtype=float)
    axes = STEP * np.eye(3)
    pairs = [(0, 1), (0, 2), (1, 2)]
    steps = np.array([*axes, *(axes[i] + axes[j] for i, j in pairs), *(axes[i] - axes[j] for i, j in pairs)])
    squared = np.square(delta_e_2000(here - steps, here + steps)) / (2 * STEP) ** 2
    metric = np.diag(squared[:3])
    for k, (i, j) in enumerate(pairs):
        metric[i, j] = metric[j, i] = (squared[3 + k] - squared[6 + k]) / 4
    values, vectors = np.linalg.eigh(metric)
    return np.asarray((vectors * np.maximum(values, 1e-3)) @ vectors.T)
