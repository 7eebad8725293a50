"""Invented photographs with tags in them, rendered as light: perspective, shade, blur, noise, sRGB, JPEG.

Reflectances of paper, ink and bronze are from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.colour.cielab import encode_srgb
from matcher.photo.photo import Photo, open_photo
from matcher.tags.mark import MARGIN, tag_squares

PAPER, INK = 0.82, 0.035
FINE = 3
"""Rays a pixel, each way, where a tag is drawn."""


@dataclass(frozen=True)
class Taken:
    """How a picture is taken. tilt: degrees; blur: standard deviation in pixels; shade: share of the light that is
    left in the shadow whose edge runs through the picture, 1 for none; noise: of a white's light; quality: of JPEG."""

    tilt: float = 0.0
    blur: float = 0.8
    shade: float = 1.0
    noise: float = 0.006
    quality: int = 88


@dataclass(frozen=True, eq=False)
class Scene:
    photo: Photo
    tags: tuple[str, ...]
    corners: tuple[NDArray[np.float64], ...]
    data: bytes = field(repr=False)


def seen_corners(centre: Sequence[float], side: float, turn: float, tilt: float, towards: float) -> NDArray[np.float64]:
    """Return the corners (4, 2) in pixels of a square of ``side``, turned in its plane, which is tilted (radians)."""
    flat = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * side / 2
    c, s = np.cos(turn), np.sin(turn)
    flat = flat @ np.array([[c, s], [-s, c]])
    axis = np.array([np.cos(towards), np.sin(towards)])
    across = np.array([-axis[1], axis[0]])
    along, over = flat @ axis, flat @ across
    depth = 1 + over * np.sin(tilt) / (12 * side)  # from a dozen sides away
    at = along[:, None] * axis + (over * np.cos(tilt))[:, None] * across
    return at / depth[:, None] + np.asarray(centre)


