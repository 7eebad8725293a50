"""One ranked answer: a recipe, what it gave or should give, and how near that is to the target.

Beside it what any one recipe would give, asked for by itself (``Prediction``), and how far that is from another colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np

from matcher.colour.difference import delta_e_2000, delta_e_draws, interval_of, reach_delta_e00
from matcher.colour.types import Floats
from matcher.colour.uncertainty import plus_minus_95, sum_of
from matcher.colour.verdict import Standing, standing
from matcher.colour.wording import difference_in_words
from matcher.plan.prediction import readable
from matcher.plan.reach import FEWEST_TO_TELL
from matcher.process.logged import LoggedTrial
from matcher.process.model import ProcessModel
from matcher.reading.comparison import delta_e_interval, draws_to_target
from matcher.reading.reading import Reading
from matcher.recipe.names import canonical
from matcher.recipe.recipe import Recipe, describe, not_noted
from matcher.suggest.outliers import Contradiction, contradiction_behind, doubt_of
from matcher.suggest.plates import AsRead
from matcher.suggest.wording import (
    assumed_in_words,
    doubts_in_words,
    learned_from,
    sureness_in_words,
    why_logged,
    why_predicted,
)

FEWEST_TO_PREDICT = FEWEST_TO_TELL
"""Trials below which a list holds only what was logged, and what is predicted is little more than a guess."""


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
    is_next
        Whether it is the plate most worth making next.

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
    is_next: bool = False

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
            "next_plate": self.is_next,
        }


@dataclass(frozen=True, eq=False)
class Apart:
    """How far an expected colour is from another: a target, or what a second recipe would give.

    delta_e00, delta_e00_interval: CIEDE2000 and its 95 % interval, from 0 when they can't be told apart. difference:
    how it differs, in words. draws: (k,) draws of the true ΔE00.
    """

    delta_e00: float
    delta_e00_interval: tuple[float, float]
    difference: str
    draws: Floats

    def chance_within(self, tolerance: float) -> float:
        """Return the chance, 0 to 1, that the true ΔE00 is at most ``tolerance``."""
        return float(np.mean(self.draws <= tolerance))

    def standing(self, tolerance: float) -> Standing:
        """Tell how surely it lies within a tolerance, by its interval and its chance."""
        return standing(self.delta_e00_interval, self.chance_within(tolerance), tolerance)

    def as_dict(self, tolerance: float) -> dict[str, Any]:
        """Return plain JSON types, with the chance within a tolerance."""
        return {
            "delta_e00": self.delta_e00,
            "delta_e00_interval": list(self.delta_e00_interval),
            "difference": self.difference,
            "tolerance": tolerance,
            "chance_within_tolerance": self.chance_within(tolerance),
        }


@dataclass(frozen=True, eq=False)
class Prediction:
    """What a recipe would give, before anyone makes it. Made by ``Suggester.predict``.

    Attributes
    ----------
    recipe
        The recipe asked for.
    reading
        The reading that its own colour would give, with the errors that the studio's plates share.
    plate_covariance
        (3, 3): how single plates of one recipe scatter about its colour.
    nearest
        The logged plates that it leans on most, most first.
    plates
        How many plates are logged.
    never_logged
        What the recipe names that no plate has: what it is ("alloy", "surface", "undercoat", "chemical",
        "application" or "seal") and its name.
    hotter_than_c
        The hottest coat logged in °C, when a coat of the recipe is hotter; else None.
    at_odds
        The first contradiction among plates of this recipe, or those that it leans on; else None.

    Examples
    --------
    >>> from matcher import Coat, Reading, Recipe, Suggester, Trial
    >>> recipe = Recipe("tin bronze", coats=(Coat("ferric nitrate", 0.5, 4, 105.0),))
    >>> prediction = Suggester([Trial(recipe, Reading((48, 16, 23)), id=7)]).predict(
    ...     Recipe("tin bronze", coats=(Coat("ferric nitrate", 0.5, 4, 120.0),))
    ... )
    >>> prediction.hotter_than_c, prediction.plates, [plate.id for plate in prediction.nearest]
    (105.0, 1, [7])
    """

    recipe: Recipe
    reading: Reading
    plate_covariance: Floats
    nearest: tuple[LoggedTrial, ...]
    plates: int
    never_logged: tuple[tuple[str, str], ...] = ()
    hotter_than_c: float | None = None
    at_odds: Contradiction | None = None

    @property
    def lab(self) -> Floats:
        """Expected CIELAB (3,) under D50."""
        return self.reading.lab

    @property
    def covariance(self) -> Floats:
        """Covariance (3, 3) of the recipe's own colour."""
        return self.reading.covariance

    @property
    def one_plate_covariance(self) -> Floats:
        """Covariance (3, 3) of the colour of one plate made to the recipe: its own and the scatter of plates."""
        return self.covariance + self.plate_covariance

    @property
    def few_plates(self) -> bool:
        """Whether so few plates are logged that this is little more than a guess."""
        return self.plates < FEWEST_TO_PREDICT

    @property
    def plate_reach(self) -> float:
        """ΔE00 within which a plate made and read as the others were comes out in 95 % of cases."""
        return float(reach_delta_e00(self.lab, self._as_others_covariance))

    @property
    def read_alike(self) -> bool:
        """Whether most of what is open is how all plates were read: one camera, one card."""
        return float(reach_delta_e00(self.lab, sum_of(self.reading.budget))) > self.plate_reach

    @property
    def _as_others_covariance(self) -> Floats:
        return self.one_plate_covariance - sum_of(self.reading.budget)

    @property
    def sureness(self) -> str:
        """Say how far to trust the colour of a plate made and read as the others were."""
        return sureness_in_words(self.plate_reach)

    @property
    def doubts(self) -> list[str]:
        """Say what speaks against it, a sentence each; empty when nothing does."""
        said = assumed_in_words(self.recipe) + doubts_in_words(
            self.never_logged, self.hotter_than_c, self.plates, self.few_plates, self.read_alike
        )
        found = [] if self.at_odds is None else [self.at_odds]
        return said + [text for text in [doubt_of(self.recipe, self.nearest, found).strip()] if text]

    def apart_from(self, target: Reading) -> Apart:
        """Return how far it is expected from a target, whose shared errors cancel."""
        draws = draws_to_target(target, [self.reading], [True])[0]
        delta = float(delta_e_2000(target.lab, self.lab))
        interval = delta_e_interval(target, self.reading, draws)
        return Apart(delta, interval, difference_in_words(target.lab, self.lab, interval=interval), draws)

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "recipe": self.recipe.as_dict(),
            "recipe_in_words": describe(self.recipe),
            "lab": self.lab.tolist(),
            "covariance": self.covariance.tolist(),
            "plus_minus_95": plus_minus_95(self.covariance).tolist(),
            "one_plate_covariance": self.one_plate_covariance.tolist(),
            "one_plate_plus_minus_95": plus_minus_95(self.one_plate_covariance).tolist(),
            "nearest": [trial.id for trial in self.nearest],
            "plates": self.plates,
            "few_plates": self.few_plates,
            "not_noted": [f"{part}: {field.title}" for part, field in not_noted(self.recipe)],
            "never_logged": [{"what": what, "name": name} for what, name in self.never_logged],
            "hotter_than_c": self.hotter_than_c,
            "at_odds": None if self.at_odds is None else self.at_odds.as_dict(),
            "plate_reach_delta_e00": self.plate_reach,
            "read_alike": self.read_alike,
            "sureness": self.sureness,
            "doubts": self.doubts,
        }


