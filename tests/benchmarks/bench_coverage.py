"""How often the 95 % region of a reading holds the truth: over lights, cameras, exposures, gradients and noise.

Run: ``python -m tests.benchmarks.bench_coverage [readings]``. Each reading draws its own card (within the card's
tolerance), exposure, gradient of the light, noise and finish. With a profile of the shop, and with the card alone.
"""

from __future__ import annotations

import sys
from collections import defaultdict

import numpy as np

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile import CameraProfile
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.colour.uncertainty import CHI2_95
from matcher.reading.finish import read_finish
from tests.simulation import CARD, PLATE, Shop, card_near, chart_photo, patinas, plate_photo, truth

LIGHTS = ("D50", "D65", "A", "FL2", "FL11", "LED-B3")
SHOPS = [
    Shop(camera, light, honesty, curve, linear)
    for light in LIGHTS
    for camera in "AB"
    for honesty, curve, linear in ((1.0, 0.0, False), (0.8, 0.0, False), (1.0, 0.5, False), (1.0, 0.0, True))
]

READINGS_PER_CHART = 10


def covered(shop: Shop, profile: CameraProfile | None, count: int, rng: np.random.Generator) -> list[bool]:
    """Return for ``count`` readings whether the truth lies in the reading's 95 % ellipsoid."""
    grey = load_cards()["grey card"].patches[0]
    spectra = patinas(count, rng)
    held = []
    for spectrum, lab in zip(spectra, truth(spectra), strict=True):
        photo = plate_photo(
            shop,
            spectrum,
            rng,
            exposure=0.8 * float(np.exp(rng.uniform(-0.6, 0.2))),
            gradient=float(rng.normal(0, 0.15)),
            noise=float(rng.uniform(0.001, 0.01)),
            card=card_near(grey.lab, grey.tolerance, rng),
        )
        light = "daylight" if shop.light.startswith("D") else "unknown"
        reading = read_finish(photo, calibrate(photo, find_card(photo, corners=CARD), profile, light=light), PLATE)
        error = reading.lab - lab
        held.append(bool(error @ np.linalg.solve(reading.covariance, error) <= CHI2_95))
    return held


def main(readings: int = 2000) -> None:
    rng = np.random.default_rng(2026)
    by_light: dict[tuple[str, str], list[bool]] = defaultdict(list)
    each = max(1, readings // len(SHOPS))
    for shop in SHOPS:
        for _ in range(0, each, READINGS_PER_CHART):
            photo, chart = chart_photo(shop, rng)
            profile = profile_from_chart(photo, chart, shop.light)
            by_light["profile", shop.light] += covered(shop, profile, min(each, READINGS_PER_CHART), rng)
        if not shop.linear:
            by_light["card alone", shop.light] += covered(shop, None, each, rng)
    for kind in ("profile", "card alone"):
        rows = {light: by_light[kind, light] for light in LIGHTS}
        print(f"{kind:10s}", "  ".join(f"{light} {np.mean(held):.1%}" for light, held in rows.items()))
        everything = np.concatenate(list(rows.values()))
        print(f"{'':10s} all {everything.mean():.1%} of {len(everything)}")


if __name__ == "__main__":
    main(*(int(value) for value in sys.argv[1:]))
