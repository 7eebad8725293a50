"""What the suggester answers for one target: worked out once, kept until the log, the target or the limits change.

The page runs anew at every touch; a long log would make each of them slow.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import streamlit as st

from ui.state.cache_keys import Key, answers_key

if TYPE_CHECKING:
    from matcher.plan.advice import Advice
    from matcher.plan.limits import Limits
    from matcher.plan.reach import Reach
    from matcher.process.logged import LoggedTrial
    from matcher.studio import Studio
    from matcher.suggest.outliers import Contradiction
    from matcher.suggest.palettes import MottledRecipe, PaletteMatch
    from matcher.suggest.suggester import Suggester
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target

Answer = TypeVar("Answer")


class Answers:
    """One suggester's answers for one target; what was asked before is there at once."""

    def __init__(self, suggester: Suggester, target: Target) -> None:
        self.suggester = suggester
        self.reading = target.reading
        self._known: dict[tuple[Any, ...], Any] = {}

    def at_once(self, count: int) -> bool:
        """Tell whether the whole list, and how far the target is within reach, are there without a wait."""
        return ("ranked", count) in self._known and ("reach",) in self._known

    def measured(self, count: int) -> list[Suggestion]:
        """Return the plates alone: they need no model."""
        return self._once(("measured", count), lambda: self.suggester.suggest(self.reading, count, predict=False))

    def ranked(self, count: int) -> list[Suggestion]:
        return self._once(("ranked", count), lambda: self.suggester.suggest(self.reading, count))

    def next_trial(self) -> Suggestion:
        return self._once(("next",), lambda: self.suggester.next_trial(self.reading))

    def best_plate(self) -> Suggestion:
        return self._once(("best",), lambda: self.suggester.best_plate(self.reading))

    def reach(self) -> Reach:
        return self._once(("reach",), lambda: self.suggester.reach(self.reading))

    def advice(self, trial: LoggedTrial) -> Advice:
        return self._once(("advice", trial.id), lambda: self.suggester.advice(self.reading, trial))

    def palettes(self, count: int) -> list[PaletteMatch]:
        return self._once(("palettes", count), lambda: self.suggester.palettes(self.reading, count))

    def mottled(self, bare_share: float) -> list[MottledRecipe]:
        return self._once(("mottled", bare_share), lambda: self.suggester.mottled(self.reading, bare_share))

    def contradictions(self) -> list[Contradiction]:
        return self._once(("contradictions",), self.suggester.contradictions)

    def batch(self, count: int) -> list[Suggestion]:
        return self._once(("batch", count), lambda: self.suggester.batch(self.reading, count))

    def _once(self, question: tuple[Any, ...], work: Callable[[], Answer]) -> Answer:
        if question not in self._known:
            self._known[question] = work()
        answer: Answer = self._known[question]
        return answer


def answers_for(studio: Studio, target: Target, limits: Limits) -> Answers:
    """Return the answers for a target within the limits, at the target's own tolerance."""
    return _answers(answers_key(studio, target, limits), studio, target, limits)


@st.cache_resource(show_spinner=False, max_entries=8)
def _answers(key: Key, _studio: Studio, _target: Target, _limits: Limits) -> Answers:
    return Answers(_studio.suggester(_target.reading, limits=_limits, tolerance=_target.tolerance), _target)
