"""Pictures of a card, finishes to be read and sample plates of known colour, for judging plates as references.

Cameras: the two published sensors plainly converted, and a phone-like one (tone curve, saturation, sharpening, JPEG
90); further ones drawn by seed. Plates: 50 invented patinas of one studio's log, known to within 0.5; finishes: others.
All tables from colour-science.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.card.reading import CardReading
from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.photo.photo import Photo, open_photo
from matcher.reading.reading import Reading
from tests.benchmarks.invented_cameras import STEP_NM, Camera
from tests.rendering.sensor import CAMERAS
from tests.scenes import box
from tests.simulation import card_near, patinas, truth

SIDE, INSET, COLUMNS = 24, 4, 12
KNOWN_SIGMA = 0.5
LOGGED = 50


@dataclass(frozen=True, eq=False)
class Phone:
    """A camera that sharpens and writes JPEG files of quality 90."""

    camera: Camera
    finishes: bool = False

    @classmethod
    def published(cls, letter: str) -> Phone:
        """Return one of the two published sensors, white balanced, converted by its daylight matrix and no more."""
        import colour

        table = colour.MSDS_CAMERA_SENSITIVITIES[CAMERAS[letter]]
        bands = [np.interp(STEP_NM, table.wavelengths, band, 0, 0) for band in table.values.T]
        return cls(Camera(np.stack(bands, axis=1), 1.0, 0.0, 0.0, 1.0))

    @classmethod
    def phone(cls, seed: int = 52) -> Phone:
        return cls(replace(Camera.drawn(np.random.default_rng(seed)), saturation=1.2, curve=0.7, stray=0.002), True)

    def picture(self, cells: Floats, light: str, falloff: Floats, rng: np.random.Generator) -> Photo:
        """Return a photograph of cells (h, w, 36) of reflectance; falloff (2,): log light across and down."""
        high, wide = cells.shape[:2]
        across, down = np.linspace(-0.5, 0.5, wide), np.linspace(-0.5, 0.5, high)
        lit = cells * np.exp(falloff[0] * across[None, :] + falloff[1] * down[:, None])[..., None]
        row = self.camera.row(lit.reshape(-1, 36), light, 0.8 * float(np.exp(rng.uniform(-0.3, 0.0))), rng)
        own = row.shape[0]
        shown = row.reshape(own, high, wide, own, 3).transpose(1, 0, 2, 3, 4).reshape(high * own, wide * own, 3)
        shown = cv2.resize(shown, None, fx=SIDE / own, fy=SIDE / own, interpolation=cv2.INTER_NEAREST)
        if not self.finishes:
            return open_photo(cv2.imencode(".png", shown[..., ::-1])[1].tobytes())
        soft = cv2.GaussianBlur(shown, (0, 0), 1.5)
        sharp = cv2.addWeighted(shown, 1.6, soft, -0.6, 0)
        return open_photo(cv2.imencode(".jpg", sharp[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes())


@dataclass(frozen=True, eq=False)
class Scene:
    """A picture with a card, a chosen eight of the log's plates, and finishes each with plates of the log beside it.

    labs (n, 3): the finishes' true CIELAB; outlines: where they are; plates: (index in the log, outline) beside each,
    the nearest in ΔE00 first; eight: the same for the chosen eight.
    """

    photo: Photo
    card: CardReading
    labs: Floats
    outlines: list[Floats]
    beside: list[list[tuple[int, Floats]]]
    eight: list[tuple[int, Floats]]


@dataclass(frozen=True, eq=False)
class Log:
    """A studio's plates: reflectances (50, 36) and what is known of their colour."""

    spectra: Floats
    readings: list[Reading]

    @classmethod
    def drawn(cls, rng: np.random.Generator, sigma: float = KNOWN_SIGMA) -> Log:
        spectra = patinas(LOGGED, rng)
        known = truth(spectra) + rng.normal(0, sigma, (LOGGED, 3))
        return cls(spectra, [Reading(lab, sigma**2 * np.eye(3)) for lab in known])

    def spread(self, count: int) -> list[int]:
        """Return plates that lie far apart: each next one farthest from those before it."""
        labs = np.array([reading.lab for reading in self.readings])
        chosen = [int(np.argmin(np.linalg.norm(labs - labs.mean(axis=0), axis=1)))]
        while len(chosen) < count:
            away = np.min([delta_e_2000(labs, labs[k]) for k in chosen], axis=0)
            chosen.append(int(np.argmax(away)))
        return chosen


def scene(phone: Phone, light: str, log: Log, finishes: int, near: int, rng: np.random.Generator) -> Scene:
    """Return a picture of finishes that are not in the log."""
    spectra = patinas(finishes, rng)
    labs, known = truth(spectra), np.array([reading.lab for reading in log.readings])
    nearest = [list(np.argsort(delta_e_2000(known, lab))[:near]) for lab in labs]
    eight = log.spread(8)
    cells = [log.spectra[k] for k in eight] + [np.full(36, 0.3)] * (COLUMNS - 8)
    for spectrum, rows in zip(spectra, nearest, strict=True):
        cells += [spectrum, *log.spectra[rows]]
    cells += [np.full(36, 0.3)] * (-len(cells) % COLUMNS)
    grid = np.array(cells).reshape(-1, COLUMNS, 36)
    grey = load_cards()["grey card"].patches[0]
    card = np.broadcast_to(card_near(grey.lab, grey.tolerance, rng), (len(grid), 4, 36))
    falloff = rng.normal(0, 0.06, 2)
    photo = phone.picture(np.concatenate([card, grid], axis=1), light, falloff, rng)
    found = find_card(photo, corners=box(3, 3, 4 * SIDE - 3, 4 * SIDE - 3))

    def outline(cell: int) -> Floats:
        row, column = divmod(cell, COLUMNS)
        left, top = (column + 4) * SIDE + INSET, row * SIDE + INSET
        return np.array(box(left, top, left + SIDE - 2 * INSET, top + SIDE - 2 * INSET), dtype=float)

    firsts = [COLUMNS + k * (near + 1) for k in range(finishes)]
    beside = [
        [(int(which), outline(first + 1 + k)) for k, which in enumerate(rows)]
        for first, rows in zip(firsts, nearest, strict=True)
    ]
    chosen = [(which, outline(k)) for k, which in enumerate(eight)]
    return Scene(photo, found, labs, [outline(first) for first in firsts], beside, chosen)
