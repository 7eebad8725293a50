"""The finish itself as a small square, under one white and one exposure, so that plates can be compared by eye.

Each channel of linear light is scaled so that what was read has, on the mean, the colour that was read of it:
whatever the light, the camera and the exposure were, they are gone, and the mottle of the finish is kept. It is made to
be looked at: the figures come from the reading.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.colour.cielab import SRGB_TO_XYZ_D50, XYZ_D50_TO_SRGB, encode_srgb, lab_to_xyz
from matcher.colour.types import Floats
from matcher.photo.encoding import CAMERA_RAW
from matcher.photo.photo import Photo
from matcher.photo.region import checked_outline, pixels_inside

_LOOKED_AT = 400
"""To how many pixels a region is reduced to find the largest square in it: finer than anyone sees."""

_LEAST_LIGHT = 1e-4
_HALVINGS = 20
_LUMINANCE: Floats = SRGB_TO_XYZ_D50[1]


def patch(photo: Photo, region: ArrayLike, lab: ArrayLike, side: int, left_out_share: float = 0.0) -> NDArray[np.uint8]:
    """Return a finish as a square of sRGB under the white of the screen.

    Parameters
    ----------
    photo : Photo
        The photograph that was read.
    region : array_like, shape (n, 2)
        The outline that was read, in its pixels.
    lab : array_like, shape (3,)
        What was read there: CIELAB under D50 for 2 degrees.
    side : int
        Of the square, in pixels; a region with fewer is enlarged without smoothing it.
    left_out_share : float
        Which share of the region, 0 to 1, was left out of the reading as glare: here the brightest part of it.

    Returns
    -------
    ndarray, shape (side, side, 3), uint8
        The largest upright square inside the outline, the middle one of several. The mean over the whole region, not
        over the square alone, is the colour that was read. A colour that a screen cannot show is brought nearer to the
        grey of its own lightness until it can: first the colour that was read, along its CIELAB hue; then each pixel,
        along its own straight line to grey in linear light. So hues stay, and saturation gives way.

    Raises
    ------
    ReadingError
        The region is none of this picture.
    """
    points = checked_outline(region, photo.width, photo.height)
    gains = _shown_light(lab) / _mean_light(photo, points, left_out_share)
    left, top, size = largest_square(points, photo.width, photo.height)
    step = max(1, size // (2 * side))
    light = _on_srgb_primaries(photo, photo.linear((left, top, left + size, top + size), step))
    small = light.shape[0] < side
    square = cv2.resize(light, (side, side), interpolation=cv2.INTER_NEAREST if small else cv2.INTER_AREA)
    return _coded(square * gains)


def flat_patch(lab: ArrayLike, side: int) -> NDArray[np.uint8]:
    """Return a plain square (side, side, 3) of a colour that was read without a photograph."""
    return _coded(np.broadcast_to(_shown_light(lab), (side, side, 3)))


def largest_square(outline: ArrayLike, width: int, height: int) -> tuple[int, int, int]:
    """Return left, top and side of the largest upright square inside an outline (n, 2), in whole pixels.

    Of several, the one nearest to the middle of the outline. To within a 400th of the outline's own size; at least
    one pixel.
    """
    points = np.asarray(outline, dtype=float)
    low = np.clip(np.floor(points.min(axis=0)), 0, [width - 1, height - 1])
    high = np.clip(np.ceil(points.max(axis=0)), low + 1, [width, height])
    scale = min(1.0, _LOOKED_AT / float((high - low).max()))
    columns, rows = (max(1, int(value)) for value in np.ceil((high - low) * scale))
    mask = np.zeros((rows + 2, columns + 2), np.uint8)  # what lies outside the box is outside the outline
    shifted = np.round(((points - low) * scale + 0.5) * 16).astype(np.int32)
    cv2.fillPoly(mask, [shifted.reshape(-1, 1, 2)], 255, shift=4)
    mask[[0, -1], :] = mask[:, [0, -1]] = 0
    # A square of 2 d - 1 pixels fits around a pixel whose nearest one outside is d steps away, as a king walks.
    reach = cv2.distanceTransform(mask, cv2.DIST_C, 3)
    most = float(reach.max())
    rows_found, columns_found = np.nonzero(reach >= most)
    middle = np.argwhere(mask > 0).mean(axis=0) if most > 0 else np.array([rows / 2, columns / 2])
    nearest = np.argmin((rows_found - middle[0]) ** 2 + (columns_found - middle[1]) ** 2)
    centre = (np.array([columns_found[nearest], rows_found[nearest]]) - 0.5) / scale + low
    side = max(1, int((2 * most - 1) / scale))
    left, top = (int(value) for value in np.clip(np.floor(centre - side / 2), 0, [width - side, height - side]))
    return left, top, side


def _mean_light(photo: Photo, points: Floats, left_out_share: float) -> Floats:
    """Return the mean light (3,) of what was read: the region without the brightest ``left_out_share`` of it."""
    shown = pixels_inside(photo, points).rgb
    if left_out_share > 0:
        brightness = shown.sum(axis=1)
        kept = brightness <= np.quantile(brightness, max(0.0, 1.0 - left_out_share))
        shown = shown[kept]
    return np.maximum(_on_srgb_primaries(photo, shown).mean(axis=0), _LEAST_LIGHT)


def _on_srgb_primaries(photo: Photo, light: NDArray[np.floating]) -> Floats:
    if photo.encoding != CAMERA_RAW:
        return np.asarray(light, dtype=float)
    return np.asarray(light @ (XYZ_D50_TO_SRGB @ photo.rgb_to_xyz).T)


def _shown_light(lab: ArrayLike) -> Floats:
    """Return linear sRGB (3,) of a colour, its chroma lessened at its own hue and lightness until a screen has it."""
    values = np.asarray(lab, dtype=float)
    values = np.array([np.clip(values[0], 0.0, 100.0), *values[1:]])

    def light(share: float) -> Floats:
        return np.asarray(XYZ_D50_TO_SRGB @ lab_to_xyz(values * [1.0, share, share]))

    def is_shown(share: float) -> bool:
        return bool(light(share).min() >= 0.0 and light(share).max() <= 1.0)

    if is_shown(1.0):
        return light(1.0)
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if is_shown(middle) else (low, middle)
    return np.clip(light(low), 0.0, 1.0)


def _coded(light: NDArray[np.floating]) -> NDArray[np.uint8]:
    """Return sRGB (h, w, 3) of linear light, each pixel drawn towards the grey of its luminance until it is shown."""
    grey = np.clip(light @ _LUMINANCE, 0.0, 1.0)[..., None]
    away = light - grey
    with np.errstate(divide="ignore", invalid="ignore"):
        room = np.where(away > 0, (1.0 - grey) / away, np.where(away < 0, -grey / away, np.inf))
    share = np.minimum(1.0, room.min(axis=-1, keepdims=True))
    return np.rint(encode_srgb(grey + share * away) * 255).astype(np.uint8)
