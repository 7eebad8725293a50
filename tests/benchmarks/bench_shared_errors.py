"""Whether the list comes true, by what its plates' readings share: what it says of recipes not made, and what comes.

Run: python -m tests.benchmarks.bench_shared_errors --studios 20 --plates 24

Plates of an invented film process are read by a camera that errs by some 7 in CIELAB, alike in all that it reads and
more where the finish has more chroma, or by an instrument. Targets: a plate like the log's first and fourth, and one
more. Of the first two predicted recipes of each list one plate is made, and compared with the target in truth.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, sum_of
from matcher.reading.reading import Reading
from matcher.suggest.suggester import Suggester
from matcher.trials.trial import Trial
from tests.benchmarks.invented_processes import film, recipe_space

EFFECT = np.array([[1.5, 0.0, 0.5], [1.0, 3.5, 1.0], [0.5, 2.0, 5.0]])
OWN_SD = 0.3
TOLERANCE = 2.0
CAMERAS = ("camera", "another camera", "a third", "a fourth", "a fifth")
LOOKED_AT = 8
WAYS = {
    "camera": ("camera", "camera"),
    "three of five by the camera": ("camera", "instrument", "camera", "instrument", "camera"),
    "every other by the camera": ("camera", "instrument"),
    "one of six by the camera": ("camera", *("instrument",) * 5),
    "two cameras": ("camera", "another camera"),
    "five cameras": CAMERAS,
    "instrument": ("instrument",),
}
"""How the plates of a log are read, in turn."""


@dataclass(frozen=True)
class Outcome:
    """What was said of predicted recipes and what came of them. Each: (n,)."""

    low: Floats
    high: Floats
    chance: Floats
    came: Floats

    @property
    def held(self) -> float:
        return float(np.mean((self.low <= self.came) & (self.came <= self.high)))

    @property
    def came_true(self) -> float:
        return float(np.mean(self.came <= TOLERANCE))


def outcome(way: str, studios: Iterable[int], plates: int = 24, target_by: str = "camera") -> Outcome:
    """Return what lists said over some invented studios, by their seeds, and what came of it."""
    space = recipe_space()
    found = []
    for seed in studios:
        process, rng = film(seed), np.random.default_rng(seed)
        errs = {camera: rng.normal(size=3) for camera in CAMERAS}
        picked = rng.choice(len(space), plates + 1, replace=False)
        trials = []
        for number, row in enumerate(picked[:plates]):
            by = WAYS[way][number % len(WAYS[way])]
            trials.append(Trial(space[row], read(process.plate(space[row], rng), by, errs, rng), id=number + 1))
        suggester = Suggester(trials, tolerance=TOLERANCE)
        for row in (picked[0], picked[plates], picked[3]):
            true = process.plate(space[row], rng)
            listed = suggester.suggest(read(true, target_by, errs, rng), LOOKED_AT)
            for item in [item for item in listed if item.basis == "predicted"][:2]:
                came = float(delta_e_2000(true, process.plate(item.recipe, rng)))
                found.append((*item.delta_e00_interval, item.chance_within(TOLERANCE), came))
    return Outcome(*np.array(found).T)


def read(true: Floats, by: str, errs: dict[str, Floats], rng: np.random.Generator) -> Reading:
    """Return the reading of a true colour (3,); errs: (3,) causes of each camera, in standard deviations."""
    terms, lab = [BudgetTerm("own", OWN_SD * np.eye(3))], true + rng.normal(0.0, OWN_SD, 3)
    if by in errs:
        effect = EFFECT * (0.6 + np.hypot(true[1], true[2]) / 50)
        terms.append(BudgetTerm("camera and light", effect, shared=by))
        lab = lab + effect @ errs[by]
    return Reading(np.clip(lab, (0.0, -150.0, -150.0), (100.0, 150.0, 150.0)), sum_of(terms), budget=tuple(terms))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studios", type=int, default=20)
    parser.add_argument("--plates", type=int, default=24)
    options = parser.parse_args()
    print(
        f"{'plates read by':30}{'target by':14}{'held':>6}{'width':>8}{'said':>7}{'came true':>11}{'median ΔE00':>13}"
    )
    for way in WAYS:
        for target_by in ("camera", "instrument"):
            one = outcome(way, range(9001, 9001 + options.studios), options.plates, target_by)
            print(
                f"{way:30}{target_by:14}{one.held:6.2f}{np.mean(one.high - one.low):8.1f}{np.mean(one.chance):7.2f}"
                f"{one.came_true:11.2f}{np.median(one.came):13.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
