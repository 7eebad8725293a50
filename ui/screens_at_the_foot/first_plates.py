"""First plates: for a studio that has logged nothing, or wants to cover what it owns, the plates to begin with."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import MatcherError
from matcher.recipe.recipe import steps_in_words
from matcher.words import agreeing, counted
from ui.recipe.piece import OF_THE_FIRST, take_run_to_bench
from ui.recipe.print_card import say_what_prints_not
from ui.recipe.recipe_actions import made_as, make_button
from ui.show import look
from ui.show.cautions import show_cautions_for_all
from ui.show.literal import literal
from ui.show.steps import step_line
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.open_studio import alloy_for, the_studio
from ui.suggestions.first_plates_form import FirstChoice, ask_what_is_owned
from ui.suggestions.todays_limits import means

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio

CAUTIONS_OPEN = 3
A_RUN = 4  # plates that lie on the bench together


def show() -> None:
    studio = the_studio()
    look.title(
        "First plates",
        "Say what you own: these plates cover it, so that the tool can predict what lies between them.",
    )
    form, cautions = st.columns([1.7, 1], gap="medium")
    with form, look.panel("owned"):
        wanted = alloy_for(studio, st.session_state.get("target"))
        choice = ask_what_is_owned(Draft(studio, "first plates"), means(studio), wanted)
    try:
        with st.spinner("Choosing the plates…"):
            recipes = _chosen(choice.checked())
    except MatcherError as error:
        tell(str(error))
        return
    with cautions, look.panel("cautions"):
        st.html("<strong>Cautions for these plates</strong>")
        show_cautions_for_all(recipes, first=CAUTIONS_OPEN)
    _table(studio, recipes)


@st.cache_resource(show_spinner=False, max_entries=16)
def _chosen(choice: FirstChoice) -> list[Recipe]:
    return choice.plates()


def _table(studio: Studio, recipes: list[Recipe]) -> None:
    made = [made_as(studio, recipe) for recipe in recipes]
    done = sum(plate is not None for plate in made)
    plates = counted(len(recipes), "plate")
    st.header(f"{literal(plates)} on {literal(recipes[0].alloy)}, in the order to make them", anchor=False)
    progress = f" {done} of them {agreeing(done)} logged." if done else ""
    st.html(
        '<p class="pm-tally">Each is the plate whose colour is least known from those before it. '
        f"You can stop after any of them: the earlier ones tell you most.{progress}</p>"
    )
    with st.container(horizontal=True, vertical_alignment="center"):
        _take_along(studio, recipes)
        _to_bench(studio, recipes, made)
    with look.panel("first"):
        for number, (recipe, plate) in enumerate(zip(recipes, made, strict=True), start=1):
            _row(studio, number, recipe, plate)


def _to_bench(studio: Studio, recipes: list[Recipe], made: list[int | None]) -> None:
    """Let the next plates go to the bench as a run, each counted on its own; they come back as records."""
    from matcher.bench.work import Piece

    left = [(number, recipe) for number, recipe in enumerate(recipes, start=1) if made[number - 1] is None]
    run = [(number, recipe) for number, recipe in left if recipe.coats or recipe.undercoat is not None][:A_RUN]
    if run and st.button(f"Take the next {counted(len(run), 'plate')} to the bench", key="first.run"):
        pieces = [Piece("", recipe, source=f"first plate {number}", run=OF_THE_FIRST) for number, recipe in run]
        take_run_to_bench(studio, OF_THE_FIRST, pieces)


def _row(studio: Studio, number: int, recipe: Recipe, plate: int | None) -> None:
    words, action = st.columns([3.6, 1], vertical_alignment="center")
    with words:
        st.html(f'<p class="pm-planned"><b>{number}</b> <span>{step_line(steps_in_words(recipe)[1:])}</span></p>')
    with action:
        if plate is not None:
            st.html(f'<p class="pm-soft pm-tally">Logged as plate {plate}</p>')
        else:
            make_button(studio, recipe, f"first.{number}", f"first plate {number}", None, where=OF_THE_FIRST)


def _take_along(studio: Studio, recipes: list[Recipe]) -> None:
    from matcher.printed import first_plates_sheet
    from matcher.trials.spreadsheet import planned_table

    notes = [f"number {number} of the first plates" for number in range(1, len(recipes) + 1)]
    say_what_prints_not(studio, recipes)
    st.download_button(
        "Print the session sheet",
        lambda: first_plates_sheet(recipes, studio.title),
        "first-plates.pdf",
        "application/pdf",
        on_click="ignore",
    )
    st.download_button(
        "Table of these plates",
        lambda: planned_table(recipes, notes),
        "first-plates.csv",
        on_click="ignore",
        help="To fill in with the colours and import on the Log page.",
    )


show()
