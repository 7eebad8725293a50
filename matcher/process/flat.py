"""No curve at all: one colour for every recipe, and all else left over. For a process that is unlike any film.

Stands in for ``film`` where the trials speak against it: chemistry that no film of the trade's shape describes is
then learned from the kernel alone, as by a plain Gaussian process.
"""

from __future__ import annotations

import numpy as np

from matcher.colour.types import Floats
from matcher.process.design import Categories, Columns


class FlatMean:
    """The same CIELAB for all recipes; its three numbers are the parameters. prior_mean, prior_sd: (3,)."""

    def __init__(self, categories: Categories) -> None:
        self.categories = categories
        self.prior_mean: Floats = np.array([40.0, 8.0, 15.0])
        self.prior_sd: Floats = np.array([20.0, 10.0, 15.0])

    def lab(self, parameters: Floats, columns: Columns) -> Floats:
        """Return CIELAB (..., n, 3) of n recipes for parameters (..., 3)."""
        return np.repeat(parameters[..., None, :], len(columns), axis=-2)

    def linearised(self, parameters: Floats, columns: Columns) -> tuple[Floats, Floats]:
        """Return CIELAB (n, 3) and its derivatives (n, 3, 3) to the parameters."""
        return self.lab(parameters, columns), np.repeat(np.eye(3)[None], len(columns), axis=0)
