"""Logged plates as the process model and the plans need them: a recipe and the reading that it gave, with its errors.

Most studios read their plates by one camera, under one light. What that errs by it errs by in all of them: it moves
them together and does not scatter them. So the model learns colours as plates are usually read, and what is usual is no
noise in it; plates that were read otherwise all differ from those by just that. Kennedy and O'Hagan (2001) is the
reference for telling a process from the bias of what shows it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from typing import Protocol

import numpy as np

from matcher.colour.types import Floats
from matcher.colour.uncertainty import by_cause, sum_of
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Recipe

A_TENTH = 0.1
"""Share of the readings from which on they tell of colours as they are read."""
ROUNDING = 1e-9
"""Share of a reading's variance below which no direction of what it scatters falls, so that it stays definite."""


def is_checked(trial: LoggedTrial) -> bool:
    """Tell whether somebody checked a plate and says that it is right: then no chance of a mistake is allowed for."""
    return getattr(trial, "checked", None) is not None


class LoggedTrial(Protocol):
    """What a trial must have to be ranked; ``matcher.trials.Trial`` has it."""

    @property
    def recipe(self) -> Recipe: ...
    @property
    def reading(self) -> Reading: ...
    @property
    def id(self) -> int | None: ...
    @property
    def set_aside(self) -> str | None: ...


def usual_errors(readings: Sequence[Reading], target: Reading | None = None) -> frozenset[str]:
    """Return the causes of error that count as usual: those that more than half of the readings have in common.

    Where a target is to be met, and some readings were made as it was, it is rather what those share with it: of its
    own causes those that more than a tenth of the readings have, of others those that nearly all have.
    """
    named = Counter(cause for reading in readings for cause in by_cause(reading.budget))
    if target is not None:
        its, some, nearly_all = by_cause(target.budget), A_TENTH * len(readings), (1 - A_TENTH) * len(readings)
        as_it = frozenset(cause for cause, times in named.items() if times > (some if cause in its else nearly_all))
        if _some_are_of(readings, as_it):
            return as_it
    return frozenset(cause for cause, times in named.items() if 2 * times > len(readings))


def _some_are_of(readings: Sequence[Reading], usual: frozenset[str]) -> bool:
    """Tell whether more than a tenth of the readings have all that is usual, and share little besides."""

    def is_of(reading: Reading) -> bool:
        terms = by_cause(reading.budget)
        besides = sum_of([term for cause, term in terms.items() if cause not in usual])
        return usual <= terms.keys() and bool(2 * np.trace(besides) <= np.trace(reading.covariance))

    return sum(map(is_of, readings)) > A_TENTH * len(readings)


def scatter_of(readings: Sequence[Reading], usual: frozenset[str], among: Sequence[Reading]) -> Floats:
    """Return the covariances (n, 3, 3) by which readings scatter about colours as they are usually read.

    usual: as ``usual_errors``. A reading without one of those causes differs by it from those that have it; how
    much is taken from the reading nearest in colour ``among`` which has it.
    """
    whole = np.array([reading.covariance for reading in readings]).reshape(-1, 3, 3)
    moved = np.zeros_like(whole)
    each, known = ([by_cause(reading.budget) for reading in some] for some in (readings, among))
    for cause in sorted(usual):  # one order, so that rounding is always the same
        having = [(among[row].lab, terms[cause].effect) for row, terms in enumerate(known) if cause in terms]
        for row, (reading, terms) in enumerate(zip(readings, each, strict=True)):
            if cause in terms:
                moved[row] -= terms[cause].covariance
            elif having:
                effect = _as_on_the_nearest(reading, having)
                moved[row] += effect @ effect.T
    if not moved.any():
        return whole
    least = ROUNDING * np.trace(whole, axis1=1, axis2=2)
    values, vectors = np.linalg.eigh(whole + moved)
    return np.asarray((vectors * np.maximum(values, least[:, None])[:, None, :]) @ np.swapaxes(vectors, 1, 2))


def errors_together(readings: Sequence[Reading], usual: frozenset[str]) -> Floats | None:
    """Return the covariances (3n, 3n), output by output, between what different readings scatter by.

    Readings without a usual cause all differ by it alike, and those that share another cause err by it together. None
    where hardly a reading is of the colours that are to be predicted: then each is left to err for itself.
    """
    if not _some_are_of(readings, usual):
        return None
    n = len(readings)
    effects_of: defaultdict[str, dict[int, Floats]] = defaultdict(dict)
    for row, reading in enumerate(readings):
        for cause, term in by_cause(reading.budget).items():
            effects_of[cause][row] = term.effect
    sound = [_says_all(reading) for reading in readings]
    between = np.zeros((3, n, 3, n))
    for cause, having in effects_of.items():
        if cause in usual:
            told = [(readings[row].lab, effect) for row, effect in having.items()]
            lacking = {row: reading for row, reading in enumerate(readings) if row not in having}
            moved = {row: _as_on_the_nearest(reading, told) for row, reading in lacking.items()}
        elif len(having) > 1:
            moved = {row: effect for row, effect in having.items() if sound[row]}
        else:
            continue
        for columns in {effect.shape[1] for effect in moved.values()}:
            rows = np.array([row for row, effect in moved.items() if effect.shape[1] == columns])
            effects = np.array([moved[row] for row in rows])
            place = np.ix_(np.arange(3), rows, np.arange(3), rows)
            between[place] += np.einsum("nip,mjp->injm", effects, effects)
    between[:, np.arange(n), :, np.arange(n)] = 0.0
    return between.reshape(3 * n, 3 * n)


def _as_on_the_nearest(reading: Reading, having: Sequence[tuple[Floats, Floats]]) -> Floats:
    """Return the effect (3, p) that a cause would have on a reading without it: that on the colour nearest to its own.

    having: CIELAB (3,) and effect of each reading that has it.
    """
    labs = np.array([lab for lab, _ in having])
    return having[int(np.argmin(np.square(labs - reading.lab).sum(axis=1)))][1]


def _says_all(reading: Reading) -> bool:
    """Tell whether a reading's covariance holds all its own parts: a careless one may say less."""
    rest = np.linalg.eigvalsh(reading.covariance - sum_of(reading.budget))
    return bool(rest[0] >= -ROUNDING * np.trace(reading.covariance))
