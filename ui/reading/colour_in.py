"""A colour comes in, for a target or a plate: from a photograph in three steps, or typed in without one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from ui.photograph import intake
from ui.photograph.card_step import ask_for_card
from ui.reading.finish_step import ask_for_finish
from ui.reading.typed_in import typed_in
from ui.state.drafts import Draft
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.reading.reading import Reading
    from matcher.studio import Studio


def colour_in(
    studio: Studio, draft: Draft, heading: str, name: str, plate: int | None = None, asks_tag: bool = False
) -> tuple[Reading | None, Any]:
    """Lead from nothing to a Reading. Return it, or None when there is none yet, and where to go on beside it.

    plate: the number of the logged plate that is read, None where it is of none. asks_tag: whether the form asks for a
    tag itself, and offers the one in the picture that is on no plate.
    """
    sha256 = draft.get("photo")
    if sha256 is None:
        way = intake.choose_way(studio, draft)
        if way == "typed":
            return typed_in(studio, draft, name)
        intake.bring_in(studio, draft, way)
        return None, None
    try:
        studio.photo_path(sha256)
    except MatcherError as error:
        tell(str(error))
        _another_photograph(draft)
        return None, None
    if draft.get("card") is None:
        ask_for_card(studio, draft, sha256)
        result: tuple[Reading | None, Any] = (None, None)
    else:
        result = _finish(studio, draft, sha256, heading, name, plate, asks_tag)
    _another_photograph(draft)
    return result


def _finish(
    studio: Studio, draft: Draft, sha256: str, heading: str, name: str, plate: int | None, asks_tag: bool
) -> tuple[Reading | None, Any]:
    """Go on to the finish; a card that can no longer be read goes back to the step before."""
    from matcher.errors import CardError

    try:
        return ask_for_finish(studio, draft, sha256, heading, name, plate, asks_tag)
    except CardError as error:
        tell(str(error))
        if st.button("Mark the card again", type="primary"):
            draft.set(card=None)
            st.rerun()
        return None, None


def _another_photograph(draft: Draft) -> None:
    if st.button("Use another photograph", type="tertiary", key=f"{draft.form}.another"):
        intake.forget_photograph(draft)
        st.rerun()
