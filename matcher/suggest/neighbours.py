"""Exact nearest plates by CIEDE2000, found through an index in a space that nearly follows it.

ΔE00 is no metric, so no tree can index it. Here every plate is placed where Euclidean distance nearly is ΔE00,
a k-d tree gives a first list there, and a bound derived from the ΔE00 formula itself says how far out any better
plate could still lie; all plates within the bound are then compared exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.difference import delta_e_2000

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

TAIL_LIMIT = 2000  # plates added since the tree was built; more than this and the tree is built anew
CHROMA_SLOPE, HUE_SLOPE = 0.045, 0.015


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


def search_radius(target: ArrayLike, delta_e00: float) -> float:
    """Return a distance in the near-uniform space within which every colour of ΔE00 ≤ delta_e00 surely lies.

    Bounds every term of ISO/CIE 11664-6 over all colours that could be that close; each round narrows what
    could be that close. Infinite when the bound does not close (a target very far from every plate).
    """
    lightness, a, b = np.asarray(target, dtype=float)
    d = float(delta_e00)
    lowest, highest = _lightness_weights_near(lightness, d)
    chroma = math.hypot(a, b)
    g_low, g_high, rotation, hue_weight = 0.0, 0.5, math.sqrt(3.0), 1.93
    plane_radius = math.inf
    for _ in range(4):
        kappa = 1 / math.sqrt(1 - rotation**2 / 4)
        growth = CHROMA_SLOPE / 2 * kappa * d
        if growth >= 1:
            return math.inf
        own_low, own_high = (math.hypot((1 + g) * a, b) for g in (g_low, g_high))
        other_low = max(0.0, (own_low * (1 - growth) - kappa * d) / (1 + growth))
        other_high = (own_high * (1 + growth) + kappa * d) / (1 - growth)
        mean_high = (own_high + other_high) / 2
        g_low, g_high = (
            _a_stretch((chroma + other_high) / 2),
            _a_stretch((chroma + other_low / (1 + g_high)) / 2),
        )
        weight = max(1 + CHROMA_SLOPE * mean_high, 1 + HUE_SLOPE * mean_high * hue_weight)
        plane_radius = weight * d / math.sqrt(1 - rotation / 2)
        rotation, hue_weight = _hue_terms(a, b, (g_low, g_high), plane_radius, mean_high)
    nearest_chroma = max(0.0, chroma - plane_radius)
    in_plane = float(_chroma_shrink(np.array(nearest_chroma))) * plane_radius
    return max(highest / lowest * d, in_plane) * (1 + 1e-9) + 1e-9


@dataclass(frozen=True, eq=False)
class PlateIndex:
    """An index over plates' CIELAB (n, 3); ``nearest`` equals brute force always. Made by ``build``."""

    labs: Floats
    tree: object
    indexed: int

    @classmethod
    def build(cls, labs: ArrayLike) -> PlateIndex:
        """Index CIELAB (n, 3), n ≥ 0."""
        from sklearn.neighbors import NearestNeighbors

        values = np.asarray(labs, dtype=float).reshape(-1, 3)
        tree = None
        if len(values) > TAIL_LIMIT:
            tree = NearestNeighbors(algorithm="kd_tree", leaf_size=40).fit(near_uniform(values))
        return cls(values, tree, len(values) if tree is not None else 0)

    def with_plates(self, labs: ArrayLike) -> PlateIndex:
        """Return an index that also holds ``labs`` (m, 3), without a new tree while few were added."""
        values = np.concatenate([self.labs, np.asarray(labs, dtype=float).reshape(-1, 3)])
        if len(values) - self.indexed > TAIL_LIMIT:
            return PlateIndex.build(values)
        return PlateIndex(values, self.tree, self.indexed)

    def nearest(self, target: ArrayLike, count: int) -> tuple[Indices, Floats]:
        """Return the ``count`` nearest plates' rows and their ΔE00, nearest first, ties by row."""
        candidates = self._candidates(np.asarray(target, dtype=float), min(count, len(self.labs)))
        delta = delta_e_2000(target, self.labs[candidates])
        order = np.lexsort((candidates, delta))[:count]
        return candidates[order], delta[order]

    def _candidates(self, target: Floats, count: int) -> Indices:
        tail = np.arange(self.indexed, len(self.labs))
        if self.tree is None or count == 0:
            return tail
        place = near_uniform(target)[None]
        first = self.tree.kneighbors(place, min(4 * count, self.indexed), return_distance=False)[0]  # type: ignore[attr-defined]
        reach = np.sort(delta_e_2000(target, self.labs[np.concatenate([first, tail])]))[count - 1]
        radius = search_radius(target, float(reach))
        if not math.isfinite(radius):
            return np.arange(len(self.labs))
        within = self.tree.radius_neighbors(place, radius, return_distance=False)[0]  # type: ignore[attr-defined]
        return np.concatenate([within, tail])


def _chroma_shrink(chroma: Floats) -> Floats:
    scaled = CHROMA_SLOPE * np.maximum(chroma, 1e-9)
    return np.asarray(np.log1p(scaled) / scaled)


def _a_stretch(chroma: float) -> float:
    seventh = chroma**7
    return 0.5 * (1 - math.sqrt(seventh / (seventh + 25.0**7)))


def _lightness_weights_near(lightness: float, d: float) -> tuple[float, float]:
    half = 2.0 * d  # S_L stays below 2 for every L* that a Reading takes; the second round narrows it
    highest = 2.0
    for _ in range(2):
        ends = np.array([lightness - half, lightness + half])
        highest = float(lightness_weight(ends).max())
        half = min(half, highest * d)
    ends = np.array([lightness - half, lightness + half])
    lowest = 1.0 if ends[0] <= 50 <= ends[1] else float(lightness_weight(ends).min())
    return lowest, highest


def _hue_terms(
    a: float, b: float, stretches: tuple[float, float], plane_radius: float, mean_chroma: float
) -> tuple[float, float]:
    """Return upper bounds of |R_T| and of T over the hues that the mean of such a pair can have."""
    hues = [math.degrees(math.atan2(b, (1 + g) * a)) for g in stretches]
    nearest = min(math.hypot((1 + g) * a, b) for g in stretches)
    if plane_radius >= nearest:
        angles = np.arange(0.0, 360.0, 1.0)
    else:
        spread = math.degrees(math.asin(plane_radius / nearest)) + abs(hues[0] - hues[1]) + 1.0
        angles = np.arange(min(hues) - spread, max(hues) + spread + 1.0, 1.0)
    radians = np.radians(angles)
    t = (
        1
        - 0.17 * np.cos(radians - math.radians(30))
        + 0.24 * np.cos(2 * radians)
        + 0.32 * np.cos(3 * radians + math.radians(6))
        - 0.20 * np.cos(4 * radians - math.radians(63))
    )
    from_blue = np.abs((angles - 275 + 180) % 360 - 180)
    turn = np.exp(-np.square(np.maximum(from_blue - 1.0, 0.0) / 25)).max()
    seventh = mean_chroma**7
    chroma_part = 2 * math.sqrt(seventh / (seventh + 25.0**7))
    return chroma_part * math.sin(math.radians(60 * float(turn))), float(t.max()) + 0.03
