"""What a recipe is after so many passes of its last coat: to be predicted, logged, named as a stage. At the bench."""

from __future__ import annotations

from dataclasses import replace

from matcher.recipe.recipe import Coat, Recipe


def after_passes(recipe: Recipe, passes: int) -> Recipe:
    """Return the recipe as it stands, unsealed, after so many passes of its last coat."""
    coat, rest = recipe.coats[-1], recipe.coats[:-1]
    if passes:
        rest = (*rest, Coat(coat.chemical, coat.strength, passes, coat.surface_temp_c, coat.application))
    return Recipe(recipe.alloy, recipe.undercoat, rest, None, recipe.surface)


def as_laid(recipe: Recipe, passes: int) -> Recipe:
    """Return the recipe with the passes of its last coat that were really laid; with none, without that coat."""
    laid = after_passes(recipe, passes)
    if passes:
        laid = replace(laid, coats=(*laid.coats[:-1], replace(laid.coats[-1], stock=recipe.coats[-1].stock)))
    return replace(laid, seal=recipe.seal)


def stage_after(recipe: Recipe, passes: int) -> str:
    """Return the name of the stage that a reading belongs to, taken after so many passes of the last coat."""
    if passes:
        return f"pass {passes}"
    if len(recipe.coats) > 1:
        return f"coat {len(recipe.coats) - 1}"
    return "bare" if recipe.undercoat is None else "undercoat"
