"""How many plates until the target is met: the suggester on invented processes, beside two plain ways.

Run: python -m tests.benchmarks.bench_closed_loop --process film --targets 40 --seed 1

24 random trials are logged, then at most 15 more are made, each where the method says. A target counts as solved when
the true colour of the recipe that was measured nearest is within ΔE00 2. Every process is drawn anew from its seed;
seeds below 1000 were used while the model was built, so report seeds from 1000 on.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.suggest.suggester import Suggester
from matcher.trials.trial import Trial
from tests.benchmarks.invented_processes import (
    BURNISHES,
    CHEMICALS,
    PASSES,
    PROCESSES,
    STRENGTHS,
    TEMPS_C,
    UNDERCOATS,
    Process,
    recipe_space,
)

Method = Callable[[Sequence[Trial], Floats, np.random.Generator], Recipe]

LOGGED_AT_FIRST = 24
MOST_MORE = 15
TOLERANCE = 2.0
NOT_SOLVED = MOST_MORE + 1


class ByModel:
    """The suggester, grown plate by plate."""

    def __init__(self) -> None:
        self._suggester: Suggester | None = None
        self.covered: list[bool] = []
        self.seconds: list[float] = []

    def __call__(self, trials: Sequence[Trial], target: Floats, rng: np.random.Generator) -> Recipe:
        started = time.perf_counter()
        if self._suggester is None or len(trials) == LOGGED_AT_FIRST:
            self._suggester = Suggester(trials)
        else:
            self._suggester = self._suggester.with_trial(trials[-1])
        recipe = self._suggester.next_trial(target).recipe
        self.seconds.append(time.perf_counter() - started)
        return recipe


def by_stepping(trials: Sequence[Trial], target: Floats, rng: np.random.Generator) -> Recipe:
    """Change one thing of the nearest plate by one step, at random, to a recipe not made yet."""
    made = {trial.recipe for trial in trials}
    for trial in sorted(trials, key=lambda trial: float(delta_e_2000(target, trial.reading.lab))):
        steps = [recipe for recipe in _one_step(trial.recipe) if recipe not in made]
        if steps:
            return steps[rng.integers(len(steps))]
    raise AssertionError("every neighbour of every plate was made")


def _one_step(recipe: Recipe) -> list[Recipe]:
    coat, under = recipe.coats[0], recipe.undercoat
    coats = [
        *(Coat(coat.chemical, s, coat.passes, coat.surface_temp_c) for s in _beside(STRENGTHS, coat.strength)),
        *(Coat(coat.chemical, coat.strength, n, coat.surface_temp_c) for n in _beside(PASSES, coat.passes)),
        *(Coat(coat.chemical, coat.strength, coat.passes, t) for t in _beside(TEMPS_C, coat.surface_temp_c)),
    ]
    steps = [Recipe(recipe.alloy, under, (moved,)) for moved in coats]
    if under is not None:
        grounds = [Undercoat(under.chemical, s, under.burnish) for s in _beside(STRENGTHS, under.strength)]
        grounds += [Undercoat(under.chemical, under.strength, b) for b in _beside(BURNISHES, under.burnish)]
        steps += [Recipe(recipe.alloy, ground, recipe.coats) for ground in grounds]
    return steps


def _beside(steps: Sequence[float], value: float) -> list:
    at = list(steps).index(value)
    return [steps[k] for k in (at - 1, at + 1) if 0 <= k < len(steps)]


class ByPlainGP:
    """scikit-learn's Gaussian process on L*, a*, b* over one-hot and scaled columns, expected improvement in ΔE00."""

    def __init__(self, space: Sequence[Recipe]) -> None:
        self._space = space
        self._columns = np.array([_plain_columns(recipe) for recipe in space])

    def __call__(self, trials: Sequence[Trial], target: Floats, rng: np.random.Generator) -> Recipe:
        from sklearn.gaussian_process import GaussianProcessRegressor
        from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

        columns = np.array([_plain_columns(trial.recipe) for trial in trials])
        labs = np.array([trial.reading.lab for trial in trials])
        some = rng.choice(len(self._space), 4000, replace=False)
        drawn = []
        for k in range(3):
            kernel = ConstantKernel(1.0) * RBF(np.ones(columns.shape[1]), (0.05, 100)) + WhiteKernel(0.05)
            model = GaussianProcessRegressor(kernel, normalize_y=True).fit(columns, labs[:, k])
            mean, sd = model.predict(self._columns[some], return_std=True)
            drawn.append(mean[:, None] + sd[:, None] * rng.standard_normal((1, 64)))
        delta = delta_e_2000(target, np.stack(drawn, axis=-1))
        best = float(delta_e_2000(target, labs).min())
        made = {trial.recipe for trial in trials}
        for row in np.argsort(-np.maximum(best - delta, 0).mean(axis=1), kind="stable"):
            if self._space[some[row]] not in made:
                return self._space[some[row]]
        raise AssertionError("every recipe was made")


