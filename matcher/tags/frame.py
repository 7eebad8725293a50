"""Where exactly a tag lies: the middle lines of its frame's four sides, to a small part of a pixel.

A line's middle stays where it is however blurred it is, its edges do not.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.card.search import project, unit_to
from matcher.colour.types import Floats
from matcher.tags.mark import FRAME, across_tag

SHARES = np.linspace(0.05, 0.95, 46)
"""Where along a side it is looked at."""
MIDDLE = 0.016
"""About how far in from its outer edge a frame's middle line lies, of the tag's side."""
REACH = 0.052
"""How far each way from there it is looked for: neither past the white margin outside nor into the symbol."""
OFFSETS = np.linspace(-1.0, 1.0, 41)
LEAST_DARK = 0.35
"""How much darker than the white beside it a frame is, as a share of that white's light."""
LEAST_OF_SIDE = 0.75
"""The share of each side that must be there, and straight."""
STRAIGHT = 0.3
"""Of REACH: how far from the line a place still lies on it."""
CLOSER = (0.5, 0.25, 0.15)
"""Of REACH: how far off a place may be to count, each time that the line is fitted again."""


def tag_to_picture(middle: Floats, version: int) -> Floats:
    """Return the homography (3, 3) from a tag's own coordinates, 0 to 1, to where ``middle`` (4, 2) was found.

    middle: where the frame's middle lines cross, clockwise from the tag's top left. version: of its symbol.
    """
    inset = 0.5 * FRAME / across_tag(version)
    square = np.array([[inset, inset], [1 - inset, inset], [1 - inset, 1 - inset], [inset, 1 - inset]], np.float32)
    return np.asarray(cv2.getPerspectiveTransform(square, middle.astype(np.float32)), dtype=float)


def middle_of_frame(grey: NDArray[np.float32], corners: Floats) -> Floats | None:
    """Return where the middle lines of a frame's four sides cross, (4, 2) in pixels, clockwise.

    Parameters
    ----------
    grey : ndarray, shape (h, w)
        The tag and what lies round it, in linear light.
    corners : ndarray, shape (4, 2)
        The frame's outer corners, clockwise, to within about one of the symbol's squares.

    Returns
    -------
    ndarray or None
        None when there are not four dark lines on white, each nearly whole.
    """
    unit = unit_to(corners)
    strips = _across_sides(grey, unit)
    white = np.sort(strips, axis=2)[:, :, -OFFSETS.size // 4]
    dark = np.clip(white[:, :, None] - strips, 0.0, None)
    there = dark.max(axis=2) > LEAST_DARK * np.maximum(white, 1e-6)
    if there.mean(axis=1).min() < LEAST_OF_SIDE:
        return None
    weight = dark**2
    place = (weight @ OFFSETS) / np.maximum(weight.sum(axis=2), 1e-12)
    level, tilt = _fitted(place, there)
    off = np.abs(place - level - tilt * (2 * SHARES - 1))
    if (there & (off < STRAIGHT)).mean(axis=1).min() < LEAST_OF_SIDE:
        return None
    # Where each line leaves the unit square, then as homogeneous lines, whose cross products are where they meet.
    (a, b, c, d), (e, f, g, h) = (MIDDLE + REACH * (level + end * tilt)[:, 0] for end in (-1, 1))
    starts = np.array([[0, a, 1], [1 - b, 0, 1], [1, 1 - c, 1], [d, 1, 1]])
    ends = np.array([[1, e, 1], [1 - f, 1, 1], [0, 1 - g, 1], [h, 0, 1]])
    lines = np.cross(starts, ends)
    met = np.cross(np.roll(lines, 1, axis=0), lines)
    return project(unit, met[:, :2] / met[:, 2:])


def _across_sides(grey: NDArray[np.float32], unit: Floats) -> Floats:
    """Return the light (4, SHARES, OFFSETS) across each side, from outside inwards, clockwise along it."""
    along = np.broadcast_to(SHARES[:, None], (SHARES.size, OFFSETS.size))
    inwards = np.broadcast_to(MIDDLE + REACH * OFFSETS, along.shape)
    sides = np.stack([[along, inwards], [1 - inwards, along], [1 - along, 1 - inwards], [inwards, 1 - along]])
    at = project(unit, sides.transpose(0, 2, 3, 1).reshape(-1, 2)).astype(np.float32).reshape(-1, OFFSETS.size, 2)
    strips = cv2.remap(grey, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(strips, dtype=float).reshape(4, SHARES.size, OFFSETS.size)


def _fitted(place: Floats, there: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return level and tilt, (4, 1) each, of the straight line through most of the places (4, n) along each side."""
    x = 2 * SHARES - 1
    level, tilt = np.median(place, axis=1, keepdims=True), np.zeros((4, 1))
    for spread in CLOSER:
        weight = there * np.exp(-np.square((place - level - tilt * x) / spread) / 2) + 1e-9
        whole = weight.sum(axis=1, keepdims=True)
        x0 = (weight * x).sum(axis=1, keepdims=True) / whole
        y0 = (weight * place).sum(axis=1, keepdims=True) / whole
        from_mean = weight * (x - x0)
        tilt = (from_mean * (place - y0)).sum(axis=1, keepdims=True) / (from_mean * (x - x0)).sum(axis=1, keepdims=True)
        level = y0 - tilt * x0
    return level, tilt
