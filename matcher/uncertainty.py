"""One part of a reading's uncertainty: the unit that a budget is made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class BudgetTerm:
    """One part of the uncertainty: its (3, 3) CIELAB covariance, and what would shrink it."""

    name: str
    covariance: NDArray[np.float64]
    remedy: str = ""
