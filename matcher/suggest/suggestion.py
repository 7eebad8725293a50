"""One ranked answer: a recipe, what it gave or should give, and how near that is to the target."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from matcher.colour.types import Floats
from matcher.colour.verdict import Standing, standing
from matcher.process.logged import LoggedTrial
from matcher.recipe.recipe import Recipe, describe
from matcher.suggest.wording import why_logged, why_predicted


@dataclass(frozen=True, eq=False)
class Suggestion:
    """A recipe and its distance from the target. Made by ``Suggester``.

    Attributes
    ----------
    recipe
        What to make.
    basis
        "logged" when a plate of it was read, "predicted" when nobody made it yet.
    lab, covariance
        CIELAB (3,) under D50 and its covariance (3, 3): of the plate as read; of a predicted recipe, of its own colour,
        about which single plates scatter (``ProcessModel.plate_covariance``).
    delta_e00, delta_e00_interval
        CIEDE2000 to the target, measured or expected, and the 95 % interval: from 0 when they can't be told apart.
    difference
        How the plate differs from the target, in words.
    draws
        (k,) draws of the true ΔE00.
    tied_with
        Ranks (from 1) in the same list that can't be told apart from this one.
    trial
        The logged trial; None when the recipe was predicted.
    grounds
        Of a prediction, the plates that it was made from, without the figures that ``because`` gives too.
    caveat
        Of a logged plate, what speaks against it; empty when nothing does.

    Examples
    --------
    >>> from matcher import Coat, Reading, Recipe, Suggester, Trial
    >>> recipe = Recipe("tin bronze", coats=(Coat("ferric nitrate", 0.5, 4, 105.0),))
    >>> best, = Suggester([Trial(recipe, Reading((48, 16, 23)), id=7)]).suggest((47, 16, 23))
    >>> best.chance_within(20.0)
    1.0
    >>> best.because
    'Plate 7 was measured at ΔE00 1.0 (0.5 to 1.6): a touch lighter than the target.'
    """

    recipe: Recipe
    basis: Literal["logged", "predicted"]
    lab: Floats
    covariance: Floats
    delta_e00: float
    delta_e00_interval: tuple[float, float]
    difference: str
    draws: Floats
    tied_with: tuple[int, ...] = ()
    trial: LoggedTrial | None = None
    grounds: str = ""
    caveat: str = ""

    @property
    def because(self) -> str:
        """Say in plain words why it stands where it does."""
        if self.basis == "predicted":
            return why_predicted(self.delta_e00, self.delta_e00_interval, self.grounds)
        number = None if self.trial is None else self.trial.id
        return why_logged(number, self.delta_e00, self.delta_e00_interval, self.difference, self.caveat)

    def chance_within(self, tolerance: float) -> float:
        """Return the chance, 0 to 1, that the true ΔE00 is at most ``tolerance``."""
        return float(np.mean(self.draws <= tolerance))

    def standing(self, tolerance: float) -> Standing:
        """Tell how surely it matches within a tolerance, by its interval and its chance."""
        return standing(self.delta_e00_interval, self.chance_within(tolerance), tolerance)

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "recipe": self.recipe.as_dict(),
            "recipe_in_words": describe(self.recipe),
            "basis": self.basis,
            "trial": None if self.trial is None else self.trial.id,
            "lab": self.lab.tolist(),
            "covariance": self.covariance.tolist(),
            "delta_e00": self.delta_e00,
            "delta_e00_interval": list(self.delta_e00_interval),
            "difference": self.difference,
            "because": self.because,
            "tied_with": list(self.tied_with),
        }
