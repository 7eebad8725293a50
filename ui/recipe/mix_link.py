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


def mix_button(
    studio: Studio, recipe: Recipe, key: str, source: str, target_id: int | None = None, at_bench: bool = False
) -> None:
    """Show the way to the solutions for a recipe; nothing for one of bare metal.

    source: where the recipe is from, in words. at_bench: whether it is that of a piece on the bench.
    """
    if (recipe.coats or recipe.undercoat) and st.button(LABEL, type="tertiary", key=key):
        mix_for(studio, recipe, source, target_id, at_bench)
        st.switch_page(SOLUTIONS.file, query_params={"part": MIX})


def mix_for(studio: Studio, recipe: Recipe, source: str, target_id: int | None = None, at_bench: bool = False) -> None:
    """Choose the recipe that is mixed for; area and what is to spare stay as they were."""
    draft = Draft(studio, FORM)
    kept = {name: draft.get(name) for name in ("area", "spare") if draft.get(name) is not None}
    chosen = {"recipe": recipe.as_dict(), "source": source, "target_id": target_id or 0, "at_bench": at_bench}
    draft.fill({**kept, **chosen})
