"""How many plates until the target is met: the suggester on invented processes, beside two plain ways.

Run: python -m tests.benchmarks.bench_closed_loop --studio film --targets 40 --seed 1001

A studio's first trials are logged (24, or 8), then at most 15 more are made, each where the method says. A target
counts as solved when the true colour of the recipe that a method holds to be its best is within ΔE00 2: for the
suggester the one that it expects to be nearest, for the others the one that was measured nearest. Targets that are
solved by the first trials are left out. Every studio is drawn anew from its seed; the models were tuned on even seeds,
so report odd ones. ``--mistakes`` gives the curve of a messy studio against its share of mistakes.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import Protocol

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.plan.inventory import NOTHING_MORE, AtHand, means_of
from matcher.recipe.recipe import Recipe
from matcher.suggest.suggester import Suggester
from matcher.trials.trial import Trial
from tests.benchmarks.invented_studios import Mistakes, Studio, messy
from tests.benchmarks.studios import STUDIOS


class Way(Protocol):
    """A way of choosing the next plate, and of saying which of those made is best."""

    def __call__(self, trials: Sequence[Trial], target: Floats, rng: np.random.Generator) -> Recipe: ...
    def best(self, trials: Sequence[Trial], target: Floats) -> Recipe: ...


MOST_MORE = 15
TOLERANCE = 2.0
NOT_SOLVED = MOST_MORE + 1


class ByModel:
    """The suggester, grown plate by plate. at_hand: what stands on the shelf, whatever the plates show."""

    def __init__(self, first: Sequence[Trial], at_hand: AtHand = NOTHING_MORE) -> None:
        self._suggester, self._known = Suggester(first, at_hand=at_hand), len(first)

    def __call__(self, trials: Sequence[Trial], target: Floats, rng: np.random.Generator) -> Recipe:
        return self._over(trials).next_trial(target).recipe

    def best(self, trials: Sequence[Trial], target: Floats) -> Recipe:
        """Return the recipe made that is expected to be nearest."""
        return self._over(trials).best_plate(target).recipe

    def _over(self, trials: Sequence[Trial]) -> Suggester:
        for trial in trials[self._known :]:
            self._suggester = self._suggester.with_trial(trial)
        self._known = len(trials)
        return self._suggester


class ByStepping:
    """A recipe near the best plate, one step away."""

    def __init__(self, studio: Studio) -> None:
        self._studio = studio
        self._columns = plain_columns(studio.space)
        self.places = {recipe: place for place, recipe in enumerate(studio.space)}

    def __call__(self, trials: Sequence[Trial], target: Floats, rng: np.random.Generator) -> Recipe:
        """Change one thing of the nearest plate by one step, at random, to a recipe not made yet."""
        made = {trial.recipe for trial in trials}
        for trial in sorted(trials, key=lambda trial: float(delta_e_2000(target, trial.reading.lab))):
            steps = [recipe for recipe in self._one_step(trial.recipe) if recipe not in made]
            if steps:
                return steps[rng.integers(len(steps))]
        raise AssertionError("every neighbour of every plate was made")

    def best(self, trials: Sequence[Trial], target: Floats) -> Recipe:
        """Return the recipe measured nearest."""
        return min(trials, key=lambda trial: float(delta_e_2000(target, trial.reading.lab))).recipe

    def _one_step(self, recipe: Recipe) -> list[Recipe]:
        """Return the nearest recipes of the space that differ from one in a single column."""
        away = self._columns - self._columns[self.places[recipe]]
        single = np.flatnonzero((np.abs(away) > 1e-9).sum(axis=1) == 1)
        kept: dict[tuple[int, bool], int] = {}
        for row in single[np.argsort(np.abs(away[single]).sum(axis=1), kind="stable")]:
            column = int(np.flatnonzero(np.abs(away[row]) > 1e-9)[0])
            kept.setdefault((column, bool(away[row, column] > 0)), int(row))
        return [self._studio.space[row] for row in kept.values()]


class ByPlainGP:
    """scikit-learn's Gaussian process on L*, a*, b* over one-hot and scaled columns, expected improvement in ΔE00."""

    def __init__(self, studio: Studio) -> None:
        self._space, self._stepping = studio.space, ByStepping(studio)
        self._columns = plain_columns(studio.space)
        self.best = self._stepping.best

    def __call__(self, trials: Sequence[Trial], target: Floats, rng: np.random.Generator) -> Recipe:
        from sklearn.gaussian_process import GaussianProcessRegressor
        from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

        columns = self._columns[[self._stepping.places[trial.recipe] for trial in trials]]
        labs = np.array([trial.reading.lab for trial in trials])
        some = rng.choice(len(self._space), min(4000, len(self._space)), replace=False)
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


