"""Readings simulated from spectra through published sensors and lights: what a photograph would show, and the truth.

Flat pictures (a strip of grey card, a strip of finish, or a chart), so that thousands can be read in a minute; the
camera's matrix, white balance, tone curve, noise and light gradient are as in the demo's photographs.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

import numpy as np

from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.colour.cielab import encode_srgb, lab_to_xyz, xyz_to_lab
from matcher.photo.photo import open_photo
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from tests.rendering.process import WAVELENGTHS_NM, finish_spectrum, xyz_weights
from tests.rendering.sensor import balance_gains, chart_reflectances, daylight_matrix, sensor_weights
from tests.scenes import box, png

CARD, PLATE = box(0, 0, 60, 60), box(100, 0, 160, 60)


@dataclass(frozen=True)
class Shop:
    """One camera under one light. honesty: how far its white balance removes the light. curve: bend of its tone."""

    camera: str = "A"
    light: str = "D50"
    honesty: float = 1.0
    curve: float = 0.0
    linear: bool = False

    def codes(self, reflectances, exposure, gradient, noise, rng, size=60):
        """Return 8-bit (linear: 16-bit) pictures (h, w, 3) of a row of squares of reflectances (n, 36)."""
        raw = reflectances @ sensor_weights(self.camera, self.light)
        raw = np.repeat(np.repeat(raw[None], size, axis=0), size, axis=1) * exposure
        width = raw.shape[1]
        raw = raw * np.exp(gradient * np.linspace(-0.5, 0.5, width))[None, :, None]
        raw = raw + rng.normal(size=raw.shape) * noise * np.sqrt(np.maximum(raw, 1e-4))
        if self.linear:
            return np.clip(np.rint(raw * 65535), 0, 65535).astype(np.uint16)
        balanced = raw * balance_gains(self.camera, self.light, self.honesty)
        light = np.clip(balanced @ daylight_matrix(self.camera).T, 0, 1)
        coded = encode_srgb(light)
        bent = coded + self.curve * 0.5 * (coded**2 * (3 - 2 * coded) - coded)
        return np.clip(np.rint(bent * 255), 0, 255).astype(np.uint8)


def patinas(count, rng):
    """Return reflectances (count, 36) of patina-like finishes: half the demo's process, half invented curves."""
    spectra = []
    for k in range(count):
        if k % 2:
            rise = rng.uniform(0.03, 0.3) / (
                1 + np.exp(-(WAVELENGTHS_NM - rng.uniform(520, 640)) / rng.uniform(40, 80))
            )
            green = np.exp(-(((WAVELENGTHS_NM - rng.uniform(480, 560)) / rng.uniform(40, 80)) ** 2))
            spectra.append(rng.uniform(0.02, 0.08) + rise + rng.uniform(0, 0.05) * green)
            continue
        base = Undercoat("liver of sulphur", float(rng.choice([0.25, 0.5, 1.0])), float(rng.uniform(0, 0.6)))
        coat = Coat(
            str(rng.choice(["ferric nitrate", "cupric nitrate"], p=[0.7, 0.3])),
            float(rng.choice([0.25, 0.5, 1.0])),
            int(rng.integers(1, 10)),
            float(rng.uniform(95, 115)),
        )
        recipe = Recipe("silicon bronze", base if rng.random() < 0.7 else None, (coat,))
        spectra.append(finish_spectrum(replace(recipe, seal=Seal("wax") if rng.random() < 0.3 else None))[1])
    return np.array(spectra)


def truth(reflectances):
    """Return CIELAB (n, 3) under D50 of reflectances (n, 36)."""
    return xyz_to_lab(reflectances @ xyz_weights())


def photo_of(codes, linear=False):
    if not linear:
        return open_photo(png(codes))
    import cv2

    return open_photo(cv2.imencode(".png", codes[..., ::-1])[1].tobytes(), encoding="linear")


def card_near(lab, tolerance, rng):
    """Return the reflectance (36,) of a card whose true CIELAB departs from ``lab`` by draws of its tolerance."""
    wanted = lab_to_xyz(np.asarray(lab) + rng.normal(size=3) * tolerance)
    wave = (WAVELENGTHS_NM - 555) / 175
    shapes = np.stack([np.ones(36), wave, wave**2])
    return np.linalg.solve((shapes @ xyz_weights()).T, wanted) @ shapes


def plate_photo(shop, reflectance, rng, exposure=0.8, gradient=0.0, noise=0.004, card=None):
    """Return a photo of a grey card (on CARD), reflectance ``card`` (36,), and one finish (on PLATE)."""
    row = np.array([np.full(36, 0.18) if card is None else card, np.full(36, 0.35), reflectance])
    codes = shop.codes(row, exposure, gradient, noise, rng)
    return photo_of(np.concatenate([codes[:, :100], codes[:, 120:]], axis=1), shop.linear)


def chart_photo(shop, rng, exposure=0.8, noise=0.003):
    """Return a photo that a 24-patch chart fills, and its reading."""
    _, spectra = chart_reflectances()
    codes = shop.codes(spectra, exposure, 0.0, noise, rng, size=40)
    rows = codes.reshape(40, 24, 40, codes.shape[-1]).transpose(1, 0, 2, 3)
    picture = np.concatenate([np.concatenate(list(rows[6 * k : 6 * k + 6]), axis=1) for k in range(4)], axis=0)
    photo = photo_of(picture, shop.linear)
    card = load_cards()["24-patch chart"].with_lab(truth(spectra), own="the simulated chart")
    corners = box(0, 0, 240, 160)
    return photo, find_card(photo, "24-patch chart", corners=corners, cards={"24-patch chart": card})


def seed_of(*parts):
    return int.from_bytes(hashlib.sha256(repr(parts).encode()).digest()[:4], "big")
