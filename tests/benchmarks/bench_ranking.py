"""Exact ranking of a long log beside brute force with colour-science, in the same run.

Run: python -m tests.benchmarks.bench_ranking --trials 1000 10000 100000 1000000 --seed 1
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.ranking.nearest import least_difference, nearest

TARGETS = {
    "among the plates": (40.0, 10.0, 20.0),
    "at the edge of them": (20.0, 35.0, 45.0),
    "white": (95.0, 0.0, 0.0),
    "green": (60.0, -50.0, 40.0),
    "no surface colour": (50.0, 0.0, -120.0),
}
COUNT = 5


def main() -> None:
    """Print search and brute-force times; stop when a list differs."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--trials", type=int, nargs="+", default=[1_000, 10_000, 100_000, 1_000_000])
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    for n in options.trials:
        rng = np.random.default_rng(options.seed)
        plates = np.stack([rng.uniform(12, 75, n), rng.normal(10, 12, n), rng.normal(16, 14, n)], 1)
        delta_e_2000(plates[:10], plates[:10])
        print(f"{n:,} plates")
        for name, target in TARGETS.items():
            _compare(name, np.array(target), plates)


def _compare(name: str, target: Floats, plates: Floats) -> None:
    rows, delta = nearest(target, plates, COUNT)
    every = delta_e_2000(target, plates)
    brute = np.argsort(every, kind="stable")[:COUNT]
    if rows.tolist() != brute.tolist() or delta.tolist() != every[brute].tolist():
        raise SystemExit(f"The list for {name} differs from brute force.")
    ours_ms = _least_ms(lambda: nearest(target, plates, COUNT))
    brute_ms = _least_ms(lambda: np.argsort(delta_e_2000(target, plates), kind="stable"))
    looked_at = int(np.sum(least_difference(target, plates) <= delta[-1]))
    print(
        f"  {name:20s} ΔE00 {delta[0]:5.1f}  {ours_ms:6.1f} ms ({looked_at:,} may be nearest)  brute force "
        f"{brute_ms:6.0f} ms  same list"
    )


def _least_ms(asked: Callable[[], object]) -> float:
    """Return the least time of five, of this process alone: others on the machine are not counted."""
    times = []
    for _ in range(5):
        started = time.process_time()
        asked()
        times.append(time.process_time() - started)
    return 1000 * min(times)


if __name__ == "__main__":
    main()
