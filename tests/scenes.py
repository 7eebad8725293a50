"""Small invented scenes drawn in linear light, for tests that need to know every value in the picture."""

from __future__ import annotations

import io
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from PIL import Image

from matcher.card.card import Card
from matcher.card.search import project
from matcher.colour.cielab import XYZ_D50_TO_SRGB, encode_srgb, lab_to_xyz
from matcher.colour.types import Floats
from matcher.photo.photo import Photo, open_photo

BROWN = (38.0, 14.0, 22.0)
GREY = (49.5, 0.0, 0.0)


def linear_of(lab: Any) -> Floats:
    """Return linear sRGB (..., 3) of CIELAB."""
    return np.asarray(lab_to_xyz(lab) @ XYZ_D50_TO_SRGB.T)


class Scene:
    """A bench, in linear sRGB, onto which flat things are laid."""

    def __init__(self, width: int = 800, height: int = 600, lab: Any = (62.0, 6.0, 16.0), seed: int = 1) -> None:
        bare, after = _bare_bench(width, height, tuple(lab), seed)
        self.light = bare.copy()
        self.rng = np.random.default_rng(seed)
        self.rng.bit_generator.state = after

    def lay(self, corners: Any, lab: Any, texture: float = 0.0) -> Scene:
        """Lay a quadrilateral of one colour, corners (4, 2) clockwise; texture: spread of log brightness."""
        shape = self.light.shape[:2]
        mask = np.zeros(shape, np.uint8)
        cv2.fillConvexPoly(mask, np.round(np.asarray(corners) * 16).astype(np.int32), 255, cv2.LINE_AA, shift=4)
        share = mask[..., None] / 255.0
        mottle = self.rng.normal(0, 1, shape)  # drawn for a plain thing too: what is laid later is the same
        colour = linear_of(lab)
        if texture:
            mottle = cv2.GaussianBlur(mottle, (0, 0), 3)
            colour = colour * np.exp(texture * mottle / mottle.std())[..., None]
        left, top, across, down = cv2.boundingRect(mask)
        part = (slice(top, top + down), slice(left, left + across))
        colour, share = (colour[part] if colour.ndim == 3 else colour), share[part]
        self.light[part] = self.light[part] * (1 - share) + colour * share
        return self

    def lay_picture(self, corners: Any, picture: Any) -> Scene:
        """Lay a picture (h, w, 3), linear, on a quadrilateral."""
        height, width = self.light.shape[:2]
        rows, columns = picture.shape[:2]
        source = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32)
        homography = cv2.getPerspectiveTransform(source, np.asarray(corners, np.float32))
        warped = cv2.warpPerspective(picture.astype(float), homography, (width, height), flags=cv2.INTER_AREA)
        mask = cv2.warpPerspective(np.ones((rows, columns)), homography, (width, height))[..., None]
        self.light = self.light * (1 - mask) + warped * mask
        return self

    def blurred(self, sigma: float) -> Scene:
        self.light = cv2.GaussianBlur(self.light, (0, 0), sigma)
        return self

    def codes(
        self, exposure: float = 1.0, cast: Any = (1.0, 1.0, 1.0), noise: float = 0.004, gradient: float = 0.0
    ) -> Any:
        """Return 8-bit sRGB. gradient: log light from the left edge to the right."""
        width = self.light.shape[1]
        falloff = np.exp(gradient * (np.linspace(0, 1, width) - 0.5))[None, :, None]
        light = self.light * exposure * np.array(cast) * falloff
        light = light + self.rng.normal(0, 1, light.shape) * noise * np.sqrt(np.maximum(light, 0.001))
        return np.rint(encode_srgb(light) * 255).astype(np.uint8)

    def photo(self, **how: Any) -> Photo:
        return open_photo(png(self.codes(**how)))


@lru_cache(maxsize=8)
def _bare_bench(width: int, height: int, lab: Any, seed: int) -> tuple[Floats, dict[str, Any]]:
    """Return a bench's linear light and the state of the chance that made it: most tests lay things on the same one."""
    rng = np.random.default_rng(seed)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (height, width)), (0, 0), sigmaX=25, sigmaY=2)
    light = linear_of(lab) * np.exp(0.35 * grain / grain.std() * 0.5)[..., None]
    light *= np.exp(rng.normal(0, 0.03, (height, width, 1)))
    return light, dict(rng.bit_generator.state)


def png(codes: Any) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(codes).save(buffer, "PNG", compress_level=0)
    return buffer.getvalue()


def box(left: float, top: float, right: float, bottom: float) -> Floats:
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], dtype=float)


def turned(corners: Any, degrees: float, stretch: float = 1.0) -> Floats:
    """Turn a quadrilateral about its middle, and narrow it as a card seen at an angle is."""
    corners = np.asarray(corners, float)
    middle = corners.mean(axis=0)
    angle = np.radians(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return (corners - middle) * [1, stretch] @ turn.T + middle


def draw_card(card: Card, pixels_per_unit: int = 200) -> Floats:
    """Draw a steps or chart card, linear: its patches on black, in the card's own proportions."""
    width = int(pixels_per_unit * card.sides[1])
    height = int(width / np.mean(card.sides)) if card.layout != "steps" else width // 3
    picture = np.zeros((height, width, 3)) + 0.02
    for patch in card.patches:
        left, top, right, bottom = (np.array(patch.box) * [width, height, width, height]).astype(int)
        grow_x, grow_y = int(0.35 * (right - left)), int(0.35 * (bottom - top))
        area = (slice(max(top - grow_y, 0), bottom + grow_y), slice(max(left - grow_x, 0), right + grow_x))
        picture[area] = linear_of(patch.lab)
    return picture


def draw_carrier(card: Card, pixels_per_mm: int = 6) -> Floats:
    """Draw a carrier sheet with its card in the window, linear."""
    drawing = card.carrier
    assert drawing is not None
    width, height = (round(side * pixels_per_mm) for side in drawing.sheet_mm)
    picture = np.full((height, width, 3), 0.85)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, drawing.dictionary))
    for number, (x, y) in drawing.markers.items():
        side = round(drawing.marker_mm * pixels_per_mm)
        marker = cv2.aruco.generateImageMarker(dictionary, number, side)
        left, top = round(x * pixels_per_mm), round(y * pixels_per_mm)
        picture[top : top + side, left : left + side] = np.where(marker > 127, 0.85, 0.03)[..., None]
    left, top, right, bottom = (round(edge * pixels_per_mm) for edge in drawing.window_mm)
    picture[top:bottom, left:right] = linear_of(card.patches[0].lab)
    return picture


def on_sheet(corners: Any, shares: Any) -> Floats:
    """Return where shares (n, 2) of a quadrilateral lie in the picture."""
    from matcher.card.search import unit_to

    return project(unit_to(np.asarray(corners, float)), np.asarray(shares, float))
