"""What the trade holds for certain, as pairs of recipes of which the second is never lighter. For the process model.

More passes or more heat never lighten a ferric coat, and a darker undercoat (stronger, or burnished back less) never
lightens the result: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from matcher.recipe.names import canonical, is_ferric
from matcher.recipe.recipe import SURFACE_TEMP_RANGE_C, Coat, Recipe, Undercoat, as_compared

MOST_PATHS = 40
PASSES = (1, 2, 4, 7, 12)
BURNISHES = (1.0, 0.75, 0.5, 0.25, 0.0)
STRENGTHS = (0.125, 0.25, 0.5, 1.0)
HEAT_STEP_C = 10.0


def never_lighter(recipes: Iterable[Recipe]) -> dict[tuple[Recipe, Recipe], int]:
    """Return pairs (first, second) along paths through the recipes: the second is not lighter than the first.

    Each with the number of its family: the paths of one fact over one ground and chemicals, which hold together or not
    at all.
    """
    pairs: dict[tuple[Recipe, Recipe], int] = {}
    family = 0
    unalike = _unalike(recipes)
    for recipe in unalike[:: -(-len(unalike) // MOST_PATHS) or 1]:  # of many, some of every kind
        for paths in (*_coat_paths(recipe), _undercoat_paths(recipe)):
            for path in paths:
                for pair in pairwise(path):
                    pairs.setdefault(pair, family)
            family += 1
    return pairs


def _unalike(recipes: Iterable[Recipe]) -> list[Recipe]:
    """Return one recipe of each ground and chemicals, whatever their order: its paths serve for all of them."""
    kept: dict[tuple[object, ...], Recipe] = {}
    for recipe in sorted(recipes, key=repr):
        coats = tuple(canonical(coat.chemical) for coat in recipe.coats)
        kept.setdefault((canonical(recipe.alloy), as_compared(recipe).undercoat, coats), recipe)
    return list(kept.values())


def _coat_paths(recipe: Recipe) -> list[list[list[Recipe]]]:
    """Return the paths of more passes, and those of more heat."""
    if not recipe.coats or not is_ferric(recipe.coats[-1].chemical):
        return []
    coat, rest = recipe.coats[-1], recipe.coats[:-1]

    def moved(passes: int, temp_c: float) -> Recipe:
        last = Coat(coat.chemical, coat.strength, passes, temp_c, coat.application)
        return Recipe(recipe.alloy, recipe.undercoat, (*rest, last), recipe.seal, recipe.surface)

    return [
        [[moved(passes, temp) for passes in PASSES] for temp in _warmer(coat.surface_temp_c, 1)],
        [[moved(passes, temp) for temp in _warmer(coat.surface_temp_c, 2)] for passes in PASSES],
    ]


def _warmer(middle: float, steps: int) -> list[float]:
    """Return temperatures of so many steps either side of a coat's, coolest first, as far as a recipe can have them."""
    coldest, hottest = SURFACE_TEMP_RANGE_C
    asked = (middle + k * HEAT_STEP_C for k in range(-steps, steps + 1))
    return sorted({min(max(temp, coldest), hottest) for temp in asked})


def _undercoat_paths(recipe: Recipe) -> list[list[Recipe]]:
    under = recipe.undercoat
    if under is None:
        return []

    def over(grounds: Sequence[Undercoat | None]) -> list[Recipe]:
        return [Recipe(recipe.alloy, ground, recipe.coats, recipe.seal, recipe.surface) for ground in grounds]

    return [
        over([None, *(Undercoat(under.chemical, strength, under.burnish) for strength in STRENGTHS)]),
        over([Undercoat(under.chemical, under.strength, burnish) for burnish in BURNISHES]),
    ]
