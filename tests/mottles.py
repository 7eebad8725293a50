"""Invented mottled finishes and glare as pixels of balanced linear RGB, with the true mean: no camera, no card.

For the tests and the benchmark of what is left out as glare. Mottles are spots from a smoothed random field with soft
edges over a shaded body; glare is neutral light added to them, as a mirrored lamp adds it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from matcher.colour.cielab import SRGB_TO_XYZ_D50, XYZ_D50_TO_SRGB, lab_to_xyz, xyz_to_lab
from matcher.colour.types import Floats

SIDE = 240
SENSOR_CLIPS = 1.6  # of a perfect white

Lab = tuple[float, float, float]


@dataclass(frozen=True)
class Mottle:
    """Body and spots in CIELAB. neutral: what the spots add to the body is neutral, as glare is."""

    body: Lab
    spots: Lab
    neutral: bool = False


MOTTLES = {
    "brown with white bloom": Mottle((30, 14, 18), (80, 0, 2), neutral=True),
    "brown with verdigris": Mottle((30, 14, 18), (62, -24, -2)),
    "black with verdigris": Mottle((12, 1, 1), (58, -26, -4)),
    "dark red with worn metal": Mottle((28, 24, 18), (62, 14, 34)),
    "brown with cream": Mottle((30, 14, 18), (80, 3, 20)),
    "green with pale green": Mottle((42, -22, 6), (75, -12, 5), neutral=True),
    "brown with turquoise": Mottle((33, 12, 16), (60, -28, -14)),
    "brown with straw": Mottle((33, 12, 16), (72, 4, 40)),
    "brown with brass": Mottle((26, 8, 10), (65, 8, 38)),
    "black with brass": Mottle((14, 0, 1), (62, 6, 34)),
    "black with rust": Mottle((14, 0, 1), (40, 30, 35)),
    "olive with gold": Mottle((36, -2, 24), (66, 6, 45)),
    "green with blue": Mottle((42, -24, 8), (55, -12, -20)),
    "blue with green": Mottle((38, -8, -18), (60, -28, 10)),
    "grey brown with pink": Mottle((38, 4, 6), (64, 18, 12)),
    "dark brown with grey": Mottle((22, 8, 8), (60, 0, 1), neutral=True),
    "verdigris with white": Mottle((58, -24, -2), (88, -3, 2), neutral=True),
    "brown with dark brown": Mottle((40, 14, 22), (24, 8, 8)),
    "gold with brown": Mottle((60, 8, 38), (30, 14, 18)),
    "red with orange": Mottle((34, 32, 24), (58, 34, 50)),
    "black with lavender": Mottle((15, 1, 0), (55, 10, -16)),
    "green with yellow green": Mottle((40, -20, 8), (70, -20, 40)),
    "brown with pale blue": Mottle((30, 12, 16), (66, -8, -18)),
    "tan with cream": Mottle((55, 10, 26), (82, 3, 18), neutral=True),
    "black with bare copper": Mottle((13, 0, 0), (55, 22, 26)),
    "brown with green": Mottle((30, 14, 18), (45, -20, 8)),
}
BODIES: dict[str, Lab] = {
    "brown": (30, 14, 18),
    "black": (12, 1, 1),
    "green": (42, -22, 6),
    "gold": (60, 8, 38),
    "dark red": (28, 24, 18),
}


def linear(lab: Lab) -> Floats:
    """Return balanced linear RGB (3,) of CIELAB."""
    return np.asarray(XYZ_D50_TO_SRGB @ lab_to_xyz(lab))


def lab_of(light: Floats) -> Floats:
    """Return CIELAB (3,) of balanced linear RGB (3,)."""
    return xyz_to_lab(SRGB_TO_XYZ_D50 @ light)


def mottled(rng: np.random.Generator, body: Lab, spots: Lab, share: float, size_px: float = 5.0) -> Floats:
    """Return a finish (h, w, 3), ``share`` of it spots of about ``size_px``; its mean is the truth."""
    field = _field(rng, size_px, size_px)
    weight = np.clip((field - np.quantile(field, 1 - share)) / 0.25 + 0.5, 0, 1) if share else np.zeros_like(field)
    flat = (1 - weight[..., None]) * linear(body) + weight[..., None] * linear(spots)
    shade = 0.08 * _field(rng, 30, 30) + 0.05 * _field(rng, 1.5, 1.5)
    return np.maximum(flat * np.exp(shade)[..., None], 1e-4)


def photographed(rng: np.random.Generator, light: Floats) -> Floats:
    """Return light with a sensor's noise, cut where the sensor clips."""
    noisy = light * (1 + 0.02 * rng.standard_normal(light.shape)) + 0.0008 * rng.standard_normal(light.shape)
    return np.clip(noisy, 1e-5, SENSOR_CLIPS)


def places() -> Floats:
    """Return the places (n, 2) of the pixels of a finish laid out as (n, 3)."""
    rows, columns = np.mgrid[:SIDE, :SIDE]
    return np.stack([columns.ravel(), rows.ravel()], axis=-1).astype(float)


def lamp(rng: np.random.Generator, peak: float, size_px: float, many: int = 1) -> Floats:
    """Return the light (h, w, 1) of a lamp mirrored in so many places, ``peak`` of a perfect white at its middle."""
    rows, columns = np.mgrid[:SIDE, :SIDE]
    light = np.zeros((SIDE, SIDE))
    for _ in range(many):
        x, y = rng.uniform(0.15, 0.85, 2) * SIDE
        light += peak * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * size_px**2))
    return light[..., None]


def brushed(rng: np.random.Generator, peak: float) -> Floats:
    """Return the light (h, w, 1) of a lamp mirrored along the lines of a brush."""
    return np.asarray(peak * np.clip(_field(rng, 60, 1.2) - 1.2, 0, None))[..., None]


LAMPS: dict[str, Callable[[np.random.Generator], Floats]] = {
    "one small lamp": lambda rng: lamp(rng, 1.5, 18),
    "three small lamps": lambda rng: lamp(rng, 2.5, 12, many=3),
    "a larger lamp": lambda rng: lamp(rng, 0.4, 30),
    "a soft lamp": lambda rng: lamp(rng, 0.12, 40),
    "a window": lambda rng: lamp(rng, 0.05, 90),
    "brush lines": lambda rng: brushed(rng, 0.4),
    "bright brush lines": lambda rng: brushed(rng, 1.0),
    "sparks": lambda rng: lamp(rng, 2.0, 3, many=15),
}


def _field(rng: np.random.Generator, wide_px: float, high_px: float) -> Floats:
    """Return a smooth random field (h, w) of mean 0 and standard deviation 1."""
    noise = cv2.GaussianBlur(rng.standard_normal((SIDE, SIDE)), (0, 0), sigmaX=wide_px, sigmaY=high_px)
    return np.asarray((noise - noise.mean()) / noise.std())
