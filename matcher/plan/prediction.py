"""How a colour that is only expected stands against a target, in one way for list, next plate, reach and bench.

A prediction averages the plates' own errors away, but not what they all share (one camera, one card): that is taken
from the nearest plate, and cancels against a target that shares it too.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, sum_of
from matcher.reading.reading import Reading


def readable(lab: Floats) -> Floats:
    """Return the colour (..., 3) nearest to an expected one that a reading can have."""
    return np.clip(lab, (0.0, -200.0, -200.0), (100.0, 200.0, 200.0))


def with_errors(lab: Floats, covariance: Floats, common: Sequence[BudgetTerm] = ()) -> Reading:
    """Return the reading of a colour whose errors are its own covariance and those that it has in common."""
    return Reading(lab=readable(lab), covariance=covariance + sum_of(common), budget=tuple(common))
