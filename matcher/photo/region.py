"""The pixels inside a marked outline of a photograph, and how surely their mean is known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.colour.types import Floats
from matcher.errors import ReadingError
from matcher.photo.photo import Photo

MOST_PIXELS = 150_000
FAR_OUTSIDE = 100.0  # of the picture's longer side: no finger slips that far
LEAST_INSIDE = 0.5  # of a region's area
BLOCKS = 6  # blocks to a side when judging how surely a mean is known: neighbouring pixels are not independent


@dataclass(frozen=True, eq=False)
class Pixels:
    """Pixels of a region: xy (n, 2) positions, rgb (n, 3) linear light, clipped (n,)."""

    xy: Floats
    rgb: Floats
    clipped: NDArray[np.bool_]

    def only(self, keep: NDArray[np.bool_]) -> Pixels:
        """Return the pixels where ``keep`` (n,) holds."""
        return Pixels(self.xy[keep], self.rgb[keep], self.clipped[keep])

    @cached_property
    def blocks(self) -> tuple[Floats, Floats]:
        """The mean places (m, 2) and mean rgb (m, 3) of the blocks that the region is cut into, worked out once."""
        low, high = self.xy.min(axis=0), self.xy.max(axis=0)
        cell = np.floor((self.xy - low) / np.maximum(high - low, 1) * BLOCKS).clip(0, BLOCKS - 1).astype(int)
        label = cell[:, 1] * BLOCKS + cell[:, 0]
        count = np.bincount(label, minlength=BLOCKS**2).astype(float)
        used = count >= max(1.0, 0.25 * len(label) / BLOCKS**2)
        sums = [np.bincount(label, weights=column, minlength=BLOCKS**2)[used] for column in (*self.xy.T, *self.rgb.T)]
        means = np.stack(sums, axis=-1) / count[used, None]
        return means[:, :2], means[:, 2:]


def checked_outline(outline: ArrayLike, width: int, height: int) -> Floats:
    """Return an outline (n, 2) of at least three finite points that lies mostly in a picture and crosses itself
    nowhere, or raise ReadingError."""
    try:
        points = np.array(outline, dtype=float)
    except (TypeError, ValueError):
        points = np.full((0, 2), np.nan)
    if points.ndim != 2 or points.shape[0] < 3 or points.shape[1] != 2 or not np.isfinite(points).all():
        raise ReadingError("Mark the region with at least three points, each an x and a y in pixels.")
    low, high = points.min(axis=0), points.max(axis=0)
    far = np.abs(points).max() > FAR_OUTSIDE * max(width, height)
    if far or high[0] <= 0 or high[1] <= 0 or low[0] >= width or low[1] >= height:
        raise ReadingError(f"Mark the region inside the picture, which is {width} by {height} pixels.")
    if _crosses_itself(points):
        raise ReadingError("Mark the region again, its points one after the other: this outline crosses itself.")
    if area_inside(points, width, height) < LEAST_INSIDE * area(points):
        raise ReadingError(
            f"Most of the marked region lies outside the picture, which is {width} by {height} pixels: mark it again."
        )
    return points


def area(points: Floats) -> float:
    """Return the area of a polygon (n, 2) that does not cross itself."""
    after = np.roll(points, -1, axis=0)
    return abs(float((points[:, 0] * after[:, 1] - after[:, 0] * points[:, 1]).sum())) / 2


def area_inside(points: Floats, width: int, height: int) -> float:
    """Return how much of a polygon's area lies in the picture: cut off edge by edge (Sutherland and Hodgman 1974)."""
    for axis, sign, limit in ((0, 1, 0.0), (1, 1, 0.0), (0, -1, -float(width)), (1, -1, -float(height))):
        depth = sign * points[:, axis] - limit
        kept = []
        for here, there, d, e in zip(points, np.roll(points, -1, axis=0), depth, np.roll(depth, -1), strict=True):
            kept += [here] if d >= 0 else []
            kept += [here + (there - here) * d / (d - e)] if (d >= 0) != (e >= 0) else []
        if not kept:
            return 0.0
        points = np.array(kept)
    return area(points)


