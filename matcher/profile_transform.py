"""The transform of a camera profile, from balanced scene light to XYZ: its root terms, and the candidates for a fit.

Beside ``tone``; ``camera_profile`` holds one that was fitted, ``chart_fit`` fits them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

TRANSFORMS = {"3x3": (0.3, 1e-6), "root-polynomial": (0.25, 0.2), "root-polynomial, firm": (0.1, 0.05)}
"""Candidates: standard deviations by which linear and root terms may depart from the encoding's own matrix."""
KINDS = tuple(f"{kind}, {which} tone curve" for kind in TRANSFORMS for which in ("with", "without"))
SENSOR_ENCODINGS = ("linear", "camera raw")  # values straight from the sensor: no tone curve, primaries of its own
TONE_PARAMETERS = 8  # slope: common, three channels; bow: common, three channels
PARAMETERS = TONE_PARAMETERS + 18


def root_terms(rgb: ArrayLike) -> Floats:
    """Return (..., 6): r, g, b and the square roots of rg, gb, rb.

    Degree 2 of Finlayson, Mackiewicz and Hurlbert 2015 (IEEE Trans. Image Process. 24(5)): every term grows in
    proportion to exposure, so a profile holds at any exposure.
    """
    red, green, blue = np.moveaxis(np.maximum(np.asarray(rgb, dtype=float), 0.0), -1, 0)
    return np.stack([red, green, blue, np.sqrt(red * green), np.sqrt(green * blue), np.sqrt(red * blue)], axis=-1)
