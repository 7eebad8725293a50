"""Logged plates with the index that finds the nearest of them. Between the log and what is suggested from it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from matcher.process.logged import LoggedTrial
from matcher.recipe.recipe import Recipe
from matcher.suggest.growing import Trials
from matcher.suggest.nearest import PlateIndex


@dataclass(frozen=True, eq=False)
class Plates:
    """Trials in their order, and an index of their colours whose rows are theirs."""

    trials: Trials
    index: PlateIndex

    @classmethod
    def of(cls, trials: Sequence[LoggedTrial]) -> Plates:
        return cls(Trials(list(trials)), PlateIndex.build([trial.reading.lab for trial in trials]))

    def where(self, allowed: Callable[[Recipe], bool]) -> Plates:
        """Return those whose recipe is allowed: these themselves when all are."""
        kept = [trial for trial in self.trials if allowed(trial.recipe)]
        return self if len(kept) == len(self.trials) else Plates.of(kept)

    def grown(self, trial: LoggedTrial) -> Plates:
        """Return these and one more; nothing of these is copied."""
        return Plates(self.trials.followed_by(trial), self.index.with_plates([trial.reading.lab]))
