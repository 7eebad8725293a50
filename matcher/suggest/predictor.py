"""What is expected of recipes not made yet: keeps the fitted model and turns its outlook into suggestions.

Between suggester and planner. From a long log the model learns from the trials near the target and a spread of the
rest, and says so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats, Indices
from matcher.colour.uncertainty import by_cause
from matcher.colour.wording import difference_in_words
from matcher.plan.inventory import NOTHING_MORE, AtHand
from matcher.plan.limits import Limits, each_lifted
from matcher.plan.next_plate import (
    PATIENCE,
    doubt_after,
    hopeful,
    kind_of,
    may_come_nearest,
    may_match,
    next_plate,
    stalled_trials,
)
from matcher.plan.outlook import Outlook, draws_of, first_places, look_ahead, outlook_on
from matcher.plan.prediction import readable
from matcher.plan.reach import Reach, expected_delta, reach
from matcher.plan.recipe_space import Made, RecipeSpace, space_from
from matcher.plan.session import session_rows
from matcher.process.design import Columns
from matcher.process.learn import fit_process
from matcher.process.logged import LoggedTrial, usual_errors
from matcher.process.model import ProcessModel
from matcher.reading.reading import Reading
from matcher.recipe.names import canonical
from matcher.recipe.recipe import Recipe, as_compared, chemicals_of
from matcher.suggest.outliers import (
    Contradiction,
    at_odds,
    counting_little,
    doubt_of,
    little_said,
    nothing_varied,
)
from matcher.suggest.plates import Plates
from matcher.suggest.suggestion import Suggestion
from matcher.suggest.wording import grounds_of, learned_from

MOST_LEARNED_FROM = 320
NEAR_SHARE = 220
MADE_LOOKED_AT = 12
MOST_TRIED = 400
"""Recipes of what is little known that are looked at, light and heavy: the nearest by the mean alone would be light."""
OUTLOOKS_KEPT, USUAL_KEPT = 3, 32
MADE_BEFORE = " It was made before: another plate of it tells most now."
TOO_NEAR = 0.5
"""Two predicted colours of one kind of recipe that are nearer in ΔE00 than this are no choice."""
WORTH_LIFTING = 0.5
"""A limit is to blame when lifting it brings the nearest recipe this much nearer in ΔE00."""


class Predictor:
    """Predictions over the recipes that the trials and limits open. Cheap to make; fits when first asked.

    known: all plates, which the model learns from. usable: those within the limits, which count as matches. allowed:
    the rows of those among the known, when they are known already. before: a model from which the first fit starts.
    at_hand: chemicals that the studio has; those that no plate has may be tried on the next one.
    """

    def __init__(
        self,
        known: Plates,
        limits: Limits,
        seed: int,
        before: ProcessModel | None = None,
        allowed: Indices | None = None,
        at_hand: AtHand = NOTHING_MORE,
    ) -> None:
        if allowed is None:
            allowed = np.flatnonzero([limits.allow(trial.recipe) for trial in known.trials])
        self.known, self.usable, self.limits, self.seed = known, known.rows(allowed), limits, seed
        self._before, self._allowed, self._at_hand = before, allowed, at_hand
        self._fits: dict[tuple[bytes, frozenset[str]], _Fit] = {}
        self._usual: dict[tuple[bytes, frozenset[str] | None], frozenset[str]] = {}

    def grown(self, trial: LoggedTrial) -> Predictor:
        """Return the same over one more trial; its first fit starts from the last one here."""
        last = next(reversed(self._fits.values())).model if self._fits else self._before
        row = [len(self.known.trials)] if self.limits.allow(trial.recipe) else []
        allowed = np.append(self._allowed, np.array(row, dtype=np.intp))
        return Predictor(self.known.grown(trial), self.limits, self.seed, last, allowed, self._at_hand)

    @cached_property
    def untried(self) -> AtHand:
        """What is at hand, may be used today, and no plate has."""
        return self._untried_at_all.within(self.limits)

    @cached_property
    def _untried_at_all(self) -> AtHand:
        if not self._at_hand.names:
            return NOTHING_MORE
        return self._at_hand.untried(trial.recipe for trial in self.known.trials)

    def fit(self, target: Reading) -> _Fit:
        """Return the fit to use for a target: one for all while the log is short and read in one way."""
        return self._fit(target.lab, target)

    def fit_at(self, lab: Floats) -> _Fit:
        """Return the fit to use near a colour (3,) that nobody read."""
        return self._fit(lab, None)

    def _fit(self, lab: Floats, target: Reading | None) -> _Fit:
        rows = self._rows(lab)
        asked = rows.tobytes(), None if target is None else frozenset(by_cause(target.budget))
        if asked not in self._usual:
            if len(self._usual) >= USUAL_KEPT:
                self._usual.clear()
            self._usual[asked] = usual_errors([self.known.trials[row].reading for row in rows], target)
        usual = self._usual[asked]
        key = rows.tobytes(), usual
        if key not in self._fits:
            if len(self._fits) >= 4:
                self._fits.pop(next(iter(self._fits)))
            chosen = [self.known.trials[row] for row in rows]
            self._fits[key] = _Fit(fit_process(chosen, self._before, usual), self.limits, self.seed)
        return self._fits[key]

    def fit_for(self, recipe: Recipe) -> _Fit:
        """Return the fit near a recipe's own expected colour, as a fit amid all colours expects it."""
        fit = self.fit_at(np.median([trial.reading.lab for trial in self.known.trials], axis=0))
        return self.fit_at(readable(fit.model.mean_lab(fit.model.columns([recipe]))[0]))

    def at_odds(self, target_lab: Floats) -> list[Contradiction]:
        """Return recipes whose plates contradict each other, among those that a fit for a target would learn from."""
        return at_odds([self.known.trials[row] for row in self._rows(target_lab)])

    def outlook(self, target: Reading) -> tuple[_Fit, Outlook]:
        """Return the fit and the outlook for a target."""
        fit = self.fit(target)
        return fit, fit.outlook(target.lab)

    def predicted(self, target: Reading, most: int, tolerance: float) -> list[Suggestion]:
        """Return up to ``most`` recipes not made yet, by expected ΔE00, and the next plate among them.

        First the best of each kind of undercoat and chemical that comes within the tolerance of the best of all, then
        others; of one kind no two of equal dose, or nearer in colour than is to be seen.
        """
        fit, outlook = self.outlook(target)
        room = max(2, most)  # so that the first of a short list is that of a long one
        made = fit.made
        expected = expected_delta(fit.model, outlook, target.lab)
        order = [int(row) for row in np.argsort(expected, kind="stable") if outlook.recipes[row] not in made]
        near = [row for row in order if expected[row] <= expected[order[0]] + tolerance]
        of_each = list({int(outlook.kinds[row]): row for row in reversed(near)}.values())[::-1]
        chosen: list[int] = []
        for row in (*of_each, *order):
            alike = [one for one in chosen if outlook.kinds[one] == outlook.kinds[row]]
            full = row in chosen or len(alike) >= max(1, -(-room // 2))
            if full or any(_much_alike(outlook, row, one) for one in alike):
                continue
            chosen.append(row)
            if len(chosen) == room:
                break
        found = [self._suggestion(target, fit, outlook, row) for row in chosen]
        following = replace(self.next_plate(target, tolerance), is_next=True)
        if following.recipe in made:
            return [*_nearest_first(found)[:most], following]
        kind = kind_of(following.recipe)
        apart = [item for item in found if kind_of(item.recipe) != kind or not _much_as(item, following)]
        return _nearest_first([*apart[: room - 1], following])[:most]

    def next_plate(self, target: Reading, tolerance: float) -> Suggestion:
        """Return the trial most worth making next."""
        fit = self.fit(target)
        tried = [trial for trial in fit.model.trials if self.limits.allow(trial.recipe)]
        deltas = delta_e_2000(target.lab, [trial.reading.lab for trial in tried])
        best, made = self._best_so_far(fit, target.lab)[2], fit.made
        stalled = stalled_trials(deltas, tolerance)
        doubt = doubt_after(stalled)
        outlook = fit.outlook(target.lab, doubt)
        trying = self._worth_trying(fit, outlook, target.lab, tolerance, doubt)
        if trying is not outlook:
            trying = trying.without([recipe in made for recipe in trying.recipes])
            return self._suggestion(target, fit, trying, may_come_nearest(trying))
        if stalled > PATIENCE and stalled % 2 == 1:
            tired = {kind_of(trial.recipe) for trial in tried[-stalled - 1 :]}
            fresh = np.array([kind_of(recipe) not in tired for recipe in outlook.recipes])
            outlook = outlook.without((~(fresh & hopeful(outlook, best, tolerance))).tolist())
        wide, row = next_plate(fit.model, outlook, target.lab, best, tolerance, made, self.limits.allow, doubt)
        return self._suggestion(target, fit, wide, row)

    def _worth_trying(
        self, fit: _Fit, outlook: Outlook, target_lab: Floats, tolerance: float, doubt: float = 1.0
    ) -> Outlook:
        """Return the outlook on recipes of chemicals that no plate has, where none of the others may come near enough;
        failing those, of chemicals that one plate alone has, which may be a mistake.

        What such a chemical gives is borrowed from the others until plates show it, so its chances say little.
        """
        little_known = {canonical(name) for name in self.untried.names} or fit.on_one_plate
        if not little_known or may_match(outlook, tolerance):
            return outlook
        space = fit.trying(self.untried).space
        rows = np.random.default_rng(self.seed).permutation(space.having(little_known))[:MOST_TRIED]
        return outlook_on(fit.model, [space.recipe(row) for row in rows], target_lab, doubt) if len(rows) else outlook

    def session(self, target: Reading, count: int, tolerance: float) -> list[Suggestion]:
        """Return ``count`` plates to make in one session, chosen together."""
        fit, outlook = self.outlook(target)
        outlook, made = self._worth_trying(fit, outlook, target.lab, tolerance), fit.made
        outlook = outlook.without([recipe in made for recipe in outlook.recipes])
        best = self._best_so_far(fit, target.lab)[2]
        draw = np.random.default_rng(self.seed)
        rows = session_rows(fit.model, outlook, target.lab, best, tolerance, count, draw)
        return [self._suggestion(target, fit, outlook, row) for row in rows]

    def reach(self, target: Reading, tolerance: float, as_read: Callable[[Floats, Floats], Reading]) -> Reach:
        """Return whether a target can be reached."""
        fit, outlook = self.outlook(target)
        logged = self.usable.trials[int(self.usable.nearest(target.lab, 1)[0][0])]

        def lifted(delta: float) -> str | None:
            return self._what_lifting_brings(fit, target.lab, delta)

        draw, untried = np.random.default_rng(self.seed), self.untried.names
        left_out = tuple(name for name in self._untried_at_all.names if name not in untried)
        return reach(fit.model, outlook, target, logged, tolerance, draw, as_read, lifted, untried, left_out)

    def _what_lifting_brings(self, fit: _Fit, target_lab: Floats, within: float) -> str | None:
        """Say that today's limits keep a target out, and which of them; None when it is not they."""
        whole = fit.nearest_under(Limits(), target_lab) if self.limits != Limits() else within
        if whole > within - WORTH_LIFTING:
            return None
        said = f"It is today's limits ({self.limits.in_words()}): without them the nearest is expected at "
        said += f"ΔE00 {whole:.1f}. "
        singly = [(fit.nearest_under(freer, target_lab), words) for freer, words in each_lifted(self.limits)]
        nearest, words = min(singly, key=lambda item: item[0])
        if len(singly) == 1:
            return f"{said}{words} would be enough."
        if nearest > within - WORTH_LIFTING:
            return f"{said}Lifting one of them is not enough: lift several."
        return f"{said}{words} would by itself bring it to ΔE00 {nearest:.1f}."

    def best_plate(self, target: Reading) -> Suggestion:
        """Return the plate whose recipe is expected to be nearest in truth, with the colour that is expected of it."""
        fit = self.fit(target)
        trial, outlook, _ = self._best_so_far(fit, target.lab)
        return replace(self._suggestion(target, fit, outlook, 0), basis="logged", trial=trial, grounds="")

    def _best_so_far(self, fit: _Fit, target_lab: Floats) -> tuple[LoggedTrial, Outlook, float]:
        """Return the plate whose recipe is expected nearest, what is expected of it, and its mean ΔE00.

        A lucky reading alone does not count as a match, nor an unlucky one against it.
        """
        near = [self.usable.trials[k] for k in self.usable.nearest(target_lab, MADE_LOOKED_AT)[0]]
        outlook = outlook_on(fit.model, [trial.recipe for trial in near], target_lab)
        expected = draws_of(target_lab, outlook.labs, outlook.covariances).mean(axis=1)
        row = int(np.argmin(expected))
        return near[row], outlook.without([k != row for k in range(len(near))]), float(expected[row])

    def _rows(self, target_lab: Floats) -> Indices:
        """Return the plates to learn from: all of few; else those near a target and a spread of the rest.

        Where limits bind, half of the near ones are within them, however far the nearest of those may be.
        """
        n = len(self.known.trials)
        if n <= MOST_LEARNED_FROM:
            return np.arange(n)
        within = self._allowed[:0]
        if self.usable is not self.known:
            within = self._allowed[self.usable.nearest(target_lab, NEAR_SHARE // 2)[0]]
        near, _ = self.known.nearest(target_lab, NEAR_SHARE - len(within))
        rest = np.random.default_rng(self.seed).choice(n, MOST_LEARNED_FROM - NEAR_SHARE, replace=False)
        return np.union1d(np.union1d(within, near), rest)

    def _suggestion(self, target: Reading, fit: _Fit, outlook: Outlook, row: int) -> Suggestion:
        lab = readable(outlook.labs[row])
        recipe = outlook.recipes[row]
        covariance = outlook.covariances[row]
        # a vague or scattering prediction stands lower in a list than a plate that was measured
        scattered = covariance + fit.model.plate_covariance(recipe)
        delta = float(delta_e_2000(target.lab, lab))
        nearest = learned_from(fit.model, recipe)
        grounds = grounds_of(recipe, nearest, fit.model, len(self.known.trials), outlook.considered)
        grounds += little_said(counting_little(fit.model, nearest)) + doubt_of(recipe, nearest, fit.at_odds)
        grounds += nothing_varied(fit.model.trials) + (MADE_BEFORE if recipe in fit.made else "")
        return Suggestion(
            recipe=recipe,
            basis="predicted",
            lab=lab,
            covariance=covariance,
            delta_e00=delta,
            delta_e00_interval=(0.0, delta),
            difference=difference_in_words(target.lab, lab),
            draws=draws_of(target.lab, lab[None], scattered[None])[0],
            grounds=grounds,
        )


class _Fit:
    """A fitted model with the recipes that its trials open, and those of chemicals that none of them has."""

    def __init__(self, model: ProcessModel, limits: Limits, seed: int, untried: AtHand = NOTHING_MORE) -> None:
        self.model, self._limits, self._seed, self._untried = model, limits, seed, untried
        self._outlooks: dict[tuple[bytes, float], Outlook] = {}
        self._trying: dict[AtHand, _Fit] = {}

    def trying(self, untried: AtHand) -> _Fit:
        """Return the same model with the recipes that chemicals open which no trial has; itself where there are none.

        The list and the reach speak of what the trials know; only the next plate tries what they don't.
        """
        if untried == self._untried:
            return self
        return self._trying.setdefault(untried, _Fit(self.model, self._limits, self._seed, untried))

    @cached_property
    def space(self) -> RecipeSpace:
        recipes = [trial.recipe for trial in self.model.trials]
        return space_from(recipes, self._limits, np.random.default_rng(self._seed), self._untried)

    def nearest_under(self, limits: Limits, target_lab: Floats) -> float:
        """Return the expected ΔE00 of the recipe nearest to a target (3,) under other limits."""
        other = _Fit(self.model, limits, self._seed)
        outlook = other.outlook(target_lab)
        row = int(np.argmin(expected_delta(self.model, outlook, target_lab)))
        return float(delta_e_2000(target_lab, outlook.labs[row]))

    @cached_property
    def at_odds(self) -> list[Contradiction]:
        """Recipes whose plates contradict each other."""
        return at_odds(self.model.trials)

    @cached_property
    def on_one_plate(self) -> frozenset[str]:
        """The chemicals, in their canonical form, that one plate alone has."""
        counted = Counter(canonical(name) for trial in self.model.trials for name in chemicals_of(trial.recipe))
        return frozenset(name for name, plates in counted.items() if plates == 1)

    @cached_property
    def made(self) -> Made:
        """The recipes made."""
        return Made(trial.recipe for trial in self.model.trials)

    def outlook(self, target_lab: Floats, doubt: float = 1.0) -> Outlook:
        """Return the outlook for a target (3,); the last few are kept, since list, next plate and reach share them."""
        key = (target_lab.tobytes(), doubt)
        if key not in self._outlooks:
            if len(self._outlooks) >= OUTLOOKS_KEPT:
                self._outlooks.pop(next(iter(self._outlooks)), None)
            self._outlooks[key] = look_ahead(self.model, self.space, self.columns, self.places, target_lab, doubt)
        return self._outlooks[key]

    @cached_property
    def places(self) -> Floats:
        return first_places(self.model, self.columns)

    @cached_property
    def columns(self) -> Columns:
        return self.space.columns(self.model.curve.categories)


def _nearest_first(found: list[Suggestion]) -> list[Suggestion]:
    return sorted(found, key=lambda item: float(item.draws.mean()))


def _much_alike(outlook: Outlook, row: int, other: int) -> bool:
    """Tell whether two recipes of one kind are no choice: as much laid at as much heat, or no difference to be seen."""
    ours, theirs = ((outlook.labs[k], outlook.recipes[k]) for k in (row, other))
    return _no_choice(*ours, *theirs)


def _much_as(item: Suggestion, other: Suggestion) -> bool:
    return _no_choice(item.lab, item.recipe, other.lab, other.recipe)


def _no_choice(lab: Floats, recipe: Recipe, other_lab: Floats, other: Recipe) -> bool:
    return float(delta_e_2000(lab, other_lab)) < TOO_NEAR or _as_much_laid(recipe, other)


def _as_much_laid(first: Recipe, second: Recipe) -> bool:
    """Tell whether two recipes of one kind differ by less than can be set: 0.05 of dose, of stock, of burnish, 3 °C."""
    first, second = as_compared(first), as_compared(second)
    if (first.alloy, first.surface, first.seal) != (second.alloy, second.surface, second.seal):
        return False
    one, other = first.undercoat, second.undercoat
    grounds = () if one is None or other is None else ((one.strength, other.strength), (one.burnish, other.burnish))
    if _any_over(0.05, *grounds):
        return False
    return all(
        a.application == b.application
        and abs(a.dose - b.dose) < 0.05 * max(a.dose, b.dose)
        and abs(a.surface_temp_c - b.surface_temp_c) < 3.0
        for a, b in zip(first.coats, second.coats, strict=True)
    )


def _any_over(limit: float, *pairs: tuple[float, float]) -> bool:
    return any(abs(a - b) >= limit - 1e-9 for a, b in pairs)
