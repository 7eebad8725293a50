"""How far a mottled finish is read from its area's mean, and whether the interval holds it: by mottle and share.

Run: ``python -m tests.benchmarks.bench_mottle [seeds]``. Invented mottles on pixels of balanced light (``mottles``),
with no glare and then with each kind of lamp mirrored in them. Of a neutral bloom one photograph cannot tell whether it
is glare: there the interval must hold both. A window's wide, faint image has a part of the budget of its own
(``wide_glare``), which is not counted here.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.reading.glare import find_glare
from tests.mottles import LAMPS, MOTTLES, SENSOR_CLIPS, lab_of, mottled, photographed, places

SHARES = (0.05, 0.07, 0.15, 0.30, 0.45)


def read(light: Floats, seed: int) -> tuple[Floats, float]:
    """Return CIELAB (3,) as read, and how far it would move if what is in doubt were the other thing."""
    pixels = photographed(np.random.default_rng(seed), light).reshape(-1, 3)
    glare = find_glare(places(), pixels, pixels.max(axis=1) >= SENSOR_CLIPS)
    best, finish, cut = (lab_of(pixels[~glare.left_out(way)].mean(axis=0)) for way in ("unknown", "finish", "glare"))
    return best, float(np.linalg.norm(finish - cut))


def bias(name: str, share: float, seeds: Iterable[int], lamp: str | None = None) -> tuple[float, float]:
    """Return the mean ΔE00 from the area's mean, and the share of readings whose doubt holds it."""
    mottle, off, held = MOTTLES[name], [], []
    for seed in seeds:
        finish = mottled(np.random.default_rng(seed), mottle.body, mottle.spots, share)
        truth = lab_of(finish.reshape(-1, 3).mean(axis=0))
        light = finish if lamp is None else finish + LAMPS[lamp](np.random.default_rng(seed))
        found, doubt = read(light, seed)
        off.append(float(delta_e_2000(found, truth)))
        held.append(float(np.linalg.norm(found - truth)) <= 1.96 * doubt + 1.5)
    return float(np.mean(off)), float(np.mean(held))


def main(seeds: int = 3) -> None:
    print(f"{'no glare: ΔE00 (held)':28s}", *(f"{share:>12.0%}" for share in SHARES))
    coloured = []
    for name, mottle in MOTTLES.items():
        cells = [bias(name, share, range(seeds)) for share in SHARES]
        print(f"{name:28s}", *(f"{off:6.2f} ({held:4.0%})" for off, held in cells), "neutral" if mottle.neutral else "")
        coloured += [] if mottle.neutral else [off for off, _ in cells]
    print(f"mean where the added colour is not neutral: {np.mean(coloured):.2f}, worst {max(coloured):.2f}")
    for lamp in LAMPS:
        cells = [bias(name, 0.15, range(seeds), lamp) for name in MOTTLES]
        off, held = np.mean(cells, axis=0)
        worst = max(cell[0] for cell in cells)
        print(f"with {lamp}, 15 % spots: {off:.2f} on the mean, {worst:.2f} at worst, held {held:.0%}")


if __name__ == "__main__":
    main(*(int(value) for value in sys.argv[1:]))
