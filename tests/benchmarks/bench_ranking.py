"""Exact ranking of a long log beside brute force with colour-science, in the same run.

Run: python -m tests.benchmarks.bench_ranking --trials 1000000 --seed 1
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.suggest.nearest import PlateIndex

TARGETS = {
    "among the plates": (40.0, 10.0, 20.0),
    "at the edge of them": (20.0, 35.0, 45.0),
    "white": (95.0, 0.0, 0.0),
    "green": (60.0, -50.0, 40.0),
    "no surface colour": (50.0, 0.0, -120.0),
}
COUNT = 5


def main() -> None:
    """Print build, search and brute-force times; stop when a list differs."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--trials", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    n = options.trials
    plates = np.stack([rng.uniform(12, 75, n), rng.normal(10, 12, n), rng.normal(16, 14, n)], 1)
    delta_e_2000(plates[:10], plates[:10])
    started = time.perf_counter()
    index = PlateIndex.build(plates)
    print(f"{n:,} plates indexed in {time.perf_counter() - started:.1f} s, {len(index.low):,} blocks")
    for name, target in TARGETS.items():
        times = []
        for _ in range(7):
            started = time.perf_counter()
            rows, delta = index.nearest(target, COUNT)
            times.append(time.perf_counter() - started)
        started = time.perf_counter()
        every = delta_e_2000(target, plates)
        brute = np.argsort(every, kind="stable")[:COUNT]
        brute_s = time.perf_counter() - started
        if rows.tolist() != brute.tolist() or delta.tolist() != every[brute].tolist():
            raise SystemExit(f"The list for {name} differs from brute force.")
        print(
            f"{name:22s} ΔE00 {delta[0]:5.1f}  index {1000 * np.median(times):6.1f} ms  brute force "
            f"{1000 * brute_s:7.0f} ms  same list"
        )
    started = time.perf_counter()
    grown = index.with_plates([[40.0, 10.0, 20.0]])
    added_ms = 1000 * (time.perf_counter() - started)
    first = grown.nearest((40.0, 10.0, 20.0), 1)[0][0]
    print(f"one plate added in {added_ms:.1f} ms, {'found first' if first == n else 'NOT FOUND'}")


if __name__ == "__main__":
    main()
