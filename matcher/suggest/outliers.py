"""Trials that disagree with everything near them: pointed out with what may explain them, never dropped.

After the process model, in which they count the less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.colour.uncertainty import squared_distance
from matcher.colour.wording import difference_in_words
from matcher.dates import in_utc, shown
from matcher.process.logged import LoggedTrial, is_checked
from matcher.process.model import ProcessModel
from matcher.process.residual import PRIOR_LOG_PLATE_SD
from matcher.reading.comparison import difference_covariance
from matcher.recipe.recipe import Recipe, as_compared, not_noted
from matcher.suggest.slips import Slip, slip_in_words, slip_of
from matcher.words import listed

if TYPE_CHECKING:
    from matcher.trials.trial import Checked

SURPRISING_CHI2 = 16.27
"""99.9 % point of chi-square with 3 degrees of freedom: by chance one plate in a thousand."""
FEWEST_TRIALS = 6
FAR_APART = 5.0
"""Plates of one recipe nearer than this in ΔE00 are not called contradictory, however well they were read."""
MEND_IT = "correct what was typed wrong, make it again, set it aside with the reason, or say that it is right."
SAME_COLOUR = 0.5
COUNTS_LITTLE = 0.5
"""The share of its weight below which a plate is said to count little."""
NEAR = 0.6
"""Prior correlation above which another plate counts as near: with none so near there is nothing to contradict."""


@dataclass(frozen=True, eq=False)
class Contradiction:
    """A trial whose colour the others do not lead one to expect.

    expected: (3,) CIELAB. surprise: chi-square, 3. against: the plate to compare it with. same_recipe: that plate is of
    the same recipe, else the one most like it. counts: how much of its weight the plate keeps in predictions, 0 to 1.
    slip: what would explain it, None where the log can't tell. checked: when somebody checked it and said that it is
    right, and who, None where nobody did.
    """

    trial: LoggedTrial
    expected: Floats
    delta_e00: float
    surprise: float
    against: LoggedTrial
    same_recipe: bool
    counts: float = 1.0
    slip: Slip | None = None

    @property
    def checked(self) -> Checked | None:
        return getattr(self.trial, "checked", None)

    @property
    def sentence(self) -> str:
        """Say what is odd about it and what to do."""
        if self.checked is not None:
            return f"{self._odd}: {_checked_in_words(self.checked)}."
        little = " Until then it counts little in predictions." if self.counts < COUNTS_LITTLE else ""
        if self.same_recipe:
            usual = f"far more than plates of one recipe usually do{slip_in_words(self.slip)}"
            return f"{self._odd}, {usual}: check both recipes and readings; {MEND_IT}{little}"
        compare = "" if self.against.id is None else f" against those of plate {self.against.id}, the one most like it"
        return f"{self._odd}{slip_in_words(self.slip)}: check its recipe and reading{compare}; {MEND_IT}{little}"

    @property
    def _odd(self) -> str:
        """What is odd about it, without what to do."""
        this = "A plate" if self.trial.id is None else f"Plate {self.trial.id}"
        if self.same_recipe:
            other = "another plate" if self.against.id is None else f"plate {self.against.id}"
            return f"{this} differs by ΔE00 {self.delta_e00:.1f} from {other} of the same recipe"
        than = "than the plates near it lead one to expect"
        words = difference_in_words(self.expected, self.trial.reading.lab, than=than)
        return f"{this} is {words} (ΔE00 {self.delta_e00:.1f})"

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "trial": self.trial.id,
            "expected_lab": self.expected.tolist(),
            "delta_e00": self.delta_e00,
            "counts": self.counts,
            "slip": None if self.slip is None else self.slip.as_dict(),
            "checked": None
            if self.checked is None
            else {"at": in_utc(self.checked.at).isoformat(), "who": self.checked.who},
            "sentence": self.sentence,
        }


def _checked_in_words(checked: Checked) -> str:
    by = f" by {checked.who}" if checked.who else ""
    return f"it was checked{by} on {shown(checked.at)} and is right, so it counts in full"


def contradictions(model: ProcessModel) -> list[Contradiction]:
    """Return the trials that disagree with others of their own recipe, then those that do with what lies near them.

    Each the most surprising first; last those that somebody has checked, so that it can be taken back.
    """
    apart = at_odds(model.trials)
    named = {id(found.trial) for found in apart}
    found = [*apart, *(found for found in _unlike_their_neighbours(model) if id(found.trial) not in named)]
    rows = {id(trial): row for row, trial in enumerate(model.trials)}
    told = [_explained(model, rows[id(one.trial)], one) for one in found]
    return sorted(told, key=lambda one: one.checked is not None)


def _explained(model: ProcessModel, row: int, found: Contradiction) -> Contradiction:
    counts = 1.0 - float(model.mistaken[row])
    if found.checked is not None:
        return replace(found, counts=counts)
    return replace(found, counts=counts, slip=slip_of(model, row) if counts < COUNTS_LITTLE else None)


def counting_little(model: ProcessModel, trials: Sequence[LoggedTrial]) -> list[LoggedTrial]:
    """Return those of some trials that count little in the model's predictions."""
    doubted = {id(one) for one, chance in zip(model.trials, model.mistaken, strict=True) if 1 - chance < COUNTS_LITTLE}
    return [trial for trial in trials if id(trial) in doubted]


