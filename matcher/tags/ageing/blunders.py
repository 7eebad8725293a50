"""Sightings that are likelier blunders than news of the plate: contradicted from both sides, or odd alone.

A sighting is left out that both those before and those after them contradict: a change, slow or at once,
keeps to one side or lies between. It is the median of the neighbours that a sighting is held against, as in F. R.
Hampel's identifier (The influence curve and its role in robust estimation, J. Am. Stat. Assoc. 69, 1974, 383-393; from
memory), here on each side by itself, so that a step is no blunder.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from matcher.colour.uncertainty import LEAST_VARIANCE, squared_distance
from matcher.reading.comparison import difference_covariance
from matcher.reading.reading import Reading

BEYOND = 14.156
"""Of a squared distance: chi-squared with 3 degrees of freedom leaves 0.27 % above it (SciPy:
``chi2.ppf(0.9973, 3)``)."""
NEIGHBOURS = 3
"""On either side, against whose median a sighting is held: two blunders in a row are outvoted by it in the end."""


def borne_out(readings: Sequence[Reading]) -> list[int]:
    """Return the places of the readings that those before or those after bear out, or that lie between the two.

    The first, the logged one, always; the last too, for what comes after it is not known yet.
    """
    kept = [0]
    for at in range(1, len(readings)):
        if at < len(readings) - 1:
            before = np.median([readings[other].lab for other in kept[-NEIGHBOURS:]], axis=0)
            after = np.median([one.lab for one in readings[at + 1 : at + 1 + NEIGHBOURS]], axis=0)
            way = after - before
            share = np.clip((readings[at].lab - before) @ way / max(float(way @ way), LEAST_VARIANCE), 0.0, 1.0)
            off = readings[at].lab - (before + share * way)
            if float(squared_distance(off, difference_covariance(readings[at], readings[at + 1]))) > BEYOND:
                continue
        kept.append(at)
    return kept


def oddest(readings: Sequence[Reading]) -> int:
    """Return which sighting lies farthest from the middle of all; never 0, the logged reading."""
    middle = np.median([reading.lab for reading in readings], axis=0)
    away = [float(squared_distance(reading.lab - middle, reading.covariance)) for reading in readings[1:]]
    return 1 + int(np.argmax(away))
