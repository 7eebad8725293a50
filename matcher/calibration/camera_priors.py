"""A camera and a light that no chart has shown: how far matrix, tone curve and blacks may be from the encoding's.

Before ``calibration``, which carries these spreads on to a reading.
"""

from __future__ import annotations

import numpy as np

from matcher.colour.types import Floats
from matcher.photo.camera import camera_name
from matcher.photo.encoding import CAMERA_RAW, LINEAR
from matcher.photo.photo import Photo

MATRIX_SIGMA = {
    "daylight": np.array([0.041, 0.028, 0.016, 0.030, 0.008, 0.052]),
    "unknown": np.array([0.17, 0.06, 0.18, 0.16, 0.04, 0.35]),
}
"""Spread of the unknown camera-and-light matrix about the encoding's own, entry by entry as ``matrix_effect`` orders
them (red from green, red from blue, green from red and so on), by what is known of the light. From root mean squares
over two published sensors and 200 invented patinas, in D50, D55 and D65, and under A, FL2, FL11, FL12, LED-B1 and
LED-B3; scaled by what the coverage benchmark finds enough (daylight by 0.75, unknown by up to 1.3)."""

ANOTHER_LIGHT_SHARE = 1.2
"""Of the unknown light's spread, what a profile leaves under a light that may not be its own: it was fitted to one, and
so departs from any other. Judged by the coverage benchmark, with daylight's profile under lamps."""

FINISHED_SHARE = 0.6
"""In daylight, of the unknown light's spread, for pictures that the camera finished: it turns colours and changes their
saturation more than daylight does. From ordinary camera JPEGs of a chart and its published values."""

SENSOR_MATRIX_SIGMA = np.full(6, 0.35)
"""The same for values declared linear: they are the sensor's own, which are far from any encoding's primaries."""

TONE_SIGMA, TONE_CHANNEL_SIGMA = 0.13, 0.10
"""Spread of the exponent by which a camera's tone curve departs from its encoding's about the card's level, common
to the channels and of each on its own: between ordinary camera JPEGs of a chart and its published values. Their blues
depart most, lights one way and darks the other: in daylight 95 % regions hold 91 and 74 % of two charts' patches, and
held 87 and 57 % with half the channels' own. What is still out are blacks that stray light lifts."""
LINEAR_TONE_SIGMA = 0.005

BLACK_SIGMA = {8: 3e-4, 16: 1e-4}
"""Standard uncertainty of each channel's black as a share of white, by bits: one step of an 8-bit file there (IEC
61966-2-1: 1/255/12.92), and of a sensor's black level (from memory)."""


def matrix_effect(light: Floats) -> Floats:
    """Return (3, 6): how balanced light (3,) moves per unit of each off-diagonal entry of an unknown matrix.

    A matrix error whose rows sum to zero leaves neutrals alone: entry (c, d) moves channel c by light_d − light_c.
    """
    effect = np.zeros((3, 6))
    for column, (channel, other) in enumerate((c, d) for c in range(3) for d in range(3) if c != d):
        effect[channel, column] = light[other] - light[channel]
    return effect


def matrix_sigma_of(photo: Photo, light: str) -> Floats:
    """Return (6,) how far the camera-and-light matrix may be from the encoding's, by encoding and light."""
    if photo.encoding == LINEAR:
        return SENSOR_MATRIX_SIGMA
    if photo.encoding == CAMERA_RAW or light == "unknown":
        return MATRIX_SIGMA[light]
    return FINISHED_SHARE * MATRIX_SIGMA["unknown"]


def unlearned_tone(common: float, own: float) -> Floats:
    """Return the root (6, 4) of an exponent's spread, common to the channels and of each on its own."""
    return np.vstack([np.column_stack([np.full(3, common), own * np.eye(3)]), np.zeros((3, 4))])


def black_sigma_of(photo: Photo) -> float:
    """Return how far a decoded value of nothing may be from 0, as a share of white."""
    return BLACK_SIGMA[8 if photo.bits <= 8 else 16]


def name_of_camera(photo: Photo) -> str:
    """Name the camera and encoding, whose tone curve is the same from photo to photo; else the photo itself."""
    named = camera_name(photo.camera)
    return f"{named}, {photo.encoding}" if named else photo.sha256


def name_of_camera_and_light(photo: Photo, light: str) -> str:
    """Name the camera in daylight, which sees alike from photo to photo; under an unknown light, the photo itself."""
    return f"{name_of_camera(photo)}, daylight" if light == "daylight" else photo.sha256
