"""Ranks what the studio did before and what it could do next against a target; names the plate to make next.

The end of the flow: logged trials by measured ΔE00 (``nearest``), recipes between them by the process model, both
in one list with intervals, words and ties. The model is fitted when first needed, and kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from matcher.bench.passes import Course, course_of_last_coat
from matcher.bench.path import BenchPath, bench_path
from matcher.bench.seal import SealEffect
from matcher.colour.cielab import checked_lab
from matcher.colour.types import Floats
from matcher.colour.wording import difference_in_words
from matcher.errors import SuggestionError
from matcher.one_thread import one_thread
from matcher.plan.advice import WORTH_DOING, Adjustment, Advice, advise
from matcher.plan.inventory import NOTHING_MORE, AtHand
from matcher.plan.limits import Limits, way_out
from matcher.plan.next_plate import kind_of
from matcher.plan.prediction import with_errors
from matcher.plan.reach import Reach
from matcher.plan.session import MOST_IN_SESSION
from matcher.process.logged import LoggedTrial
from matcher.process.model import ProcessModel
from matcher.reading.comparison import delta_e_interval, draws_to_target, ties
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Recipe, as_compared, describe, not_noted
from matcher.suggest.cross_validation import CrossValidation, cross_validate
from matcher.suggest.outliers import Contradiction, contradictions, doubt_of
from matcher.suggest.palettes import MottledRecipe, PaletteMatch, mottled_recipes, rank_by_palette
from matcher.suggest.plates import AsRead, Plates
from matcher.suggest.predictor import Predictor
from matcher.suggest.suggestion import FEWEST_TO_PREDICT, Prediction, RecipePredictor, Suggestion
from matcher.suggest.wording import changed_since, lacking

DEFAULT_TOLERANCE = 2.0
MAX_COUNT = 1000
PALETTES_COMPARED = 200


class Suggester:
    """Suggestions from trials, in memory; no database needed.

    Parameters
    ----------
    trials
        Anything with a recipe and a reading, in the order logged; those set aside are passed over.
    limits
        What may be suggested; None for no limit. Predictions are learned from plates outside the limits too.
    tolerance
        ΔE00 (CIEDE2000, ISO/CIE 11664-6) within which a plate counts as a match.
    rng
        For the choice among very many possible recipes; None gives the same answer every time.
    at_hand
        Chemicals that the studio has: where the logged ones are not likely to do, the next plate may try one that no
        plate has.

    Raises
    ------
    SuggestionError
        When an argument is not what it should be.

    Examples
    --------
    >>> from matcher import Coat, Limits, Reading, Recipe, Suggester, Trial
    >>> def plate(passes, lab):
    ...     recipe = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, passes, 105.0),))
    ...     return Trial(recipe, Reading(lab), id=passes)
    >>> suggester = Suggester([plate(2, (58, 14, 24)), plate(4, (48, 16, 23)), plate(8, (36, 15, 18))])
    >>> best, *others = suggester.suggest((47.5, 16, 23))
    >>> best.trial.id, round(best.delta_e00, 2)
    (4, 0.49)
    >>> [item.trial.id for item in Suggester(suggester.trials, Limits(max_passes=2)).suggest((47.5, 16, 23))]
    [2]
    """

    def __init__(
        self,
        trials: Iterable[LoggedTrial],
        limits: Limits | None = None,
        tolerance: float = DEFAULT_TOLERANCE,
        rng: np.random.Generator | None = None,
        at_hand: AtHand = NOTHING_MORE,
    ) -> None:
        self.limits = _checked_limits(limits)
        self.tolerance = _checked_tolerance(tolerance)
        plates = Plates.of(_checked_trials(trials))
        self._predictor = Predictor(plates, self.limits, _seed_from(rng), at_hand=_checked_at_hand(at_hand))

    @property
    def trials(self) -> Sequence[LoggedTrial]:
        """The trials within the limits, in their order; predictions are learned from the others too."""
        return self._usable.trials

    @one_thread()
    def suggest(self, target: Reading | ArrayLike, count: int = 5, *, predict: bool = True) -> list[Suggestion]:
        """Return recipes for a target, best first: the nearest logged ones, with predicted ones among them.

        Parameters
        ----------
        target
            A Reading, or CIELAB (3,) under D50 that is taken as exact.
        count
            How many, 1 to 1000; fewer come when fewer are known.
        predict
            False for logged ones alone, which needs no model and so comes at once. From fewer than six plates nothing
            is predicted.

        Returns
        -------
        list of Suggestion
            Logged recipes keep the order of their measured ΔE00. Up to half of the list are recipes that no plate was
            made to, placed by the ΔE00 that a plate of them is expected to read at, so that a vague prediction does
            not stand before a measured plate.

        Raises
        ------
        SuggestionError
            When nothing is logged within the limits, or count is no whole number from 1 to 1000.
        ReadingError
            When the target is no colour.

        Examples
        --------
        >>> from matcher import Coat, Reading, Recipe, Suggester, Trial
        >>> recipe = Recipe("tin bronze", coats=(Coat("ferric nitrate", 0.5, 4, 105.0),))
        >>> one, = Suggester([Trial(recipe, Reading((48, 16, 23)), id=7)]).suggest((52, 16, 23))
        >>> one.basis, one.tied_with, one.difference
        ('logged', (), 'clearly darker than the target')
        """
        wanted = as_target(target)
        if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MAX_COUNT:
            raise SuggestionError(f"Ask for 1 to {MAX_COUNT} suggestions: {count!r} is not that.")
        self._need_a_trial()
        rows, delta = self._usable.nearest(wanted.lab, count)
        found = [self._logged(wanted, self.trials[row], float(d)) for row, d in zip(rows, delta, strict=True)]
        if predict and len(self.trials) >= FEWEST_TO_PREDICT:
            predicted = self._predictor.predicted(wanted, max(1, count // 2), self.tolerance)
            found = _merged(*_marked_again(found, predicted), count)
        return self._with_draws(wanted, found, self._predictor.at_odds(wanted.lab) if predict else [])

    @one_thread()
    def next_trial(self, target: Reading | ArrayLike) -> Suggestion:
        """Return the plate most worth making next for a target: the likeliest to match, else to come nearer.

        By expected improvement counted from the tolerance (Jones, Schonlau and Welch 1998, J. Glob. Optim. 13,
        455-492), over the recipes that the log and the limits open.

        Parameters
        ----------
        target
            A Reading, or CIELAB (3,) under D50 that is taken as exact.

        Returns
        -------
        Suggestion
            A predicted recipe, with its 95 % interval; one that was made already only when there is no other.

        Raises
        ------
        SuggestionError
            When nothing is logged within the limits.

        Examples
        --------
        >>> from matcher import Coat, Reading, Recipe, Suggester, Trial
        >>> recipe = Recipe("tin bronze", coats=(Coat("ferric nitrate", 0.5, 4, 105.0),))
        >>> plate = Suggester([Trial(recipe, Reading((48, 16, 23)))]).next_trial((40, 16, 21))
        >>> plate.basis, plate.recipe.alloy, plate.recipe != recipe
        ('predicted', 'tin bronze', True)
        """
        wanted = as_target(target)
        self._need_a_trial()
        following = replace(self._predictor.next_plate(wanted, self.tolerance), is_next=True)
        return self._with_draws(wanted, [following])[0]

    @one_thread()
    def best_plate(self, target: Reading | ArrayLike) -> Suggestion:
        """Return the plate whose recipe is expected to be nearest to a target in truth: not the luckiest reading.

        Its colour and covariance are those that its own and all other plates lead one to expect of the recipe, and its
        ΔE00 follows from them. Raises SuggestionError when nothing is logged within the limits.
        """
        wanted = as_target(target)
        self._need_a_trial()
        return self._with_draws(wanted, [self._predictor.best_plate(wanted)])[0]

    @one_thread()
    def predict(self, recipe: Recipe) -> Prediction:
        """Return what a recipe would give, before anyone makes it: within the limits or not, coats or none.

        Parameters
        ----------
        recipe
            Any recipe; what no plate has of it is named in the answer.

        Returns
        -------
        Prediction
            Its expected CIELAB (3,) with the covariance (3, 3) of its own colour, and that of one plate; the logged
            plates that it leans on, and what speaks against it. From a long log, as the model has it that is fitted
            near the colour expected.

        Raises
        ------
        SuggestionError
            When nothing is logged, or it is no recipe.

        Examples
        --------
        >>> from matcher import Coat, Reading, Recipe, Suggester, Trial
        >>> recipe = Recipe("tin bronze", coats=(Coat("ferric nitrate", 0.5, 4, 105.0),))
        >>> prediction = Suggester([Trial(recipe, Reading((48, 16, 23)), id=7)]).predict(recipe)
        >>> prediction.lab.shape, prediction.covariance.shape, prediction.few_plates
        ((3,), (3, 3), True)
        """
        return self.recipe_predictor(recipe).of(recipe)

    @one_thread()
    def recipe_predictor(self, recipe: Recipe) -> RecipePredictor:
        """Return what answers for ``recipe``, and for others as it is varied, from one fit.

        Raises SuggestionError when nothing is logged, or it is no recipe.
        """
        if not isinstance(recipe, Recipe):
            raise SuggestionError(f"Give a Recipe: {recipe!r} is none.")
        known = self._predictor.known
        if not known.trials:
            raise SuggestionError(self._why_none())
        fit = self._predictor.fit_for(recipe)
        return RecipePredictor(fit.model, known.trials, fit.at_odds, self._as_read(fit.model))

    @one_thread()
    def batch(self, target: Reading | ArrayLike, count: int) -> list[Suggestion]:
        """Return ``count`` (1 to 24) plates to make in one session, chosen together, the best alone first.

        Raises SuggestionError when nothing is logged within the limits or count is not such a number.
        """
        wanted = as_target(target)
        if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MOST_IN_SESSION:
            raise SuggestionError(f"Ask for 1 to {MOST_IN_SESSION} plates in a session: {count!r} is not that.")
        self._need_a_trial()
        return self._with_draws(wanted, self._predictor.session(wanted, count, self.tolerance))

    @one_thread()
    def reach(self, target: Reading | ArrayLike) -> Reach:
        """Return whether any recipe in range is likely to reach a target, and if not what the log points to."""
        self._need_a_trial()
        wanted = as_target(target)
        return self._predictor.reach(wanted, self.tolerance, self._as_read(self.model(wanted)))

    @one_thread()
    def advice(self, target: Reading | ArrayLike, trial: LoggedTrial) -> Advice:
        """Return what to do after ``trial`` (logged or not) to come nearer to a target."""
        wanted = as_target(target)
        known = self if any(_same(other, trial) for other in self._predictor.known.trials) else self.with_trial(trial)
        known._need_a_trial()
        advice = advise(known.model(wanted), trial, wanted, self.tolerance, self.limits)
        nearest = min(
            [advice.delta_e00, *(change.delta_e00 for change in (*advice.on_this_piece, *advice.on_the_next))]
        )
        if advice.standing in ("within", "likely") or nearest <= self.tolerance or not_noted(trial.recipe):
            return advice
        return _with_another_kind(advice, trial.recipe, known.next_trial(wanted), nearest)

    @one_thread()
    def bench_path(
        self,
        target: Reading | ArrayLike,
        recipe: Recipe,
        readings: Mapping[int, Reading] | None = None,
        seal: SealEffect | None = None,
        done: int | None = None,
    ) -> BenchPath:
        """Return where a piece stands that was laid as its recipe says up to its last coat; see ``piece_path``.

        readings: by passes of the last coat, unsealed; 0 is before it. done: passes laid, by default those of the last
        reading. Raises SuggestionError when the recipe has no coat, or a count is not one.
        """
        return self.piece_path(target, course_of_last_coat(recipe, readings, done), seal)

    @one_thread()
    def piece_path(
        self,
        target: Reading | ArrayLike,
        course: Course,
        seal: SealEffect | None = None,
        tolerance: float | None = None,
    ) -> BenchPath:
        """Return where a piece on the bench stands in the course of one of its coats; see ``matcher.bench.path``.

        tolerance: ΔE00 that counts as a match, None for the suggester's own.
        """
        wanted = as_target(target)
        as_read: Callable[[Floats, Floats], Reading] = self._as_read(self.model(wanted))
        if course.readings:  # they say what they share with the target, whatever the plates were read with
            last = course.readings[max(course.readings)]
            as_read = partial(with_errors, common=[term for term in last.budget if term.shared is not None])
        match = self.tolerance if tolerance is None else tolerance
        return bench_path(self.model(wanted), course, wanted, seal, as_read, match)

    @one_thread()
    def palettes(self, target: Reading, count: int = 5) -> list[PaletteMatch]:
        """Return logged recipes by palette, from those nearest as single colours."""
        self._need_a_trial()
        rows, delta = self._usable.nearest(target.lab, max(PALETTES_COMPARED, count))
        found = [self._logged(target, self.trials[row], float(d)) for row, d in zip(rows, delta, strict=True)]
        ranked = rank_by_palette(target, found, count)
        filled = self._with_draws(target, [match.suggestion for match in ranked])
        return [replace(match, suggestion=item) for match, item in zip(ranked, filled, strict=True)]

    @one_thread()
    def mottled(self, target: Reading, bare_share: float = 0.5, count: int = 3) -> list[MottledRecipe]:
        """Return recipes for a target's darks and lights together."""
        self._need_a_trial()
        fit = self._predictor.fit(target)
        return mottled_recipes(fit.model, fit.space, target, bare_share, count)

    @one_thread()
    def cross_validation(self, target: Reading | ArrayLike | None = None) -> CrossValidation:
        """Return how far the predictions can be trusted (near a target, when the log is long)."""
        self._need_a_trial()
        latest = self.trials[-1].reading.lab
        fit = self._predictor.fit_at(latest) if target is None else self._predictor.fit(as_target(target))
        return cross_validate(
            fit.model, fit.space, np.random.default_rng(self._predictor.seed), len(self._predictor.known.trials)
        )

    @one_thread()
    def contradictions(self) -> list[Contradiction]:
        """Return trials that disagree with everything near them."""
        self._need_a_trial()
        return contradictions(self._predictor.fit_at(self.trials[-1].reading.lab).model)

    @one_thread()
    def model(self, target: Reading | ArrayLike) -> ProcessModel:
        """Return the process model as fitted for a target. Raises SuggestionError when nothing is logged."""
        self._need_a_trial()
        return self._predictor.fit(as_target(target)).model

    def with_trial(self, trial: LoggedTrial) -> Suggester:
        """Return a suggester that also knows a trial; this one stays as it is.

        Parameters
        ----------
        trial
            Anything with a recipe and a reading. One that is set aside changes nothing.

        Returns
        -------
        Suggester
            With the same limits and tolerance. Its first fit starts from the last one here, and so comes sooner.

        Raises
        ------
        SuggestionError
            When the trial lacks its recipe or its reading.

        Examples
        --------
        >>> from matcher import Coat, Reading, Recipe, Suggester, Trial
        >>> recipe = Recipe("tin bronze", coats=(Coat("ferric nitrate", 0.5, 4, 105.0),))
        >>> before = Suggester([Trial(recipe, Reading((48, 16, 23)))])
        >>> after = before.with_trial(Trial(recipe, Reading((47, 16, 23))))
        >>> len(before.trials), len(after.trials)
        (1, 2)
        """
        if not _checked_trials([trial]):
            return self
        grown = object.__new__(type(self))
        grown.limits, grown.tolerance = self.limits, self.tolerance
        grown._predictor = self._predictor.grown(trial)
        return grown

    @property
    def _usable(self) -> Plates:
        return self._predictor.usable

    def _with_draws(
        self, target: Reading, found: list[Suggestion], at_odds: Sequence[Contradiction] = ()
    ) -> list[Suggestion]:
        """Fill in what needs the whole list: intervals and ties, from draws in which all meet the same target."""
        plates = [self._plate_reading(target, item) for item in found]
        draws = draws_to_target(target, plates, [_is_expected(item) for item in found])
        tied = ties(draws)
        filled = []
        for item, plate, own, others in zip(found, plates, draws, tied, strict=True):
            interval = delta_e_interval(target, plate, own)
            filled.append(
                replace(
                    item,
                    covariance=plate.covariance,
                    delta_e00_interval=interval,
                    difference=difference_in_words(target.lab, plate.lab, interval=interval),
                    draws=own,
                    tied_with=others,
                    caveat=""
                    if item.basis != "logged"
                    else lacking(item.recipe) + doubt_of(item.recipe, (), at_odds) + changed_since(item.trial),
                )
            )
        return filled

    def _plate_reading(self, target: Reading, item: Suggestion) -> Reading:
        """Return the reading that a suggestion stands on: the plate's, or that which a predicted colour would give."""
        if item.trial is not None and not _is_expected(item):
            return item.trial.reading
        return self._as_read(self.model(target))(item.lab, item.covariance)

    def _as_read(self, model: ProcessModel) -> AsRead:
        return AsRead(self._predictor.known, model.usual, model.together)

    def _need_a_trial(self) -> None:
        if not self.trials:
            raise SuggestionError(self._why_none())

    def _why_none(self) -> str:
        known = self._predictor.known.trials
        if not known:
            return "No plate is logged yet: log a plate first."
        return way_out(self.limits, [trial.recipe for trial in known])

    def _logged(self, target: Reading, trial: LoggedTrial, delta: float) -> Suggestion:
        return Suggestion(
            recipe=trial.recipe,
            basis="logged",
            lab=trial.reading.lab,
            covariance=trial.reading.covariance,
            delta_e00=delta,
            delta_e00_interval=(0.0, delta),
            difference=difference_in_words(target.lab, trial.reading.lab),
            draws=np.zeros(0),
            trial=trial,
        )


