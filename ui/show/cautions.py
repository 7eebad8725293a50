"""What can hurt someone, shown wherever a recipe is about to be made."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.recipe.recipe import Recipe
from ui.escaped import escaped

if TYPE_CHECKING:
    from matcher.recipe.cautions import Caution


FIRST = 3


def show_cautions(recipe: Recipe, first: int = FIRST) -> None:
    """Show the usual cautions for a recipe: the gravest in the open, the others folded below them."""
    from matcher.recipe.cautions import cautions_for

    show_these(cautions_for(recipe), first)


def show_cautions_for_all(recipes: Sequence[Recipe], first: int) -> None:
    """Show the cautions for a day on which several recipes are made."""
    from matcher.recipe.cautions import cautions_for_all

    show_these(cautions_for_all(recipes), first)


def show_these(cautions: Sequence[Caution], first: int) -> None:
    """Show some cautions: the first in the open, the others folded below them."""
    st.html(_listed(cautions[:first]))
    if len(cautions) > first:
        with st.expander(f"{len(cautions) - first:d} more cautions"):
            st.html(_listed(cautions[first:]))


def _listed(cautions: Sequence[Caution]) -> str:
    items = "".join(f'<li title="{escaped(caution.source)}">{escaped(caution.message)}</li>' for caution in cautions)
    return f'<ul class="pm-warnings" aria-label="Cautions">{items}</ul>'
