"""Where the piece on the bench stands: the colour after every pass as predicted, corrected by each reading so far.

At the bench. A reading shows this piece's departure from the recipe (``piece_path``), which the later passes keep; so
every reading corrects what is expected of the passes to come.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matcher.bench.passes import after_passes
from matcher.bench.piece import PredictedPath, corrected
from matcher.bench.seal import SealShift
from matcher.colour.difference import delta_e_2000, delta_e_draws, reach_delta_e00
from matcher.colour.types import Floats
from matcher.colour.uncertainty import square_root, sum_of
from matcher.errors import SuggestionError
from matcher.plan.outlook import draws_of
from matcher.plan.prediction import expected_interval, with_errors
from matcher.process.model import ProcessModel
from matcher.reading.comparison import difference_covariance
from matcher.reading.reading import Reading
from matcher.recipe.names import is_ferric
from matcher.recipe.recipe import MAX_PASSES, Recipe
from matcher.words import counted, percent

LOOK_BEYOND = 6
OVERSHOOT = 0.5
"""One more pass is warned of when it is expected to add this much ΔE00."""
CLEARLY_DARKER = 1.0
RISK_DRAWS = 1024
WIDE_APART = 3.0
"""ΔE00 from which it is worth saying that target and reading were not taken alike."""
READ_FIRST = 0.25
"""When the next pass may take the piece away from the target with at least this chance, it is to be read first."""


@dataclass(frozen=True, eq=False)
class BenchPath:
    """passes: (k,) counts, 0 to some beyond the recipe's. labs: (k, 3), unsealed, corrected. covariances: (k, 3, 3).

    goal: the target as it must read before sealing. expected: (k,) ΔE00 of the expected colour to the goal, as in a
    list of suggestions; draws: (k, n) of it, with this piece's own scatter; interval: (k, 2) 95 %. done: passes laid so
    far. stop_at: the count after which to stop. risk: the chance, 0 to 1, that one more pass takes the piece away from
    the goal. unlike: its readings lie farther from what was expected than those of plates do. apart: ΔE00 (95 %) by
    which a photographed target may be off in a way that the last reading, no photograph, does not share.
    readings_delta_e00: ΔE00 of each reading to the goal, by its count.
    """

    passes: NDArray[np.intp]
    labs: Floats
    covariances: Floats
    expected: Floats
    interval: Floats
    done: int
    stop_at: int
    sentence: str
    goal: Reading
    risk: float
    draws: Floats
    unlike: bool
    apart: float = 0.0
    readings_delta_e00: Mapping[int, float] = field(default_factory=dict)

    @property
    def remaining(self) -> int:
        """Return how many passes remain."""
        return max(0, self.stop_at - self.done)

    @property
    def past(self) -> bool:
        """Tell whether the piece is darker than the goal and no pass can help it."""
        return not self.remaining and bool(self.labs[self.done, 0] < self.goal.lab[0] - CLEARLY_DARKER)

    @property
    def instruction(self) -> str:
        """Say what to do next in a few words, to be read from where the torch is held."""
        if self.past:
            return "Stop: past the target" if self.done else "Too dark to begin"
        if not self.remaining:
            return "Stop here"
        more = "One more pass" if self.remaining == 1 else counted(self.remaining, "more pass")
        return f"{more}, then stop"

    @property
    def warning(self) -> str | None:
        """Say what a further pass may spoil, before it is laid; None while nothing speaks against it."""
        if self.past:
            if not self.done:
                return "It is darker than the target before the first pass: burnish back, or take another recipe."
            return "It is past the target: passes cannot be taken off, so burnish back or start again."
        after = self.stop_at + 1
        there = self.expected[after] if after < len(self.passes) else np.nan
        if not self.remaining:
            return f"Lay no more: one more pass is expected to take it to ΔE00 {there:.1f}." if there > 0 else None
        if self.risk >= READ_FIRST:
            return (
                f"Read the piece before the next pass: the chance that it already takes the piece away from the "
                f"target is {percent(self.risk)}."
            )
        if self.remaining == 1 and there > self.expected[self.stop_at] + OVERSHOOT:
            return f"The pass after that would overshoot, to ΔE00 {there:.1f}."
        return None

    @property
    def caveat(self) -> str | None:
        """Say that the readings are not those of such a piece, or not taken as the target was; None otherwise."""
        if self.unlike:
            return (
                "This piece lies farther from what was expected than plates do: check the last reading and the recipe."
            )
        if self.apart > WIDE_APART:
            return (
                f"The target's photograph may be off by ΔE00 {self.apart:.0f}, and against an instrument's reading "
                "that does not cancel: photograph the piece with the same camera in the same light."
            )
        return None

    def chance_within(self, tolerance: float, passes: int | None = None) -> float:
        """Return the chance, 0 to 1, to be within a ΔE00 after so many passes, by default where to stop."""
        return float(np.mean(self.draws[self.stop_at if passes is None else passes] <= tolerance))

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        rows = zip(self.passes, self.labs, self.expected, self.interval, strict=True)
        return {
            "instruction": self.instruction,
            "sentence": self.sentence,
            "warning": self.warning,
            "caveat": self.caveat,
            "done": self.done,
            "stop_at": self.stop_at,
            "remaining": self.remaining,
            "past_the_target": self.past,
            "risk_of_next_pass": self.risk,
            "goal": self.goal.as_dict(),
            "path": [
                {
                    "passes": int(count),
                    "lab": lab.tolist(),
                    "delta_e00": float(delta),
                    "delta_e00_interval": interval.tolist(),
                }
                for count, lab, delta, interval in rows
            ],
            "readings": [
                {"passes": count, "delta_e00": delta} for count, delta in sorted(self.readings_delta_e00.items())
            ],
        }


def bench_path(
    model: ProcessModel,
    recipe: Recipe,
    target: Reading,
    readings: Mapping[int, Reading] | None = None,
    seal: SealShift | None = None,
    done: int | None = None,
    as_read: Callable[[Floats, Floats], Reading] = with_errors,
) -> BenchPath:
    """Return the path of the last coat of ``recipe``, corrected by readings taken after so many passes.

    readings: by count of passes, unsealed; 0 is before the coat. seal: what sealing will do, when the target is a
    sealed finish. done: passes laid so far, by default the count of the last reading. as_read: turns an expected colour
    and its covariance into a reading, with what it shares of the target's errors. Raises SuggestionError when
    the recipe has no coat, or a count is not one.
    """
    if not recipe.coats:
        raise SuggestionError("Choose a recipe with a coat: bare metal or an undercoat alone has no passes to follow.")
    readings = dict(readings or {})
    laid = _passes_laid(readings, done)
    last = min(MAX_PASSES, max(recipe.coats[-1].passes, laid) + LOOK_BEYOND)
    passes = np.arange(last + 1)
    ferric = is_ferric(recipe.coats[-1].chemical)
    predicted = PredictedPath(
        *model.predict_together(model.columns([after_passes(recipe, int(count)) for count in passes]))
    )
    labs, covariance, unlike = corrected(predicted, model.plate_covariance, readings, laid if ferric else None)
    goal = target if seal is None else seal.before_sealing(target)
    each = covariance.reshape(last + 1, 3, last + 1, 3)[passes, :, passes, :]
    plates = [as_read(lab, own) for lab, own in zip(labs, each, strict=True)]
    doubts = np.array([difference_covariance(goal, plate) for plate in plates])
    draws = delta_e_draws(goal.lab, labs, doubts)
    # as in a list of suggestions: what is not known of the target itself holds for every count of passes alike
    stop_at = _where_to_stop(draws_of(goal.lab, labs, each).mean(axis=1), labs, doubts, goal, laid, ferric)
    expected = delta_e_2000(goal.lab, labs)
    intervals = [
        expected_interval(goal, plate, float(d), own) for plate, d, own in zip(plates, expected, draws, strict=True)
    ]
    interval = np.array(intervals)
    sentence = _sentence(laid, stop_at, expected, interval)
    risk = _risk_of_next(labs, covariance, laid, goal.lab, doubts[laid] - each[laid])
    read = {count: float(delta_e_2000(goal.lab, reading.lab)) for count, reading in readings.items()}
    apart = _not_shared(target, readings[max(readings)]) if readings else 0.0
    return BenchPath(
        passes, labs, each, expected, interval, laid, stop_at, sentence, goal, risk, draws, unlike, apart, read
    )


def _not_shared(target: Reading, reading: Reading) -> float:
    """Return the ΔE00 (95 %) of what a photographed target shares with other photographs, but not with this reading."""
    if target.photo is None or reading.photo is not None:
        return 0.0
    lost = [term for term in target.budget if term.shared is not None]
    return float(reach_delta_e00(target.lab, sum_of(lost))) if lost else 0.0


def _passes_laid(readings: Mapping[int, Reading], done: int | None) -> int:
    """Return the passes laid so far. Raises SuggestionError when a count is none, or a reading comes after them."""
    for count in (*readings, *(() if done is None else (done,))):
        if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= MAX_PASSES:
            raise SuggestionError(f"Give each count of passes from 0 to {MAX_PASSES}: {count!r} is not one.")
    last = max(readings, default=0)
    if done is not None and last > done:
        raise SuggestionError(f"Check the passes: there is a reading after {last}, and only {done} are laid.")
    return last if done is None else done


def _risk_of_next(labs: Floats, covariance: Floats, done: int, goal_lab: Floats, doubt: Floats) -> float:
    """Return the chance that one more pass takes the piece away; what is unsure of the piece and goal stays.

    doubt: (3, 3) of the goal, less what it shares with the piece.
    """
    if done + 1 >= len(labs):
        return 0.0
    joint = covariance[3 * done : 3 * done + 6, 3 * done : 3 * done + 6]
    joint = joint + np.tile(doubt, (2, 2))
    noise = np.random.default_rng(20003).standard_normal((RISK_DRAWS, 6)) @ square_root(joint).T
    drawn = labs[done : done + 2] + noise.reshape(RISK_DRAWS, 2, 3)
    now, then = delta_e_2000(goal_lab, drawn).T
    return float(np.mean(then > now))


def _where_to_stop(expected: Floats, labs: Floats, doubts: Floats, goal: Reading, done: int, ferric: bool) -> int:
    """Return the count after which to stop: the nearest to come, or now when the piece is surely too dark to match.

    More passes never lighten a ferric coat (common practice, no source): what they still mend of the hue does not make
    up for the lightness unless it halves the difference.
    """
    nearest = done + int(np.argmin(expected[done:]))
    doubt = 2 * np.sqrt(doubts[done, 0, 0])
    darker = goal.lab[0] - labs[done, 0]
    if ferric and darker > max(CLEARLY_DARKER, doubt) and expected[nearest] > expected[done] / 2:
        return done
    return nearest


def _sentence(done: int, stop_at: int, expected: Floats, interval: Floats) -> str:
    when = f"After {counted(done, 'pass')}" if done else "Before the first pass"
    here = f"{when} the piece is expected at ΔE00 {expected[done]:.1f}"
    low, high = interval[stop_at]
    between = f"({low:.1f} to {high:.1f}, with this piece's own scatter)"
    if stop_at == done:
        return f"{here} {between}: stop now."
    more = counted(stop_at - done, "more pass")
    return f"{here}; {more} should bring it to {expected[stop_at]:.1f} {between}: then stop."