class RecipePredictor:
    """What recipes would give, from one fit: asking again, for any recipe, never fits anew.

    known: all plates that count, of which the model may have learned from a part. found: contradictions among those.
    """

    def __init__(
        self, model: ProcessModel, known: Sequence[LoggedTrial], found: Sequence[Contradiction], as_read: AsRead
    ) -> None:
        self.model = model
        self._known, self._found, self._as_read = known, found, as_read

    def of(self, recipe: Recipe) -> Prediction:
        """Return what a recipe would give; one without coats too."""
        lab, covariance = self.model.predict_one(recipe)
        nearest = tuple(learned_from(self.model, recipe))
        return Prediction(
            recipe,
            self._as_read(readable(lab), covariance),
            self.model.plate_covariance(recipe),
            nearest,
            len(self._known),
            tuple((what, name) for what, name in _named(recipe) if (what, canonical(name)) not in self._names),
            self._exceeded(recipe),
            contradiction_behind(recipe, nearest, self._found),
        )

    def apart(self, first: Recipe, second: Recipe, than: str = "than the first") -> Apart:
        """Return how far the second recipe's own colour is expected from the first's; than: ends the words of it.

        What the log does not tell of either they mostly share, and that cancels: the interval is narrower than two
        colours apart would give.
        """
        labs, joint = self.model.predict_together(self.model.columns([first, second]))
        between = joint[:3, :3] + joint[3:, 3:] - joint[:3, 3:] - joint[3:, :3]
        between = between + self.model.doubt(first) + self.model.doubt(second)
        one, other = readable(labs)
        delta = float(delta_e_2000(one, other))
        draws = delta_e_draws(one, other, between, expected=True)
        low, high = interval_of(one, other, between, draws)
        interval = float(low), float(high)
        return Apart(delta, interval, difference_in_words(one, other, than, interval), draws)

    @cached_property
    def _names(self) -> set[tuple[str, str]]:
        return {(what, canonical(name)) for trial in self._known for what, name in _named(trial.recipe)}

    def _exceeded(self, recipe: Recipe) -> float | None:
        """Return the temperature of the hottest coat logged in °C when a coat of a recipe is hotter, else None."""
        logged = self._hottest
        asked = _temperatures([recipe])
        return logged if logged is not None and asked and max(asked) > logged else None

    @cached_property
    def _hottest(self) -> float | None:
        return max(_temperatures(trial.recipe for trial in self._known), default=None)


def _temperatures(recipes: Iterable[Recipe]) -> list[float]:
    """Return the noted temperatures of coats in °C."""
    coats = [coat for recipe in recipes for coat in recipe.coats]
    return [coat.surface_temp_c for coat in coats if coat.surface_temp_c is not None]


def _named(recipe: Recipe) -> list[tuple[str, str]]:
    """Return what a recipe names, each once: what it is, and its name."""
    under, seal = recipe.undercoat, recipe.seal
    named = [
        ("alloy", recipe.alloy),
        ("surface", recipe.surface),
        *(() if under is None else (("undercoat", under.chemical),)),
        *(("chemical", coat.chemical) for coat in recipe.coats),
        *(("application", coat.application) for coat in recipe.coats),
        *(() if seal is None else (("seal", seal.kind),)),
    ]
    return list(dict.fromkeys(named))
