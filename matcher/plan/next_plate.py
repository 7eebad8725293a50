"""Which plate to make next: the one most likely to match, or, while none is likely, to come nearer. After the model.

A plate within the job's tolerance ends the search, so the expected gain of a trial is how far inside the tolerance it
can be expected to land: expected improvement (Jones, Schonlau and Welch 1998, J. Glob. Optim. 13, 455-492) counted from
the tolerance. Counted from the best plate so far, weighed far lower, it leads while no recipe may land inside.
"""

from __future__ import annotations

from collections.abc import Callable, Container
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.plan.outlook import Outlook, outlook_on
from matcher.plan.steps import moved_coat, moved_undercoat
from matcher.process.model import ProcessModel
from matcher.recipe.names import canonical
from matcher.recipe.recipe import Coat, Recipe

IMPROVEMENT_WEIGHT = 1e-3
WORTH_A_NEW_STEP = 0.1
"""A step between those in use (a new dilution, another burnish) must add this much ΔE00 to be worth its trouble."""
FARTHEST = 25.0
READ_AGAIN = 0.3
"""The variance, summed over L*, a*, b*, with which one more plate is read: a guess for a good photograph."""
WORTH_A_CHANCE = 0.05
"""The chance of a match that makes even a recipe worth a plate that is expected far off."""
AT_BEST = 0.05
"""The share of draws that are nearer still than what a recipe may come to at best."""
DOUBT_PER_STALL, PATIENCE, MOST_DOUBT = 0.3, 2, 2.5


def expected_gain(draws: Floats, best: float, tolerance: float) -> Floats:
    """Return how much each trial is worth making (m,), from draws (m, k) of its ΔE00 and the best ΔE00 so far."""
    inside = np.mean(np.maximum(min(tolerance, best) - draws, 0.0), axis=1)
    nearer = np.mean(np.maximum(min(best, FARTHEST) - draws, 0.0), axis=1)
    return np.asarray(inside + IMPROVEMENT_WEIGHT * nearer)


def stalled_trials(deltas: Floats, tolerance: float) -> int:
    """Return how many of the last trials came near but no nearer; deltas: (n,) ΔE00 in the order made."""
    best = int(np.argmin(deltas))
    far = deltas[best + 1 :] > deltas[best] + 2 * tolerance
    # one far plate among them was a look elsewhere; two in a row were made for something else
    apart = np.flatnonzero(far[1:] & far[:-1])
    return len(far) - (int(apart[-1]) + 2 if len(apart) else 0)


def doubt_after(stalled: int) -> float:
    """Return the factor on the model's standard deviations: one whose proposals stall is surer than it should be."""
    return float(min(1.0 + DOUBT_PER_STALL * max(0, stalled - PATIENCE), MOST_DOUBT))


def kind_of(recipe: Recipe) -> tuple[str | None, ...]:
    """Return what makes two recipes of one kind: the canonical names of the undercoat and the coats."""
    under = None if recipe.undercoat is None else canonical(recipe.undercoat.chemical)
    return (under, *(canonical(coat.chemical) for coat in recipe.coats))


def _gain(model: ProcessModel, outlook: Outlook, best: float, tolerance: float, made: Container[Recipe]) -> Floats:
    """Return the expected gain of each recipe (m,), of one made already by what another plate of it would tell.

    Another plate of a recipe made takes off the share of its variance that the recipe's own has in that of one plate:
    next to nothing where plates hardly differ.
    """
    value = expected_gain(outlook.draws, best, tolerance)
    again = np.array([recipe in made for recipe in outlook.recipes])
    if again.any():
        own = np.trace(outlook.covariances[again], axis1=1, axis2=2)
        made_again = [recipe for recipe, known in zip(outlook.recipes, again, strict=True) if known]
        plates = np.trace(model.plate_covariances(made_again), axis1=1, axis2=2)
        value[again] *= own / (own + plates + READ_AGAIN)
    return value


def hopeful(outlook: Outlook, best: float, tolerance: float) -> NDArray[np.bool_]:
    """Return which recipes (m,) may be worth a plate: not far off for sure, by the best ΔE00 so far."""
    return np.asarray(
        (outlook.draws.mean(axis=1) <= best + 2 * tolerance)
        | (np.mean(outlook.draws <= tolerance, axis=1) >= WORTH_A_CHANCE)
    )


def may_match(outlook: Outlook, tolerance: float) -> bool:
    """Tell whether any of the recipes has a chance of a match that is worth a plate."""
    return bool(np.mean(outlook.draws <= tolerance, axis=1).max() >= WORTH_A_CHANCE)


def may_come_nearest(outlook: Outlook) -> int:
    """Return the row of the recipe that may come nearest at best: of what is little known the mean says little."""
    return int(np.argmin(np.quantile(outlook.draws, AT_BEST, axis=1)))


def next_plate(
    model: ProcessModel,
    outlook: Outlook,
    target_lab: Floats,
    best: float,
    tolerance: float,
    made: Container[Recipe],
    allow: Callable[[Recipe], bool],
    doubt: float = 1.0,
) -> tuple[Outlook, int]:
    """Return the outlook and row of the next plate, steps between those in use included where they clearly help."""
    value = _gain(model, outlook, best, tolerance, made)
    row = int(np.argmax(value))
    between = [recipe for recipe in steps_between(outlook.recipes[row]) if recipe not in made and allow(recipe)]
    if not between:
        return outlook, row
    finer = outlook_on(model, between, target_lab, doubt)
    finer_value = _gain(model, finer, best, tolerance, made)
    finer_row = int(np.argmax(finer_value))
    gain = finer_value[finer_row] - value[row]
    return (finer, finer_row) if gain > WORTH_A_NEW_STEP else (outlook, row)


def steps_between(recipe: Recipe) -> list[Recipe]:
    """Return recipes one bench step away: strength by 0.1 of stock, burnish by 0.1, 5 °C, one pass."""
    near: list[Recipe] = []
    if recipe.undercoat is not None:
        under = recipe.undercoat
        for step in (-0.1, 0.1):
            for moved in (
                moved_undercoat(under, strength=round(under.strength + step, 3)),
                moved_undercoat(under, burnish=round(under.burnish + step, 3)),
            ):
                if moved is not None:
                    near.append(replace(recipe, undercoat=moved))
    for place, coat in enumerate(recipe.coats):
        for stepped in _coat_steps(coat):
            stack = (*recipe.coats[:place], stepped, *recipe.coats[place + 1 :])
            near.append(replace(recipe, coats=stack))
    return near


def _coat_steps(coat: Coat) -> list[Coat]:
    moved = (
        moved_coat(
            coat,
            passes=coat.passes + passes,
            strength=round(coat.strength + strength, 3) if strength else coat.strength,
            temp_c=coat.surface_temp_c + temp,
        )
        for passes in (-1, 0, 1)
        for strength in (-0.1, 0.0, 0.1)
        for temp in (-5.0, 0.0, 5.0)
        if (passes, strength, temp) != (0, 0.0, 0.0)
    )
    return [stepped for stepped in moved if stepped is not None]
