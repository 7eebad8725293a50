"""How often a proposed outline is right, over invented photographs: `python -m tests.benchmarks.bench_outline`.

Each plate is right (an outline that lies in it to 98 % and reads as the whole face does), asked (nothing is proposed,
so the person is asked to mark it), refused (an outline that cannot be read) or wrong; the table has them by what is in
the scene. The constants were set on the scenes up to 200; ``--first 200`` gives others.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter

import numpy as np

from matcher.photo.photo import open_photo
from matcher.reading.outline import propose_finishes
from tests import plate_scenes

KINDS = ("cut", "glare", "hand", "verdigris", "dark", "like the bench", "no card", "not marked", "0 on")
VERDICTS = ("right", "asked", "refused", "wrong")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    plates: dict[str, Counter[str]] = {name: Counter() for name in ("all", *plate_scenes.BENCHES, *KINDS)}
    scenes: Counter[str] = Counter()
    for number in range(options.first, options.first + options.scenes):
        scene = plate_scenes.plate_scene(number)
        judged = plate_scenes.judged(scene, propose_finishes(scene.photo, scene.card))
        scenes[judged.verdict] += 1
        for name, counts in plates.items():
            if name == "all" or (f" on {name}," if name in plate_scenes.BENCHES else name) in scene.about:
                counts.update({verdict: getattr(judged, verdict) for verdict in VERDICTS})
        if judged.wrong or judged.refused:
            print(f"scene {number} ({scene.about}): {', '.join(judged.why) or 'refused'}")
    print(f"{'plates':>16} " + " ".join(f"{verdict:>8}" for verdict in VERDICTS))
    for name, counts in plates.items():
        print(f"{name:>16} " + " ".join(f"{counts[verdict]:>8}" for verdict in VERDICTS))
    print("scenes: " + ", ".join(f"{count} {verdict}" for verdict, count in scenes.most_common()))
    print(f"12 megapixels: {_seconds_at_12_mp():.3f} s")


def _seconds_at_12_mp() -> float:
    """Return the median time of a proposal in a photograph of 12 megapixels, opened and its card known."""
    import cv2

    scene = plate_scenes.plate_scene(1)
    large = cv2.resize(scene.photo.preview(2000), (4000, 3000), interpolation=cv2.INTER_CUBIC)
    photo = open_photo(bytes(cv2.imencode(".jpg", large[..., ::-1])[1]))
    spent = []
    for _ in range(7):
        start = time.perf_counter()
        propose_finishes(photo)
        spent.append(time.perf_counter() - start)
    return float(np.median(spent))


if __name__ == "__main__":
    main()
