"""The times of a studio's everyday steps: open a fresh one, load and search a long log, make the demo, render a scene.

Run: python -m tests.benchmarks.bench_studio --trials 5000

Seconds of this process's own work, the least of three; a fresh studio is opened in a process of its own, imports and
all.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import numpy as np

from matcher.demo import make_demo_studio
from matcher.ranking.finding import FACETS, Finder, Wanted
from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.trials.trial import Trial
from tests.plates import MADE_AT, a_recipe
from tests.rendering.process import true_lab
from tests.rendering.render import render_scene
from tests.test_demo_render import SMALL

ROOT = Path(__file__).parents[2]
TIMES = 3
OPENING = (
    "import sys, time; start = time.process_time(); from matcher.studio import Studio; Studio.open(sys.argv[1]); "
    "print(time.process_time() - start)"
)


def main() -> None:
    """Print a line for each step."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--trials", type=int, default=5000)
    many = options.parse_args().trials
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        opened = [_opened(folder / f"fresh {k}") for k in range(TIMES)]
        print(f"open a fresh studio         {min(opened):.3f} s")
        with Studio.open(folder / "long") as studio:
            plain = Reading(np.array([38.0, 14.0, 22.0]))
            studio.record_all([Trial(a_recipe(passes=1 + n % 9), plain, MADE_AT) for n in range(many)])
            print(f"load {many} trials            {_least(lambda _: studio.trials()):.3f} s")
        print(f"make the demo studio        {_least(lambda k: make_demo_studio(folder / f'demo {k}').close()):.3f} s")
    print(f"render a scene of 320 × 240 {_least(lambda k: render_scene(SMALL, np.random.default_rng(k))):.4f} s")
    _finding(many)
    recipe = a_recipe()
    print(f"colour of a recipe          {_least(lambda _: [true_lab(recipe) for _ in range(200)]) / 200:.5f} s")


def _finding(many: int) -> None:
    """Print what it takes to look plates up once, and then to search them."""
    rng = np.random.default_rng(1)
    labs = np.column_stack([rng.uniform(10, 85, many), rng.normal(8, 12, many), rng.normal(14, 14, many)])
    days = [MADE_AT - timedelta(days=float(day)) for day in rng.integers(0, 3000, many)]
    plates = [Trial(a_recipe(passes=1 + n % 9), Reading(labs[n]), days[n], id=n) for n in range(many)]
    wanted = Wanted("ferric wax", ("brown",), (("year", ("2024", "2023")), ("seal", ("wax",))))
    finders: list[Finder] = []

    def first(_: int) -> None:
        finders.append(Finder(plates))
        finders[-1].find(wanted)
        finders[-1].choices("year")

    print(f"look {many} plates up, once   {_least(first):.3f} s")
    orders = {"colour": None, "newest": None, "likeness": (38.0, 14.0, 22.0)}
    for order, like in orders.items():
        print(
            f"search them by {order:<12} {_least(lambda _, by=order, to=like: finders[0].find(wanted, by, to)):.4f} s"
        )
    print(f"lay them all out by colour  {_least(lambda _: finders[0].find(order='colour')):.4f} s")
    print(f"count the choices of 9 kinds {_least(lambda _: [finders[0].choices(f, wanted) for f in FACETS]):.4f} s")


def _opened(folder: Path) -> float:
    run = subprocess.run(
        [sys.executable, "-c", OPENING, str(folder)], capture_output=True, text=True, check=True, cwd=ROOT
    )
    return float(run.stdout)


def _least(step: Callable[[int], object]) -> float:
    seconds = []
    for k in range(TIMES):
        start = time.process_time()
        step(k)
        seconds.append(time.process_time() - start)
    return min(seconds)


if __name__ == "__main__":
    main()
