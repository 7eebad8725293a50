"""Exact nearest plates by CIEDE2000: a bound on every plate, then the formula itself on those that may be nearest.

ΔE00 is no metric, so no tree can index it; but the formula without hue and without cosines bounds it from below, in an
eighth of its time. Near or far, the list is that of comparing with every plate.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.difference import CHROMA_SLOPE, delta_e_2000, lightness_weight
from matcher.colour.types import Floats, Indices

AT_ONCE = 8192
"""Plates that are computed with at once: what comes in between then stays in the processor's cache."""
FIRST, FIRST_EACH = 2048, 8
"""Plates of least bound that are compared with first, and how many more for each that is asked for."""
MOST_ROTATION, ROTATION_ABOVE = math.sin(math.radians(60)), 1e-6
"""|R_T| over R_C in ISO/CIE 11664-6 at most: at a mean hue of 275°, and between two hues of 0° to 180°."""


def nearest(target: ArrayLike, labs: Floats, count: int) -> tuple[Indices, Floats]:
    """Return the rows of the ``count`` plates of CIELAB (n, 3) nearest to a target and their ΔE00, ties by row."""
    goal = np.asarray(target, dtype=float)
    count = min(count, len(labs))
    if count < 1:
        return np.zeros(0, dtype=np.intp), np.zeros(0)
    rows: Indices = np.arange(len(labs))
    first = FIRST + FIRST_EACH * count
    if len(labs) > first:
        least = _in_parts(least_difference, goal, labs)
        reach = np.partition(delta_e_2000(goal, labs[np.argpartition(least, first)[:first]]), count - 1)[count - 1]
        rows = np.flatnonzero(least <= reach)
    delta = _in_parts(delta_e_2000, goal, labs[rows])
    order = np.lexsort((rows, delta))[:count]
    return rows[order], delta[order]


def least_difference(target: Floats, labs: Floats) -> Floats:
    """Return (n,) what the ΔE00 of a target (3,) to CIELAB (n, 3) is at least.

    Of ISO/CIE 11664-6 the lightness term and the (a′, b′) plane are exact, and ΔC′² + ΔH′² is the squared distance in
    that plane. S_H never exceeds S_C, since T is below 3; x² + y² + R_T x y is at least (1 − |R_T| / 2)(x² + y²).
    """
    lightness, a, b = target
    in_lightness = (labs[:, 0] - lightness) / lightness_weight((labs[:, 0] + lightness) / 2)
    chroma = (math.hypot(a, b) + np.sqrt(np.square(labs[:, 1]) + np.square(labs[:, 2]))) / 2
    stretch = 1.5 - 0.5 * saturation(chroma)
    own = np.sqrt(np.square(stretch * a) + b * b)
    mean = (own + np.sqrt(np.square(stretch * labs[:, 1]) + np.square(labs[:, 2]))) / 2
    plane = np.square(stretch * (labs[:, 1] - a)) + np.square(labs[:, 2] - b)
    rotation = np.where((labs[:, 2] >= 0) & (b >= 0), ROTATION_ABOVE, MOST_ROTATION) * saturation(mean)
    squared = np.square(in_lightness) + (1 - rotation) * plane / np.square(1 + CHROMA_SLOPE * mean)
    return np.asarray(np.sqrt(squared) * (1 - 1e-9) - 1e-9)  # less what rounding may do


def saturation(chroma: Floats) -> Floats:
    """Return √(C⁷ / (C⁷ + 25⁷)), by products: a power takes ten times as long."""
    square = chroma * chroma
    seventh = square * square * square * chroma
    return np.asarray(np.sqrt(seventh / (seventh + 25.0**7)))


def _in_parts(of: Callable[[Floats, Floats], Floats], target: Floats, labs: Floats) -> Floats:
    parts = [of(target, labs[start : start + AT_ONCE]) for start in range(0, len(labs), AT_ONCE)]
    return np.concatenate(parts)
