"""Cameras that no constant was set on: sensors bent away from the published ones, finished as phones finish.

Every camera draws its own shifts and widths of the published sensitivities, crosstalk, saturation, tone curve, stray
light and white balance. Lights: CIE illuminants and two mixtures. Surfaces: the CIE 224:2017 set, invented patinas, and
those darkened. All tables from colour-science.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.card.reading import CardReading
from matcher.colour.cielab import XYZ_D50_TO_SRGB
from matcher.colour.types import Floats
from matcher.photo.photo import Photo
from tests.rendering.process import WAVELENGTHS_NM, interpolation_matrix, xyz_weights
from tests.rendering.sensor import CAMERAS, DAYLIGHT, chart_reflectances, toned
from tests.scenes import box
from tests.simulation import card_near, patinas, photo_of, truth

STEP_NM = np.arange(380.0, 781.0, 5.0)
LIGHTS: dict[str, dict[str, float]] = {
    **{name: {name: 1.0} for name in ("D50", "D65", "A", "FL2", "FL7", "FL11", "LED-B1", "LED-B3", "LED-V2")},
    "daylight and LED": {"D65": 0.5, "LED-B3": 0.5},
    "tubes and tungsten": {"FL2": 0.6, "A": 0.4},
}
SIDE = 16  # pixels of a patch


@dataclass(frozen=True, eq=False)
class Camera:
    """sensitivities (81, 3) every 5 nm. saturation: of the finished picture. curve: 0 plain to 1 strong. stray: light
    in the lens as a share of white. balances: how far the white balance removes the light, 1 in full."""

    sensitivities: Floats
    saturation: float
    curve: float
    stray: float
    balances: float

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Camera:
        import colour

        published = colour.MSDS_CAMERA_SENSITIVITIES[CAMERAS["AB"[int(rng.integers(2))]]]
        bands = []
        for band in published.values.T:
            peak = published.wavelengths[np.argmax(band)]
            shift, width = rng.normal(0, 5), np.exp(rng.normal(0, 0.06))
            bands.append(np.interp((STEP_NM - peak - shift) / width + peak, published.wavelengths, band, 0, 0))
        crosstalk = np.eye(3) + rng.normal(0, 0.03, (3, 3))
        seen = np.maximum(np.stack(bands, axis=1) @ crosstalk, 0)
        balances = float(rng.choice([1.0, 0.85]))
        return cls(seen, rng.uniform(1, 1.25), rng.uniform(0, 1), rng.uniform(0, 0.003), balances)

    def weights(self, light: str) -> Floats:
        """Return (36, 3) from reflectance to raw; a perfect white gives green = 1."""
        weights = interpolation_matrix(STEP_NM).T @ (self.sensitivities * power(light)[:, None])
        return np.asarray(weights / weights[:, 1].sum())

    @property
    def matrix(self) -> Floats:
        """(3, 3) from balanced raw to linear sRGB, fitted on the chart in daylight, and saturated."""
        chart, weights = chart_reflectances()[1], self.weights(DAYLIGHT)
        raw = chart @ (weights / weights.sum(axis=0))
        wanted = chart @ xyz_weights() @ XYZ_D50_TO_SRGB.T
        (red, blue), *_ = np.linalg.lstsq(raw[:, [0, 2]] - raw[:, [1]], wanted - raw[:, [1]], rcond=None)
        grey = np.array([0.2126, 0.7152, 0.0722])
        saturated = (1 - self.saturation) * grey + self.saturation * np.eye(3)
        return np.asarray(saturated @ np.stack([red, 1 - red - blue, blue], axis=1))

    def row(self, reflectances: Floats, light: str, exposure: float, rng: np.random.Generator) -> Floats:
        """Return the finished picture (SIDE, n · SIDE, 3) of a row of squares of reflectances (n, 36)."""
        weights = self.weights(light)
        raw = np.repeat(np.repeat((reflectances @ weights)[None], SIDE, axis=0), SIDE, axis=1) * exposure
        raw = raw + max(0.0, self.stray + rng.normal(0, 0.0006)) * exposure * weights.sum(axis=0)
        raw = raw + rng.normal(size=raw.shape) * 0.001 * np.sqrt(np.maximum(raw, 1e-4))
        gains = weights.sum(axis=0) ** -self.balances * self.weights(DAYLIGHT).sum(axis=0) ** (self.balances - 1)
        linear = np.minimum(raw * gains / gains[1], 1.0) @ self.matrix.T
        return toned(np.clip(linear, 0, 1).astype(np.float32), self.curve)


@lru_cache(maxsize=32)
def power(light: str) -> Floats:
    """Return a light's power (81,) every 5 nm."""
    import colour

    shape = colour.SpectralShape(380, 780, 5)
    parts = [
        (share, colour.SDS_ILLUMINANTS[name].copy().align(shape).values)
        for name, share in LIGHTS.get(light, {light: 1.0}).items()
    ]
    return np.asarray(sum(share * part / part.sum() for share, part in parts))


