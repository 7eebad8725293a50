"""Where all colours lie that are within a ΔE00 of a target: what lets a database pass over the rest unseen.

ΔE00 is no metric, so an index can't rank by it; but whatever is within a ΔE00 of a target lies within an ellipsoid
about it, and within a box of the nearly uniform coordinates that a database can index.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.difference import CHROMA_SLOPE, near_uniform
from matcher.colour.types import Floats
from matcher.ranking.nearest import saturation

_ROUNDS = 6
_LIGHTNESS_SLOPE = 0.015  # of S_L in ISO/CIE 11664-6, which is at most 1 + 0.015 |L − 50|
_ROUNDING = 1e-6


@dataclass(frozen=True, eq=False)
class Within:
    """What holds all colours within a ΔE00 of a target.

    lightness, plane: half axes of an ellipsoid about the target, in L* and in (a*, b*). low, high: (3,) corners of a
    box of ``near_uniform`` coordinates.
    """

    lightness: float
    plane: float
    low: Floats
    high: Floats


def within(target: ArrayLike, delta_e00: float) -> Within | None:
    """Return what holds all colours within ``delta_e00`` of a target (3,) CIELAB; None where it may be all there are.

    Of ISO/CIE 11664-6 what ``nearest.least_difference`` keeps is solved for the colour: S_L and S_C grow no faster
    than the distance itself, so each half axis is the root of a linear equation.
    """
    lightness, a, b = (float(value) for value in np.asarray(target, dtype=float))
    reach = delta_e00 * (1 + _ROUNDING) + _ROUNDING
    left = 1 - _LIGHTNESS_SLOPE * reach / 2
    plane = _in_plane(a, b, reach)
    if left <= 0 or plane is None:
        return None
    half = reach * (1 + _LIGHTNESS_SLOPE * abs(lightness - 50)) / left
    low, high = _box((lightness - half, a - plane, b - plane), (lightness + half, a + plane, b + plane))
    return Within(half, plane, low, high)


def _in_plane(a: float, b: float, reach: float) -> float | None:
    """Return how far from (a*, b*) a colour within ``reach`` can be at most in that plane, None for any distance.

    Each round sets out from what the one before leaves: the nearer the colour must be, the less is open of its hue.
    """
    chroma, most = math.hypot(a, b), math.inf
    for _ in range(_ROUNDS):
        stretch = 1.5 - 0.5 * _saturated(max(0.0, chroma - most / 2))
        own = math.hypot(stretch * a, b)
        rotation = _most_rotation(a, b, most) * _saturated(own + most / 2)
        steep = reach / math.sqrt(1 - rotation)
        left = 1 - CHROMA_SLOPE * steep / 2
        if left <= 0:
            break
        most = min(most, steep * (1 + CHROMA_SLOPE * own) / left)
    return None if math.isinf(most) else most


def _most_rotation(a: float, b: float, radius: float) -> float:
    """Return |R_T| / R_C at most, for colours within a radius of (a*, b*).

    It falls off about a mean hue of 275°; the mean of two hues is no farther from either than half of what they differ
    by, and that of a colour within a radius is no more than what the radius is seen under from grey.
    """
    chroma = math.hypot(a, b)
    half = math.degrees(math.asin(radius / chroma)) / 2 if radius < chroma else 90.0
    hues = [math.degrees(math.atan2(b, stretch * a)) for stretch in (1.0, 1.5)]  # a′ is a* times what lies between
    from_275 = min(abs((hue - 275 + 180) % 360 - 180) for hue in hues) - half - _ROUNDING
    if (hues[0] + 85) * (hues[1] + 85) <= 0:  # 275° lies between them
        from_275 = 0.0
    return math.sin(math.radians(60 * math.exp(-((max(0.0, from_275) / 25) ** 2)))) + _ROUNDING


def _saturated(chroma: float) -> float:
    return 1.0 if math.isinf(chroma) else float(saturation(np.array(chroma)))


def _box(low: tuple[float, float, float], high: tuple[float, float, float]) -> tuple[Floats, Floats]:
    """Return the corners, in nearly uniform coordinates, of what holds a box of CIELAB.

    Each of a* and b* shrinks with the chroma, so it is largest where the other is nearest to 0.
    """
    ends = []
    for axis in (1, 2):
        other = 3 - axis
        far = max(low[other], high[other], key=abs)
        near = 0.0 if low[other] <= 0 <= high[other] else min(low[other], high[other], key=abs)
        corners = np.zeros((2, 3))
        corners[0, axis], corners[0, other] = low[axis], near if low[axis] < 0 else far
        corners[1, axis], corners[1, other] = high[axis], near if high[axis] > 0 else far
        ends.append(near_uniform(corners)[:, axis])
    lightness = near_uniform([(low[0], 0, 0), (high[0], 0, 0)])[:, 0]
    corners = np.stack([lightness, *ends], axis=-1)
    return corners[0] - _ROUNDING, corners[1] + _ROUNDING
