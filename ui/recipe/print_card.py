"""Recipes on paper, from wherever the page shows one: for the bench wall, as PDF; and what paper all sheets go on."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import streamlit as st

from ui.show.literal import literal
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio
    from matcher.trials.trial import Trial

PRINT = "Print the recipe"
PAPER = ("A4", "Letter")


def say_what_prints_not(studio: Studio, *things: object) -> None:
    """Say which signs of what stands on a sheet it can't print, before it is printed."""
    from matcher.sheets.paper import lacking, lacking_in_words

    if said := lacking_in_words(lacking(studio.title, *things)):
        tell(said, "warning")


def paper_choice(key: str) -> str:
    """Ask which paper a sheet is printed on."""
    chosen = st.segmented_control("Paper", PAPER, format_func=literal, default=PAPER[0], required=True, key=key)
    return str(chosen or PAPER[0])


def print_plate(studio: Studio, trial: Trial) -> None:
    """Offer the recipe card of a logged plate: its finish beside the target, every step, the cautions."""
    number = trial.id or 0
    say_what_prints_not(studio, trial.piece, trial.made_by, trial.notes, trial.recipe)
    _button(lambda: _plate(studio, number), f"plate-{number}.pdf", f"print.plate.{number}")


def print_recipe(studio: Studio, recipe: Recipe, title: str, target_id: int | None, key: str) -> None:
    """Offer the card of a recipe that may not have been made yet. title: what stands at its head."""
    say_what_prints_not(studio, title, recipe)
    _button(lambda: _recipe(studio, recipe, title, target_id), "recipe.pdf", key)


def _button(made: Callable[[], bytes], name: str, key: str) -> None:
    st.download_button(PRINT, made, name, "application/pdf", key=key, on_click="ignore", type="tertiary")


def _plate(studio: Studio, number: int) -> bytes:
    from matcher.printed import plate_card

    return plate_card(studio, number)


def _recipe(studio: Studio, recipe: Recipe, title: str, target_id: int | None) -> bytes:
    from matcher.printed import recipe_for_the_wall

    return recipe_for_the_wall(studio, title, recipe, None if target_id is None else studio.target(target_id))
