"""The suggester's look at recipes not made yet: keeps the fitted model and turns its outlook into suggestions.

Between suggester and planner. From a long log the model learns from the trials near the target and a spread of the
rest, and says so.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from matcher.difference import delta_e_2000, difference_in_words
from matcher.finish import Reading
from matcher.recipe import Recipe
from matcher.suggest.batch import session_rows
from matcher.suggest.columns import Columns
from matcher.suggest.limits import Limits
from matcher.suggest.outlook import Outlook, draws_of, look_ahead
from matcher.suggest.planner import PATIENCE, doubt_after, kind_of, next_plate, stalled_trials
from matcher.suggest.plates import Plates
from matcher.suggest.process_model import ProcessModel, fit_process
from matcher.suggest.reach import Reach, reach
from matcher.suggest.recipe_space import RecipeSpace, space_from, without_stock
from matcher.suggest.suggestion import LoggedTrial, Suggestion
from matcher.suggest.wording import grounds_of, learned_from, why_predicted

Floats = NDArray[np.float64]

MOST_LEARNED_FROM = 320
NEAR_SHARE = 220
MADE_LOOKED_AT = 12


class Foresight:
    """Predictions over the recipes that the trials and limits open. Cheap to make; fits when first asked.

    known: all plates, which the model learns from. usable: those within the limits, which count as matches.
    """

    def __init__(
        self, known: Plates, usable: Plates, limits: Limits, seed: int, before: ProcessModel | None = None
    ) -> None:
        self.known, self.usable, self.limits, self.seed = known, usable, limits, seed
        self._before = before
        self._fits: dict[bytes, _Fit] = {}

    def grown(self, trial: LoggedTrial) -> Foresight:
        """Return the same over one more trial; its first fit starts from the last one here."""
        last = next(reversed(self._fits.values())).model if self._fits else self._before
        known = self.known.grown(trial)
        usable = self.usable
        if self.limits.allow(trial.recipe):
            usable = known if self.usable is self.known else self.usable.grown(trial)
        return Foresight(known, usable, self.limits, self.seed, last)

    def fit(self, target_lab: Floats) -> _Fit:
        """Return the fit to use for a target: one for all while the log is short."""
        rows = self._rows(target_lab)
        key = rows.tobytes()
        if key not in self._fits:
            if len(self._fits) >= 4:
                self._fits.pop(next(iter(self._fits)))
            chosen = [self.known.trials[row] for row in rows]
            self._fits[key] = _Fit(fit_process(chosen, self._before), self.limits, self.seed)
        return self._fits[key]

    def outlook(self, target_lab: Floats) -> tuple[_Fit, Outlook]:
        """Return the fit and the outlook for a target (3,)."""
        fit = self.fit(target_lab)
        return fit, look_ahead(fit.model, fit.space, fit.columns, target_lab)

    def predicted(self, target: Reading, most: int) -> list[Suggestion]:
        """Return up to ``most`` recipes not made yet, by expected ΔE00, no two alike at the bench."""
        fit, outlook = self.outlook(target.lab)
        made = self._made(fit)
        spread = outlook.covariances + fit.model.plate_covariance
        expected = draws_of(target.lab, outlook.labs, spread).mean(axis=1)
        per_kind = max(1, -(-most // 2))
        taken: dict[int, int] = {}
        chosen: list[int] = []
        for row in np.argsort(expected, kind="stable"):
            kind = int(outlook.kinds[row])
            if outlook.recipes[row] in made or taken.get(kind, 0) >= per_kind:
                continue
            if any(_alike_at_the_bench(outlook.recipes[row], outlook.recipes[other]) for other in chosen):
                continue
            taken[kind] = taken.get(kind, 0) + 1
            chosen.append(int(row))
            if len(chosen) == most:
                break
        return [self._suggestion(target, fit, outlook, row) for row in chosen]

    def next_plate(self, target: Reading, tolerance: float) -> Suggestion:
        """Return the trial most worth making next."""
        fit = self.fit(target.lab)
        tried = [trial for trial in fit.model.trials if self.limits.allow(trial.recipe)]
        deltas = delta_e_2000(target.lab, [trial.reading.lab for trial in tried])
        stalled = stalled_trials(deltas, tolerance)
        doubt = doubt_after(stalled)
        outlook = look_ahead(fit.model, fit.space, fit.columns, target.lab, doubt)
        if stalled > PATIENCE and stalled % 2 == 1:
            tired = {kind_of(trial.recipe) for trial in tried[-stalled - 1 :]}
            outlook = outlook.without([kind_of(recipe) in tired for recipe in outlook.recipes])
        best, made = self._best_so_far(fit, target.lab), self._made(fit)
        wide, row = next_plate(fit.model, outlook, target.lab, best, tolerance, made, self.limits.allow, doubt)
        return self._suggestion(target, fit, wide, row)

    def session(self, target: Reading, count: int, tolerance: float) -> list[Suggestion]:
        """Return ``count`` plates to make in one session, chosen together."""
        fit, outlook = self.outlook(target.lab)
        made = self._made(fit)
        outlook = outlook.without([recipe in made for recipe in outlook.recipes])
        best = self._best_so_far(fit, target.lab)
        draw = np.random.default_rng(self.seed)
        rows = session_rows(fit.model, outlook, target.lab, best, tolerance, count, draw)
        return [self._suggestion(target, fit, outlook, row) for row in rows]

    def reach(self, target: Reading, tolerance: float) -> Reach:
        """Return whether a target can be reached."""
        fit, outlook = self.outlook(target.lab)
        best = float(self.usable.index.nearest(target.lab, 1)[1][0])
        return reach(fit.model, outlook, target.lab, best, tolerance, np.random.default_rng(self.seed))

    def _best_so_far(self, fit: _Fit, target_lab: Floats) -> float:
        """Return the least expected ΔE00 of the recipes made: a lucky reading alone does not count as a match."""
        near, _ = self.usable.index.nearest(target_lab, MADE_LOOKED_AT)
        labs, covariances = fit.model.predict(fit.model.columns([self.usable.trials[k].recipe for k in near]))
        return float(draws_of(target_lab, labs, covariances).mean(axis=1).min())

    def _made(self, fit: _Fit) -> set[Recipe]:
        """Return the recipes made, without their stocks' labels: what could be made has none."""
        return {without_stock(trial.recipe) for trial in fit.model.trials}

    def _rows(self, target_lab: Floats) -> NDArray[np.intp]:
        n = len(self.known.trials)
        if n <= MOST_LEARNED_FROM:
            return np.arange(n)
        near, _ = self.known.index.nearest(target_lab, NEAR_SHARE)
        rest = np.random.default_rng(self.seed).choice(n, MOST_LEARNED_FROM - NEAR_SHARE, replace=False)
        return np.union1d(near, rest)

    def _suggestion(self, target: Reading, fit: _Fit, outlook: Outlook, row: int) -> Suggestion:
        lab = np.clip(outlook.labs[row], (0.0, -200.0, -200.0), (100.0, 200.0, 200.0))  # what a reading can be
        recipe = outlook.recipes[row]
        covariance = outlook.covariances[row]
        # a vague or scattering prediction stands lower in a list than a plate that was measured
        scattered = covariance + fit.model.plate_covariance
        delta = float(delta_e_2000(target.lab, lab))
        nearest = learned_from(fit.model, recipe)
        grounds = grounds_of(recipe, nearest, fit.model, len(self.known.trials), outlook.considered)
        return Suggestion(
            recipe=recipe,
            basis="predicted",
            lab=lab,
            covariance=covariance,
            delta_e00=delta,
            delta_e00_interval=(0.0, delta),
            difference=difference_in_words(target.lab, lab),
            because=why_predicted(delta, grounds),
            draws=draws_of(target.lab, lab[None], scattered[None])[0],
            grounds=grounds,
        )


