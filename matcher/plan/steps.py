"""A coat or an undercoat moved by a step, where a recipe can have it so. Beneath all that tries recipes near others.

The steps that planner, advice and reach try may lead beyond what a recipe can have (201 passes, 405 °C); there is no
such coat, and none is offered.
"""

from __future__ import annotations

from matcher.recipe.recipe import MAX_PASSES, SURFACE_TEMP_RANGE_C, Coat, Undercoat


def moved_coat(
    coat: Coat, *, passes: int | None = None, strength: float | None = None, temp_c: float | None = None
) -> Coat | None:
    """Return the coat with what is given changed, no stock named; None where no recipe can have it."""
    passes = coat.passes if passes is None else passes
    strength = coat.strength if strength is None else strength
    temp_c = coat.surface_temp_c if temp_c is None else temp_c
    coldest, hottest = SURFACE_TEMP_RANGE_C
    if not (1 <= passes <= MAX_PASSES and 0.0 < strength <= 1.0 and coldest <= temp_c <= hottest):
        return None
    return Coat(coat.chemical, strength, passes, temp_c, coat.application)


def moved_undercoat(
    under: Undercoat, *, strength: float | None = None, burnish: float | None = None
) -> Undercoat | None:
    """Return the undercoat with what is given changed, no stock named; None where no recipe can have it."""
    strength = under.strength if strength is None else strength
    burnish = under.burnish if burnish is None else burnish
    if not (0.0 < strength <= 1.0 and 0.0 <= burnish <= 1.0):
        return None
    return Undercoat(under.chemical, strength, burnish)
