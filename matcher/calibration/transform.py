"""The transform of a camera profile, from balanced scene light to XYZ: its root terms, and the candidates for a fit.

Beside ``tone``; ``camera_profile`` holds one that was fitted, ``chart_fit`` fits them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.types import Floats
from matcher.errors import CardError

TRANSFORMS = {"3x3": (0.3, 1e-6), "root-polynomial": (0.25, 0.2), "root-polynomial, firm": (0.1, 0.05)}
"""Candidates: standard deviations by which linear and root terms may depart from the encoding's own matrix."""
KINDS = tuple(f"{kind}, {which} tone curve" for kind in TRANSFORMS for which in ("with", "without"))
TONE_PARAMETERS = 8  # slope: common, three channels; bow: common, three channels
PARAMETERS = TONE_PARAMETERS + 18
CAUSES = PARAMETERS + 5  # a fit also finds three gains and a gradient of two, which move with the others


def root_terms(rgb: ArrayLike) -> Floats:
    """Return (..., 6): r, g, b and the square roots of rg, gb, rb.

    Degree 2 of Finlayson, Mackiewicz and Hurlbert 2015 (IEEE Trans. Image Process. 24(5)): every term grows in
    proportion to exposure, so a profile holds at any exposure.
    """
    light = np.maximum(np.asarray(rgb, dtype=float), 0.0)
    terms = np.empty((*light.shape[:-1], 6))
    terms[..., :3] = light
    terms[..., 3] = light[..., 0] * light[..., 1]
    terms[..., 4] = light[..., 1] * light[..., 2]
    terms[..., 5] = light[..., 0] * light[..., 2]
    np.sqrt(terms[..., 3:], out=terms[..., 3:])
    return terms


PIVOT = 0.18


LEAST_LIGHT = 1e-5


STRAIGHT_BEYOND = (-4.5, 1.9)  # log light about the pivot, outside which the bow does not go on


LEAST_SLOPE = 0.2  # nor where it would make the curve flatter than this: no camera shows more light as darker


SLOPE_PRIOR, CHANNEL_SLOPE_PRIOR = 0.3, 0.1


BOW_PRIOR, CHANNEL_BOW_PRIOR = 0.05, 0.02


MOST_OF_TONE = (20.0, 5.0, 2.0)
"""Gain, slope and bow beyond which no fit under these priors ends: 15 and 35 of their standard deviations."""


@dataclass(frozen=True, eq=False)
class ToneCurve:
    """log out = gain + (1 + slope) u + bow u², u = log(value / 0.18); gain, slope, bow: (3,), by channel."""

    gain: Floats
    slope: Floats
    bow: Floats

    @classmethod
    def none(cls) -> ToneCurve:
        """The curve that changes nothing."""
        return cls(np.full(3, np.log(PIVOT)), np.zeros(3), np.zeros(3))

    def __call__(self, rgb: ArrayLike) -> Floats:
        """Return scene light (..., 3) of decoded linear RGB (..., 3)."""
        return np.asarray(np.exp(self.log_light(log_position(rgb))))

    def log_light(self, position: Floats) -> Floats:
        """Return log scene light (..., 3) at positions u (..., 3); it rises everywhere."""
        middle, low, high = self._bent_part
        inside = np.clip(position, low, high)
        bent = self.gain + middle * inside + self.bow * inside**2
        return np.asarray(bent + (middle + 2 * self.bow * inside) * (position - inside))

    @cached_property
    def _bent_part(self) -> tuple[Floats, Floats, Floats]:
        """Return the slope (3,) at the pivot, and the least and the greatest u (3,) between which the bow counts."""
        bow, middle = np.where(self.bow == 0, 1e-12, self.bow), np.maximum(1 + self.slope, LEAST_SLOPE)
        flattest = (LEAST_SLOPE - middle) / (2 * bow)
        low = np.where(bow > 0, np.clip(flattest, STRAIGHT_BEYOND[0], 0), STRAIGHT_BEYOND[0])
        high = np.where(bow < 0, np.clip(flattest, 0, STRAIGHT_BEYOND[1]), STRAIGHT_BEYOND[1])
        return middle, low, high

    def as_dict(self) -> dict[str, Any]:
        return {"gain": self.gain.tolist(), "slope": self.slope.tolist(), "bow": self.bow.tolist()}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> ToneCurve:
        parts = [np.array(data[name], dtype=float) for name in ("gain", "slope", "bow")]
        if any(part.shape != (3,) or not np.isfinite(part).all() for part in parts):
            raise CardError("Check the profile's tone curve: it takes three finite numbers each.")
        if any(np.abs(part).max() > most for part, most in zip(parts, MOST_OF_TONE, strict=True)):
            raise CardError("Check the profile's tone curve: no camera bends light that far.")
        return cls(*parts)


def log_position(rgb: ArrayLike) -> Floats:
    """Return u = log(value / 0.18) of decoded linear RGB, kept finite at black."""
    return np.asarray(np.log(np.maximum(np.asarray(rgb, dtype=float), LEAST_LIGHT) / PIVOT))


def tone_from_greys(seen: Floats, wanted: Floats) -> tuple[ToneCurve, Floats]:
    """Learn a tone curve from greys.

    seen, wanted: (n, 3) decoded and true linear RGB of n ≥ 3 greys. Returns the curve and the covariance (6, 6) of
    the channels' slopes and bows that is left. Regularised least squares in log light (Bayesian linear
    regression with the priors above as standard deviations).
    """
    position, target = log_position(seen), np.log(np.maximum(wanted, LEAST_LIGHT))
    sigma = 0.02 + 0.003 / np.maximum(wanted.mean(axis=1), 0.003)
    rows, values = [], []
    for channel in range(3):
        for k in range(len(seen)):
            u = position[k, channel]
            row = np.zeros(11)
            row[channel], row[3], row[4 + channel], row[7], row[8 + channel] = 1.0, u, u, u * u, u * u
            rows.append(row / sigma[k])
            values.append((target[k, channel] - u) / sigma[k])
    design, residual = np.array(rows), np.array(values)
    prior = np.array([10.0] * 3 + [SLOPE_PRIOR] + [CHANNEL_SLOPE_PRIOR] * 3 + [BOW_PRIOR] + [CHANNEL_BOW_PRIOR] * 3)
    precision = design.T @ design + np.diag(prior**-2)
    found = np.linalg.solve(precision, design.T @ residual)
    covariance = np.linalg.inv(precision)
    curve = ToneCurve(found[:3], found[3] + found[4:7], found[7] + found[8:11])
    of_channel = np.zeros((6, 11))
    of_channel[:3, 3] = of_channel[3:, 7] = 1.0
    of_channel[range(6), [*range(4, 7), *range(8, 11)]] = 1.0
    return curve, np.asarray(of_channel @ covariance @ of_channel.T)
