"""Other studios' plates beside a target: ranked apart from ours, with how far theirs carry over to ours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.recipe.recipe import describe
from matcher.sharing.wording import carry_in_words, other_in_words
from matcher.words import agreeing, counted
from ui.escaped import escaped
from ui.show.literal import literal
from ui.show.strips import low_pair
from ui.state.messages import tell, told
from ui.state.open_studio import logged

if TYPE_CHECKING:
    from matcher.sharing.sharing import OtherPlate
    from matcher.studio import Studio
    from matcher.trials.trial import Target

SHOWN = 5


def show_others(studio: Studio, target: Target) -> None:
    """Show each other studio's nearest plates under its title; none of them is among our own suggestions."""
    with told():
        with st.spinner("Looking at what other studios share…"):
            found = studio.sharing.others(target.reading, logged(studio), SHOWN)
        st.html(
            "<p>Read by their cameras, made by their hands: they are not yours, and nothing above was worked out from "
            "them.</p>"
        )
        if not found.studios:
            tell("No other studio shares a plate there yet.", "warning")
        for one in found.studios:
            st.subheader(literal(f"{one.title}: {counted(one.shared, 'plate')}"), anchor=False)
            st.html(f'<p class="pm-soft">{escaped(carry_in_words(one.title, one.carry))}</p>')
            for plate in one.plates:
                _one(target, plate)
        if found.unread:
            verb = agreeing(found.unread)
            tell(f"{counted(found.unread, 'plate')} there can't be read and {verb} left out.", "warning")


def _one(target: Target, one: OtherPlate) -> None:
    colours, words = st.columns([1, 2], gap="medium", vertical_alignment="center")
    with colours:
        st.html(low_pair(target.reading.lab, one.plate.lab, "Target", "Their plate"))
    with words:
        recipe = "They share its colour only." if one.plate.recipe is None else describe(one.plate.recipe)
        st.html(f"<p><strong>{escaped(other_in_words(one))}</strong></p><p>{escaped(recipe)}</p>")
