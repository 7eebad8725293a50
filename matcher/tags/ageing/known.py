"""A plate's colour as the log knows it best, and as it is by now.

After ``told``: of a plate that has changed the two are not one.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from matcher.colour.uncertainty import squared_distance
from matcher.reading.comparison import difference_covariance
from matcher.reading.reading import Reading
from matcher.tags.ageing.blunders import BEYOND
from matcher.tags.ageing.mean import mean_of
from matcher.tags.ageing.told import Ageing, ageing, since_logged
from matcher.tags.sightings import KeptSighting


def known_colour(logged: Reading, logged_at: datetime, sightings: Sequence[KeptSighting]) -> Reading:
    """Return a plate's colour as the log knows it best: the mean of the logged reading and the sightings since.

    Parameters are those of ``ageing``. A plate that has changed is no longer what was logged: of it the logged reading
    is returned as it is, and ``ageing`` tells its colour by now. A sighting that differs from the logged reading by
    more than chance explains (99.73 %) is no better knowledge of it, and is passed over.
    """
    return known_with(logged, logged_at, sightings, ageing(logged, logged_at, sightings))


def by_now(logged: Reading, logged_at: datetime, sightings: Sequence[KeptSighting]) -> tuple[Reading, bool]:
    """Return a plate's colour as it is by now, and whether it has changed since it was logged.

    As the log knows it best; where it has changed, as it was seen since. Parameters are those of ``ageing``.
    """
    aged = ageing(logged, logged_at, sightings)
    return (aged.now if aged.changed else known_with(logged, logged_at, sightings, aged)), aged.changed


def known_with(logged: Reading, logged_at: datetime, sightings: Sequence[KeptSighting], aged: Ageing) -> Reading:
    """Return what ``known_colour`` does, where it was worked out already how the plate has aged."""
    seen = since_logged(logged_at, sightings)
    if not seen or aged.changed:
        return logged
    readings = [one.reading for one in seen if one.reading is not None]
    mean = mean_of([logged, *(reading for reading in readings if _agrees(logged, reading))])
    return mean if np.trace(mean.covariance) < np.trace(logged.covariance) else logged


def _agrees(logged: Reading, seen: Reading) -> bool:
    apart = squared_distance(seen.lab - logged.lab, difference_covariance(logged, seen))
    return float(apart) <= BEYOND
