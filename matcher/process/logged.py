"""Logged plates as the process model and the plans need them: a recipe and the reading that it gave, with its errors.

Most studios read their plates by one camera, under one light. What that errs by it errs by in all of them: it moves
them together and does not scatter them. So the model learns colours as plates are usually read, and what is usual is no
noise in it; a plate that was read otherwise differs from those by just that. Kennedy and O'Hagan (2001) is the
reference for telling a process from the bias of what shows it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Protocol

import numpy as np

from matcher.colour.types import Floats
from matcher.colour.uncertainty import by_cause
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Recipe

MOST, WITH_TARGET, WITHOUT_TARGET = 1 / 2, 1 / 4, 3 / 4
"""Shares of the readings above which a cause counts as usual: with no target, with one that has it, that has it not."""
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

    Where a target is to be met it is rather what it was read with itself: of its own causes those that more than a
    quarter of the readings have, of others those that more than three quarters have.
    """
    named = Counter(cause for reading in readings for cause in by_cause(reading.budget))
    its = {} if target is None else by_cause(target.budget)
    asked = {cause: MOST if target is None else WITH_TARGET if cause in its else WITHOUT_TARGET for cause in named}
    return frozenset(cause for cause, times in named.items() if times > asked[cause] * len(readings))


def scatter_of(readings: Sequence[Reading], usual: frozenset[str], among: Sequence[Reading]) -> Floats:
    """Return the covariances (n, 3, 3) by which readings scatter about colours as they are usually read.

    usual: as ``usual_errors``. A reading without one of those causes differs by it from those that have it; how
    much is taken from the reading nearest in colour ``among`` which has it.
    """
    whole = np.array([reading.covariance for reading in readings]).reshape(-1, 3, 3)
    moved = np.zeros_like(whole)
    each, known = ([by_cause(reading.budget) for reading in some] for some in (readings, among))
    for cause in sorted(usual):
        having = [row for row, terms in enumerate(known) if cause in terms]
        if not having:
            continue
        labs = np.array([among[row].lab for row in having])
        for row, (reading, terms) in enumerate(zip(readings, each, strict=True)):
            if cause in terms:
                moved[row] -= terms[cause].covariance
            else:
                near = having[int(np.argmin(np.square(labs - reading.lab).sum(axis=1)))]
                moved[row] += known[near][cause].covariance
    if not moved.any():
        return whole
    least = ROUNDING * np.trace(whole, axis1=1, axis2=2)
    values, vectors = np.linalg.eigh(whole + moved)
    return np.asarray((vectors * np.maximum(values, least[:, None])[:, None, :]) @ np.swapaxes(vectors, 1, 2))
