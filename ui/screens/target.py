"""The target: the finish that a client wants, from a photograph or typed, becomes a saved Target."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from ui.reading.colour_in import colour_in
from ui.reading.typed_in import forget_file
from ui.show import look
from ui.state.drafts import Draft
from ui.state.messages import told
from ui.state.open_studio import choose_target, the_studio
from ui.state.places import SUGGESTIONS
from ui.suggestions.change_target import set_aside_before
from ui.suggestions.todays_limits import ask_alloy_of_job, keep_alloy_of_job

if TYPE_CHECKING:
    from matcher.reading.reading import Reading
    from matcher.studio import Studio


def show() -> None:
    studio = the_studio()
    draft = Draft(studio, "target")
    look.title(
        "The finish to match",
        "Start from the client's photograph. A grey card in the picture makes the reading far more accurate.",
    )
    reading, beside = colour_in(studio, draft, "Mark the finish", "Target")
    if reading is not None:
        with beside or st.container():
            _save(studio, draft, reading)
    set_aside_before(studio)


def _save(studio: Studio, draft: Draft, reading: Reading) -> None:
    """Ask for a name and a tolerance, both filled in already, and for the alloy; and save."""
    st.text_input("Name of the target", live=True, **draft.field("name", f"Target {len(studio.targets()) + 1}"))
    ask_alloy_of_job(studio, draft)
    st.number_input(
        "A plate matches within ΔE00",
        step=0.5,
        format="%g",
        help="2 is a close match: side by side, most people just see the difference. 1 is hard to see.",
        **draft.field("tolerance", 2.0),
    )
    if st.button("Save and rank the plates", type="primary", key="target.save"):
        with told():
            _saved(studio, draft, reading)


def _saved(studio: Studio, draft: Draft, reading: Reading) -> None:
    from matcher.trials.trial import Target

    target = studio.save_target(
        Target(
            name=_shown(draft, "name") or "",
            reading=reading,
            tolerance=_shown(draft, "tolerance"),
            photo=draft.get("photo"),
        )
    )
    keep_alloy_of_job(studio, target, draft)
    forget_file(studio, draft)
    draft.drop()
    choose_target(target)
    st.switch_page(SUGGESTIONS.file, query_params={"target": str(target.id)})


def _shown(draft: Draft, name: str) -> Any:
    return st.session_state.get(draft.key(name))


show()
