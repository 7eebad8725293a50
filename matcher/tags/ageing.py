"""Whether a plate's colour has changed since it was logged, and its colour as the log knows it best.

Between sightings and what is said of them. Every sighting is a new look, and a test made at each look anew finds a
change in the end where there is none; so what is weighed is the evidence of a change over none, averaged over the
changes that could be (from each sighting on a slow one, so much a year, or one at once; sizes below). Where nothing
changes such a weight is expected to stay 1 however often one looks, and exceeds 20 at any look in one plate of twenty
at most (J. Ville, Étude critique de la notion de collectif, 1939; H. Robbins, Statistical methods related to the law of
the iterated logarithm, Ann. Math. Statist. 41, 1970, 1397-1409; both from memory). The plate's own colour is left open,
so that only differences count, and what readings share of their errors cancels in them.

Before that, sightings are left out that both those before and those after them contradict: a change, slow or at once,
keeps to one side or lies between. It is the median of the neighbours that a sighting is held against, as in F. R.
Hampel's identifier (The influence curve and its role in robust estimation, J. Am. Stat. Assoc. 69, 1974, 383-393; from
memory), here on each side by itself, so that a step is no blunder.

A mean of readings that are known by a joint covariance C is the generalised least-squares one, (1'C⁻¹1)⁻¹ 1'C⁻¹ y, of
the least variance of all unbiased ones (A. C. Aitken, On least squares and linear combination of observations, Proc.
R. Soc. Edinburgh 55, 1935, 42-48; from memory). What all readings share, such as one camera profile, stays in it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from matcher.calibration.calibration import UNPROFILED
from matcher.calibration.camera_priors import CAMERA_AND_LIGHT_OF, is_unknown_camera
from matcher.calibration.references import cause_of_own, own_root
from matcher.colour.difference import delta_e_2000, interval_of
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import LEAST_VARIANCE, BudgetTerm, slimmed, square_root, squared_distance, sum_of
from matcher.dates import in_utc
from matcher.reading.comparison import difference_covariance, joint_covariance
from matcher.reading.reading import Reading
from matcher.tags.sightings import KeptSighting, read_ones

ENOUGH = 20.0
"""Evidence that counts as a change: at most one steady plate in twenty ever comes to it, however often it is seen."""
BEYOND = 14.156
"""Of a squared distance: chi-squared with 3 degrees of freedom leaves 0.27 % above it (SciPy:
``chi2.ppf(0.9973, 3)``)."""
SPEAKS_FOR_IT = 1.0
"""Evidence that is to be left without the sighting that differs most: one photograph may be a blunder."""
SLOW_A_YEAR = (2.0, 8.0)
"""CIELAB: standard deviations of a slow change that are tried."""
AT_ONCE = (1.5, 5.0)
"""CIELAB: the same of a change at once, such as by handling or a wax that nobody noted."""
ANY_SIZE = 300.0
"""CIELAB: more than any colour can change."""
NEIGHBOURS = 3
"""On either side, against whose median a sighting is held: two blunders in a row are outvoted by it in the end."""
MOST_LOOKED_AT = 150
"""Of a plate that was seen more often the latest sightings count."""
_YEAR_S = 365.25 * 86400


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
    seen = _since(logged_at, sightings)
    if not seen:
        return Ageing(False, 1.0, 0.0, (0.0, 0.0), None, None, logged, logged, logged, logged_at, 0, None)
    readings = [logged, *(one.reading for one in seen if one.reading is not None)]
    moments = [logged_at, *(one.seen_at for one in seen)]
    borne_out = _borne_out(readings)
    readings, moments = [readings[at] for at in borne_out], [moments[at] for at in borne_out]
    told = replace(_judged(readings, moments), contradicted=len(seen) + 1 - len(borne_out))
    if told.evidence < ENOUGH:
        return told
    odd = _oddest(readings)
    others = [at for at in range(len(readings)) if at != odd]
    alone = len(others) == 1
    without = 0.0 if alone else _judged([readings[at] for at in others], [moments[at] for at in others]).evidence
    if without >= SPEAKS_FOR_IT:
        return told
    return replace(told, changed=False, since=None, since_between=None, odd_on=moments[odd])


def known_colour(logged: Reading, logged_at: datetime, sightings: Sequence[KeptSighting]) -> Reading:
    """Return a plate's colour as the log knows it best: the mean of the logged reading and the sightings since.

    Parameters are those of ``ageing``. A plate that has changed is no longer what was logged: of it the logged reading
    is returned as it is, and ``ageing`` tells its colour by now. A sighting that differs from the logged reading by
    more than chance explains (99.73 %) is no better knowledge of it, and is passed over.
    """
    return _known(logged, logged_at, sightings, ageing(logged, logged_at, sightings))


def by_now(logged: Reading, logged_at: datetime, sightings: Sequence[KeptSighting]) -> tuple[Reading, bool]:
    """Return a plate's colour as it is by now, and whether it has changed since it was logged.

    As the log knows it best; where it has changed, as it was seen since. Parameters are those of ``ageing``.
    """
    aged = ageing(logged, logged_at, sightings)
    return (aged.now if aged.changed else _known(logged, logged_at, sightings, aged)), aged.changed


def _known(logged: Reading, logged_at: datetime, sightings: Sequence[KeptSighting], aged: Ageing) -> Reading:
    seen = _since(logged_at, sightings)
    if not seen or aged.changed:
        return logged
    readings = [one.reading for one in seen if one.reading is not None]
    mean = mean_of([logged, *(reading for reading in readings if _agrees(logged, reading))])
    return mean if np.trace(mean.covariance) < np.trace(logged.covariance) else logged


def _agrees(logged: Reading, seen: Reading) -> bool:
    apart = squared_distance(seen.lab - logged.lab, difference_covariance(logged, seen))
    return float(apart) <= BEYOND


def mean_of(readings: Sequence[Reading]) -> Reading:
    """Return the generalised least-squares mean of readings of one colour, with what its budget is made of.

    Causes that several readings share stay shared, with this mean's own part of them; what is a reading's own is summed
    by its source. Cameras that no chart has shown may be one camera in one light, whose error no number of photographs
    averages away: it is counted as whole as it may be. The rest of the first reading (palette, caveats) is kept; it is
    of no one photograph.
    """
    weights = np.linalg.solve(*_normal(joint_covariance(readings)))  # (3, 3 m)
    parts = np.asarray(weights.reshape(3, len(readings), 3).transpose(1, 0, 2), float)
    lab = sum(part @ reading.lab for part, reading in zip(parts, readings, strict=True))
    budget = _budget(parts, readings)
    return replace(
        readings[0],
        lab=np.asarray(lab),
        covariance=sum_of(budget),
        budget=budget,
        photo=None,
        region=None,
        conditions=None,
        pixels=sum(reading.pixels for reading in readings),
    )


def _since(logged_at: datetime, sightings: Sequence[KeptSighting]) -> list[KeptSighting]:
    began = in_utc(logged_at) - timedelta(days=1)  # a camera's clock and a day typed may be some hours apart
    return [one for one in read_ones(sightings) if in_utc(one.seen_at) >= began][-MOST_LOOKED_AT:]


def _normal(covariance: Floats) -> tuple[Floats, Floats]:
    """Return 1'C⁻¹1 (3, 3) and 1'C⁻¹ (3, 3 m) of m readings of one colour."""
    ones = np.tile(np.eye(3), (len(covariance) // 3, 1))
    right = np.linalg.solve(covariance, ones).T
    return np.asarray(right @ ones), np.asarray(right)


def _budget(parts: Floats, readings: Sequence[Reading]) -> tuple[BudgetTerm, ...]:
    """Return what the uncertainty of a weighted mean is made of; parts: (m, 3, 3) the weights.

    What the first reading has of its own goes by the name that readings made by it as a reference know it by.
    """
    shared: dict[tuple[str, tuple[int, ...]], list[tuple[BudgetTerm, Floats]]] = defaultdict(list)
    own: dict[str, list[Floats]] = defaultdict(list)
    first = BudgetTerm(Source.REFERENCES, own_root(readings[0]), shared=cause_of_own(readings[0]))
    for place, (part, reading) in enumerate(zip(parts, readings, strict=True)):
        named = set()
        for term in (*([first] if place == 0 else []), *reading.budget):
            effect = part @ term.effect
            if term.shared is not None and term.shared not in named:
                named.add(term.shared)
                shared[term.shared, term.effect.shape].append((term, effect))
            elif place > 0:  # a cause named twice in one reading is shared once
                own[term.name].append(effect @ effect.T)
        rest = part @ (reading.covariance - sum_of(reading.budget)) @ part.T
        if place > 0 and float(np.trace(rest)) > LEAST_VARIANCE:
            own[reading.source].append(rest)
    kept = [
        BudgetTerm(found[0][0].name, np.sum([effect for _, effect in found], axis=0), found[0][0].remedy, key)
        for (key, _), found in shared.items()
    ]
    kept += [BudgetTerm(name, square_root(np.sum(each, axis=0))) for name, each in own.items()]
    return slimmed([*kept, *_of_one_camera(kept, readings[0])])


def _of_one_camera(kept: Sequence[BudgetTerm], first: Reading) -> list[BudgetTerm]:
    """Return what is to be added where the unknown cameras of several photographs may be one, in one light."""
    alike: dict[tuple[str, tuple[int, ...]], list[Floats]] = defaultdict(list)
    for term in kept:
        if term.shared is not None and is_unknown_camera(term.shared):
            alike[term.name, term.effect.shape].append(term.effect)
    more = np.zeros((3, 3))
    for effects in alike.values():
        whole = np.sum(effects, axis=0)
        more += whole @ whole.T - sum((effect @ effect.T for effect in effects), np.zeros((3, 3)))
    root = square_root(more)
    if float(np.sum(root**2)) <= LEAST_VARIANCE:
        return []
    cause = f"{CAMERA_AND_LIGHT_OF}photographs of {cause_of_own(first)}"
    return [BudgetTerm(Source.CAMERA_AND_LIGHT, root, UNPROFILED, cause)]


@dataclass(frozen=True, eq=False)
class _Change:
    """One change that could be: the share (m,) of it in each reading, its size, its weight, when it began."""

    shares: Floats
    size: float
    weight: float
    began: float


def _changes(years: Floats) -> list[_Change]:
    """Return every change that is tried: from each reading but the last on, slow or at once, of each size.

    Their weights are set by the place in the row alone, and those of readings that have not come yet stand beside them,
    so that the weight of all is 1 and none of it depends on what is seen later.
    """
    found = []
    for at in range(len(years) - 1):
        weight = 1 / ((at + 1) * (at + 2)) / (len(SLOW_A_YEAR) + len(AT_ONCE))
        slow = np.maximum(years - years[at], 0.0)
        once = (np.arange(len(years)) > at).astype(float)
        found += [_Change(slow, size, weight, years[at]) for size in SLOW_A_YEAR]
        found += [_Change(once, size, weight, (years[at] + years[at + 1]) / 2) for size in AT_ONCE]
    return found


def _borne_out(readings: Sequence[Reading]) -> list[int]:
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


def _oddest(readings: Sequence[Reading]) -> int:
    """Return which sighting lies farthest from the middle of all; never 0, the logged reading."""
    middle = np.median([reading.lab for reading in readings], axis=0)
    away = [float(squared_distance(reading.lab - middle, reading.covariance)) for reading in readings[1:]]
    return 1 + int(np.argmax(away))


def _judged(readings: Sequence[Reading], moments: Sequence[datetime]) -> Ageing:
    """Weigh all changes against none; the first reading is the logged one."""
    years = np.array([(in_utc(moment) - in_utc(moments[0])).total_seconds() / _YEAR_S for moment in moments])
    labs = np.array([reading.lab for reading in readings])
    covariance = joint_covariance(readings)
    across, right = _normal(covariance)
    mean_by = np.asarray(np.linalg.solve(across, right), float)  # (3, 3 m): weights of the steady colour
    # precision, the plate's own colour left open
    of_differences = np.asarray(np.linalg.inv(covariance) - right.T @ mean_by, float)
    tried = _changes(years)
    weighed = _weighed(labs, of_differences, tried)
    moved, then, now = _colours(
        weighed, mean_by @ labs.ravel(), mean_by, np.asarray(np.linalg.inv(across), float), tried
    )
    low, high = interval_of(now[0] - moved[0], now[0], moved[1])
    changed = weighed.evidence >= ENOUGH
    began = [one.began for one in tried]
    since, between = _when(weighed.weights, began, moments[0]) if changed else (None, None)
    return Ageing(
        changed,
        weighed.evidence,
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


@dataclass(frozen=True, eq=False)
class _Weighed:
    """What readings say of the k changes that are tried. evidence: of any over none; weights: (k,) of each among them;
    change: (k, 3) how large each is, and spread: (k, 3, 3) its covariance, as the readings alone say."""

    evidence: float
    weights: Floats
    change: Floats
    spread: Floats


def _weighed(labs: Floats, of_differences: Floats, tried: Sequence[_Change]) -> _Weighed:
    """Weigh changes by readings labs (m, 3), whose differences have the precision (3 m, 3 m)."""
    size = len(labs)
    shares, sizes = np.array([one.shares for one in tried]), np.array([one.size for one in tried])
    told = np.einsum("ka,aibj->kibj", shares, of_differences.reshape(size, 3, size, 3), optimize=True)
    known = np.einsum("kibj,kb->kij", told, shares, optimize=True)
    towards = np.einsum("kibj,bj->ki", told, labs, optimize=True)
    expected = known + np.eye(3) / sizes[:, None, None] ** 2
    tamed = np.linalg.solve(expected, towards[..., None])[..., 0]
    of_each = 0.5 * np.sum(tamed * towards, axis=1) - 0.5 * np.linalg.slogdet(expected)[1] - 3 * np.log(sizes)
    log_weights = of_each + np.log([one.weight for one in tried])
    left = 1 / size  # of the weight: changes that begin at sightings yet to come, of which nothing is known
    top = max(0.0, float(log_weights.max()))
    evidence = float(np.exp(min(top + np.log(np.sum(np.exp(log_weights - top)) + left * np.exp(-top)), 700.0)))
    weights = np.exp(log_weights - log_weights.max())
    # how large a change is the readings alone say: what was expected of it would draw it towards none
    spread = np.linalg.inv(known + np.eye(3) / ANY_SIZE**2)
    return _Weighed(evidence, weights / weights.sum(), np.einsum("kij,kj->ki", spread, towards), spread)


_Known = tuple[Floats, Floats]


def _colours(
    weighed: _Weighed, mean: Floats, mean_by: Floats, mean_spread: Floats, tried: Sequence[_Change]
) -> tuple[_Known, _Known, _Known]:
    """Return the change up to the last reading, the colour at the first and that at the last, each with its covariance.

    mean (3,), mean_by (3, 3 m), mean_spread (3, 3): the colour if it is steady, its weights and its covariance. That it
    is steady is as likely at the outset as that it changes.
    """
    shares = np.array([one.shares for one in tried])
    last = shares[:, -1, None, None]
    by_mean = np.einsum("imj,km->kij", mean_by.reshape(3, -1, 3), shares)
    change, spread = weighed.change[..., None], weighed.spread
    moved = _mixed(weighed.weights, last[..., 0] * weighed.change, last**2 * spread)
    steady = 1 / (1 + weighed.evidence)
    weights = np.append(weighed.weights * (1 - steady), steady)

    def at(by: Floats) -> _Known:
        means = np.vstack([mean + (by @ change)[..., 0], mean])
        return _mixed(weights, means, np.concatenate([by @ spread @ by.transpose(0, 2, 1), np.zeros((1, 3, 3))]))

    then, now = at(-by_mean), at(last * np.eye(3) - by_mean)
    return moved, (then[0], then[1] + mean_spread), (now[0], now[1] + mean_spread)


def _reckoned(logged: Reading, lab: Floats, covariance: Floats) -> Reading:
    """Return a reading that was worked out: of no photograph, and of what its uncertainty is made is not kept."""
    return replace(logged, lab=lab, covariance=covariance, budget=(), photo=None, region=None, conditions=None)


def _mixed(weights: Floats, means: Floats, spreads: Floats) -> tuple[Floats, Floats]:
    """Return mean (3,) and covariance (3, 3) of a mixture: what each part is unsure of, and how far they differ."""
    mean = weights @ means
    off = means - mean
    return mean, np.einsum("k,kij->ij", weights, spreads + off[:, :, None] * off[:, None, :])


def _when(weights: Floats, began: Sequence[float], start: datetime) -> tuple[datetime, tuple[datetime, datetime]]:
    """Return about when a change began, and between which moments with 95 %."""
    days = np.sort(np.asarray(began, float))
    sums = np.cumsum(weights[np.argsort(np.asarray(began, float))])
    early, middle, late = (
        start + timedelta(seconds=_YEAR_S * float(days[min(int(np.searchsorted(sums, share)), len(sums) - 1)]))
        for share in (0.025, 0.5, 0.975)
    )
    return middle, (early, late)
