"""Whether a plate's colour has changed since it was logged, and its colour as the log knows it best.

Between sightings and what is said of them. Every sighting is a new look, and a test made at each look anew finds a
change in the end where there is none; so what is weighed is the evidence of a change over none, averaged over the
changes that could be (from each sighting on a slow one, so much a year, or one at once; sizes below). Where nothing
changes such a weight is expected to stay 1 however often one looks, and exceeds 20 at any look in one plate of twenty
at most (J. Ville, Étude critique de la notion de collectif, 1939; H. Robbins, Statistical methods related to the law of
the iterated logarithm, Ann. Math. Statist. 41, 1970, 1397-1409; both from memory). The plate's own colour is left open,
so that only differences count, and what readings share of their errors cancels in them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from matcher.colour.difference import delta_e_2000, interval_of
from matcher.colour.types import Floats
from matcher.dates import in_utc
from matcher.reading.comparison import joint_covariance
from matcher.reading.reading import Reading
from matcher.tags.ageing.blunders import borne_out, oddest
from matcher.tags.ageing.evidence import YEAR_S, changes, colours, weighed, when
from matcher.tags.ageing.mean import of_one_colour
from matcher.tags.sightings import KeptSighting, read_ones

ENOUGH = 20.0
"""Evidence that counts as a change: at most one steady plate in twenty ever comes to it, however often it is seen."""
SPEAKS_FOR_IT = 1.0
"""Evidence that is to be left without the sighting that differs most: one photograph may be a blunder."""
MOST_LOOKED_AT = 150
"""Of a plate that was seen more often the latest sightings count."""


@dataclass(frozen=True, eq=False)
class Ageing:
    """How a plate's colour stands to what was logged.

    changed: whether it has changed by more than can be chance, and not by the word of one photograph alone: odd_on is
    when that one was taken, where only one says so. evidence: of a change over none. delta_e00, interval: of
    today's colour from the logged one, and its 95 %, if it changed at all. since: about when it began, and between
    which days (95 %); None while nothing is told. now: its colour when it was seen last; then: the same when it
    was logged, as all readings together tell, where the logged one alone may have been read far less surely. seen: how
    many sightings counted; last_seen: the last of them. contradicted: how many more were left out, for the photographs
    before and after each show otherwise.
    """

    changed: bool
    evidence: float
    delta_e00: float
    interval: tuple[float, float]
    since: datetime | None
    since_between: tuple[datetime, datetime] | None
    now: Reading
    then: Reading
    logged: Reading
    logged_at: datetime
    seen: int
    last_seen: datetime | None
    odd_on: datetime | None = None
    contradicted: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        between = self.since_between
        return {
            "changed": self.changed,
            "odd_on": None if self.odd_on is None else in_utc(self.odd_on).isoformat(),
            "evidence": self.evidence,
            "delta_e00": self.delta_e00,
            "delta_e00_interval": list(self.interval),
            "since": None if self.since is None else in_utc(self.since).isoformat(),
            "since_between": None if between is None else [in_utc(moment).isoformat() for moment in between],
            "now": {"lab": self.now.lab.tolist(), "covariance": self.now.covariance.tolist()},
            "then": {"lab": self.then.lab.tolist(), "covariance": self.then.covariance.tolist()},
            "logged_lab": self.logged.lab.tolist(),
            "sightings": self.seen,
            "contradicted": self.contradicted,
            "last_seen": None if self.last_seen is None else in_utc(self.last_seen).isoformat(),
        }


def ageing(logged: Reading, logged_at: datetime, sightings: Sequence[KeptSighting]) -> Ageing:
    """Judge whether a plate has changed since it was logged.

    Parameters
    ----------
    logged : Reading
        As it was when nothing was to change any more: sealed, where it is.
    logged_at : datetime
        When it was so.
    sightings : sequence of KeptSighting
        Of this plate since, each with a reading made without its own reference; those without one are passed over.

    Returns
    -------
    Ageing
        A shelf of plates that all drift alike cannot be told from within: each is read by the others.
    """
    seen = since_logged(logged_at, sightings)
    if not seen:
        return Ageing(False, 1.0, 0.0, (0.0, 0.0), None, None, logged, logged, logged, logged_at, 0, None)
    readings = [logged, *(one.reading for one in seen if one.reading is not None)]
    moments = [logged_at, *(one.seen_at for one in seen)]
    kept = borne_out(readings)
    readings, moments = [readings[at] for at in kept], [moments[at] for at in kept]
    told = replace(judged(readings, moments), contradicted=len(seen) + 1 - len(kept))
    if told.evidence < ENOUGH:
        return told
    odd = oddest(readings)
    others = [at for at in range(len(readings)) if at != odd]
    alone = len(others) == 1
    without = 0.0 if alone else judged([readings[at] for at in others], [moments[at] for at in others]).evidence
    if without >= SPEAKS_FOR_IT:
        return told
    return replace(told, changed=False, since=None, since_between=None, odd_on=moments[odd])


def since_logged(logged_at: datetime, sightings: Sequence[KeptSighting]) -> list[KeptSighting]:
    began = in_utc(logged_at) - timedelta(days=1)  # a camera's clock and a day typed may be some hours apart
    return [one for one in read_ones(sightings) if in_utc(one.seen_at) >= began][-MOST_LOOKED_AT:]


def judged(readings: Sequence[Reading], moments: Sequence[datetime]) -> Ageing:
    """Weigh all changes against none; the first reading is the logged one."""
    years = np.array([(in_utc(moment) - in_utc(moments[0])).total_seconds() / YEAR_S for moment in moments])
    labs = np.array([reading.lab for reading in readings])
    covariance = joint_covariance(readings)
    across, right = of_one_colour(covariance)
    mean_by = np.asarray(np.linalg.solve(across, right), float)  # (3, 3 m): weights of the steady colour
    # precision, the plate's own colour left open
    of_differences = np.asarray(np.linalg.inv(covariance) - right.T @ mean_by, float)
    tried = changes(years)
    found = weighed(labs, of_differences, tried)
    moved, then, now = colours(found, mean_by @ labs.ravel(), mean_by, np.asarray(np.linalg.inv(across), float), tried)
    low, high = interval_of(now[0] - moved[0], now[0], moved[1], given=True)
    changed = found.evidence >= ENOUGH
    began = [one.began for one in tried]
    since, between = when(found.weights, began, moments[0]) if changed else (None, None)
    return Ageing(
        changed,
        found.evidence,
        float(delta_e_2000(now[0] - moved[0], now[0])),
        (float(low), float(high)),
        since,
        between,
        _reckoned(readings[0], *now),
        _reckoned(readings[0], *then),
        readings[0],
        moments[0],
        len(readings) - 1,
        moments[-1],
    )


def _reckoned(logged: Reading, lab: Floats, covariance: Floats) -> Reading:
    """Return a reading that was worked out: of no photograph, and of what its uncertainty is made is not kept."""
    return replace(logged, lab=lab, covariance=covariance, budget=(), photo=None, region=None, conditions=None)
