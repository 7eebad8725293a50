"""Which references of a photograph are likelier mistaken than sound, and what the others tell."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Literal

import numpy as np

from matcher.calibration.references.discrepancy import Discrepancy
from matcher.calibration.references.reference import LeftOut, SeenReference
from matcher.calibration.references.update import Conditioned

MISTAKEN = 0.05  # the chance that a reference is another surface than the log says, or under glare
CLEARLY = 20.0  # times as likely, when one of two is said to be the mistaken one
MOST_DOUBTFUL, PLAINLY_SOUND = 6, 9.0
"""How many of those furthest off may be mistaken, one or two at a time; and squared distances that no mistake has."""


def conditioned(
    seen: Sequence[SeenReference], unreadable: Sequence[LeftOut], photo: str, discrepancy: Discrepancy
) -> Conditioned:
    """Return what references tell, those left out that are likelier mistaken than sound.

    Each is sound, or with a small chance another surface than the log says, or under glare (Box and Tiao 1968,
    Biometrika 55(1)). Of all ways to part them the likeliest is sought, one or two mistakes at a time; where it can't
    be told which of two is mistaken, both are left out.
    """
    every = Conditioned(tuple(seen), photo, discrepancy)
    rows, out = list(range(len(seen))), list(unreadable)
    while rows:
        wrong, why = _likeliest_mistake(every, rows)
        if not wrong:
            break
        out += [LeftOut(seen[row].index, why, seen[row]) for row in wrong]
        rows = [row for row in rows if row not in wrong]
    return Conditioned(tuple(seen[row] for row in rows), photo, discrepancy, tuple(out))


def _likeliest_mistake(every: Conditioned, rows: Sequence[int]) -> tuple[tuple[int, ...], Literal["odd", "at odds"]]:
    """Return which one or two of some references are likelier mistaken than all are sound; none where they are."""
    off = every.distances(rows)
    doubtful = [rows[place] for place in np.argsort(-off)[:MOST_DOUBTFUL] if off[place] > PLAINLY_SOUND]

    def gained(wrong: tuple[int, ...]) -> float:
        rest = [row for row in rows if row not in wrong]
        mistaken = sum(every.log_mistaken(row) + np.log(MISTAKEN / (1 - MISTAKEN)) for row in wrong)
        return every.log_evidence(rest) + float(mistaken) - sound

    sound = every.log_evidence(rows)
    ways = {wrong: gained(wrong) for size in (1, 2) for wrong in combinations(doubtful, size)}
    ranked = sorted(ways, key=lambda wrong: -ways[wrong])
    if not ranked or ways[ranked[0]] <= 0:
        return (), "odd"
    likely = [wrong for wrong in ranked if len(wrong) == 1 and ways[wrong] > ways[ranked[0]] - np.log(CLEARLY)]
    if len(ranked[0]) == 1 and len(likely) > 1:
        return (likely[0][0], likely[1][0]), "at odds"
    return ranked[0], "odd"
