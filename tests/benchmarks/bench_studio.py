"""The times of a studio's everyday steps: open a fresh one, load a long log, make the demo, render a scene.

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
from pathlib import Path

import numpy as np

from matcher.demo import make_demo_studio
from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.trials.trial import Trial
from tests.browser import ROOT
from tests.plates import MADE_AT, a_recipe
from tests.rendering.process import true_lab
from tests.rendering.render import render_scene
from tests.test_demo_render import SMALL

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
    recipe = a_recipe()
    print(f"colour of a recipe          {_least(lambda _: [true_lab(recipe) for _ in range(200)]) / 200:.5f} s")


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