def at_odds(trials: Sequence[LoggedTrial]) -> list[Contradiction]:
    """Return for each recipe whose plates differ by far more than plates usually do the one that lies farthest out.

    How plates usually scatter is not taken from these: plates that contradict each other would excuse themselves.
    """
    alike: dict[Recipe, list[LoggedTrial]] = {}
    for trial in trials:
        if not_noted(trial.recipe):  # two such plates need not be of one recipe
            continue
        alike.setdefault(as_compared(trial.recipe), []).append(trial)
    found = [_farthest_out(plates) for plates in alike.values() if len(plates) > 1]
    return sorted((one for one in found if one is not None), key=lambda one: -one.surprise)


def _farthest_out(plates: Sequence[LoggedTrial]) -> Contradiction | None:
    """Return the plate of one recipe that lies farthest from the plate in their midst; None when none lies far."""
    labs = np.array([trial.reading.lab for trial in plates])
    midst = int(np.argmin(delta_e_2000(labs[:, None], labs[None]).sum(axis=1)))
    deltas = delta_e_2000(labs[midst], labs)
    row = int(np.argmax(deltas))
    step, delta = labs[row] - labs[midst], float(deltas[row])
    usual = 2 * np.diag(np.exp(2 * PRIOR_LOG_PLATE_SD))
    covariance = usual + difference_covariance(plates[row].reading, plates[midst].reading)
    surprise = float(squared_distance(step, covariance))
    if surprise <= SURPRISING_CHI2 or delta < FAR_APART:
        return None
    return Contradiction(plates[row], labs[midst], delta, surprise, plates[midst], True)


def contradiction_behind(
    recipe: Recipe, learned: Sequence[LoggedTrial], found: Sequence[Contradiction]
) -> Contradiction | None:
    """Return the first contradiction among the plates of ``recipe``, or those that it was predicted from; or None."""
    leaned_on = {as_compared(recipe), *(as_compared(trial.recipe) for trial in learned)}
    return next((one for one in found if as_compared(one.trial.recipe) in leaned_on), None)


def doubt_of(recipe: Recipe, learned: Sequence[LoggedTrial], found: Sequence[Contradiction]) -> str:
    """Say that the plates of ``recipe``, or those that it was predicted from, contradict each other; "" when not so."""
    one = contradiction_behind(recipe, learned, found)
    if one is None:
        return ""
    same = "" if as_compared(one.trial.recipe) == as_compared(recipe) else " that this leans on"
    return f" Plates of one recipe{same} differ by ΔE00 {one.delta_e00:.1f}: check them before you trust this."


def little_said(plates: Sequence[LoggedTrial]) -> str:
    """Say which plates near a recipe count little in its prediction; "" when none does."""
    numbers = [str(trial.id) for trial in plates if trial.id is not None]
    if not numbers:
        return ""
    this, counts = ("Plate", "counts") if len(numbers) == 1 else ("Plates", "count")
    return f" {this} {listed(numbers)} {counts} little: far off what the others lead one to expect."


def nothing_varied(trials: Sequence[LoggedTrial]) -> str:
    """Say that all plates are of one recipe, or were read as one colour: what changes the colour is not known yet."""
    if len(trials) < 2:
        return ""
    if len({as_compared(trial.recipe) for trial in trials}) == 1:
        return " All plates logged are of one recipe: what changes the colour can't be learned from them yet."
    labs = np.array([trial.reading.lab for trial in trials])
    if delta_e_2000(labs[0], labs).max() < SAME_COLOUR:
        return " All plates logged were read as one colour: what changes it can't be learned from them yet."
    return ""


def _unlike_their_neighbours(model: ProcessModel) -> list[Contradiction]:
    if len(model.trials) < FEWEST_TRIALS:
        return []
    residuals, covariances = model.leave_one_out
    surprise = squared_distance(residuals, covariances) / model.inflation**2
    near = model.prior_correlation(model.columns([trial.recipe for trial in model.trials]))
    np.fill_diagonal(near, 0.0)
    found = []
    for row in np.argsort(-surprise, kind="stable"):
        told_anyway = 1 - model.mistaken[row] < COUNTS_LITTLE or is_checked(model.trials[row])
        if not told_anyway and (surprise[row] <= SURPRISING_CHI2 or near[row].max() < NEAR):
            continue
        trial = model.trials[row]
        expected = trial.reading.lab - residuals[row]
        delta = float(delta_e_2000(expected, trial.reading.lab))
        most_like = model.trials[int(np.argmax(near[row]))]
        found.append(Contradiction(trial, expected, delta, float(surprise[row]), most_like, False))
    return found
