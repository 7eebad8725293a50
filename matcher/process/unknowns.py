"""Trials of which not all was noted, as the model learns from them: filled in, and counting less. Before `model`.

A figure that nobody noted is taken at the middle of what the log's own plates of that chemical say, failing those at
what all coats say, then at the trade's. What other values might have given adds to the covariance of the reading, so
that such a plate pulls as far as it can be trusted and no farther.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from statistics import median_low
from typing import Any, TypeVar

import numpy as np

from matcher.colour.types import Floats
from matcher.process.design import Categories, columns_of
from matcher.process.film import FilmMean
from matcher.process.fit import Seen, systematic_sample
from matcher.process.logged import LoggedTrial
from matcher.reading.reading import Reading
from matcher.recipe.names import canonical
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat, not_noted

Layer = TypeVar("Layer", Undercoat, Coat, Seal)

TRADE: dict[tuple[str, str], tuple[float, ...]] = {
    ("Undercoat", "strength"): (0.25, 0.5, 0.5, 1.0),
    ("Undercoat", "burnish"): (0.0, 0.25, 0.25, 0.5),
    ("Coat", "strength"): (0.25, 0.5, 0.5, 1.0),
    ("Coat", "passes"): (3, 5, 6, 8, 12),
    ("Coat", "surface_temp_c"): (90.0, 100.0, 104.0, 110.0, 120.0),
    ("Seal", "coats"): (1, 2, 3),
}
"""What is usual where the log says nothing: common practice, no source."""
FEWEST_OF_ITS_OWN = 4
"""Noted values of a chemical below which those of all chemicals count."""
DRAWS = 24
MOST_TO_FIT = 60
"""Wholly noted plates that the rough curve is fitted to, which says how much an unknown figure matters."""


@dataclass(frozen=True)
class Filled:
    """A trial as the model learns from it: nothing of its recipe unknown, and its reading as much less sure."""

    recipe: Recipe
    reading: Reading
    id: int | None
    set_aside: str | None
    logged: LoggedTrial
    made_at: datetime | None


def as_logged(trial: LoggedTrial) -> LoggedTrial:
    """Return a trial as the log has it, of one that was filled in too."""
    return trial.logged if isinstance(trial, Filled) else trial


class Usual:
    """The values that recipes note of each figure, of one chemical and of all."""

    def __init__(self, values: dict[tuple[str, str, str | None], list[float]]) -> None:
        self._values = values

    @classmethod
    def of(cls, trials: Iterable[LoggedTrial]) -> Usual:
        """Collect what trials note."""
        values: dict[tuple[str, str, str | None], list[float]] = {}
        for trial in map(as_logged, trials):
            for layer in _layers(trial.recipe):
                kind, name = type(layer).__name__, _name(layer)
                for of, field in TRADE:
                    noted = getattr(layer, field) if of == kind else None
                    if noted is not None:
                        for whose in (name, None):
                            values.setdefault((kind, field, whose), []).append(noted)
        return cls(values)

    def values(self, layer: Undercoat | Coat | Seal, field: str) -> Sequence[float]:
        """Return the values to think of for a figure of a layer that nobody noted."""
        kind = type(layer).__name__
        own = self._values.get((kind, field, _name(layer)), [])
        every = self._values.get((kind, field, None), [])
        return (
            own if len(own) >= FEWEST_OF_ITS_OWN else every if len(every) >= FEWEST_OF_ITS_OWN else TRADE[kind, field]
        )

    def filled(self, recipes: Sequence[Recipe]) -> list[Recipe]:
        """Return recipes with what was not noted at the middle of the usual values, one that was used."""
        return [self._with(recipe, None) if not_noted(recipe) else recipe for recipe in recipes]

    def about(self, recipe: Recipe) -> list[Recipe]:
        """Return a recipe with what was not noted filled in, and after it with values drawn from the usual ones."""
        rng = np.random.default_rng(0)  # the same plates give the same answer
        return [*self.filled([recipe]), *(self.drawn(recipe, rng) for _ in range(DRAWS))]

    def few(self, recipe: Recipe) -> float:
        """Return what the spread of drawn values is multiplied with, because they stand for values that nobody has.

        That of the prediction interval of one more value by Student's t, from as few as are noted (textbook, from
        memory); the trade's own values are no sample.
        """
        from scipy.stats import t

        lacking = [
            (layer, field)
            for layer in _layers(recipe)
            for of, field in TRADE
            if of == type(layer).__name__ and getattr(layer, field) is None
        ]
        counts = [
            len(found)
            for layer, field in lacking
            if (found := self.values(layer, field)) is not TRADE[type(layer).__name__, field]
        ]
        n = min(counts, default=0)
        return float((1 + 1 / n) * (t.ppf(0.975, n - 1) / t.ppf(0.975, np.inf)) ** 2) if n else 1.0

    def drawn(self, recipe: Recipe, rng: np.random.Generator) -> Recipe:
        """Return a recipe with what was not noted drawn from the usual values."""
        return self._with(recipe, rng)

    def _with(self, recipe: Recipe, rng: np.random.Generator | None) -> Recipe:
        def noted(layer: Layer) -> Layer:
            changed: dict[str, Any] = {}
            for of, field in TRADE:
                if of == type(layer).__name__ and getattr(layer, field) is None:
                    values = self.values(layer, field)
                    changed[field] = median_low(values) if rng is None else values[int(rng.integers(len(values)))]
            return replace(layer, **changed) if changed else layer

        under, seal = recipe.undercoat, recipe.seal
        return replace(
            recipe,
            undercoat=None if under is None else noted(under),
            coats=tuple(noted(coat) for coat in recipe.coats),
            seal=None if seal is None else noted(seal),
        )


def spread_of(labs: Floats) -> Floats:
    """Return the mean square (3, 3) of how colours (1 + n, 3), of drawn values, differ from the first."""
    off = labs[1:] - labs[0]
    return np.asarray(off.T @ off / len(off))


def fully_known(trials: Sequence[LoggedTrial]) -> list[LoggedTrial]:
    """Return trials with nothing unknown: those of which not all was noted are filled in, and count less.

    The covariance (3, 3) of such a reading grows by the spread of what a rough curve gives for values drawn from the
    log's own, about the value that was filled in.
    """
    lacking = [row for row, trial in enumerate(trials) if not_noted(trial.recipe)]
    if not lacking:
        return list(trials)
    usual = Usual.of(trials)
    curve, parameters = _rough_curve(trials)

    found = list(trials)
    for row in lacking:
        trial = trials[row]
        recipe = usual.filled([trial.recipe])[0]
        spread = spread_of(curve.lab(parameters, columns_of(usual.about(trial.recipe), curve.categories)))
        reading = replace(trial.reading, covariance=trial.reading.covariance + spread)
        found[row] = Filled(recipe, reading, trial.id, trial.set_aside, trial, getattr(trial, "made_at", None))
    return found


def _rough_curve(trials: Sequence[LoggedTrial]) -> tuple[FilmMean, Floats]:
    """Return the trade's curve with the parameters that the wholly noted plates ask for, else as the trade has them."""
    curve = FilmMean(Categories.of(trial.recipe for trial in trials))
    whole = [trial for trial in trials if not not_noted(trial.recipe)]
    if not whole:
        return curve, curve.prior_mean
    seen = Seen.of(curve, [whole[row] for row in systematic_sample(len(whole), MOST_TO_FIT)])
    return curve, seen.best_parameters(curve.prior_mean, seen.first_hyperparameters(), 0.1)


def _layers(recipe: Recipe) -> list[Undercoat | Coat | Seal]:
    under: list[Undercoat | Coat | Seal] = [] if recipe.undercoat is None else [recipe.undercoat]
    return [*under, *recipe.coats, *([] if recipe.seal is None else [recipe.seal])]


def _name(layer: Undercoat | Coat | Seal) -> str:
    return canonical(layer.kind if isinstance(layer, Seal) else layer.chemical)
