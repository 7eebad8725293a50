"""What advice promises of a change and what comes of it: on every invented studio, by size of its log.

Run: python -m tests.benchmarks.bench_advice --studio film --seed 1001

Plates of a log, each beside a target that its recipe misses by ΔE00 3 to 12: the first change that is advised to the
same piece, and to the next plate, is made, and what it truly gives is compared with what was expected. Per way: how
many had advice, mean ΔE00 before, as expected and as it came, the share that came inside the 95 % interval, and the
share that came out farther than the plate was. Tuned on even seeds; report odd ones.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.plan.advice import advise
from matcher.process.learn import fit_process
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Recipe
from matcher.trials.trial import Trial
from tests.benchmarks.invented_studios import Studio
from tests.benchmarks.studios import STUDIOS
from tests.rendering.process import plate_variation

SIZES = (8, 24, 60)
TOLERANCE = 2.0
NEAREST, FARTHEST = 3.0, 12.0
PLATES = 40
FEWEST = 8
SCATTER = {"noisy": 2.0}
"""Of plates, in the demo's own spread, where it is not the 0.2 of the other processes with physics."""


@dataclass(frozen=True, eq=False)
class Outcome:
    """One change. before, expected, came: ΔE00 of the plate, of the change as promised, and as it truly came."""

    before: float
    expected: float
    interval: tuple[float, float]
    came: float


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--studio", action="append", choices=sorted(STUDIOS))
    parser.add_argument("--seed", type=int, action="append")
    parser.add_argument("--size", type=int, action="append")
    options = parser.parse_args()
    for name in options.studio or sorted(STUDIOS):
        for size in options.size or SIZES:
            found: dict[str, list[Outcome]] = {"this piece": [], "next plate": []}
            for seed in options.seed or [1001, 1003, 1005]:
                for way, outcomes in outcomes_of(name, seed, size).items():
                    found[way] += outcomes
            for way, outcomes in found.items():
                print(f"{name:12s} {size:4d} plates  {way:10s} {line(outcomes)}", flush=True)


def outcomes_of(name: str, seed: int, size: int, plates: int = PLATES) -> dict[str, list[Outcome]]:
    """Return what came of advice on plates of one studio's log, by way."""
    studio, rng = STUDIOS[name](seed), np.random.default_rng([seed, 10])
    studio.logged_first = size - 1
    trials = studio.first(rng)
    found: dict[str, list[Outcome]] = {"this piece": [], "next plate": []}
    truth = np.array([studio.true(recipe) for recipe in trial_space(studio, rng)])
    for _ in range(plates):
        recipe = trials[rng.integers(len(trials))].recipe
        piece = _piece(studio, name, recipe, rng)
        trial = Trial(recipe, _read(studio, piece(recipe), rng), id=size)
        away = delta_e_2000(studio.true(recipe), truth)
        near = np.flatnonzero((away > NEAREST) & (away < FARTHEST))
        if not near.size:
            continue
        target = Reading(lab=truth[rng.choice(near)], covariance=np.eye(3) * 0.01)
        model = fit_process([*trials, trial])
        advice = advise(model, trial, target, TOLERANCE)
        before = float(delta_e_2000(target.lab, piece(recipe)))
        for way, changes in (("this piece", advice.on_this_piece), ("next plate", advice.on_the_next)):
            for change in changes[:1]:
                other = piece if way == "this piece" else _piece(studio, name, change.recipe, rng)
                came = float(delta_e_2000(target.lab, other(change.recipe)))
                found[way].append(Outcome(before, change.delta_e00, change.interval, came))
    return found


def trial_space(studio: Studio, rng: np.random.Generator) -> list[Recipe]:
    """Return some of the recipes that targets are drawn from."""
    return [studio.space[row] for row in rng.choice(len(studio.space), 400)]


def _piece(studio: Studio, name: str, recipe: Recipe, rng: np.random.Generator) -> Callable[[Recipe], Floats]:
    """Return what one piece gives for a recipe and for what is done to it after: it departs from each alike."""
    physics = studio.process.physics
    if physics is None:
        departed = studio.process.plate(recipe, rng) - studio.true(recipe)
        return lambda then: studio.true(then) + departed
    scatter = SCATTER.get(name, 0.2) if studio.mistakes is None else studio.mistakes.scatter
    plate = plate_variation(rng, scatter)
    return lambda then: physics(then, plate)


def _read(studio: Studio, lab: Floats, rng: np.random.Generator) -> Reading:
    sigma = studio.process.reading_sigma if studio.mistakes is None else studio.mistakes.sigma
    return Reading(lab=lab + rng.normal(0, sigma, 3), covariance=np.eye(3) * max(sigma, 0.1) ** 2)


def line(outcomes: list[Outcome]) -> str:
    """Return one line of the table."""
    if not outcomes:
        return "no advice"
    before, expected, came = (
        np.array([getattr(one, what) for one in outcomes]) for what in ("before", "expected", "came")
    )
    inside = np.mean([one.interval[0] <= one.came <= one.interval[1] for one in outcomes])
    return (
        f"{len(outcomes):3d} advised  before {before.mean():4.1f}  expected {expected.mean():4.1f}, "
        f"came {came.mean():4.1f}  inside {inside:4.0%}  farther {np.mean(came > before):4.0%}{_near(expected, came)}"
    )


def _near(expected: Floats, came: Floats) -> str:
    """Say what came of changes that were to bring a plate within the tolerance: there a mean hides a curse."""
    close = expected <= TOLERANCE
    if close.sum() < FEWEST:
        return ""
    return (
        f"  of {close.sum()} expected within {TOLERANCE:g}: {expected[close].mean():.1f}, came {came[close].mean():.1f}"
    )


if __name__ == "__main__":
    main()
