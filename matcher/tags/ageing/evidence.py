"""What readings say of every change that could be, over none: the evidence, how large, and since when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from matcher.colour.types import Floats

SLOW_A_YEAR = (2.0, 8.0)
"""CIELAB: standard deviations of a slow change that are tried."""
AT_ONCE = (1.5, 5.0)
"""CIELAB: the same of a change at once, such as by handling or a wax that nobody noted."""
ANY_SIZE = 300.0
"""CIELAB: more than any colour can change."""
YEAR_S = 365.25 * 86400


@dataclass(frozen=True, eq=False)
class Change:
    """One change that could be: the share (m,) of it in each reading, its size, its weight, when it began."""

    shares: Floats
    size: float
    weight: float
    began: float


def changes(years: Floats) -> list[Change]:
    """Return every change that is tried: from each reading but the last on, slow or at once, of each size.

    Their weights are set by the place in the row alone, and those of readings that have not come yet stand beside them,
    so that the weight of all is 1 and none of it depends on what is seen later.
    """
    found = []
    for at in range(len(years) - 1):
        weight = 1 / ((at + 1) * (at + 2)) / (len(SLOW_A_YEAR) + len(AT_ONCE))
        slow = np.maximum(years - years[at], 0.0)
        once = (np.arange(len(years)) > at).astype(float)
        found += [Change(slow, size, weight, years[at]) for size in SLOW_A_YEAR]
        found += [Change(once, size, weight, (years[at] + years[at + 1]) / 2) for size in AT_ONCE]
    return found


@dataclass(frozen=True, eq=False)
class Weighed:
    """What readings say of the k changes that are tried. evidence: of any over none; weights: (k,) of each among them;
    change: (k, 3) how large each is, and spread: (k, 3, 3) its covariance, as the readings alone say."""

    evidence: float
    weights: Floats
    change: Floats
    spread: Floats


def weighed(labs: Floats, of_differences: Floats, tried: Sequence[Change]) -> Weighed:
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
    return Weighed(evidence, weights / weights.sum(), np.einsum("kij,kj->ki", spread, towards), spread)


_Known = tuple[Floats, Floats]


def colours(
    weighed: Weighed, mean: Floats, mean_by: Floats, mean_spread: Floats, tried: Sequence[Change]
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


def _mixed(weights: Floats, means: Floats, spreads: Floats) -> tuple[Floats, Floats]:
    """Return mean (3,) and covariance (3, 3) of a mixture: what each part is unsure of, and how far they differ."""
    mean = weights @ means
    off = means - mean
    return mean, np.einsum("k,kij->ij", weights, spreads + off[:, :, None] * off[:, None, :])


def when(weights: Floats, began: Sequence[float], start: datetime) -> tuple[datetime, tuple[datetime, datetime]]:
    """Return about when a change began, and between which moments with 95 %."""
    days = np.sort(np.asarray(began, float))
    sums = np.cumsum(weights[np.argsort(np.asarray(began, float))])
    early, middle, late = (
        start + timedelta(seconds=YEAR_S * float(days[min(int(np.searchsorted(sums, share)), len(sums) - 1)]))
        for share in (0.025, 0.5, 0.975)
    )
    return middle, (early, late)
