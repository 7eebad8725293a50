"""The planner on published test functions, beside expected improvement with a plain scikit-learn GP.

Run: python -m tests.benchmarks.bench_planner --runs 10 --seed 1

Branin and Hartmann 3 (Dixon and Szegő 1978, Towards Global Optimisation 2, 1-15). Both ways start from the same
random points and choose among the same candidates; counted are evaluations until the value is within the stated
distance of the published optimum. Ours is the residual process and the expected gain of a plate, without the curve,
which knows only of patinas.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from matcher.colour.types import Floats
from matcher.plan.next_plate import expected_gain
from matcher.process.residual import Features, Hyperparameters, fit_hyperparameters, kernel

STARTED_WITH = 8
MOST = 80
CANDIDATES, NEAR_BEST = 1500, 500
SCALE = 5.0


@dataclass(frozen=True)
class TestFunction:
    """value: of points (n, d) in the unit cube. optimum: published. close: what counts as reached."""

    name: str
    dimensions: int
    value: Callable[[Floats], Floats]
    optimum: float
    close: float


def branin(unit: Floats) -> Floats:
    """Return Branin's function on x in [−5, 10], y in [0, 15]; optimum 0.397887."""
    x, y = 15 * unit[:, 0] - 5, 15 * unit[:, 1]
    bowl = y - 5.1 / (4 * np.pi**2) * x**2 + 5 / np.pi * x - 6
    return bowl**2 + 10 * (1 - 1 / (8 * np.pi)) * np.cos(x) + 10


def hartmann_3(unit: Floats) -> Floats:
    """Return Hartmann's function in three dimensions; optimum −3.86278."""
    steep = np.array([[3.0, 10, 30], [0.1, 10, 35], [3.0, 10, 30], [0.1, 10, 35]])
    place = 1e-4 * np.array([[3689, 1170, 2673], [4699, 4387, 7470], [1091, 8732, 5547], [381, 5743, 8828]])
    inner = (steep[None] * np.square(unit[:, None] - place[None])).sum(axis=2)
    return -(np.array([1.0, 1.2, 3.0, 3.2]) * np.exp(-inner)).sum(axis=1)


FUNCTIONS = (
    TestFunction("Branin", 2, branin, 0.397887, 0.1),
    TestFunction("Hartmann 3", 3, hartmann_3, -3.86278, 0.05),
)


class Ours:
    """The residual process with the planner's expected gain."""

    def __init__(self) -> None:
        self._hyperparameters: Hyperparameters | None = None

    def __call__(self, points: Floats, values: Floats, candidates: Floats, rng: np.random.Generator) -> int:
        features, asked = _features(points), _features(candidates)
        n = len(points)
        self._hyperparameters = fit_hyperparameters(
            features, np.repeat(values[:, None], 3, axis=1), 1e-6 * np.eye(3 * n), self._hyperparameters
        )
        miss, noise = float(np.mean(self._hyperparameters.residual_sd**2)), 1e-6
        seen = miss * kernel(features, features, self._hyperparameters.log_weights) + noise * np.eye(n)
        across = miss * kernel(asked, features, self._hyperparameters.log_weights)
        mean = across @ np.linalg.solve(seen, values)
        variance = miss - np.einsum("ij,ji->i", across, np.linalg.solve(seen, across.T))
        draws = mean[:, None] + np.sqrt(np.maximum(variance, 1e-12))[:, None] * rng.standard_normal((1, 512))
        best = float(values.min())
        # shifted so that the best is 10: a distance, as the planner's are
        return int(np.argmax(expected_gain(draws - best + 10.0, 10.0, 10.0)))


def plain(points: Floats, values: Floats, candidates: Floats, rng: np.random.Generator) -> int:
    """Return the candidate of greatest expected improvement under scikit-learn's Gaussian process."""
    from scipy.stats import norm
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    kernel = ConstantKernel(1.0, (0.01, 1000)) * Matern(np.ones(points.shape[1]) * 0.3, (0.02, 10), nu=2.5)
    model = GaussianProcessRegressor(kernel, alpha=1e-8, normalize_y=True, n_restarts_optimizer=2, random_state=0)
    mean, sd = model.fit(points, values).predict(candidates, return_std=True)
    gap = values.min() - mean
    ratio = gap / np.maximum(sd, 1e-12)
    return int(np.argmax(gap * norm.cdf(ratio) + sd * norm.pdf(ratio)))


def evaluations(function: TestFunction, choose: Callable[..., int], seed: int) -> int:
    """Return how many evaluations were made until the optimum was reached, or ``MOST`` + 1."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(size=(STARTED_WITH, function.dimensions))
    values = function.value(points)
    while values.min() > function.optimum + function.close:
        if len(points) >= MOST:
            return MOST + 1
        near = points[values.argmin()] + rng.normal(0, 0.05, (NEAR_BEST, function.dimensions))
        candidates = np.vstack([rng.uniform(size=(CANDIDATES, function.dimensions)), np.clip(near, 0, 1)])
        scaled = SCALE * (values - values.mean()) / values.std()
        pick = choose(points, scaled, candidates, rng)
        points = np.vstack([points, candidates[pick]])
        values = function.value(points)
    return len(points)


def _features(points: Floats) -> Features:
    numbers = np.zeros((len(points), 8))
    numbers[:, : points.shape[1]] = 4 * points
    return Features(numbers, np.zeros((len(points), 0)))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--runs", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    for function in FUNCTIONS:
        for name, make in (("ours", Ours), ("plain scikit-learn GP", lambda: plain)):
            needed = [evaluations(function, make(), options.seed + k) for k in range(options.runs)]
            print(
                f"{function.name:10s} within {function.close:g} of {function.optimum:g}: {name:22s} evaluations median "
                f"{np.median(needed):4.1f}, worst {max(needed)} {needed}",
                flush=True,
            )


if __name__ == "__main__":
    main()
