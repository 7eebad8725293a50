"""Mottled finishes: how far two palettes lie apart, and which undercoat and coat together give darks and lights.

Beside the single-colour ranking. The distance is that of optimal transport (Monge and Kantorovich) with ΔE00 as the
cost of moving colour: 0 for the same colours in the same shares, and plain ΔE00 for two even finishes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.colour.verdict import side_of
from matcher.errors import SuggestionError
from matcher.plan.recipe_space import RecipeSpace
from matcher.process.model import ProcessModel
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Recipe, Undercoat
from matcher.suggest.suggestion import Suggestion
from matcher.words import capital, counted

QUARTER = 0.25
BURNISH_STEP = 0.05
HIGHEST_BARE_SHARE = 0.9
SCREENED = 3000
MOTTLED_FROM = 5.0
"""ΔE00 between a finish's lightest and darkest quarter from which they are two colours to the eye, not one with a
texture: what ``difference_in_words`` calls much. No source."""


def is_mottled(reading: Reading) -> bool:
    """Tell whether a finish may have lights and darks that differ by more than can be overlooked.

    So that what there is to say of both is not kept back where the photograph can't tell.
    """
    if reading.lights is None or reading.darks is None:
        return False
    interval = reading.quarters_interval
    if interval is not None:
        return side_of(interval, MOTTLED_FROM) != "under"
    return float(delta_e_2000(reading.lights, reading.darks)) >= MOTTLED_FROM


def mottled_in_words(reading: Reading) -> str:
    """Say how surely a finish's lights and darks differ clearly."""
    interval = reading.quarters_interval
    if interval is None:
        return "This target's lights and darks were read as clearly different, it was not kept how surely."
    low, high = interval
    between = f"ΔE00 {low:.1f} to {high:.1f} with 95 %"
    if side_of(interval, MOTTLED_FROM) == "over":
        return f"This target has lights and darks that differ clearly: {between}."
    return f"This target's lights and darks may differ clearly, which its photograph can't tell for certain: {between}."


def palette_of(reading: Reading) -> tuple[Floats, Floats]:
    """Return colours (k, 3) in CIELAB and shares (k,) that add to 1.

    The reading's palette; without one its darks, lights and middle; without those the one colour.
    """
    if reading.palette:
        labs = np.array([colour.lab for colour in reading.palette], dtype=float)
        shares = np.array([colour.share for colour in reading.palette], dtype=float)
        if shares.sum() > 0:
            return labs, shares / shares.sum()
    if reading.lights is None or reading.darks is None:
        return reading.lab[None].copy(), np.ones(1)
    return np.stack([reading.darks, reading.lab, reading.lights]), np.array([QUARTER, 1 - 2 * QUARTER, QUARTER])


def palette_distance(first: tuple[Floats, Floats], second: tuple[Floats, Floats]) -> float:
    """Return the least mean ΔE00 at which one palette's colour can be moved into another's."""
    from scipy.optimize import linprog

    (labs, shares), (other_labs, other_shares) = first, second
    cost = delta_e_2000(labs[:, None], other_labs[None])
    if len(labs) == 1 or len(other_labs) == 1:
        return float((shares[:, None] * other_shares[None] * cost).sum())
    n, m = cost.shape
    out = np.kron(np.eye(n), np.ones(m))
    into = np.kron(np.ones(n), np.eye(m))
    found = linprog(cost.ravel(), A_eq=np.vstack([out, into]), b_eq=np.concatenate([shares, other_shares]))
    return float(found.fun)


@dataclass(frozen=True, eq=False)
class PaletteMatch:
    """A suggestion with its palettes' distance to the target's, in ΔE00, beside its single-colour ΔE00."""

    suggestion: Suggestion
    distance: float


