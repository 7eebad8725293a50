"""Spectra become CIELAB under D50, and the weights by which any light and observer see a spectrum.

Also what a spectrum's ends and steps leave unknown, judged on published surfaces.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from matcher.colour.cielab import D50_WHITE, xyz_to_lab
from matcher.colour.library import colour_library
from matcher.colour.types import Floats
from matcher.errors import InstrumentFileError

FIRST_NM, LAST_NM, WIDEST_STEP_NM = 400.0, 680.0, 20.0
"""What a spectrum must span at least, and its widest gap within that."""

_OBSERVERS = {
    "2": "CIE 1931 2 Degree Standard Observer",
    "10": "CIE 1964 10 Degree Standard Observer",
}


def spectrum_to_lab(wavelengths_nm: Floats, reflectance: Floats) -> Floats:
    """Return CIELAB (3,), D50, 2 degrees, of a reflectance factor (n,), 1 for the perfect white.

    Interpolated by a cubic spline to 5 nm and carried on flat beyond its ends (CIE 15:2018, 7.2.2 and 7.2.3).
    Raises InstrumentFileError when it does not span 400 to 680 nm or has gaps over 20 nm.
    """
    order = np.argsort(wavelengths_nm)
    at, values = np.asarray(wavelengths_nm, float)[order], np.asarray(reflectance, float)[order]
    if len(at) < 2 or at[0] > FIRST_NM or at[-1] < LAST_NM:
        raise InstrumentFileError(
            f"Export the spectrum from {FIRST_NM:.0f} to {LAST_NM:.0f} nm at least: this one does not span it."
        )
    steps = np.diff(at)
    within = (at[1:] > FIRST_NM) & (at[:-1] < LAST_NM)
    if steps.min() <= 0 or steps[within].max() > WIDEST_STEP_NM:
        raise InstrumentFileError(
            f"Export the spectrum every {WIDEST_STEP_NM:.0f} nm or finer, each wavelength once: this one is not so."
        )
    return lab_under_d50(_interpolated(at, values[None]))[0]


def sampling_covariance(wavelengths_nm: Floats) -> Floats:
    """Return the covariance (3, 3) of CIELAB that measuring at these wavelengths (n,) only leaves.

    By how much the surfaces of CIE 224:2017, taken at these wavelengths and interpolated, miss their own colour.
    """
    return _sampling_covariance(tuple(np.sort(np.asarray(wavelengths_nm, dtype=float)).tolist()))


@lru_cache(maxsize=16)
def _sampling_covariance(wavelengths_nm: tuple[float, ...]) -> Floats:
    at, grid = np.array(wavelengths_nm), _grid_nm()
    surfaces = published_surfaces()
    taken = np.array([np.interp(at, grid, surface) for surface in surfaces])
    missed = lab_under_d50(_interpolated(at, taken)) - lab_under_d50(surfaces)
    return np.asarray(missed.T @ missed / len(missed))


def _interpolated(at_nm: Floats, values: Floats) -> Floats:
    """Return spectra (m, 81) every 5 nm from 380 to 780 of values (m, n) at rising wavelengths (n,)."""
    from scipy.interpolate import CubicSpline

    return np.asarray(CubicSpline(at_nm, values, axis=1)(np.clip(_grid_nm(), at_nm[0], at_nm[-1])))


def lab_under_d50(reflectances: Floats) -> Floats:
    """Return CIELAB (m, 3), D50, 2 degrees, of reflectances (m, 81) every 5 nm from 380 to 780."""
    return xyz_to_lab(relative_xyz(reflectances, "D50", "2") * D50_WHITE)


def relative_xyz(reflectances: Floats, illuminant: str, observer: str) -> Floats:
    """Return X/Xn, Y/Yn, Z/Zn (m, 3) of reflectances (m, 81) every 5 nm from 380 to 780."""
    return np.asarray(reflectances @ illuminant_weights(illuminant, observer) / white_of(illuminant, observer))


def white_of(illuminant: str, observer: str = "2") -> Floats:
    """Return XYZ (3,) of a light's white for an observer, Y = 1."""
    return np.asarray(illuminant_weights(illuminant, observer).sum(axis=0))


@lru_cache(maxsize=64)
def illuminant_weights(illuminant: str, observer: str = "2") -> Floats:
    """Return weights (81, 3) from reflectance every 5 nm to XYZ for an observer; a perfect white gives Y = 1."""
    colour = colour_library()
    shape = colour.SpectralShape(380, 780, 5)
    seen = colour.MSDS_CMFS[_OBSERVERS[observer]].copy().align(shape).values
    weights = seen * colour.SDS_ILLUMINANTS[illuminant].copy().align(shape).values[:, None]
    return np.asarray(weights / weights[:, 1].sum())


@lru_cache(maxsize=1)
def published_surfaces() -> Floats:
    """Return reflectances (99, 81) every 5 nm from 380 to 780: the measured surfaces of CIE 224:2017."""
    from colour.quality.cfi2017 import load_TCS_CIE2017

    return np.asarray(load_TCS_CIE2017(colour_library().SpectralShape(380, 780, 5)).values).T


def _grid_nm() -> Floats:
    return np.arange(380.0, 781.0, 5.0)