def _is_expected(item: Suggestion) -> bool:
    """Tell whether a suggestion's colour is what the process expects of its recipe, and not what a plate was read as.

    That of the best plate is expected too, though a plate of it was read.
    """
    return item.trial is None or item.lab is not item.trial.reading.lab


def as_target(target: Reading | ArrayLike) -> Reading:
    """Return the target as a Reading; CIELAB alone is taken as exact. Raises ReadingError."""
    if isinstance(target, Reading):
        return target
    return Reading(lab=checked_lab(target), covariance=np.zeros((3, 3)), source="typed")


def _with_another_kind(advice: Advice, recipe: Recipe, following: Suggestion, nearest: float) -> Advice:
    """Return advice that names the next plate too, where it is of another kind and expected nearer than any change."""
    if kind_of(following.recipe) == kind_of(recipe) or following.delta_e00 > nearest - WORTH_DOING:
        return advice
    low, high = following.delta_e00_interval
    what = f"another kind of recipe: {describe(following.recipe)}"
    change = Adjustment(
        what, following.recipe, 0, following.lab, following.delta_e00, following.delta_e00_interval, same_piece=False
    )
    said = (
        f"{advice.sentence} Another kind of recipe is expected nearer, at ΔE00 {following.delta_e00:.1f} ({low:.1f} to "
        f"{high:.1f})."
    )
    return replace(advice, on_the_next=(*advice.on_the_next, change), sentence=said)


