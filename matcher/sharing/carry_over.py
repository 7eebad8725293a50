"""How far another studio's plates carry over to ours, learned from plates of one recipe in both.

A pair says how far ours lies from theirs. From several follow a shift, alike for all, and the scatter about it; both
are estimates, so what is expected of a new plate lies in a region of Student's kind, wider the fewer pairs there are.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from matcher.colour.types import Floats
from matcher.colour.uncertainty import CHI2_95
from matcher.recipe.recipe import Recipe, as_compared
from matcher.sharing.shared_plate import SharedPlate
from matcher.trials.trial import Trial

FEWEST_PAIRS = 6
"""Below this the scatter in three dimensions is not known well enough to say anything of it."""


@dataclass(frozen=True, eq=False)
class CarryOver:
    """What pairs of plates of one recipe say: ours less theirs, in CIELAB.

    pairs: how many recipes both have made. shift: (3,) and shift_covariance: (3, 3) of it; scatter: (3, 3) of single
    plates about it, readings' errors included. None where there are too few pairs to know.
    """

    pairs: int
    shift: Floats | None = None
    shift_covariance: Floats | None = None
    scatter: Floats | None = None

    @property
    def is_known(self) -> bool:
        return self.shift is not None

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        known = {"shift": self.shift, "shift_covariance": self.shift_covariance, "scatter": self.scatter}
        told = {name: None if value is None else value.tolist() for name, value in known.items()}
        return {"pairs": self.pairs, "fewest_pairs": FEWEST_PAIRS, **told}

    def expected_here(self, plate: SharedPlate) -> tuple[Floats, Floats] | None:
        """Return the colour (3,) expected of a plate's recipe when made here, and its covariance (3, 3).

        The covariance is scaled so that its 95 % region by χ² is that of the few pairs (Hotelling's T², as in Johnson
        and Wichern, Applied Multivariate Statistical Analysis, section 5.4, from memory). None where nothing is known.
        """
        if self.shift is None or self.scatter is None:
            return None
        from scipy.stats import f

        n = self.pairs
        widened = 3 * (n - 1) / (n - 3) * float(f.ppf(0.95, 3, n - 3)) / CHI2_95
        return plate.lab + self.shift, self.scatter * (1 + 1 / n) * widened


def carry_over(theirs: Iterable[SharedPlate], ours: Iterable[Trial]) -> CarryOver:
    """Return what the plates of one other studio and our own show; each recipe counts once, by its latest plates."""
    latest: dict[Recipe, Floats] = {as_compared(trial.recipe): trial.reading.lab for trial in ours}
    made = {as_compared(plate.recipe): plate.lab for plate in theirs if plate.recipe is not None}
    apart = [latest[recipe] - lab for recipe, lab in made.items() if recipe in latest]
    return of_differences(apart)


def of_differences(apart: Sequence[Floats]) -> CarryOver:
    """Return what differences (3,) of ours less theirs, a pair each, show."""
    if len(apart) < FEWEST_PAIRS:
        return CarryOver(len(apart))
    found = np.array(apart)
    scatter = np.cov(found, rowvar=False) + 1e-6 * np.eye(3)
    return CarryOver(len(apart), found.mean(axis=0), scatter / len(apart), scatter)
