"""A recipe in the trade's words, one step to a line."""

from __future__ import annotations

import html

from matcher.recipe.recipe import Recipe, describe


def recipe_steps(recipe: Recipe) -> str:
    """Return a recipe as an HTML list, in the order of the bench."""
    words = describe(recipe).replace(" °C", "\u00a0°C")
    steps = "".join(f"<li>{html.escape(step[:1].upper() + step[1:])}</li>" for step in words.split("; "))
    return f'<ul class="pm-steps">{steps}</ul>'
