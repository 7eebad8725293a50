"""Which plate it is, besides recipe and colour: target, mark, maker, air, notes. Asked alike wherever it is typed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.dates import ISO, shown
from matcher.trials.fields import TYPED
from ui.recipe.plate_tag import AS_PRINTED
from ui.state.drafts import Draft
from ui.state.open_studio import target_choices
from ui.state.who import who

if TYPE_CHECKING:
    from datetime import datetime

    from matcher.studio import Studio
    from matcher.trials.facts import TypedFacts

NO_TARGET = 0
_FIELDS = {field.name: field.form for field in TYPED if field.form is not None and field.kind != "moment"}


def ask_about(studio: Studio, draft: Draft, target_id: int, made_at: datetime, tag: bool = False) -> None:
    """Ask what tells this plate from others. At first: target_id, NO_TARGET for none; made_at, when it was made.

    tag: whether the tag that it carries is asked for too, as of a plate that is not logged yet.
    """
    targets = {**target_choices(studio, keep=target_id or None), NO_TARGET: "No target"}
    field = draft.field("target_id", target_id)
    if st.session_state[field["key"]] not in targets:
        st.session_state[field["key"]] = NO_TARGET
    left, right = st.columns(2)
    with left:
        st.selectbox("For the target", list(targets), format_func=targets.__getitem__, **field)
        st.text_input(
            "Mark on the plate", placeholder="what is stamped or written on it", live=True, **draft.field("piece", "")
        )
        if tag:
            st.text_input("Tag on the plate", placeholder=AS_PRINTED, live=True, **draft.field("tag", ""))
    with right:
        with st.container(horizontal=True, gap="small", wrap=False):
            st.text_input("Made by", live=True, **draft.field("made_by", who()))
            st.text_input("Made on", live=True, **draft.field("made_on", shown(made_at, ISO)))
        with st.container(horizontal=True, gap="small", wrap=False):
            st.number_input("Air, °C", value=None, step=None, format="%g", **draft.field("ambient_c"))
            st.number_input("Humidity, %", value=None, step=None, format="%g", **draft.field("humidity"))
    st.text_area("Notes", height=96, **draft.field("notes", ""))


def answered(draft: Draft) -> dict[str, Any]:
    """Return what the fields show, by the names of `Trial`."""
    fields = {name: st.session_state.get(draft.key(field)) for name, field in _FIELDS.items()}
    texts = {name: fields[name] or "" for name in ("made_by", "piece", "notes")}
    return {**fields, **texts, "target_id": fields["target_id"] or None}


def fields_about(facts: TypedFacts) -> dict[str, Any]:
    """Return what is logged of a plate as these fields."""
    known = {field: getattr(facts, name) for name, field in _FIELDS.items()}
    return {**known, "target_id": facts.target_id or NO_TARGET}
