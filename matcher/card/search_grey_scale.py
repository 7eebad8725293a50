"""A grey scale in a picture: plain rectangles of one size in a row, joined into one card.

Beside ``chart_grid``, after ``card_search``, which finds the rectangles.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from matcher.card.card import Card
from matcher.card.search import Candidate, signed_area
from matcher.colour.types import Floats


def steps_in_a_row(plain: list[Candidate], card: Card) -> Candidate | None:
    """Join plain rectangles of one size in a row into a grey scale."""
    likely = [item for item in plain if item.confidence > 0.02][:12]
    count = len(card.patches)
    best: Candidate | None = None
    for first in likely:
        for second in likely:
            joined = _continued(first.corners, second.corners, likely, count)
            if joined is not None and (best is None or joined.confidence > best.confidence):
                best = joined
    return best


def _continued(first: Floats, second: Floats, likely: list[Candidate], count: int) -> Candidate | None:
    """Return the row that starts with two neighbouring rectangles, when all its steps are there."""
    stride = second.mean(axis=0) - first.mean(axis=0)
    size = float(np.sqrt(_area(first)))
    if not 0.5 * size < float(np.linalg.norm(stride)) < 2.2 * size:
        return None
    row = []
    for step in range(count):
        expected = first.mean(axis=0) + step * stride
        near = [
            item.corners
            for item in likely
            if np.linalg.norm(item.corners.mean(axis=0) - expected) < 0.25 * size
            and 0.6 < np.sqrt(_area(item.corners)) / size < 1.6
        ]
        if not near:
            return None
        row.append(near[0])
    if any(_area(one) / _area(two) > 1.7 or _area(two) / _area(one) > 1.7 for one, two in pairwise(row)):
        return None
    along = stride / np.linalg.norm(stride)
    across = np.array([-along[1], along[0]])
    points = np.concatenate(row)
    middle = points.mean(axis=0)
    s, t = (points - middle) @ along, (points - middle) @ across
    ends = np.array([[s.min(), t.min()], [s.max(), t.min()], [s.max(), t.max()], [s.min(), t.max()]])
    return Candidate(middle + ends @ np.stack([along, across]), 0.7)


def _area(corners: Floats) -> float:
    return abs(signed_area(corners))
