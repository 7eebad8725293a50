"""The ways on from a recipe on the page, the same everywhere: make it at the bench, record it, its cautions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Literal

import streamlit as st

from ui.recipe.mix_link import mix_button, predict_button
from ui.recipe.piece import take_to_bench
from ui.recipe.recipe_form import new_plate_of
from ui.recipe.record_forms import FORMS, new_form
from ui.show.cautions import show_cautions
from ui.state.cache_keys import Key, log_key

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio

LABEL = "Make this plate"
RECORD_LABEL = "Record it as made"
SUGGESTED = "from the suggestions"
ALL_OF_THEM = 99


def ways_on(
    studio: Studio,
    recipe: Recipe,
    key: str,
    name: str,
    target_id: int | None,
    begun: bool = False,
    listed: Mapping[str, Any] | None = None,
) -> None:
    """Show what can be done with a recipe, and the cautions for it, folded.

    begun: some of its passes are done already, so that the bench can't begin with it. listed: what the list says of it,
    so that the bench can say why it says otherwise.
    """
    with st.container(horizontal=True, vertical_alignment="center"):
        if begun:
            make_button(studio, recipe, key, name, target_id, "Continue with this piece")
        else:
            go_on_buttons(studio, recipe, key, name, target_id, listed=listed)
    show_recipe_cautions(recipe)


def go_on_buttons(
    studio: Studio,
    recipe: Recipe,
    key: str,
    name: str,
    target_id: int | None,
    first: bool = False,
    listed: Mapping[str, Any] | None = None,
    to_prediction: bool = True,
) -> None:
    """Show the way to the bench, where a plate is followed pass by pass, to the record form, and to what to mix.

    A recipe without passes has nothing to be followed: it goes to the record form alone. first: the one to stand out.
    to_prediction: whether to lead to what it would give, too.
    """
    kind: Literal["primary", "secondary"] = "primary" if first else "secondary"
    if recipe.coats and st.button(LABEL, type=kind, key=key):
        take_to_bench(studio, recipe, name, target_id, listed)
    record = f"record.{key}" if recipe.coats else key
    if st.button(RECORD_LABEL, type="tertiary" if recipe.coats else kind, key=record):
        _record(studio, recipe, {"target_id": target_id or 0, "from_plate": name, "from_where": SUGGESTED})
    mix_button(studio, recipe, f"mix.{key}", name, target_id)
    if to_prediction:
        predict_button(studio, recipe, f"predict.{key}", name, target_id)


def show_recipe_cautions(recipe: Recipe) -> None:
    """Show all the cautions for a recipe, folded."""
    with st.expander("Cautions for these chemicals", type="compact"):
        show_cautions(recipe, first=ALL_OF_THEM)


def make_button(
    studio: Studio,
    recipe: Recipe,
    key: str,
    name: str,
    target_id: int | None,
    label: str = RECORD_LABEL,
    where: str = SUGGESTED,
) -> None:
    """Show a button that opens a record form with the recipe. name and where: what it comes from, as the form says."""
    if st.button(label, key=key):
        _record(studio, recipe, {"target_id": target_id or 0, "from_plate": name, "from_where": where})


def made_as(studio: Studio, recipe: Recipe) -> int | None:
    """Return the number of the last plate that was logged with a recipe, whatever its bottles, or None."""
    return _made((*log_key(studio), repr(recipe)), studio, recipe)


@st.cache_data(show_spinner=False, max_entries=200)
def _made(key: Key, _studio: Studio, _recipe: Recipe) -> int | None:
    return _studio.made_as(_recipe)


def _record(studio: Studio, recipe: Recipe, beside: dict[str, Any]) -> None:
    """Fill a record form with this recipe, beside those that are half filled."""
    FORMS.go_to(new_form(studio, {**new_plate_of(recipe), **beside}))
