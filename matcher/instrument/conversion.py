"""From another light or observer to D50 and 2 degrees: a map fitted on published surfaces, and what it leaves open.

Between a file's values and the Reading. Two surfaces alike under one light differ under another (metamerism), so every
conversion but that of a spectrum is a guess; its uncertainty is how far the map misses real surfaces.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np

from matcher.colour.cielab import D50_WHITE, lab_to_xyz, xyz_to_lab
from matcher.colour.types import Floats
from matcher.instrument.illuminant import lab_under_d50, published_surfaces, relative_xyz

NEAR = 25.0
"""How near in a* and b*, taken at middle lightness, a surface counts when the residue is judged by it."""
FAR_SHARE = 0.05
"""How much the surfaces of quite other hues count, so that none is judged by a handful."""
LEAST_SIGMA = 0.1
RIDGE = 1e-4
_MIDDLE = 0.6  # cube root of Y of a middle lightness, L* 54

STATED = ("D50", "2")
"""Illuminant and observer that a file without any is taken to be for: the conditions of ISO 13655."""
USUAL_LIGHTS, OBSERVERS = ("D50", "D65", "C"), ("2", "10")
"""What instruments are set to when a file does not say; common practice, no source."""


def converted(relative: Floats, illuminant: str, observer: str) -> Floats:
    """Return CIELAB (3,), D50, 2 degrees, of X/Xn, Y/Yn, Z/Zn (3,) under a light for an observer ("2" or "10").

    CIELAB's own functions f of the three change by f(Y) times a polynomial of the second degree in their ratios,
    fitted on the surfaces of CIE 224:2017: a grey stays the same grey, and a finish in half the light the same colour.
    """
    if (illuminant, observer) == STATED:
        return xyz_to_lab(relative * D50_WHITE)
    return _map(illuminant, observer).lab(np.asarray(relative, dtype=float)[None])[0]


def conversion_covariance(relative: Floats, illuminant: str, observer: str) -> Floats:
    """Return the covariance (3, 3) of CIELAB that ``converted`` leaves, from the surfaces nearest in hue and chroma."""
    if (illuminant, observer) == STATED:
        return np.zeros((3, 3))
    return _map(illuminant, observer).covariance(np.asarray(relative, dtype=float)[None])[0]


def open_covariance(
    relative: Callable[[str, str], Floats], lab: Floats, illuminant: str | None, observer: str | None
) -> Floats:
    """Return the covariance (3, 3) about CIELAB (3,) of figures whose light or observer is not stated.

    relative: gives X/Xn, Y/Yn, Z/Zn (3,) if the figures are for a light and an observer. None stands for what is not
    stated: it could be any of the usual ones, each as likely.
    """
    lights = USUAL_LIGHTS if illuminant is None else (illuminant,)
    observers = OBSERVERS if observer is None else (observer,)
    total, pairs = np.zeros((3, 3)), list(product(lights, observers))
    for light, seen_by in pairs:
        figures = relative(light, seen_by)
        off = converted(figures, light, seen_by) - lab
        total += np.outer(off, off) + conversion_covariance(figures, light, seen_by)
    return total / len(pairs)


def lab_to_relative(lab: Floats) -> Floats:
    """Return X/Xn, Y/Yn, Z/Zn (..., 3) of CIELAB (..., 3) under whatever light it was measured."""
    return np.asarray(lab_to_xyz(lab) / D50_WHITE)


@dataclass(frozen=True, eq=False)
class ConversionMap:
    """A fitted map. coefficients: (5, 3), what is added to f(X), f(Y), f(Z) per term. spread: (5, 5), of the fit.

    ratios: (m, 2) of the surfaces that it was fitted on. missed: (m, 3), by how much it misses their L*, a*, b*,
    each as if it had been left out of the fit.
    """

    coefficients: Floats
    spread: Floats
    ratios: Floats
    missed: Floats

    def lab(self, relative: Floats) -> Floats:
        """Return CIELAB (m, 3), D50, 2 degrees, of X/Xn, Y/Yn, Z/Zn (m, 3)."""
        f = _f(relative)
        return _lab_of_f(f + f[:, 1:2] * (_terms(f) @ self.coefficients))

    def covariance(self, relative: Floats) -> Floats:
        """Return the covariances (m, 3, 3) that the map leaves, wider where no surface of the fit was near."""
        f = _f(relative)
        terms = _terms(f)
        apart = (_ratios(f)[:, None] - self.ratios[None]) * np.array([500.0, 200.0]) * _MIDDLE
        near = np.exp(-np.square(apart).sum(axis=2) / (2 * NEAR**2)) + FAR_SHARE
        shares = near / near.sum(axis=1, keepdims=True)
        spread = np.einsum("mn,ni,nj->mij", shares, self.missed, self.missed)
        beyond = np.einsum("mi,ij,mj->m", terms, self.spread, terms)
        return np.asarray(spread * (1 + beyond)[:, None, None] + LEAST_SIGMA**2 * np.eye(3))


def fitted(reflectances: Floats, illuminant: str, observer: str) -> ConversionMap:
    """Return the map of a light and observer from reflectances (m, 81) every 5 nm from 380 to 780."""
    seen = _f(relative_xyz(reflectances, illuminant, observer))
    wanted = _f(relative_xyz(reflectances, *STATED))
    terms = _terms(seen)
    change = (wanted - seen) / seen[:, 1:2]
    spread = np.linalg.inv(terms.T @ terms + RIDGE * np.eye(terms.shape[1]))
    coefficients = spread @ terms.T @ change
    leverage = np.einsum("mi,ij,mj->m", terms, spread, terms)
    off = _lab_of_f(seen + seen[:, 1:2] * (terms @ coefficients)) - lab_under_d50(reflectances)
    return ConversionMap(
        coefficients, np.asarray(spread, dtype=np.float64), _ratios(seen), off / np.sqrt(1 - leverage)[:, None]
    )


@lru_cache(maxsize=32)
def _map(illuminant: str, observer: str) -> ConversionMap:
    return fitted(published_surfaces(), illuminant, observer)


def _f(relative: Floats) -> Floats:
    """Return f(X/Xn), f(Y/Yn), f(Z/Zn) (m, 3) as ISO/CIE 11664-4 has it."""
    lab = xyz_to_lab(relative * D50_WHITE)
    fy = (lab[:, 0] + 16) / 116
    return np.stack([fy + lab[:, 1] / 500, fy, fy - lab[:, 2] / 200], axis=1)


def _lab_of_f(f: Floats) -> Floats:
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)


def _ratios(f: Floats) -> Floats:
    """Return (m, 2): how far f(X) and f(Z) lie from f(Y), in parts of it. Both 0 for a grey."""
    return np.asarray(f[:, [0, 2]] / f[:, 1:2] - 1)


def _terms(f: Floats) -> Floats:
    x, z = _ratios(f).T
    return np.stack([x, z, x * x, x * z, z * z], axis=1)
