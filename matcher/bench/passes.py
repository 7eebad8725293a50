"""What a recipe is after so many passes of its last coat: to be predicted and logged. At the bench."""

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
