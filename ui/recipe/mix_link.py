"""The ways from a recipe to what is mixed for it and to what it would give, wherever one stands on the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import MatcherError
from ui.recipe.recipe_form import fields_of
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.open_studio import logged
from ui.state.places import PREDICT, SOLUTIONS

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio

FORM = "mixing"
PREDICTED = "predicted"
"""The form of the recipe that is varied to see what it would give."""
KEPT = ("kept",)
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


def recipe_in(draft: Draft) -> Recipe | None:
    """Return the recipe that is mixed for, None where none was chosen."""
    from matcher.recipe.recipe import Recipe

    try:
        return Recipe.from_dict(draft.get("recipe"))
    except (MatcherError, AttributeError, TypeError):
        return None


def predict_button(studio: Studio, recipe: Recipe, key: str, source: str, target_id: int | None = None) -> None:
    """Show the way to what a recipe would give, and would as it is varied. source: where it is from, in words."""
    if st.button(literal(PREDICT.title), type="tertiary", key=key):
        begin_predicting(studio, recipe, source, target_id)
        st.switch_page(PREDICT.file)


def begin_predicting(studio: Studio, recipe: Recipe, source: str, target_id: int | None, chosen: bool = True) -> None:
    """Choose the recipe that is varied, what was not noted as most plates have it; one kept to compare with stays.

    chosen: by a person; one that is only offered is not kept.
    """
    from matcher.process.unknowns import Usual
    from matcher.recipe.recipe import not_noted_in_words

    whole = Usual.of(logged(studio)).filled([recipe])[0]
    draft = Draft(studio, PREDICTED)
    kept = {name: draft.get(name) for name in KEPT if draft.get(name) is not None}
    about = {"source": source, "assumed": not_noted_in_words(recipe), "base": whole.as_dict()}
    values = {**fields_of(whole), **about, **kept, "target_id": target_id or 0}
    draft.fill(values) if chosen else draft.start(values)
