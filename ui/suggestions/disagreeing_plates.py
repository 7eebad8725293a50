"""Plates that disagree with everything near them: pointed out, with the way to the log, where a slip is corrected."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

import streamlit as st

from matcher.words import agreeing, counted
from ui.show.literal import literal
from ui.show.strips import low_pair
from ui.state.places import LOG
from ui.suggestions.answers import Answers

if TYPE_CHECKING:
    from matcher.suggest.outliers import Contradiction

SHOWN = 10


def show_contradictions(answers: Answers) -> None:
    """Show them, or say that there are none."""
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
