"""The targets that are half read: any number, each with its own photograph, marks and name, kept until it is saved.

Each browser begins with a form that nobody else has, so that two photographs brought at one time never meet in one.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.dates import shown
from matcher.errors import MatcherError
from matcher.words import capital
from ui.reading.typed_in import forget_file
from ui.show.half_filled import HalfFilled
from ui.state.drafts import Draft
from ui.state.places import TARGET

if TYPE_CHECKING:
    from matcher.storage.drafts import Kept
    from matcher.studio import Studio

_FIGURES = ("lab_l", "lab_a", "lab_b")
_HOW_ALONE = ("way", "typed_way", "area")
"""What says how a target is to be read and what for, and nothing of the finish."""


def _holds(body: Mapping[str, Any]) -> bool:
    return any(value not in (None, "", [], {}) for name, value in body.items() if name not in _HOW_ALONE)


FORMS = HalfFilled("target", TARGET, "target", "half read", "saved", _holds)


def half_read(studio: Studio) -> list[Kept]:
    """Return the targets that are half read, the one saved last at the head."""
    return FORMS.standing(studio)


def empty_form(studio: Studio) -> Draft:
    """Return a form of this browser's own that holds nothing: the same one until it holds something."""
    slot = f"{FORMS.open_slot}.empty"
    if slot not in st.session_state or studio.draft(st.session_state[slot]):
        st.session_state[slot] = FORMS.fresh_name()
    return Draft(studio, st.session_state[slot])


def open_form(studio: Studio) -> Draft:
    """Return the form to show: the one that the address or the session names, else the one saved last, or an empty one.

    Its name goes into the address, so that a reload finds it, and a photograph that still waits in the browser too.
    """
    told = (st.query_params.get("form", ""), st.session_state.get(FORMS.open_slot, ""))
    form = next((name for name in told if FORMS.is_one(name)), None)
    if form is None:
        form = next((kept.form for kept in half_read(studio)), None) or empty_form(studio).form
    st.session_state[FORMS.open_slot] = st.query_params["form"] = form
    return Draft(studio, form)


def form_for_area(studio: Studio, area_id: int) -> Draft:
    """Return the form in which an area's target is being read: what was begun for another is no part of it."""
    begun = [kept for kept in reversed(studio.drafts(FORMS.first)) if FORMS.is_one(kept.form)]
    of_area = next((kept.form for kept in begun if kept.body.get("area") == area_id), None)
    draft = empty_form(studio) if of_area is None else Draft(studio, of_area)
    draft.set(area=area_id)
    st.session_state[FORMS.open_slot] = st.query_params["form"] = draft.form
    return draft


def show_half_read(studio: Studio, draft: Draft) -> None:
    """List the other targets that are half read."""
    FORMS.show_others(studio, draft, partial(form_in_words, studio), partial(forget_file, studio))


def put_by(studio: Studio, draft: Draft) -> None:
    """Let this target be put by for another, or be thrown away."""
    another = "Begin another target meanwhile"
    FORMS.put_by(studio, draft, lambda: empty_form(studio).form, another, partial(forget_file, studio))


def form_in_words(studio: Studio, kept: Kept) -> str:
    """Say which target it is: its name, where its colour comes from, what it is for, when it was last saved."""
    body = kept.body
    said = [body.get("name"), _source(body)]
    if body.get("area"):
        try:
            commission, area = studio.commissions.area(body["area"])
            said.append(f"for {area.name} of {commission.title}")
        except MatcherError:
            pass  # it is gone; what was read is not
    said.append(f"saved {shown(kept.saved_at)}")
    return capital(" · ".join(part for part in said if part))


def _source(body: Mapping[str, Any]) -> str:
    if body.get("photo"):
        return f"photograph {body['photo_name']}" if body.get("photo_name") else "a photograph"
    if body.get("munsell"):
        return f"Munsell {body['munsell']}"
    if body.get("file"):
        return "an instrument's file"
    return "an instrument's figures" if any(body.get(name) is not None for name in _FIGURES) else "no colour yet"
