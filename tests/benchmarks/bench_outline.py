"""How often a proposed outline is right, over invented photographs: `python -m tests.benchmarks.bench_outline`.

Each plate is right (an outline that lies in it to 98 % and reads as the whole face does), asked (nothing is proposed,
so the person is asked to mark it), refused (an outline that cannot be read) or wrong; the table has them by what is in
the scene. The constants were set on the scenes up to 200; ``--first 200`` gives others.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter

import cv2
import numpy as np

from matcher.card.outline import propose_finishes
from matcher.photo.photo import Photo, open_photo
from tests import plate_scenes

KINDS = ("cut", "glare", "hand", "verdigris", "dark", "like the bench", "no card", "not marked", "0 on")
TIMED_SCENES = 12
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
    usual, most = _seconds_at_12_mp(options.first)
    print(f"12 megapixels, one processor's seconds: {usual:.2f} in the middle, {most:.2f} at most")


def _seconds_at_12_mp(first: int) -> tuple[float, float]:
    """Return the median and the largest of what a proposal costs in photographs of 12 megapixels, opened already.

    A processor's time, all threads added up, which other work on the machine lengthens less than the clock's; of each
    photograph the least of three.
    """
    spent = []
    for number in range(first, first + TIMED_SCENES):
        scene = plate_scenes.plate_scene(number)
        large = cv2.resize(scene.photo.preview(max(plate_scenes.SIZE)), (4000, 3000), interpolation=cv2.INTER_CUBIC)
        photo = open_photo(bytes(cv2.imencode(".jpg", large[..., ::-1])[1]))
        spent.append(min(_seconds(photo) for _ in range(3)))
    return float(np.median(spent)), max(spent)


def _seconds(photo: Photo) -> float:
    start = time.process_time()
    propose_finishes(photo)
    return time.process_time() - start


if __name__ == "__main__":
    main()