def plain_columns(space: Sequence[Recipe]) -> Floats:
    """Return recipes (n) as columns (n, k): one-hot names and scaled numbers, coat by coat."""
    under = sorted({recipe.undercoat.chemical for recipe in space if recipe.undercoat is not None})
    names = sorted({coat.chemical for recipe in space for coat in recipe.coats})
    rows = []
    for recipe in space:
        ground = recipe.undercoat
        row = [float(ground is not None and ground.chemical == name) for name in under]
        row += [0.0, 0.0] if ground is None else [ground.strength, ground.burnish]
        row.append(float(recipe.seal is not None))
        for coat in recipe.coats:
            row += [float(coat.chemical == name) for name in names]
            row += [coat.strength, coat.passes / 12, (coat.surface_temp_c - 95) / 30]
        rows.append(row)
    return np.array(rows)


def plates_until_met(studio: Studio, method: Way, first: list[Trial], target: Floats, seed: list[int]) -> int:
    """Return how many plates were made until the target was met, or 16."""
    rng, trials = np.random.default_rng(seed), list(first)
    for made in range(NOT_SOLVED):
        if delta_e_2000(target, studio.true(method.best(trials, target))) <= TOLERANCE:
            return made
        if made < MOST_MORE:
            trials.append(studio.trial(method(trials, target, rng), rng))
    return NOT_SOLVED


def run(studio: Studio, targets: int, seed: int, methods: Sequence[str]) -> dict[str, list[int]]:
    """Return the plates needed for every target not met at first, by method; the same first trials for all."""
    rng = np.random.default_rng([seed, 7])
    needed: dict[str, list[int]] = {method: [] for method in methods}
    there = means_of(studio.space)
    shelf = AtHand(there.undercoats, there.chemicals)  # the other ways know all that the recipes are made of too
    ways: dict[str, Callable[[list[Trial]], Way]] = {"model": lambda first: ByModel(first, shelf)}
    if len(methods) > 1 or "model" not in methods:
        stepping, plain = ByStepping(studio), ByPlainGP(studio)
        ways |= {"stepping": lambda first: stepping, "plain GP": lambda first: plain}
    for k in range(targets):
        first = studio.first(rng)
        logged, target = len(first), studio.true(studio.space[rng.integers(len(studio.space))])
        for method in methods:
            studio.made = logged
            plates = plates_until_met(studio, ways[method](first), first, target, [seed, k])
            if plates:
                needed[method].append(plates)
    return needed


def table_line(name: str, method: str, needed: Sequence[int]) -> str:
    """Return one line of the table."""
    plates = np.array(needed)
    return (
        f"{name:12s} {method:9s} {len(plates):3d} targets  solved {np.mean(plates < NOT_SOLVED):6.1%}  median "
        f"{np.median(plates):4.1f}  worst tenth from {np.quantile(plates, 0.9):4.1f}"
    )


SHARES_OF_MISTAKES = (0.0, 0.05, 0.1, 0.2, 0.3)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--studio", action="append", choices=sorted(STUDIOS), help="may be given more than once")
    parser.add_argument("--targets", type=int, default=20, help="of each seed")
    parser.add_argument("--seed", type=int, action="append", help="may be given more than once")
    parser.add_argument("--method", action="append", choices=["model", "stepping", "plain GP"])
    parser.add_argument("--mistakes", action="store_true", help="a messy studio, by its share of mistakes")
    options = parser.parse_args()
    seeds, methods = options.seed or [1001, 1003], options.method or ["model", "stepping", "plain GP"]
    studios: dict[str, Callable[[int], Studio]] = {name: STUDIOS[name] for name in options.studio or sorted(STUDIOS)}
    if options.mistakes:
        studios = {
            f"messy {share:.0%}": partial(messy, mistakes=Mistakes(mislabelled=share / 2, misread=share / 2))
            for share in SHARES_OF_MISTAKES
        }
    for name, make in studios.items():
        started = time.perf_counter()
        together: dict[str, list[int]] = {method: [] for method in methods}
        for seed in seeds:
            for method, plates in run(make(seed), options.targets, seed, methods).items():
                together[method] += plates
        for method, plates in together.items():
            print(f"{table_line(name, method, plates)}  {sorted(plates)[-5:]}", flush=True)
        print(f"  {time.perf_counter() - started:.0f} s", flush=True)


if __name__ == "__main__":
    main()
