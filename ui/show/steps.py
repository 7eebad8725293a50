"""A recipe in the trade's words, one step to a line."""

from __future__ import annotations

from collections.abc import Sequence

from matcher.recipe.recipe import Recipe, steps_in_words
from matcher.words import capital
from ui.escaped import escaped


def recipe_steps(recipe: Recipe) -> str:
    """Return a recipe as an HTML list, in the order of the bench."""
    steps = "".join(f"<li>{step_line([step])}</li>" for step in steps_in_words(recipe))
    return f'<ul class="pm-steps">{steps}</ul>'


def step_line(steps: Sequence[str]) -> str:
    """Return steps on one line as HTML, no line broken between a temperature and its unit."""
    said = "; ".join(steps)
    return escaped(capital(said)).replace(" °C", "\u00a0°C")
