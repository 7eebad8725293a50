"""How long from a photograph's file to its reading, and how much memory: `python -m tests.benchmarks.bench_reading`.

A demo picture with a grey card in it, enlarged to 12 and to 48 megapixels with fresh noise and saved as JPEG. Each run
is a process of its own, so that the peak of memory is that run's alone. Times leave out the start of Python and the
loading of libraries, which stand in a column of their own. The median of several runs is printed.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path

SIZES = {"12": (4000, 3000), "48": (8000, 6000)}
STEPS = ("loading", "open", "find card", "read", "file to reading")


def make_photographs(folder: Path) -> dict[str, tuple[Path, list[list[float]]]]:
    """Save the enlarged pictures; return each one's file and the outline of its finish, by megapixels."""
    import cv2
    import numpy as np
    from PIL import Image

    from matcher.demo import walk_through

    walk, rng = walk_through(), np.random.default_rng(12)
    small = np.asarray(Image.open(walk.next_photo))
    made = {}
    for name, (width, height) in SIZES.items():
        large = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
        for top in range(0, height, 500):  # by strips: noise of the whole picture would take a gigabyte
            strip = large[top : top + 500]
            strip[:] = np.clip(strip + rng.normal(0, 2.5, strip.shape), 0, 255)
        path = folder / f"{name}.jpg"
        Image.fromarray(large).save(path, quality=92)
        scale = np.array([width / small.shape[1], height / small.shape[0]])
        made[name] = (path, (np.array(walk.next_region) * scale).tolist())
    return made


def measure_here(path: str, region: list[list[float]]) -> dict[str, float]:
    """Read one photograph in this process; return seconds by step, and the peak of resident memory in MB."""
    start = time.perf_counter()
    import cv2  # noqa: F401

    from matcher import calibrate, find_card, open_photo, read_finish

    marks = [start, time.perf_counter()]
    photo = open_photo(path)
    marks.append(time.perf_counter())
    card = find_card(photo)
    marks.append(time.perf_counter())
    read_finish(photo, calibrate(photo, card), region)
    marks.append(time.perf_counter())
    spent = [later - earlier for earlier, later in pairwise(marks)]
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    return dict(zip(STEPS, [*spent, marks[-1] - marks[1]], strict=True)) | {"peak MB": peak_mb}


def measure(path: Path, region: list[list[float]]) -> dict[str, float]:
    """Read one photograph in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_reading", "--measure", str(path), json.dumps(region)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return dict(json.loads(done.stdout))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--measure", nargs=2, metavar=("FILE", "REGION"), help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.measure:
        print(json.dumps(measure_here(options.measure[0], json.loads(options.measure[1]))))
        return
    columns = (*STEPS, "peak MB")
    print(f"{'MP':>4} {'file MB':>8} " + " ".join(f"{column:>16}" for column in columns))
    with tempfile.TemporaryDirectory() as folder:
        for name, (path, region) in make_photographs(Path(folder)).items():
            runs = [measure(path, region) for _ in range(options.runs)]
            middle = {column: statistics.median(run[column] for run in runs) for column in columns}
            told = [f"{middle[step]:>14.3f} s" for step in STEPS] + [f"{middle['peak MB']:>16.0f}"]
            print(f"{name:>4} {path.stat().st_size / 1e6:>8.1f} " + " ".join(told))


if __name__ == "__main__":
    main()
