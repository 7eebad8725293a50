"""How well and how fast the process model predicts, beside a plain scikit-learn GP, as plates are added.

Run: python -m tests.benchmarks.bench_process_model --process film --seed 1000

Error is ΔE00 between predicted and true colour of 300 recipes that nobody made; coverage is that of 95 % regions on
plates newly made to them. Seeds below 1000 were used while the model was built.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.process.learn import fit_process
from matcher.suggest.suggester import Suggester
from tests.benchmarks.bench_closed_loop import plain_columns
from tests.benchmarks.invented_processes import PROCESSES, recipe_space

CHI2_95 = 7.815
SIZES = (12, 24, 48, 100, 300)
UNSEEN = 300
LONG_LOG = 5000


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--process", action="append", choices=sorted(PROCESSES))
    parser.add_argument("--seed", type=int, action="append")
    options = parser.parse_args()
    space = recipe_space()
    for name in options.process or ["film", "threshold", "noisy"]:
        for seed in options.seed or [1000]:
            _one(name, seed, space)


def _one(name: str, seed: int, space: list) -> None:
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

    process, rng = PROCESSES[name](seed), np.random.default_rng([seed, 8])
    unseen = [space[k] for k in rng.choice(len(space), UNSEEN)]
    truth = np.array([process.true(recipe) for recipe in unseen])
    made = np.array([process.trial(recipe, rng).reading.lab for recipe in unseen])
    trials = [process.trial(space[k], rng) for k in rng.choice(len(space), LONG_LOG, replace=False)]
    for size in SIZES:
        started = time.perf_counter()
        model = fit_process(trials[:size])
        fitted_s = time.perf_counter() - started
        lab, covariance = model.predict(model.columns(unseen))
        whole = covariance + model.plate_covariances(unseen) + np.eye(3) * process.reading_sigma**2
        miss = made - lab
        inside = np.einsum("ni,nij,nj->n", miss, np.linalg.inv(whole), miss) <= CHI2_95
        error = delta_e_2000(lab, truth)
        both = plain_columns([*(trial.recipe for trial in trials[:size]), *unseen])
        columns, labs = both[:size], [t.reading.lab for t in trials[:size]]
        kernel = ConstantKernel(1.0) * RBF(np.ones(len(columns[0])), (0.05, 100)) + WhiteKernel(0.05)
        plain = np.stack(
            [
                GaussianProcessRegressor(kernel, normalize_y=True)
                .fit(columns, np.array(labs)[:, k])
                .predict(both[size:])
                for k in range(3)
            ],
            axis=1,
        )
        theirs = delta_e_2000(plain, truth)
        print(
            f"{name:10s} seed {seed} {size:4d} plates  error median {np.median(error):4.2f} "
            f"90 % {np.quantile(error, 0.9):5.2f}  "
            f"coverage {inside.mean():5.1%}  fit {fitted_s:4.2f} s | plain GP median {np.median(theirs):4.2f} "
            f"90 % {np.quantile(theirs, 0.9):5.2f}",
            flush=True,
        )
    for size in (300, LONG_LOG):
        started = time.perf_counter()
        fit_process(trials[:size])
        print(f"{size} logged: all handed to one fit {time.perf_counter() - started:.2f} s")
        suggester = Suggester(trials[:size])
        started = time.perf_counter()
        suggester.suggest(truth[0])
        first_s = time.perf_counter() - started
        started = time.perf_counter()
        suggester.suggest(truth[1] if size == 300 else truth[0])
        print(f"{size} logged: first suggestion {first_s:.2f} s with fit, then {time.perf_counter() - started:.2f} s")


if __name__ == "__main__":
    main()
