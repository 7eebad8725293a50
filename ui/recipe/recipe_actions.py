"""The ways on from a recipe on the page, the same everywhere: make this plate, take it to the bench, its cautions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import streamlit as st

from ui.recipe.mix_link import mix_button
from ui.recipe.piece import take_to_bench
from ui.recipe.recipe_form import fields_of
from ui.recipe.record_forms import go_to_form, new_form
from ui.show.cautions import show_cautions
from ui.state.cache_keys import Key, log_key
from ui.state.open_studio import logged

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio

LABEL = "Make this plate"
ALL_OF_THEM = 99


def ways_on(
    studio: Studio,
    recipe: Recipe,
    key: str,
    name: str,
    target_id: int | None,
    label: str = LABEL,
    first: bool = False,
    begun: bool = False,
    listed: Mapping[str, Any] | None = None,
) -> Any:
    """Show what can be done with a recipe, and the cautions for it, folded; return the row, where more may be added.

    begun: some of its passes are done already, so that the bench can't begin with it. listed: what the list says of it,
    so that the bench can say why it says otherwise.
    """
    row = st.container(horizontal=True, vertical_alignment="center")
    with row:
        make_button(studio, recipe, key, name, target_id, label, first)
        if not begun:
            bench_button(studio, recipe, f"bench.{key}", name, target_id, listed)
            mix_button(studio, recipe, f"mix.{key}", name, target_id)
    with st.expander("Cautions for these chemicals"):
        show_cautions(recipe, first=ALL_OF_THEM)
    return row


def make_button(
    studio: Studio,
    recipe: Recipe,
    key: str,
    name: str,
    target_id: int | None,
    label: str = LABEL,
    first: bool = False,
    where: str = "from the suggestions",
) -> None:
    """Show the button. name and where: what the recipe comes from, as the form says it. first: the one to stand out."""
    if st.button(label, type="primary" if first else "secondary", key=key):
        _make(studio, recipe, {"target_id": target_id or 0, "from_plate": name, "from_where": where})


def bench_button(
    studio: Studio,
    recipe: Recipe,
    key: str,
    name: str,
    target_id: int | None,
    listed: Mapping[str, Any] | None = None,
) -> None:
    """Show the way to the bench, where a plate is followed pass by pass; nothing for one without passes."""
    if recipe.coats and st.button("Take it to the bench", type="tertiary", key=key):
        take_to_bench(studio, recipe, name, target_id, listed)


def made_as(studio: Studio, recipe: Recipe) -> int | None:
    """Return the number of the last plate that was logged with a recipe, whatever its bottles, or None."""
    from matcher.recipe.recipe import as_compared

    return _made(log_key(studio), studio).get(as_compared(recipe))


@st.cache_resource(show_spinner=False, max_entries=2)
def _made(key: Key, _studio: Studio) -> dict[Recipe, int | None]:
    from matcher.recipe.recipe import as_compared

    return {as_compared(trial.recipe): trial.id for trial in logged(_studio)}


def _make(studio: Studio, recipe: Recipe, beside: dict[str, Any]) -> None:
    """Fill a record form with this recipe, beside those that are half filled."""
    go_to_form(new_form(studio, {**fields_of(recipe), **beside}))
