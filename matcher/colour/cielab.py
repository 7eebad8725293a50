"""CIELAB under D50, 2 degrees: to and from XYZ, its derivatives, and to screen colours.

ISO/CIE 11664-4 for CIELAB; IEC 61966-2-1 for sRGB; Bradford adaptation per ICC.1 annex E. XYZ has Y = 1 for the
perfect white. Every room that needs one of these conversions takes it from here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.types import Floats
from matcher.errors import ReadingError

D50_WHITE: Floats = np.array([0.9642956764295677, 1.0, 0.8251046025104602])
"""XYZ of D50 from its chromaticity (0.3457, 0.3585), CIE 15 and IEC 61966-2-1 usage."""

_EPSILON, _KAPPA = 216 / 24389, 24389 / 27
_CUBE_ROOT = np.cbrt(_EPSILON)

SRGB_TO_XYZ_D50: Floats = np.array(
    [
        [0.4360657468742693, 0.38515150959015976, 0.14307841996513876],
        [0.2224931771105651, 0.7168870130944823, 0.060619809794952365],
        [0.01392392146316938, 0.09708132423141014, 0.7140993568158809],
    ]
)
"""Linear sRGB to XYZ under D50, (1, 1, 1) to D50_WHITE: primaries of IEC 61966-2-1, Bradford from D65."""

XYZ_D50_TO_SRGB: Floats = np.asarray(np.linalg.inv(SRGB_TO_XYZ_D50), dtype=float)

BRADFORD: Floats = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""XYZ to the sharpened cone responses of the linearised Bradford transform (ICC.1:2022, annex E)."""


def bradford_to_d50(white: ArrayLike) -> Floats:
    """Return (3, 3): XYZ under a light to XYZ under D50, given that light's white (3,), Y = 1 (ICC.1, annex E)."""
    cones = (BRADFORD @ D50_WHITE) / (BRADFORD @ np.asarray(white, dtype=float))
    return np.asarray(np.linalg.inv(BRADFORD) @ np.diag(cones) @ BRADFORD)


def checked_lab(lab: ArrayLike) -> Floats:
    """Return ``lab`` as a (3,) float array, or raise ReadingError: not three finite numbers, or out of range."""
    try:
        values = np.array(lab, dtype=float)
    except (TypeError, ValueError):
        values = np.full(0, np.nan)
    if values.shape != (3,) or not np.isfinite(values).all():
        raise ReadingError(f"Give CIELAB as three numbers L*, a*, b*: {lab!r} is not that.")
    if not (-1.0 <= values[0] <= 110.0 and np.abs(values[1:]).max() <= 200.0):
        said = ", ".join(f"{name} {value:g}" for name, value in zip(("L*", "a*", "b*"), values.round(2), strict=True))
        raise ReadingError(f"Give L* from 0 to 100, and a*, b* from -200 to 200, not {said}.")
    return values


def xyz_to_lab(xyz: ArrayLike) -> Floats:
    """Return CIELAB (..., 3) of XYZ (..., 3) under D50."""
    ratio = np.asarray(xyz, dtype=float) / D50_WHITE
    f = np.where(ratio > _EPSILON, np.cbrt(ratio), (_KAPPA * ratio + 16) / 116)
    lab = np.empty_like(f)  # filled in place: this is asked for single colours more often than anything else
    lab[..., 0] = 116 * f[..., 1] - 16
    lab[..., 1] = 500 * (f[..., 0] - f[..., 1])
    lab[..., 2] = 200 * (f[..., 1] - f[..., 2])
    return lab


def lab_to_xyz(lab: ArrayLike) -> Floats:
    """Return XYZ (..., 3) under D50 of CIELAB (..., 3)."""
    values = np.asarray(lab, dtype=float)
    f = np.empty_like(values)
    f[..., 1] = (values[..., 0] + 16) / 116
    f[..., 0] = f[..., 1] + values[..., 1] / 500
    f[..., 2] = f[..., 1] - values[..., 2] / 200
    ratio = np.where(f > _CUBE_ROOT, f**3, (116 * f - 16) / _KAPPA)
    return np.asarray(ratio * D50_WHITE)


def lab_jacobian(xyz: ArrayLike) -> Floats:
    """Return d(L*, a*, b*)/d(X, Y, Z), (3, 3), at one XYZ (3,) under D50."""
    ratio = np.asarray(xyz, dtype=float) / D50_WHITE
    slope = np.where(ratio > _EPSILON, np.cbrt(np.maximum(ratio, _EPSILON)) ** -2 / 3, _KAPPA / 116) / D50_WHITE
    return np.asarray(np.array([[0.0, 116, 0], [500, -500, 0], [0, 200, -200]]) * slope)


def lab_to_lch(lab: ArrayLike) -> Floats:
    """Return L*, C*ab and hue angle in degrees, 0 to 360, (..., 3), of CIELAB (..., 3)."""
    values = np.asarray(lab, dtype=float)
    chroma = np.hypot(values[..., 1], values[..., 2])
    hue = np.degrees(np.arctan2(values[..., 2], values[..., 1])) % 360
    return np.stack([values[..., 0], chroma, hue], axis=-1)


def encode_srgb(linear: ArrayLike) -> Floats:
    """Return sRGB code values 0 to 1 of linear light, clipped to the screen's range."""
    light = np.clip(np.asarray(linear, dtype=float), 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def lab_to_srgb8(lab: ArrayLike) -> tuple[int, int, int]:
    """Return the screen colour 0 to 255 nearest to one CIELAB (3,)."""
    red, green, blue = np.rint(encode_srgb(XYZ_D50_TO_SRGB @ lab_to_xyz(lab)) * 255).astype(int)
    return int(red), int(green), int(blue)


def outside_srgb(lab: ArrayLike) -> bool:
    """Tell whether a screen (sRGB) cannot show one CIELAB (3,) as it is."""
    linear = XYZ_D50_TO_SRGB @ lab_to_xyz(lab)
    return bool(linear.min() < -0.002 or linear.max() > 1.002)
