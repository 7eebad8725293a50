"""Plates that disagree with everything near them, with the slip that would explain each put right in a tap."""

from __future__ import annotations

import html
from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import MatcherError
from matcher.words import agreeing, counted
from ui.show.literal import literal
from ui.show.strips import low_pair
from ui.state.messages import tell
from ui.state.open_studio import the_studio
from ui.state.places import LOG
from ui.suggestions.answers import Answers

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.suggest.outliers import Contradiction
    from matcher.suggest.slips import Slip

SHOWN = 10
MENDED = "at-odds-mended"


def show_contradictions(answers: Answers) -> None:
    """Show them, or say that there are none."""
    if mended := st.session_state.pop(MENDED, None):
        tell(mended, "done")
    with st.spinner("Comparing each plate with those near it…"):
        found = answers.contradictions()
    if not found:
        st.html("<p>No plate disagrees with those near it.</p>")
        return
    number = f"{counted(len(found), 'plate')} {agreeing(len(found), 'disagrees', 'disagree')}"
    st.subheader(literal(f"{number} with those near {agreeing(len(found), 'it', 'them')}"), anchor=False)
    for item in found[:SHOWN]:
        _one(item)


def _one(item: Contradiction) -> None:
    plate = item.trial.id
    colours, words = st.columns([1, 2], gap="medium", vertical_alignment="center")
    with colours:
        st.html(low_pair(item.expected, item.trial.reading.lab, "Expected from the others", f"Plate {plate}"))
    with words:
        st.html(f"<p>{html.escape(item.sentence)}</p>")
        if plate is not None and st.button(f"Open plate {plate:d} in the log", key=f"at-odds.{plate}"):
            st.switch_page(LOG.file, query_params={"plate": str(plate)})
        if plate is not None and item.slip is not None and item.slip.recipe is not None:
            _offer(plate, item.slip, item.slip.recipe)


def _offer(plate: int, slip: Slip, recipe: Recipe) -> None:
    """Offer to correct what was written down, in one tap; the plate's history keeps what it was."""
    from matcher.suggest.slips import correction_in_words
    from matcher.trials.facts import facts_of

    said = correction_in_words(slip)
    if not st.button(literal(f"Correct plate {plate} to {said}"), key=f"at-odds-mend.{plate}"):
        return
    studio = the_studio()
    was = facts_of(studio.trial(plate))
    try:
        studio.correct(plate, replace(was, recipe=recipe), instead_of=was)
    except MatcherError as error:
        tell(str(error))
        return
    st.session_state[MENDED] = f"Plate {plate} now says {said}. Its history keeps what it said before."
    st.rerun()