def _plain_columns(recipe: Recipe) -> list[float]:
    coat, under = recipe.coats[0], recipe.undercoat
    return [
        *(float(coat.chemical == name) for name in CHEMICALS),
        *(float(under is not None and under.chemical == name) for name in UNDERCOATS),
        0.0 if under is None else under.strength,
        0.0 if under is None else under.burnish,
        coat.strength,
        coat.passes / 12,
        (coat.surface_temp_c - 95) / 30,
    ]


def plates_until_met(process: Process, method: Method, first: list[Trial], target: Floats, seed: list[int]) -> int:
    """Return how many plates were made until the target was met, or 16."""
    rng, trials = np.random.default_rng(seed), list(first)
    for made in range(NOT_SOLVED):
        nearest = min(trials, key=lambda trial: float(delta_e_2000(target, trial.reading.lab)))
        if delta_e_2000(target, process.true(nearest.recipe)) <= TOLERANCE:
            return made
        if made < MOST_MORE:
            trials.append(process.trial(method(trials, target, rng), rng))
    return NOT_SOLVED


def run(name: str, targets: int, seed: int, methods: Sequence[str]) -> dict[str, list[int]]:
    """Return the plates needed for every target, by method; the same first trials for all."""
    space = recipe_space()
    process = PROCESSES[name](seed)
    rng = np.random.default_rng([seed, 7])
    needed: dict[str, list[int]] = {method: [] for method in methods}
    for k, row in enumerate(rng.choice(len(space), targets, replace=False)):
        target = process.true(space[row])
        first = [process.trial(space[i], rng) for i in rng.choice(len(space), LOGGED_AT_FIRST, replace=False)]
        ways: dict[str, Method] = {"model": ByModel(), "stepping": by_stepping}
        if "plain GP" in methods:
            ways["plain GP"] = ByPlainGP(space)
        for method in methods:
            needed[method].append(plates_until_met(process, ways[method], first, target, [seed, k]))
    return needed


def table_line(name: str, method: str, needed: Sequence[int]) -> str:
    """Return one line of the table."""
    plates = np.array(needed)
    return (
        f"{name:10s} {method:9s} solved {np.mean(plates < NOT_SOLVED):6.1%}  median {np.median(plates):4.1f}  "
        f"90th percentile {np.quantile(plates, 0.9):4.1f}  worst {'-' if plates.max() == NOT_SOLVED else plates.max()}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--process", action="append", choices=sorted(PROCESSES), help="may be given more than once")
    parser.add_argument("--targets", type=int, default=40)
    parser.add_argument("--seed", type=int, action="append", help="may be given more than once")
    parser.add_argument("--method", action="append", choices=["model", "stepping", "plain GP"])
    options = parser.parse_args()
    for name in options.process or ["film", "threshold", "noisy"]:
        for seed in options.seed or [1000]:
            started = time.perf_counter()
            needed = run(name, options.targets, seed, options.method or ["model", "stepping", "plain GP"])
            for method, plates in needed.items():
                print(f"seed {seed}  {table_line(name, method, plates)}  {sorted(plates)[-5:]}", flush=True)
            print(f"  {time.perf_counter() - started:.0f} s", flush=True)


if __name__ == "__main__":
    main()