def rank_by_palette(target: Reading, logged: Sequence[Suggestion], count: int) -> list[PaletteMatch]:
    """Return ``count`` logged suggestions for a target by palette distance, nearest first.

    Raises SuggestionError when count is less than 1.
    """
    if count < 1:
        raise SuggestionError(f"Ask for at least 1 plate by its palette: {count!r} is not that.")
    wanted = palette_of(target)
    matches = [
        PaletteMatch(item, palette_distance(wanted, palette_of(item.trial.reading)))
        for item in logged
        if item.trial is not None
    ]
    order = sorted(range(len(matches)), key=lambda k: (matches[k].distance, k))
    ranks = {id(matches[k]): place for place, k in enumerate(order)}
    return [
        replace(match, suggestion=replace(match.suggestion, tied_with=()))
        for match in sorted(matches, key=lambda match: ranks[id(match)])[:count]
    ]


@dataclass(frozen=True, eq=False)
class MottledRecipe:
    """A recipe for darks and lights at once. darks, lights: (3,) CIELAB expected where the undercoat stays, and bare.

    bare_share: of the surface. distance: of the two-colour palette from the target's, in ΔE00.
    """

    recipe: Recipe
    darks: Floats
    lights: Floats
    bare_share: float
    distance: float
    because: str


def mottled_recipes(
    model: ProcessModel, space: RecipeSpace, target: Reading, bare_share: float = 0.5, count: int = 3
) -> list[MottledRecipe]:
    """Return recipes whose undercoat gives the target's darks while the same coat over bare metal gives its lights.

    bare_share: how much of the surface the lights take, 0 to 1. Raises SuggestionError when the target has no lights
    and darks, or no undercoat is in range.
    """
    wanted_lights, wanted_darks = target.lights, target.darks
    if wanted_lights is None or wanted_darks is None:
        raise SuggestionError("Mark the finish on a photograph: a typed colour has no lights and darks to match.")
    if not 0.0 < bare_share < 1.0:
        raise SuggestionError(f"Give the lights' share of the surface between 0 and 1: {bare_share!r} is not.")
    bases = _bases(space)
    if not bases or not space.stacks:
        raise SuggestionError("No undercoat is in range: log a plate with one, or widen the limits.")
    alloy, surface, seal = space.workpieces[0]
    bare = space.over(None).columns(model.curve.categories)
    lights = model.mean_lab(bare)
    light_miss = delta_e_2000(wanted_lights, lights)
    found: list[MottledRecipe] = []

    def missed(dark_labs: Floats, rows: NDArray[np.intp] | slice) -> Floats:
        dark_miss = delta_e_2000(wanted_darks, dark_labs)
        return np.asarray((1 - bare_share) * dark_miss + bare_share * light_miss[rows])

    for base in bases:
        laid = space.over(base).columns(model.curve.categories)
        rows = np.arange(len(laid))
        if len(rows) > SCREENED:  # a quick look tells which stacks may come near
            quickly = missed(model.quick_lab(laid), slice(None))
            rows = np.sort(np.argsort(quickly, kind="stable")[:SCREENED])
        near = model.mean_lab(laid.rows(rows))
        best = int(np.argmin(missed(near, rows)))
        k, dark = int(rows[best]), near[best]
        burnish = round(round(bare_share / HIGHEST_BARE_SHARE / BURNISH_STEP) * BURNISH_STEP, 2)
        under = Undercoat(base.chemical, base.strength, min(1.0, burnish))
        palette = (np.stack([dark, lights[k]]), np.array([1 - bare_share, bare_share]))
        wanted = (np.stack([wanted_darks, wanted_lights]), np.array([1 - bare_share, bare_share]))
        distance = palette_distance(wanted, palette)
        because = (
            f"{capital(base.chemical)} under the coat for the darks (ΔE00 "
            f"{delta_e_2000(wanted_darks, dark):.1f}), the same coat on burnished metal for the lights (ΔE00 "
            f"{light_miss[k]:.1f}), predicted from {counted(len(model.trials), 'plate')}."
        )
        recipe = Recipe(alloy, under, space.stacks[k], seal, surface)
        found.append(MottledRecipe(recipe, dark, lights[k], bare_share, distance, because))
    return sorted(found, key=lambda item: item.distance)[:count]


def _bases(space: RecipeSpace) -> list[Undercoat]:
    kept = (Undercoat(ground.chemical, ground.strength) for ground in space.grounds if ground is not None)
    return list(dict.fromkeys(kept))
