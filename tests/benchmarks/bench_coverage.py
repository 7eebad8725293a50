"""How often the 95 % region of a reading holds the truth: over lights, cameras, exposures, gradients and noise.

Run: ``python -m tests.benchmarks.bench_coverage [readings]``; and ``... independent [cameras]`` for cameras, lights and
surfaces that no constant was set on (``invented_cameras``), by way of reading: card alone, with a profile of the light,
and with one of daylight that nobody has said is wrong. Each reading draws its own card (within the card's
tolerance), exposure, gradient of the light, noise and finish. With a profile of the shop, and with the card alone.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile import CameraProfile
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000
from matcher.colour.metric import delta_e_metric
from matcher.colour.types import Floats
from matcher.colour.uncertainty import CHI2_95
from matcher.errors import MatcherError
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
from tests.benchmarks.invented_cameras import LIGHTS as CAMERA_LIGHTS
from tests.benchmarks.invented_cameras import Camera, chart_of, plates_of, surfaces
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
        known = light if profile is None else "profile"
        reading = read_finish(photo, calibrate(photo, find_card(photo, corners=CARD), profile, light=known), PLATE)
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


FINISHES = 12  # of each kind, under each light


@dataclass(frozen=True)
class Judged:
    """One reading: how, what, and how it compares with the truth. wide: ΔE00 of half its 95 % region, on the mean."""

    way: str
    light: str
    kind: str
    lightness: float
    chroma: float
    delta_e00: float
    inside: bool
    wide: float


def judged(way: str, light: str, kind: str, reading: Reading, lab: Floats) -> Judged:
    error = reading.lab - lab
    inside = bool(error @ np.linalg.solve(reading.covariance, error) <= CHI2_95)
    wide = float(np.sqrt(CHI2_95 * np.trace(delta_e_metric(lab) @ reading.covariance) / 3))
    chroma = float(np.hypot(lab[1], lab[2]))
    return Judged(way, light, kind, float(lab[0]), chroma, float(delta_e_2000(reading.lab, lab)), inside, wide)


def readings_of(number: int) -> Iterator[Judged]:
    """Yield the readings of one invented camera under all lights."""
    rng = np.random.default_rng([number, 2026])
    camera = Camera.drawn(rng)
    try:
        in_daylight = profile_from_chart(*chart_of(camera, "D65", rng), "daylight")
    except MatcherError:
        in_daylight = None
    for light in CAMERA_LIGHTS:
        try:
            profile = profile_from_chart(*chart_of(camera, light, rng), light)
        except MatcherError as error:
            print(f"camera {number}, {light}: {error}")
            continue
        for kind, spectra in surfaces(rng, FINISHES).items():
            photo, card, outlines = plates_of(camera, light, spectra, rng)
            ways = {
                "card alone": calibrate(photo, card),
                "profile": calibrate(photo, card, profile, light="profile"),
            }
            if light.startswith("D") and light in ("D50", "D65"):
                ways["card alone, daylight"] = calibrate(photo, card, light="daylight")
            elif in_daylight is not None:
                ways["daylight's profile, unasked"] = calibrate(photo, card, in_daylight)
            for outline, lab in zip(outlines, truth(spectra), strict=True):
                for way, calibration in ways.items():
                    try:
                        reading = read_finish(photo, calibration, outline, "finish")
                    except MatcherError:
                        continue  # refused in words
                    yield judged(way, light, kind, reading, lab)


def independent(cameras: int = 8) -> None:
    found = [item for number in range(cameras) for item in readings_of(number)]
    print(f"{'way':30s}{'cell':22s}{'n':>6s}{'mean':>7s}{'95 %':>7s}{'held':>8s}{'half':>7s}")
    for way in sorted({item.way for item in found}):
        of_way = [item for item in found if item.way == way]
        for cell in (_all, _light, _kind, _lightness, _chroma):
            for name in sorted({cell(item) for item in of_way}):
                chosen = [item for item in of_way if cell(item) == name]
                delta = np.array([item.delta_e00 for item in chosen])
                held, half = np.mean([item.inside for item in chosen]), np.median([item.wide for item in chosen])
                figures = f"{delta.mean():7.2f}{np.quantile(delta, 0.95):7.2f}{held:8.1%}{half:7.2f}"
                print(f"{way:30s}{name:22s}{len(chosen):6d}{figures}")


def _all(item: Judged) -> str:
    return "all"


def _light(item: Judged) -> str:
    return item.light


def _kind(item: Judged) -> str:
    return item.kind


def _lightness(item: Judged) -> str:
    return "L* under 25" if item.lightness < 25 else "L* 25 to 50" if item.lightness < 50 else "L* over 50"


def _chroma(item: Judged) -> str:
    edges = (10, 25, 40)
    return ("C* under 10", "C* to 25", "C* to 40", "C* over 40")[int(np.searchsorted(edges, item.chroma))]


if __name__ == "__main__":
    arguments = sys.argv[1:]
    if arguments[:1] == ["independent"]:
        independent(*(int(value) for value in arguments[1:]))
    else:
        main(*(int(value) for value in arguments))