def _same(one: LoggedTrial, other: LoggedTrial) -> bool:
    """Tell whether two are one trial, perhaps read from the log twice."""
    return one is other or (one.id is not None and one.id == other.id)


def _marked_again(logged: list[Suggestion], predicted: list[Suggestion]) -> tuple[list[Suggestion], list[Suggestion]]:
    """Mark the logged plate whose recipe is the one most worth making next, again; it is not listed twice."""
    following = next((item for item in predicted if item.is_next), None)
    same = [following is not None and as_compared(item.recipe) == as_compared(following.recipe) for item in logged]
    if not any(same):
        return logged, predicted
    first = same.index(True)
    marked = [replace(item, is_next=True) if place == first else item for place, item in enumerate(logged)]
    return marked, [item for item in predicted if not item.is_next]


def _merged(logged: list[Suggestion], predicted: list[Suggestion], count: int) -> list[Suggestion]:
    """Return ``count`` of both, the next plate among them wherever there is room for two.

    Put predicted recipes between logged ones by the ΔE00 that a plate is expected to read at, the logged in order.

    What is not known of the target itself holds for all alike, and is left out of both.
    """
    merged: list[Suggestion] = []
    waiting = list(predicted)
    for item in logged:
        while waiting and float(waiting[0].draws.mean()) < item.delta_e00:
            merged.append(waiting.pop(0))
        merged.append(item)
    merged += waiting
    following = [item for item in merged[count:] if item.is_next]
    return merged[:count] if count < 2 else [*merged[: count - len(following)], *following]


