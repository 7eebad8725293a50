"""Where the piece on the bench stands: the colour after every pass as predicted, corrected by each reading so far.

At the bench. A reading is the recipe's own colour plus this piece's departure, which the later passes keep; so every
reading corrects what is expected of the passes to come.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matcher.difference import delta_e_2000
from matcher.errors import SuggestionError
from matcher.finish import Reading
from matcher.recipe import MAX_PASSES, Coat, Recipe
from matcher.suggest.outlook import draws_of
from matcher.suggest.process_model import ProcessModel
from matcher.suggest.seal_shift import SealShift

Floats = NDArray[np.float64]

LOOK_BEYOND = 6
OVERSHOOT = 0.5
"""One more pass is warned of when it is expected to add this much ΔE00."""


@dataclass(frozen=True, eq=False)
class BenchPath:
    """passes: (k,) counts, 0 to some beyond the recipe's. labs: (k, 3), unsealed, corrected. covariances: (k, 3, 3).

    delta_e00: (k,) to the target as it must read before sealing. expected: (k,) the mean of its draws. done: passes
    laid so far. stop_at: the count after which to stop.
    """

    passes: NDArray[np.intp]
    labs: Floats
    covariances: Floats
    delta_e00: Floats
    expected: Floats
    interval: Floats
    done: int
    stop_at: int
    sentence: str

    @property
    def remaining(self) -> int:
        """Return how many passes remain."""
        return max(0, self.stop_at - self.done)


def bench_path(
    model: ProcessModel,
    recipe: Recipe,
    target: Reading,
    readings: Mapping[int, Reading] | None = None,
    seal: SealShift | None = None,
    done: int | None = None,
) -> BenchPath:
    """Return the path of the last coat of ``recipe``, corrected by readings taken after so many passes.

    readings: by count of passes, unsealed; 0 is before the coat. seal: what sealing will do, when the target is a
    sealed finish. done: passes laid so far, by default the count of the last reading. Raises SuggestionError when
    the recipe has no coat, or a count is not one.
    """
    if not recipe.coats:
        raise SuggestionError("Choose a recipe with a coat: bare metal or an undercoat alone has no passes to follow.")
    taken = dict(readings or {})
    for count in taken:
        if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= MAX_PASSES:
            raise SuggestionError(
                f"Give each reading its count of passes from 0 to {MAX_PASSES}: {count!r} is not one."
            )
    laid = max(taken, default=0) if done is None else done
    last = min(MAX_PASSES, max(recipe.coats[-1].passes, laid) + LOOK_BEYOND)
    passes = np.arange(last + 1)
    labs, covariance = model.predict_together(model.columns([_after(recipe, int(count)) for count in passes]))
    labs, covariance = _corrected(labs, covariance, model.plate_covariance, taken)
    goal = target if seal is None else seal.before_sealing(target)
    each = covariance.reshape(last + 1, 3, last + 1, 3)[passes, :, passes, :]
    draws = draws_of(goal.lab, labs, each + goal.covariance)
    expected = draws.mean(axis=1)
    stop_at = laid + int(np.argmin(expected[laid:]))
    delta = delta_e_2000(goal.lab, labs)
    interval = np.quantile(draws, [0.025, 0.975], axis=1).T
    sentence = _sentence(laid, stop_at, expected, interval, labs, goal.lab)
    return BenchPath(passes, labs, each, delta, expected, interval, laid, stop_at, sentence)


def _after(recipe: Recipe, passes: int) -> Recipe:
    """Return the recipe as it stands, unsealed, after so many passes of its last coat."""
    coat, rest = recipe.coats[-1], recipe.coats[:-1]
    if passes:
        rest = (*rest, Coat(coat.chemical, coat.strength, passes, coat.surface_temp_c, coat.application))
    return Recipe(recipe.alloy, recipe.undercoat, rest, None, recipe.surface)


def _corrected(labs: Floats, covariance: Floats, plate: Floats, taken: Mapping[int, Reading]) -> tuple[Floats, Floats]:
    """Condition the path (k, 3), (3k, 3k) on readings; the piece's departure is shared by all passes."""
    k = len(labs)
    whole = covariance + np.tile(plate, (k, k))
    counts = [count for count in sorted(taken) if count < k]
    if not counts:
        return labs, whole
    at = np.concatenate([np.arange(3 * count, 3 * count + 3) for count in counts])
    noise = np.zeros((len(at), len(at)))
    for place, count in enumerate(counts):
        noise[3 * place : 3 * place + 3, 3 * place : 3 * place + 3] = taken[count].covariance
    seen = whole[np.ix_(at, at)] + noise + 1e-9 * np.eye(len(at))
    gain = np.linalg.solve(seen, whole[at]).T
    miss = np.concatenate([taken[count].lab for count in counts]) - labs.ravel()[at]
    return (labs.ravel() + gain @ miss).reshape(k, 3), whole - gain @ whole[at]


def _sentence(done: int, stop_at: int, expected: Floats, interval: Floats, labs: Floats, goal: Floats) -> str:
    here = f"After {done} pass{'' if done == 1 else 'es'} the piece is expected at ΔE00 {expected[done]:.1f}"
    low, high = interval[stop_at]
    if stop_at > done:
        left = stop_at - done
        said = (
            f"{here}; {left} more pass{'' if left == 1 else 'es'} should bring it to {expected[stop_at]:.1f} "
            f"({low:.1f} to {high:.1f}): then stop."
        )
        if left == 1 and stop_at + 1 < len(expected) and expected[stop_at + 1] > expected[stop_at] + OVERSHOOT:
            said += f" The pass after that would overshoot, to {expected[stop_at + 1]:.1f}."
        return said
    said = f"{here} ({low:.1f} to {high:.1f}): stop now."
    if done + 1 < len(expected):
        said += f" One more pass would take it to {expected[done + 1]:.1f}."
    if labs[done, 0] < goal[0] - 1.0:
        said += " It is past the target: passes cannot be taken off, so burnish back or start again."
    return said