def _crosses_itself(points: Floats) -> bool:
    """Tell whether two edges of a polygon (n, 2) cross, each passing to both sides of the other."""
    after = np.roll(points, -1, axis=0)

    def side(of: Floats) -> Floats:
        along = (after - points)[:, None]
        to = of[None] - points[:, None]
        return np.asarray(np.sign(along[..., 0] * to[..., 1] - along[..., 1] * to[..., 0]))

    parted = side(points) * side(after) < 0
    return bool((parted & parted.T).any())


def pixels_inside(photo: Photo, outline: ArrayLike, most: int = MOST_PIXELS) -> Pixels:
    """Return the pixels of ``photo`` inside an outline (n, 2), every k-th when there are more than about ``most``.

    Raises ReadingError when the outline is no region of the picture or holds no pixel.
    """
    points = checked_outline(outline, photo.width, photo.height)
    left, top = (int(value) for value in np.clip(np.floor(points.min(axis=0)), 0, [photo.width - 1, photo.height - 1]))
    right, bottom = (
        int(value) for value in np.clip(np.ceil(points.max(axis=0)), [left + 1, top + 1], [photo.width, photo.height])
    )
    step = max(1, int(np.ceil(np.sqrt((right - left) * (bottom - top) / most))))
    box = (left, top, right, bottom)
    rgb, clipped = photo.linear(box, step), photo.clipped(box, step)
    mask = np.zeros(clipped.shape, np.uint8)
    shifted = np.round((points - [left, top]) / step * 16 - 8).astype(np.int32)
    cv2.fillPoly(mask, [shifted.reshape(-1, 1, 2)], 255, shift=4)
    rows, columns = np.nonzero(mask)
    if len(rows) == 0:
        raise ReadingError("Mark a larger region: this one holds no pixel.")
    xy = np.stack([columns * step + left, rows * step + top], axis=-1).astype(float)
    return Pixels(xy, rgb[rows, columns].astype(float), clipped[rows, columns])


def share_within(places: Floats, corners: Floats) -> float:
    """Return which share of places (n, 2) lies within a four-sided card, corners (4, 2) in either direction."""
    x, y = places.T
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
    near = places[(x > left) & (x < right) & (y > top) & (y < bottom)]
    along, to = np.roll(corners, -1, axis=0) - corners, near[:, None] - corners
    side = along[:, 0] * to[..., 1] - along[:, 1] * to[..., 0]
    inside = (side > 0).all(axis=1) | (side < 0).all(axis=1)
    return float(inside.sum() / len(places))


def block_means(pixels: Pixels) -> tuple[Floats, Floats]:
    """Return the mean places (m, 2) and mean rgb (m, 3) of the blocks that a region is cut into, m ≥ 1."""
    return pixels.blocks


def covariance_of_mean(pixels: Pixels) -> Floats:
    """Return the covariance (3, 3) of a region's mean rgb, from the spread of its blocks."""
    _, means = block_means(pixels)
    if len(means) < 4:
        return np.asarray(np.cov(pixels.rgb.T) if len(pixels.rgb) > 3 else np.diag(np.square(pixels.rgb.mean(0) * 0.1)))
    return np.asarray(np.cov(means.T) / len(means))


def trimmed_mean(pixels: Pixels, share: float = 0.05) -> Floats:
    """Return the mean rgb (3,) without the darkest and lightest ``share`` of the pixels.

    A mean of linear light is what the eye makes of a texture from a distance; trimming keeps dust and sparks out.
    """
    brightness = pixels.rgb.sum(axis=1)
    low, high = np.quantile(brightness, [share, 1 - share])
    return np.asarray(pixels.rgb[(brightness >= low) & (brightness <= high)].mean(axis=0))
