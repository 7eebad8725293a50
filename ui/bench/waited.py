"""What came of the taps and photographs that waited in the browser: put where they belong, or told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from ui.bench.step_now import SAID
from ui.photograph.intake import may_be_replaced, take_kept
from ui.recipe.record_forms import FORMS as RECORD_FORMS
from ui.state.drafts import Draft
from ui.state.open_studio import the_studio
from ui.target.half_read import FORMS as TARGET_FORMS

if TYPE_CHECKING:
    from matcher.studio import Studio


def came_of_it(one: dict[str, Any]) -> None:
    """Take in what the studio said of one that was sent: a tap that was refused, a photograph that it keeps."""
    if one.get("kind") != "photograph":
        if not one.get("kept"):
            st.session_state[SAID] = str(one.get("said", ""))
        return
    form = str(one.get("form", ""))
    if one.get("kept"):
        form = form_for_photograph(the_studio(), form, str(one.get("sha256", "")))
    take_kept(Draft(the_studio(), form), one)


def form_for_photograph(studio: Studio, form: str, sha256: str) -> str:
    """Return the form that a photograph goes into: the one that it was taken in, unless that has gone on meanwhile.

    A plate's or target's form that holds another photograph by now keeps it, and says so; this one gets a form of its
    own, the same however often the browser tells of it. One taken anew while the first waited replaces that.
    """
    draft = Draft(studio, form)
    kind = next((forms for forms in (RECORD_FORMS, TARGET_FORMS) if forms.is_one(form)), None)
    if kind is None or draft.get("photo") == sha256 or may_be_replaced(draft):
        return form
    holding = next((kept.form for kept in kind.standing(studio) if kept.body.get("photo") == sha256), None)
    if holding is not None:
        return holding
    draft.say(
        "A photograph that waited on a phone has come in. This form holds another one by now, so it has a form of its "
        f"own: it is among those {kind.how}."
    )
    return kind.fresh_name()
