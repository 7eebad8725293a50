"""From another light to D50: spectra exactly, CIELAB and XYZ by Bradford, and what metamerism leaves unknown.

Between a file's values and the Reading.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from matcher.colour.cielab import D50_WHITE, bradford_to_d50, xyz_to_lab
from matcher.colour.library import colour_library
from matcher.colour.types import Floats
from matcher.errors import InstrumentFileError

NEAR_LAB = 18.0
"""How near in CIELAB a surface counts when the residue of a change of light is judged by it."""

LEAST_CONVERSION_SIGMA = 0.1


def spectrum_to_lab(wavelengths_nm: Floats, reflectance: Floats) -> Floats:
    """Return CIELAB (3,), D50, 2 degrees, of a reflectance factor (n,), 1 for the perfect white.

    Interpolated by a cubic spline to 5 nm and carried on flat beyond its ends (CIE 15:2018, 7.2.2 and 7.2.3).
    Raises InstrumentFileError when it does not span 400 to 700 nm or has gaps over 20 nm.
    """
    from scipy.interpolate import CubicSpline

    order = np.argsort(wavelengths_nm)
    at, values = np.asarray(wavelengths_nm, float)[order], np.asarray(reflectance, float)[order]
    if len(at) < 2 or at[0] > 400 or at[-1] < 700:
        raise InstrumentFileError("Export the spectrum from 400 to 700 nm at least: this one does not span it.")
    steps = np.diff(at)
    if steps.min() <= 0 or steps[(at[1:] > 400) & (at[:-1] < 700)].max() > 20:
        raise InstrumentFileError("Export the spectrum every 20 nm or finer, each wavelength once: this one is not so.")
    grid = np.clip(_grid_nm(), at[0], at[-1])
    return lab_under_d50(np.asarray(CubicSpline(at, values)(grid))[None])[0]


def lab_under_d50(reflectances: Floats) -> Floats:
    """Return CIELAB (m, 3), D50, 2 degrees, of reflectances (m, 81) every 5 nm from 380 to 780."""
    weights = illuminant_weights("D50")
    return xyz_to_lab(reflectances @ weights / weights.sum(axis=0) * D50_WHITE)


def adapted(xyz: Floats, illuminant: str) -> Floats:
    """Return XYZ (..., 3) under D50 of XYZ under a light, both with Y = 1 for white: Bradford (ICC.1, annex E)."""
    if illuminant == "D50":
        return np.asarray(xyz / white_of(illuminant) * D50_WHITE)
    return np.asarray(xyz @ bradford_to_d50(white_of(illuminant)).T)


def white_of(illuminant: str) -> Floats:
    """Return XYZ (3,) of a light's white for the 2-degree observer, Y = 1."""
    return np.asarray(illuminant_weights(illuminant).sum(axis=0))


def conversion_covariance(lab: Floats, illuminant: str) -> Floats:
    """Return the covariance (3, 3) that a change of light from ``illuminant`` to D50 leaves at a CIELAB (3,) under D50.

    Two surfaces alike under one light differ under another; what Bradford misses is taken from the 99 measured
    surfaces of CIE 224:2017 (colour-science), those near in colour counting most.
    """
    if illuminant == "D50":
        return np.zeros((3, 3))
    truth, residue = _conversion_residues(illuminant)
    near = np.exp(-np.square(truth - lab).sum(axis=1) / (2 * NEAR_LAB**2)) + 0.01
    return np.asarray((residue * near[:, None]).T @ residue / near.sum() + LEAST_CONVERSION_SIGMA**2 * np.eye(3))


@lru_cache(maxsize=16)
def illuminant_weights(illuminant: str) -> Floats:
    """Return weights (81, 3) from reflectance every 5 nm to XYZ, 2 degrees; a perfect white gives Y = 1."""
    colour = colour_library()
    shape = colour.SpectralShape(380, 780, 5)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    weights = observer * colour.SDS_ILLUMINANTS[illuminant].copy().align(shape).values[:, None]
    return np.asarray(weights / weights[:, 1].sum())


@lru_cache(maxsize=16)
def _conversion_residues(illuminant: str) -> tuple[Floats, Floats]:
    """Return CIELAB under D50 (99, 3) of the CIE 224:2017 surfaces, and by how much Bradford misses each (99, 3)."""
    from colour.quality.cfi2017 import load_TCS_CIE2017

    shape = colour_library().SpectralShape(380, 780, 5)
    surfaces = np.asarray(load_TCS_CIE2017(shape).values).T
    truth = lab_under_d50(surfaces)
    return truth, xyz_to_lab(adapted(surfaces @ illuminant_weights(illuminant), illuminant)) - truth


def _grid_nm() -> Floats:
    return np.arange(380.0, 781.0, 5.0)
