"""The way from a recipe to what is mixed for it, wherever a recipe stands on the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from ui.state.drafts import Draft
from ui.state.places import SOLUTIONS

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio

FORM = "mixing"
LABEL = "What to mix"
MIX = "mix"


def mix_button(studio: Studio, recipe: Recipe, key: str, source: str, target_id: int | None = None) -> None:
    """Show the way to the solutions for a recipe; nothing for one of bare metal. source: where the recipe is from."""
    if (recipe.coats or recipe.undercoat) and st.button(LABEL, type="tertiary", key=key):
        go_to_mix(studio, recipe, source, target_id)


def go_to_mix(studio: Studio, recipe: Recipe, source: str, target_id: int | None = None) -> None:
    """Show what to mix for a recipe; area and what is to spare stay as they were."""
    draft = Draft(studio, FORM)
    kept = {name: draft.get(name) for name in ("area", "spare") if draft.get(name) is not None}
    draft.fill({**kept, "recipe": recipe.as_dict(), "source": source, "target_id": target_id or 0})
    st.switch_page(SOLUTIONS.file, query_params={"part": MIX})