def surfaces(rng: np.random.Generator, count: int) -> dict[str, Floats]:
    """Return reflectances (count, 36) by kind of surface."""
    import colour
    from colour.quality.cfi2017 import load_TCS_CIE2017

    tables = load_TCS_CIE2017(colour.SpectralShape(380, 780, 5))
    published = np.stack([np.interp(WAVELENGTHS_NM, tables.wavelengths, column) for column in tables.values.T])
    return {
        "CIE 224": published[rng.permutation(len(published))[:count]],
        "patinas": patinas(count, rng),
        "dark": patinas(count, rng) * rng.uniform(0.15, 0.6, (count, 1)) + 0.008,
    }


def chart_of(camera: Camera, light: str, rng: np.random.Generator) -> tuple[Photo, CardReading]:
    """Return a photograph that a 24-patch chart fills, and its reading; its own colours depart from the published."""
    spectra = chart_reflectances()[1]
    row = camera.row(spectra, light, 0.8, rng)
    picture = np.concatenate([row[:, 6 * k * SIDE : 6 * (k + 1) * SIDE] for k in range(4)], axis=0)
    picture = np.repeat(np.repeat(picture, 2, axis=0), 2, axis=1)
    photo = photo_of(picture)
    labs = truth(spectra) + rng.normal(0, 0.4, (24, 3))
    card = load_cards()["24-patch chart"].with_lab(labs, own="the simulated chart")
    corners = box(0, 0, 12 * SIDE, 8 * SIDE)
    return photo, find_card(photo, "24-patch chart", corners=corners, cards={"24-patch chart": card})


def plates_of(
    camera: Camera, light: str, spectra: Floats, rng: np.random.Generator
) -> tuple[Photo, CardReading, list[Floats]]:
    """Return a photograph of a grey card and a row of finishes, the card's reading and the finishes' outlines."""
    grey = load_cards()["grey card"].patches[0]
    card = np.repeat(card_near(grey.lab, grey.tolerance, rng)[None], 4, axis=0)
    row = camera.row(np.vstack([card, spectra]), light, 0.8 * float(np.exp(rng.uniform(-0.5, 0.1))), rng)
    below = np.zeros((3 * SIDE, len(spectra) * SIDE, 3), row.dtype)
    finishes = np.concatenate([row[:, 4 * SIDE :], below], axis=0)
    photo = photo_of(np.concatenate([np.concatenate([row[:, : 4 * SIDE]] * 4, axis=0), finishes], axis=1))
    found = find_card(photo, corners=box(2, 2, 4 * SIDE - 2, 4 * SIDE - 2))
    outlines = [box((4 + k) * SIDE + 1, 1, (5 + k) * SIDE - 1, SIDE - 1) for k in range(len(spectra))]
    return photo, found, outlines
