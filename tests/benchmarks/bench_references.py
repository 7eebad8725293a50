"""How much surer known plates in the picture make a reading, and whether its 95 % region then holds the truth.

Run: ``python -m tests.benchmarks.bench_references [pictures] [seed]``, and with MATCHER_REAL_PHOTOS set for charts in
real photographs, any six of whose patches are taken as known finishes. Cameras, lights, plates: ``known_plates``. Each
cell (a camera in a light) draws logs, pictures and noise of its own by the seed, so that no two share a lucky one; what
was judged by one seed wants another held out. By way of reading: grey card alone, the nearest of 50 plates beside the
finish, the three nearest, eight well-spread plates, the same eight without a card, beside a profile of another light,
and a 24-patch chart under that light.
"""

from __future__ import annotations

import os
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.calibration.references.reference import Reference
from matcher.card.detect import find_card, neutral_patch
from matcher.colour.difference import delta_e_2000
from matcher.colour.metric import delta_e_metric
from matcher.colour.types import Floats
from matcher.colour.uncertainty import CHI2_95
from matcher.errors import MatcherError
from matcher.photo.photo import open_photo
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
from tests.benchmarks.invented_cameras import chart_of
from tests.benchmarks.known_plates import Log, Phone, scene

LIGHTS = ("D50", "D65", "A", "FL2", "FL11", "LED-B3", "tubes and tungsten")
WAYS = ("card alone", "one plate", "three plates", "eight plates", "no card, eight", "daylight's profile, one", "chart")
CAMERAS = {"A": lambda: Phone.published("A"), "B": lambda: Phone.published("B"), "phone": Phone.phone}
FINISHES = 12
SEED = 77
PAINTS_SIGMA = 0.8
"""Of a real chart's colours about the published ones, in L*, a*, b*: batch and age (from memory)."""

Judged = tuple[float, bool, float]


def judged(reading: Reading, lab: Floats, sigma: float = 0.0) -> Judged:
    """Return ΔE00, whether the 95 % region holds the truth (known to within sigma), and half its width in ΔE00."""
    error, covariance = reading.lab - lab, reading.covariance + sigma**2 * np.eye(3)
    inside = bool(error @ np.linalg.solve(covariance, error) <= CHI2_95)
    wide = float(np.sqrt(CHI2_95 * np.trace(delta_e_metric(lab) @ reading.covariance) / 3))
    return float(delta_e_2000(reading.lab, lab)), inside, wide


def readings_of(phone: Phone, light: str, rng: np.random.Generator) -> dict[str, list[Judged]]:
    log = Log.drawn(rng)
    shown = scene(phone, light, log, FINISHES, 3, rng)
    eight = [Reference(outline, log.readings[which]) for which, outline in shown.eight]
    found: dict[str, list[Judged]] = defaultdict(list)
    try:
        of_the_light = profile_from_chart(*chart_of(phone.camera, light, rng), light)
        of_daylight = profile_from_chart(*chart_of(phone.camera, "D65", rng), "daylight")
    except MatcherError as error:
        print(f"{light}: {error}")
        return found
    chart = calibrate(shown.photo, shown.card, of_the_light, light="profile")
    spread = calibrate(shown.photo, shown.card, references=eight)
    no_card = calibrate(shown.photo, None, references=eight)
    for number, (outline, lab) in enumerate(zip(shown.outlines, shown.labs, strict=True)):
        beside = [Reference(at, log.readings[which]) for which, at in shown.beside[number]]
        ways = {
            "card alone": calibrate(shown.photo, shown.card),
            "one plate": calibrate(shown.photo, shown.card, references=beside[:1]),
            "three plates": calibrate(shown.photo, shown.card, references=beside),
            "eight plates": spread,
            "no card, eight": no_card,
            "daylight's profile, one": calibrate(shown.photo, shown.card, of_daylight, references=beside[:1]),
            "chart": chart,
        }
        for way, calibration in ways.items():
            found[way].append(judged(read_finish(shown.photo, calibration, outline, "finish"), lab))
    return found


def in_a_row(items: list[Judged]) -> str:
    delta, inside, wide = np.array(items, dtype=float).T
    return f"{delta.mean():5.2f} /{np.quantile(delta, 0.95):5.1f} {inside.mean():6.1%} ±{np.median(wide):.1f}"


def drawn_for(seed: int, camera: str, light: str, number: int) -> np.random.Generator:
    """Return the draws of one picture of one cell: no other cell or picture has them."""
    return np.random.default_rng([seed, list(CAMERAS).index(camera), LIGHTS.index(light), number])


def simulated(pictures: int, seed: int) -> None:
    print(f"{'':26s}", *(f"{way:>25s}" for way in WAYS))
    every: dict[str, list[Judged]] = defaultdict(list)
    for name, made in CAMERAS.items():
        phone = made()
        for light in LIGHTS:
            cell: dict[str, list[Judged]] = defaultdict(list)
            for number in range(pictures):
                for way, items in readings_of(phone, light, drawn_for(seed, name, light, number)).items():
                    cell[way] += items
            print(f"{name:6s}{light:20s}", *(f"{in_a_row(cell[way]):>25s}" for way in WAYS), flush=True)
            for way, items in cell.items():
                every[way] += items
    print(f"{'all':26s}", *(f"{in_a_row(every[way]):>25s}" for way in WAYS))


def real(folder: Path, draws: int = 20) -> None:
    """Read 17 patches of each real chart by six others, beside the grey patch alone and the profile left one out."""
    for path in sorted(folder.glob("*.jpg")):
        photo = open_photo(path, encoding="linear" if "linear" in path.name else None)
        chart = find_card(photo, "24-patch chart")
        grey = min((item for item in chart.patches if item.patch.neutral), key=lambda item: abs(item.patch.lab[0] - 50))
        card = neutral_patch(photo, grey.outline, lab=grey.patch.lab)
        patches = [item for item in chart.patches if item is not grey]
        alone = calibrate(photo, card)
        found: dict[str, list[Judged]] = defaultdict(list)
        for item in patches:
            reading = read_finish(photo, alone, item.outline, "finish")
            found["grey alone"].append(judged(reading, item.patch.lab, PAINTS_SIGMA))
        rng = np.random.default_rng(12)
        for _ in range(draws):
            order = rng.permutation(len(patches))
            known = [
                Reference(patches[k].outline, Reading(patches[k].patch.lab, PAINTS_SIGMA**2 * np.eye(3)))
                for k in order[:6]
            ]
            calibration = calibrate(photo, card, references=known)
            for k in order[6:]:
                reading = read_finish(photo, calibration, patches[k].outline, "finish")
                found["any six"].append(judged(reading, patches[k].patch.lab, PAINTS_SIGMA))
        left_out = profile_from_chart(photo, chart, "in the picture").leave_one_out
        print(f"{path.stem:20s}", *(f"{way}: {in_a_row(items)}" for way, items in found.items()), end="  ")
        print(f"profile, each patch left out: {left_out.mean():.2f} /{np.quantile(left_out, 0.95):5.1f}", flush=True)


def main(pictures: int = 4, seed: int = SEED) -> None:
    if folder := os.environ.get("MATCHER_REAL_PHOTOS"):
        real(Path(folder))
    simulated(pictures, seed)


if __name__ == "__main__":
    main(*(int(value) for value in sys.argv[1:]))
