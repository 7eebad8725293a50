"""What is usual after each remedy that ``matcher.reading.advice`` proposes: its table of usual values comes from here.

Run: ``python -m tests.benchmarks.bench_what_helps [readings]``. Sensors, lights, shops and patina-like spectra are
those of the coverage benchmark; printed is the 95 % reach in ΔE00 of the parts that a remedy leaves, by light.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from matcher.calibration.calibrate import calibrate
from matcher.calibration.calibration import Calibration
from matcher.calibration.illumination import LightField
from matcher.calibration.profile import CameraProfile
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.colour.difference import reach_delta_e00
from matcher.photo.photo import Photo
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
from tests.benchmarks.bench_coverage import LIGHTS, SHOPS
from tests.scenes import box
from tests.simulation import CARD, PLATE, Shop, card_near, chart_photo, patinas, photo_of, plate_photo

LEFT = {
    "chart": ("profile", "colours unlike the chart's", "white balance", "light has moved"),
    "grey steps": ("tone curve",),
    "camera raw": ("tone curve",),
    "raw, daylight": ("camera and light", "tone curve"),
    "own card": ("card tolerance",),
    "card": ("card reading", "card tolerance", "uneven light", "light close by"),
    "flat field": ("uneven light", "light close by"),
}
SCALE, SCALE_PLATE = box(0, 0, 180, 60), box(250, 10, 290, 50)


def reach(reading: Reading, names: tuple[str, ...]) -> float:
    """Return the 95 % reach in ΔE00 of some parts of a reading together."""
    left = [term.covariance for term in reading.budget if term.name in names]
    return float(reach_delta_e00(reading.lab, np.sum(left, axis=0) + 1e-12 * np.eye(3)))


def readings(
    shop: Shop, profile: CameraProfile, spectrum: np.ndarray, rng: np.random.Generator
) -> Iterator[tuple[str, Reading]]:
    """Yield one finish read after each remedy; JPEG-like shops for all but "camera raw"."""
    grey = load_cards()["grey card"].patches[0]
    how = {"exposure": 0.8 * float(np.exp(rng.uniform(-0.6, 0.2))), "noise": float(rng.uniform(0.001, 0.01))}
    gradient = float(rng.normal(0, 0.15))
    photo = plate_photo(shop, spectrum, rng, gradient=gradient, card=card_near(grey.lab, grey.tolerance, rng), **how)
    card = find_card(photo, corners=CARD)
    light = "daylight" if shop.light.startswith("D") else "unknown"
    if shop.linear:
        yield "camera raw", read_finish(photo, calibrate(photo, card, light=light), PLATE)
        return
    yield "card", read_finish(photo, calibrate(photo, card, light=light), PLATE)
    yield "chart", read_finish(photo, calibrate(photo, card, profile, light="profile"), PLATE)
    if light == "daylight":
        raw = replace(photo, encoding="camera raw", bits=16)
        yield "raw, daylight", read_finish(raw, calibrate(raw, find_card(raw, corners=CARD), light=light), PLATE)
    own = find_card(photo, corners=CARD, lab=grey.lab)
    yield "own card", read_finish(photo, calibrate(photo, own, light=light), PLATE)
    field = LightField.from_flat_field(flat_photo(shop, gradient, rng), card, photo)
    yield "flat field", read_finish(photo, calibrate(photo, card, light=light, field=field), PLATE)
    scaled, calibration = scale_photo(shop, spectrum, rng, **how)
    yield "grey steps", read_finish(scaled, calibration, SCALE_PLATE)


def flat_photo(shop: Shop, gradient: float, rng: np.random.Generator) -> Photo:
    """Return a photo of a light grey sheet in the same light as a plate's."""
    codes = shop.codes(np.full((3, 36), 0.6), 0.8, gradient, 0.004, rng)
    return photo_of(np.concatenate([codes[:, :100], codes[:, 120:]], axis=1), shop.linear)


def scale_photo(
    shop: Shop, spectrum: np.ndarray, rng: np.random.Generator, exposure: float, noise: float
) -> tuple[Photo, Calibration]:
    """Return a photo of a grey scale and one finish, calibrated by that scale."""
    steps = [card_near(patch.lab, patch.tolerance, rng) for patch in load_cards()["grey scale"].patches]
    codes = shop.codes(np.array([*steps, np.full(36, 0.35), spectrum]), exposure, 0.0, noise, rng)
    photo = photo_of(codes)
    return photo, calibrate(photo, find_card(photo, "grey scale", corners=SCALE))


def main(count: int = 240) -> None:
    rng = np.random.default_rng(2027)
    found: dict[tuple[str, str], list[float]] = defaultdict(list)
    for shop in SHOPS:
        profile = profile_from_chart(*chart_photo(shop, rng), shop.light)
        for spectrum in patinas(max(1, count // len(SHOPS)), rng):
            for remedy, reading in readings(shop, profile, spectrum, rng):
                found[remedy, shop.light].append(reach(reading, LEFT[remedy]))
    print(f"{'remedy':12s} {'median':>7s}   " + "  ".join(f"{light:>6s}" for light in LIGHTS))
    for remedy in LEFT:
        rows = [found[remedy, light] for light in LIGHTS]
        medians = "  ".join(f"{np.median(row):6.2f}" if row else "     -" for row in rows)
        print(f"{remedy:12s} {np.median(np.concatenate(rows)):7.2f}   {medians}")


if __name__ == "__main__":
    main(*(int(value) for value in sys.argv[1:]))
