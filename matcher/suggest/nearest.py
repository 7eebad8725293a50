"""Exact nearest plates by CIEDE2000, found through an index in a space that nearly follows it.

ΔE00 is no metric, so no ordinary tree can index it. Here plates lie in blocks of neighbours, and a bound derived from
the ΔE00 formula itself says how near the best plate of a block could be; blocks are compared with exactly, the most
promising first, until the bound shuts out all others. Near or far, the list is that of comparing with every plate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.difference import CHROMA_SLOPE, delta_e_2000, lightness_weight, near_uniform
from matcher.colour.types import Floats, Indices
from matcher.suggest.growing import Rows

TAIL_LIMIT = 2000
"""Plates that are compared with always; more than this are laid in blocks of their own."""
BLOCK = 400
MOST_T, STEEPEST_T = 1.93, 2.41
"""No hue has a greater T in ISO/CIE 11664-6, nor a steeper one per radian: its four cosine terms at their largest."""
HUE_SLOPE = 0.015


def least_difference(target: ArrayLike, low: Floats, high: Floats) -> Floats:
    """Return (n,) ΔE00 that no colour in boxes ``low`` to ``high`` (n, 3) of CIELAB can be nearer to a target than.

    Bounds every term of ISO/CIE 11664-6 over each box. Rests on ΔC′² + ΔH′² being the squared distance in the
    (a′, b′) plane, in which both colours are stretched alike, and on S_H never exceeding S_C.
    """
    lightness, a, b = np.asarray(target, dtype=float)
    lights = np.maximum(np.maximum(low[:, 0] - lightness, lightness - high[:, 0]), 0.0)
    heaviest = np.maximum(lightness_weight((lightness + low[:, 0]) / 2), lightness_weight((lightness + high[:, 0]) / 2))
    chroma = math.hypot(a, b)
    near, far = _nearest_and_farthest(low[:, 1:], high[:, 1:])
    g_low, g_high = _a_stretch((chroma + far) / 2), _a_stretch((chroma + near) / 2)
    own = np.hypot((1 + g_high) * a, b)
    mean_high = (own + (1 + g_high) * far) / 2
    steps = np.maximum(np.maximum(low[:, 1:] - [a, b], [a, b] - high[:, 1:]), 0.0)
    plane = np.square((1 + g_low) * steps[:, 0]) + np.square(steps[:, 1])
    turns = _turns(np.array([a, b]), low[:, 1:], high[:, 1:], g_low, g_high)
    mean_hues = _mean_hues(a, b, turns, g_low, g_high)
    chroma_weight = 1 + CHROMA_SLOPE * mean_high
    hue_weight = 1 + HUE_SLOPE * _greatest_t(mean_hues) * mean_high
    hues = _least_hue_step(np.hypot((1 + g_low) * a, b), near, turns)
    # of a distance in the plane, what need not be hue is cheapest as chroma, since S_C is at least S_H
    in_plane = np.square(hues) * (1 / np.square(hue_weight) - 1 / np.square(chroma_weight)) + np.maximum(
        plane, np.square(hues)
    ) / np.square(chroma_weight)
    in_plane = in_plane * (1 - _rotation(mean_hues, mean_high) / 2)
    return np.sqrt(np.square(lights / heaviest) + np.maximum(in_plane, 0.0)) * (1 - 1e-9)


@dataclass(frozen=True, eq=False)
class PlateIndex:
    """An index over plates' CIELAB (n, 3); ``nearest`` equals brute force always. Made by ``build``.

    rows: (m,) the indexed plates' rows, block by block; the rest, at most ``TAIL_LIMIT``, is compared with always.
    starts: (k + 1,) where blocks start in ``rows``. low, high: (k, 3) the boxes that hold them.
    """

    kept: Rows
    rows: Indices
    starts: Indices
    low: Floats
    high: Floats

    @classmethod
    def build(cls, labs: ArrayLike) -> PlateIndex:
        """Index CIELAB (n, 3), n ≥ 0."""
        none = np.zeros(0, dtype=np.intp)
        empty = cls(Rows.of(np.zeros((0, 3))), none, np.zeros(1, dtype=np.intp), np.zeros((0, 3)), np.zeros((0, 3)))
        return empty.with_plates(labs)

    @property
    def labs(self) -> Floats:
        """The plates' CIELAB (n, 3)."""
        return self.kept.values

    def with_plates(self, labs: ArrayLike) -> PlateIndex:
        """Return an index that also holds ``labs`` (m, 3); the blocks that stand are kept as they are."""
        kept = self.kept.followed_by(np.asarray(labs, dtype=float).reshape(-1, 3))
        values = kept.values
        done = len(self.rows)
        if len(values) - done <= TAIL_LIMIT:
            return PlateIndex(kept, self.rows, self.starts, self.low, self.high)
        blocks = _blocks(near_uniform(values[done:]), np.arange(len(values) - done))
        sizes = np.array([len(block) for block in blocks])
        low = np.array([values[done + block].min(axis=0) for block in blocks])
        high = np.array([values[done + block].max(axis=0) for block in blocks])
        return PlateIndex(
            kept,
            np.concatenate([self.rows, done + np.concatenate(blocks)]),
            np.concatenate([self.starts, self.starts[-1] + np.cumsum(sizes)]),
            np.concatenate([self.low, low]),
            np.concatenate([self.high, high]),
        )

    def nearest(self, target: ArrayLike, count: int) -> tuple[Indices, Floats]:
        """Return the ``count`` nearest plates' rows and their ΔE00, nearest first, ties by row."""
        goal = np.asarray(target, dtype=float)
        rows = np.arange(len(self.rows), len(self.labs))
        delta = delta_e_2000(goal, self.labs[rows])
        if len(self.low) and count > 0:
            rows, delta = self._search(goal, min(count, len(self.labs)), rows, delta)
        order = np.lexsort((rows, delta))[:count]
        return rows[order], delta[order]

    def _search(self, target: Floats, count: int, rows: Indices, delta: Floats) -> tuple[Indices, Floats]:
        """Compare with block after block, the most promising first, until no other can hold a nearer plate."""
        least = least_difference(target, self.low, self.high)
        order = np.argsort(least, kind="stable")
        at_once, place = max(2, -(-count // BLOCK)), 0
        while place < len(order):
            reach = np.partition(delta, count - 1)[count - 1] if len(delta) >= count else math.inf
            some = order[place : place + at_once]
            some = some[least[some] <= reach]
            if not len(some):
                break
            more = np.concatenate([self.rows[self.starts[k] : self.starts[k + 1]] for k in some])
            rows = np.concatenate([rows, more])
            delta = np.concatenate([delta, delta_e_2000(target, self.labs[more])])
            kept = np.lexsort((rows, delta))[:count]
            rows, delta, place = rows[kept], delta[kept], place + at_once
            at_once = min(2 * at_once, 16)
        return rows, delta


def _blocks(places: Floats, rows: Indices) -> list[Indices]:
    """Split rows at the median of their widest direction until at most ``BLOCK`` stay together."""
    if len(rows) <= BLOCK:
        return [rows]
    own = places[rows]
    axis = int(np.argmax(own.max(axis=0) - own.min(axis=0)))
    order = np.argpartition(own[:, axis], len(rows) // 2)
    half = len(rows) // 2
    return _blocks(places, rows[order[:half]]) + _blocks(places, rows[order[half:]])


def _nearest_and_farthest(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return the least and greatest distance from the origin (n,) within boxes (n, 2)."""
    near = np.maximum(np.maximum(low, -high), 0.0)
    far = np.maximum(np.abs(low), np.abs(high))
    return np.hypot(near[:, 0], near[:, 1]), np.hypot(far[:, 0], far[:, 1])


def _turns(own: Floats, low: Floats, high: Floats, g_low: Floats, g_high: Floats) -> Floats:
    """Return (n, 2) least and greatest turn of hue in degrees from the target to a box.

    (−180, 180) where the box may touch the origin or lie across from the target, so that any turn may occur.
    """
    turns = []
    for g in (g_low, g_high):
        hue = np.degrees(np.arctan2(own[1], (1 + g) * own[0]))
        for a in (low[:, 0], high[:, 0]):
            for b in (low[:, 1], high[:, 1]):
                turns.append((np.degrees(np.arctan2(b, (1 + g) * a)) - hue + 180) % 360 - 180)
    least, most = np.min(turns, axis=0), np.max(turns, axis=0)
    touches = np.all((low <= 0) & (high >= 0), axis=1) | (most - least > 170) | (np.abs(least) > 175) | (most > 175)
    return np.column_stack([np.where(touches, -180.0, least - 1e-6), np.where(touches, 180.0, most + 1e-6)])


def _mean_hues(a: float, b: float, turns: Floats, g_low: Floats, g_high: Floats) -> Floats:
    """Return (n, 2) least and greatest mean hue in degrees of the target with a colour in each box."""
    hues = [np.degrees(np.arctan2(b, (1 + g) * a)) for g in (g_low, g_high)]
    any_hue = turns[:, 1] >= 180.0
    least = np.where(any_hue, 0.0, np.minimum(*hues) + turns[:, 0] / 2)
    most = np.where(any_hue, 360.0, np.maximum(*hues) + turns[:, 1] / 2)
    return np.column_stack([least, most])


def _greatest_t(mean_hues: Floats) -> Floats:
    """Return an upper bound of T (n,) over mean hues (n, 2)."""
    middle, half = np.radians(mean_hues.mean(axis=1)), np.radians(np.diff(mean_hues)[:, 0] / 2)
    t = (
        1
        - 0.17 * np.cos(middle - math.radians(30))
        + 0.24 * np.cos(2 * middle)
        + 0.32 * np.cos(3 * middle + math.radians(6))
        - 0.20 * np.cos(4 * middle - math.radians(63))
    )
    return np.minimum(MOST_T, t + STEEPEST_T * half)


def _rotation(mean_hues: Floats, mean_high: Floats) -> Floats:
    """Return an upper bound of |R_T| (n,) over mean hues (n, 2) and mean chromas up to ``mean_high`` (n,)."""
    least, most = mean_hues.T
    blue = 275.0 + 360.0 * np.ceil((least - 275.0) / 360.0)
    away = np.where(blue <= most, 0.0, np.minimum(blue - most, least - (blue - 360.0)))
    seventh = mean_high**7
    chroma_part = 2 * np.sqrt(seventh / (seventh + 25.0**7))
    return np.asarray(chroma_part * np.sin(np.radians(60 * np.exp(-np.square(away / 25)))))


def _least_hue_step(own: Floats, near: Floats, turns: Floats) -> Floats:
    """Return a lower bound of ΔH′ (n,) from chromas no less than ``own`` and ``near`` and the hue turned."""
    turn = np.radians(np.maximum(np.maximum(turns[:, 0], -turns[:, 1]), 0.0))
    return np.asarray(2 * np.sqrt(own * near) * np.sin(turn / 2))


def _a_stretch(chroma: Floats) -> Floats:
    seventh = chroma**7
    return np.asarray(0.5 * (1 - np.sqrt(seventh / (seventh + 25.0**7))))
