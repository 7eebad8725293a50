"""Plates until a target is met when target and plates are read by a phone under tubes: by a grey card alone, and with
one logged plate of a like colour beside the finish.

Run: ``python -m tests.benchmarks.bench_read_by_plates [studio] [targets] [seed ...]``. The first plates were measured
(0.5 in L*, a*, b*); the target and every further plate are photographed under FL2 by the phone-like camera of
``known_plates``, the nearest plate of the log beside each or not. Colours become smooth reflectances. A target is met
when the true colour of the plate that the suggester holds to be its best is within ΔE00 2.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

import numpy as np

from matcher.calibration.calibrate import calibrate
from matcher.calibration.references.reference import Reference
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.colour.cielab import lab_to_xyz
from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
from matcher.suggest.suggester import Suggester
from matcher.trials.trial import Trial
from tests.benchmarks.bench_closed_loop import MOST_MORE, NOT_SOLVED, TOLERANCE, table_line
from tests.benchmarks.invented_studios import Studio
from tests.benchmarks.known_plates import INSET, KNOWN_SIGMA, SIDE, Phone
from tests.benchmarks.studios import STUDIOS
from tests.rendering.process import WAVELENGTHS_NM, xyz_weights
from tests.scenes import box
from tests.simulation import card_near

LIGHT = "FL2"
WAYS = ("grey card alone", "one plate beside")


def reflectance_of(lab: Floats) -> Floats:
    """Return a smooth reflectance (36,) of CIELAB (3,): the exponential of a parabola in the wavelength, by Newton."""
    wave = (WAVELENGTHS_NM - 555) / 175
    shapes, wanted = np.stack([np.ones(36), wave, wave**2]), lab_to_xyz(np.asarray(lab, float))
    found = np.array([np.log(max(wanted[1], 1e-4)), 0.0, 0.0])
    for _ in range(60):
        shown = np.exp(found @ shapes)
        slopes = (shapes * shown) @ xyz_weights()
        step = np.linalg.solve(slopes.T, wanted - shown @ xyz_weights())
        found = found + step * min(1.0, 0.5 / max(float(np.abs(step).max()), 1e-9))
    return np.asarray(np.minimum(np.exp(found @ shapes), 1.0))


Made = tuple[Trial, Floats]
"""A plate as it is logged, and its true CIELAB (3,)."""


def read_by_phone(phone: Phone, lab: Floats, log: Sequence[Made], rng: np.random.Generator, way: str) -> Reading:
    """Return the phone's reading of a finish of true CIELAB (3,); ``log``: the measured plates that can lie beside."""
    near, own = min(log, key=lambda made: float(delta_e_2000(lab, made[0].reading.lab)))
    grey = load_cards()["grey card"].patches[0]
    card = card_near(grey.lab, grey.tolerance, rng)
    cells = np.stack([card, card, reflectance_of(lab), reflectance_of(own)])[None]
    photo = phone.picture(np.repeat(cells, 2, axis=0), LIGHT, rng.normal(0, 0.03, 2), rng)
    found = find_card(photo, corners=box(3, 3, 2 * SIDE - 3, 2 * SIDE - 3))

    def outline(column: int) -> Floats:
        return np.array(box(column * SIDE + INSET, INSET, (column + 1) * SIDE - INSET, 2 * SIDE - INSET), dtype=float)

    known = [Reference(outline(3), near.reading)] if way == WAYS[1] else []
    return read_finish(photo, calibrate(photo, found, references=known), outline(2), "finish")


def plates_until_met(studio: Studio, wanted: Floats, way: str, seed: list[int]) -> int:
    """Return how many plates were made until the target was met, or 16; the same first plates and dice for all ways."""
    rng, phone = np.random.default_rng(seed), Phone.phone()
    recipes = [studio.space[row] for row in rng.choice(len(studio.space), studio.logged_first, replace=False)]
    measured: list[Made] = []
    for recipe in recipes:
        lab = studio.process.plate(recipe, rng)
        known = np.clip(lab + rng.normal(0, KNOWN_SIGMA, 3), [0, -128, -128], [100, 128, 128])
        measured.append((Trial(recipe, Reading(known, KNOWN_SIGMA**2 * np.eye(3)), id=len(measured) + 1), lab))
    target = read_by_phone(phone, wanted, measured, rng, way)
    suggester = Suggester([trial for trial, _ in measured])
    for made in range(NOT_SOLVED):
        if delta_e_2000(wanted, studio.true(suggester.best_plate(target).recipe)) <= TOLERANCE:
            return made
        if made < MOST_MORE:
            recipe = suggester.next_trial(target).recipe
            reading = read_by_phone(phone, studio.process.plate(recipe, rng), measured, rng, way)
            suggester = suggester.with_trial(Trial(recipe, reading, id=len(measured) + made + 1))
    return NOT_SOLVED


def main(name: str = "film", targets: int = 10, *seeds: int) -> None:
    needed: dict[str, list[int]] = {way: [] for way in WAYS}
    for seed in seeds or (1001, 1003):
        studio, rng = STUDIOS[name](seed), np.random.default_rng([seed, 7])
        for number in range(targets):
            wanted = studio.true(studio.space[rng.integers(len(studio.space))])
            plates = {way: plates_until_met(studio, wanted, way, [seed, number]) for way in WAYS}
            if any(plates.values()):
                for way, count in plates.items():
                    needed[way].append(count)
    for way in WAYS:
        print(table_line(name, way, needed[way]), sorted(needed[way])[-5:])


if __name__ == "__main__":
    main(*sys.argv[1:2], *(int(value) for value in sys.argv[2:]))