def bench(rng: np.random.Generator, width: int, height: int) -> NDArray[np.float32]:
    """Return the light (h, w, 3) of a mottled bench with some plates on it."""
    cloud = np.zeros((height, width), np.float32)
    for cells in (6, 40):
        small = rng.normal(size=(max(2, cells * height // width), cells)).astype(np.float32)
        cloud += cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
    base = rng.uniform(0.05, 0.6) * rng.uniform(0.8, 1.2, 3)
    picture = (base * np.exp(0.12 * cloud)[..., None]).astype(np.float32)
    for _ in range(int(rng.integers(0, 6))):
        centre = rng.uniform(0, 1, 2) * (width, height)
        outline = seen_corners(centre, rng.uniform(0.1, 0.3) * width, rng.uniform(0, 6.3), 0.3, 0.5)
        mask = np.zeros((height, width), np.uint8)
        cv2.fillConvexPoly(mask, np.round(outline).astype(np.int32), 1)
        bronze = np.array([0.16, 0.08, 0.04]) * rng.uniform(0.3, 2.5)
        picture[mask > 0] = (bronze * np.exp(0.25 * cloud)[..., None])[mask > 0]
    return picture


def lay(picture: NDArray[np.float32], face: NDArray[np.float32], corners: NDArray[np.float64]) -> None:
    """Lay a flat face (n, n) or (n, m), its light, onto a picture in place: its outer corners (4, 2) on those given."""
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 3, picture.shape[1::-1])
    if (high <= low).any():
        return
    width, height = high - low
    rows, columns = face.shape[:2]
    cell = max(1, 512 // max(rows, columns))
    big = np.repeat(np.repeat(face, cell, axis=0), cell, axis=1).astype(np.float32)
    edge = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32) * cell - 0.5
    fine = ((corners - low + 0.5) * FINE - 0.5).astype(np.float32)
    turned = cv2.getPerspectiveTransform(edge, fine)
    size = (int(width) * FINE, int(height) * FINE)
    drawn = cv2.warpPerspective(big, turned, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    inside = cv2.warpPerspective(np.ones(big.shape[:2], np.float32), turned, size, flags=cv2.INTER_LINEAR)
    small = cv2.resize(
        drawn * (inside if drawn.ndim == 2 else inside[..., None]),
        (int(width), int(height)),
        interpolation=cv2.INTER_AREA,
    )
    cover = cv2.resize(inside, (int(width), int(height)), interpolation=cv2.INTER_AREA)[..., None]
    part = picture[low[1] : high[1], low[0] : high[0]]
    part *= 1 - cover
    part += small[..., None] if small.ndim == 2 else small


def tag_face(text: str) -> NDArray[np.float32]:
    """Return a tag's light with the white that is cut out round it."""
    return np.where(np.pad(tag_squares(text), MARGIN), INK, PAPER).astype(np.float32)


def with_margin(corners: NDArray[np.float64], text: str) -> NDArray[np.float64]:
    """Return the corners of the paper round a tag whose frame has these corners (exactly, through its homography)."""
    edge = MARGIN / len(tag_squares(text))
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    to = cv2.getPerspectiveTransform(unit, corners.astype(np.float32))
    paper = np.array([[-edge, -edge], [1 + edge, -edge], [1 + edge, 1 + edge], [-edge, 1 + edge]])
    return np.asarray(cv2.perspectiveTransform(paper[None], to))[0]


def photographed(
    rng: np.random.Generator, picture: NDArray[np.float32], taken: Taken, through: NDArray[np.float64] | None = None
) -> tuple[Photo, bytes]:
    """Return a picture of light (h, w, 3) as a camera would store it: uneven light, blur, noise, sRGB, JPEG."""
    height, width = picture.shape[:2]
    down, across = np.mgrid[0:height, 0:width].astype(np.float32)
    fall = rng.uniform(-0.25, 0.25, 2)
    light = 1 + fall[0] * (across / width - 0.5) + fall[1] * (down / height - 0.5)
    if taken.shade < 1:
        angle = rng.uniform(0, np.pi)
        point = rng.uniform(0.25, 0.75, 2) * (width, height) if through is None else through
        over = (across - point[0]) * np.cos(angle) + (down - point[1]) * np.sin(angle)
        light = light * (taken.shade + (1 - taken.shade) / (1 + np.exp(-np.clip(over / rng.uniform(1, 12), -50, 50))))
    lit = picture * light[..., None].astype(np.float32)
    lit *= np.float32(rng.uniform(0.7, 1.1))
    if taken.blur > 0:
        lit = cv2.GaussianBlur(lit, (0, 0), taken.blur)
    grain = rng.standard_normal(lit.shape, np.float32)
    lit = lit + grain * (taken.noise * np.sqrt(np.maximum(lit, 0.02)))
    stored = np.rint(encode_srgb(np.clip(lit, 0, 1)) * 255).astype(np.uint8)
    coded = cv2.imencode(".jpg", stored[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, taken.quality])[1].tobytes()
    return open_photo(coded, name="invented.jpg"), coded


def scene(
    rng: np.random.Generator,
    texts: Sequence[str],
    side: float,
    size: tuple[int, int] = (800, 600),
    taken: Taken | None = None,
    turn: float | None = None,
) -> Scene:
    """Return a photograph with tags of these texts, each with sides of ``side`` pixels before it is tilted."""
    taken = taken or Taken()
    width, height = size
    picture = bench(rng, width, height)
    room = max(1.75 * side, 1.0)
    across, down = max(1, int((width - 1) // room)), max(1, int((height - 1) // room))
    places = rng.permutation(across * down)[: len(texts)]
    if len(places) < len(texts):
        raise ValueError("no room for so many")
    towards = rng.uniform(0, 2 * np.pi)
    corners = []
    for text, place in zip(texts, places, strict=True):
        centre = (np.array([place % across, place // across]) + 0.5) * (width / across, height / down) + rng.uniform(
            0, 1, 2
        )
        angle = rng.uniform(0, 2 * np.pi) if turn is None else turn
        seen = seen_corners(centre, side, angle, np.radians(taken.tilt), towards)
        lay(picture, tag_face(text), with_margin(seen, text))
        corners.append(seen)
    photo, data = photographed(rng, picture, taken, corners[0].mean(axis=0) if corners else None)
    return Scene(photo, tuple(texts), tuple(corners), data)
