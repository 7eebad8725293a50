"""Where two finishes differ: each region is laid flat, glare left out, and compared cell by cell.

After the calibration of both photographs; the regions say what lies upon what.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.calibration.calibration import Calibration
from matcher.colour.difference import delta_e_2000, interval_of, near_uniform, normal_draws
from matcher.colour.types import Floats
from matcher.colour.uncertainty import square_root
from matcher.colour.verdict import UNSEEN_DELTA_E00
from matcher.errors import ReadingError
from matcher.photo.photo import Photo
from matcher.photo.region import checked_outline
from matcher.reading.finish import FEWEST_PIXELS, shift_of
from matcher.reading.glare import find_glare

MOST_PIXELS = 1_500_000
MOST_FINER = 8
LARGEST_SIDE = 2_000
FINE, COARSE = 128, 8
"""Cells along the longer side of a map: spot by spot, and evened out so that mottle runs together."""
BANDS = (1.0, 2.0, 4.0, 8.0)
"""ΔE00 between which cells are shown alike, as read. What may be said of them in words follows their intervals."""
SPOT_DRAWS = 256


@dataclass(frozen=True, eq=False)
class DifferenceMap:
    """Where two finishes differ: apart (h, w) ΔE00 as read; interval (h, w, 2) its 95 %; NaN where there is none."""

    apart: Floats
    interval: Floats

    def shares(self, limit: float = UNSEEN_DELTA_E00) -> tuple[float, float, float]:
        """Return which share of what was compared surely differs by at most ``limit``, can't be told, surely by more.

        The three add up to 1; all are 0 where nothing was compared.
        """
        known = self.interval[np.isfinite(self.apart)]
        if len(known) == 0:
            return 0.0, 0.0, 0.0
        under, over = float(np.mean(known[:, 1] <= limit)), float(np.mean(known[:, 0] > limit))
        return under, 1.0 - under - over, over


def delta_e_map(
    photo_1: Photo,
    calibration_1: Calibration,
    region_1: ArrayLike,
    photo_2: Photo,
    calibration_2: Calibration,
    region_2: ArrayLike,
    size: tuple[int, int] = (192, 192),
    quarter_turns: int = 0,
) -> Floats:
    """Return ΔE00 (h, w) between two finishes as read, NaN where either shows glare or nothing.

    regions: (n, 2) pixels, laid upon each other by their corners (``region_corners``). size: (h, w). quarter_turns:
    turn the second region clockwise by so many before laying it on the first. Raises ReadingError when a region
    cannot be used or is all glare.
    """
    first = flat_lab(photo_1, calibration_1, region_1, size)
    second = flat_lab(photo_2, calibration_2, region_2, size, quarter_turns)
    both = _where_both(first, second)
    apart = np.full(both.shape, np.nan)
    apart[both] = delta_e_2000(first[both], second[both])
    return apart


def difference_map(
    photo: Photo,
    calibration: Calibration,
    region_1: ArrayLike,
    region_2: ArrayLike,
    covariance: ArrayLike,
    size: tuple[int, int],
) -> DifferenceMap:
    """Return where two finishes of one photograph differ, and how surely; regions and size as for ``delta_e_map``.

    covariance: (3, 3) of the difference of their readings, which is what is not known of each spot's too. Its draws are
    carried to ΔE00 in the nearly uniform space, which is quick, and true to some 5 % of the half width for colours as
    near as two finishes that are compared. Raises ReadingError.
    """
    first = flat_lab(photo, calibration, region_1, size)
    second = flat_lab(photo, calibration, region_2, size)
    both = _where_both(first, second)
    one, other = first[both], second[both]
    apart, interval = np.full(both.shape, np.nan), np.full((*both.shape, 2), np.nan)
    apart[both] = delta_e_2000(one, other)
    middle = (one.mean(axis=0) + other.mean(axis=0)) / 2
    noise = near_uniform(middle + normal_draws()[:SPOT_DRAWS] @ square_root(covariance).T) - near_uniform(middle)
    step = near_uniform(other) - near_uniform(one)
    stretch = apart[both] / np.maximum(np.linalg.norm(step, axis=1), 1e-9)
    draws = np.linalg.norm(step[:, None] * stretch[:, None, None] + noise, axis=2)
    interval[both] = interval_of(one, other, covariance, draws, given=True)
    return DifferenceMap(apart, interval)


def _where_both(first: Floats, second: Floats) -> NDArray[np.bool_]:
    both = np.asarray(np.isfinite(first).all(axis=-1) & np.isfinite(second).all(axis=-1))
    if not both.any():
        raise ReadingError("The two regions share no spot without glare: retake one photo with the lamp moved.")
    return both


def flat_lab(
    photo: Photo, calibration: Calibration, region: ArrayLike, size: tuple[int, int], quarter_turns: int = 0
) -> Floats:
    """Return CIELAB (h, w, 3) of a region laid flat, each cell the mean in linear light; NaN for glare or outside.

    size: (h, w). Raises ReadingError when the region is no region of the picture or is all glare.
    """
    height, width = (int(side) for side in size)
    if not (1 <= height <= LARGEST_SIDE and 1 <= width <= LARGEST_SIDE):
        raise ReadingError(f"Ask for a map of 1 to {LARGEST_SIDE} cells a side: {height} by {width} is not that.")
    outline = checked_outline(region, photo.width, photo.height)
    corners = np.roll(region_corners(outline), quarter_turns % 4, axis=0)
    light, (left, top), step = _light_without_glare(photo, calibration, outline)
    cells = np.sqrt(_area(corners) / (height * width)) / step
    finer = int(np.clip(np.ceil(cells), 1, MOST_FINER))
    fine = (width * finer, height * finer)
    frame = np.array([[0, 0], [fine[0], 0], fine, [0, fine[1]]], np.float32) - np.float32(0.5)
    onto = cv2.getPerspectiveTransform(((corners - [left, top]) / step).astype(np.float32), frame)
    laid = cv2.resize(cv2.warpPerspective(light, onto, fine), (width, height), interpolation=cv2.INTER_AREA)
    shown = laid[..., 3] >= 0.5
    if not shown.any():
        raise ReadingError("The marked region is all glare or overexposed: retake the photo with the lamp moved.")
    flat = np.full((height, width, 3), np.nan)
    cells_light = laid[shown][:, :3] / laid[shown][:, 3:]
    shift = shift_of(photo, calibration, outline, cells_light.mean(axis=0))
    flat[shown] = calibration.lab_of_light(cells_light) + shift
    return flat


def map_size(region: ArrayLike, longest: int = FINE) -> tuple[int, int]:
    """Return (h, w) of a map of a region (n, 2) whose cells are about square, its longer side ``longest`` cells.

    Raises ReadingError for an outline without area.
    """
    corners = region_corners(np.asarray(region, dtype=float))
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    width, height = (sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2
    scale = longest / max(width, height)
    return max(1, round(height * scale)), max(1, round(width * scale))


def in_bands(apart: Floats) -> tuple[NDArray[np.int8], tuple[float, ...]]:
    """Return for each cell of a map (h, w) its place among BANDS, −1 where there is none, and each band's share.

    Shares are of the cells that have a value.
    """
    known = np.isfinite(apart)
    bands = np.where(known, np.searchsorted(BANDS, np.nan_to_num(apart), side="right"), -1).astype(np.int8)
    counts = np.bincount(bands[known], minlength=len(BANDS) + 1)
    return bands, tuple(float(count) / max(1, int(known.sum())) for count in counts)


def region_corners(outline: Floats) -> Floats:
    """Return the corners (4, 2) of a region, clockwise on the screen.

    Four marks are corners, the first one first. Of any other outline it is the smallest rectangle around it, from
    the corner nearest to the picture's top left. Raises ReadingError for an outline without area.
    """
    corners = np.asarray(outline, dtype=float)
    if len(corners) != 4:
        corners = np.asarray(cv2.boxPoints(cv2.minAreaRect(corners.astype(np.float32))), dtype=float)
        corners = np.roll(corners, -int(corners.sum(axis=1).argmin()), axis=0)
    x, y = corners.T
    turning = float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
    if turning < 0:
        corners = corners[[0, 3, 2, 1]]
    if abs(turning) / 2 < FEWEST_PIXELS or not cv2.isContourConvex(corners.astype(np.float32)):
        raise ReadingError("Mark the region larger, its corners in order around it: these enclose no area.")
    return corners


def _area(corners: Floats) -> float:
    return float(abs(cv2.contourArea(corners.astype(np.float32))))


def _light_without_glare(
    photo: Photo, calibration: Calibration, outline: Floats
) -> tuple[NDArray[np.float32], tuple[int, int], int]:
    """Return scene light and weight (h, w, 4) around an outline, its top left pixel and its step.

    The weight is 1 for the finish, 0 for glare and outside; light is 0 where the weight is.
    """
    low = np.clip(np.floor(outline.min(axis=0)), 0, [photo.width - 1, photo.height - 1]).astype(int)
    high = np.clip(np.ceil(outline.max(axis=0)) + 1, low + 1, [photo.width, photo.height]).astype(int)
    step = max(1, int(np.ceil(np.sqrt(np.prod((high - low).astype(float)) / MOST_PIXELS))))
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    rgb, clipped = photo.linear(box, step), photo.clipped(box, step)
    inside = np.zeros(clipped.shape, np.uint8)
    cv2.fillPoly(inside, [np.rint((outline - low) / step * 16).astype(np.int32).reshape(-1, 1, 2)], 1, shift=4)
    rows, columns = np.nonzero((inside > 0) & ~clipped)
    stacked = np.zeros((*clipped.shape, 4), np.float32)
    if len(rows):
        places = np.stack([columns, rows], axis=-1) * step + low
        light = calibration.light(rgb[rows, columns], places.astype(float))
        glare = find_glare(places.astype(float), calibration.balanced(light), np.zeros(len(light), dtype=bool))
        body = ~glare.left_out()
        stacked[rows[body], columns[body]] = np.column_stack([light[body], np.ones(int(body.sum()))])
    return stacked, (int(low[0]), int(low[1])), step