class _Fit:
    """A fitted model with the recipes that its trials open."""

    def __init__(self, model: ProcessModel, limits: Limits, seed: int) -> None:
        self.model, self._limits, self._seed = model, limits, seed

    @cached_property
    def space(self) -> RecipeSpace:
        return space_from(
            [trial.recipe for trial in self.model.trials], self._limits, np.random.default_rng(self._seed)
        )

    @cached_property
    def columns(self) -> Columns:
        return self.space.columns(self.model.curve.categories)


def _alike_at_the_bench(first: Recipe, second: Recipe) -> bool:
    """Tell whether two recipes differ by less than can be set: 0.05 of stock, 0.05 of burnish, 3 °C, no pass."""
    if (first.alloy, first.surface, first.seal) != (second.alloy, second.surface, second.seal):
        return False
    one, other = first.undercoat, second.undercoat
    if (one is None) != (other is None) or len(first.coats) != len(second.coats):
        return False
    if one is not None and other is not None and one.chemical != other.chemical:
        return False
    if (
        one is not None
        and other is not None
        and _any_over(0.05, (one.strength, other.strength), (one.burnish, other.burnish))
    ):
        return False
    return all(
        (a.chemical, a.passes, a.application) == (b.chemical, b.passes, b.application)
        and not _any_over(0.05, (a.strength, b.strength))
        and abs(a.surface_temp_c - b.surface_temp_c) < 3.0
        for a, b in zip(first.coats, second.coats, strict=True)
    )


def _any_over(limit: float, *pairs: tuple[float, float]) -> bool:
    return any(abs(a - b) >= limit - 1e-9 for a, b in pairs)