def _checked_tolerance(tolerance: float) -> float:
    number = isinstance(tolerance, int | float | np.number) and not isinstance(tolerance, bool)
    if not number or not np.isfinite(tolerance) or tolerance <= 0:
        raise SuggestionError(f"Give the tolerance as a ΔE00 above 0: {tolerance!r} is not one.")
    return float(tolerance)


def _checked_limits(limits: Limits | None) -> Limits:
    if limits is not None and not isinstance(limits, Limits):
        raise SuggestionError(f"Give the limits as Limits, or None for none: {limits!r} is neither.")
    return limits if limits is not None else Limits()


def _checked_at_hand(at_hand: AtHand) -> AtHand:
    if not isinstance(at_hand, AtHand):
        raise SuggestionError(f"Give what is at hand as AtHand: {at_hand!r} is not.")
    return at_hand


def _checked_trials(trials: Iterable[LoggedTrial]) -> list[LoggedTrial]:
    """Return the trials that are not set aside."""
    try:
        found = list(trials)
    except TypeError:
        raise SuggestionError(f"Give the trials as a list of logged trials: {trials!r} is not one.") from None
    for trial in found:
        if not (
            isinstance(getattr(trial, "recipe", None), Recipe) and isinstance(getattr(trial, "reading", None), Reading)
        ):
            raise SuggestionError(f"Give each trial with its recipe and its reading: {trial!r} lacks one of them.")
    return [trial for trial in found if trial.set_aside is None]


def _seed_from(rng: np.random.Generator | None) -> int:
    if rng is not None and not isinstance(rng, np.random.Generator):
        raise SuggestionError(f"Give rng as a numpy.random.Generator, or None: {rng!r} is neither.")
    return 0 if rng is None else int(rng.integers(2**63))
