"""Random hands on every page of a copy of the demo studio: nothing they do may end in an exception.

Run: python -m tests.benchmarks.bench_monkey --steps 500 --seed 1 [--page Record ...]
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from matcher.demo import make_demo_studio
from tests.monkey import in_words, let_loose


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--steps", type=int, default=500)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--page", action="append", default=[], help="its title; may be given again")
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        master = Path(folder) / "demo"
        make_demo_studio(master).close()
        faults = let_loose(master, asked.seed, tuple(asked.page), asked.steps, lambda said: print(said, flush=True))
    for fault in faults:
        print(f"\n{in_words(fault)}")
    print(f"\n{len(faults)} faults")


if __name__ == "__main__":
    main()
