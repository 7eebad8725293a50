"""The record forms that are half filled: any number, each kept in the studio until it is logged or thrown away.

Which one is on the screen stands in the address, and in the session.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.dates import shown
from matcher.recipe.recipe import passes_in_words
from matcher.words import agreeing, counted
from ui.escaped import escaped
from ui.recipe.recipe_form import recipe_of
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.places import RECORD
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.storage.drafts import Kept
    from matcher.studio import Studio

FIRST = "plate"
OPEN = "record.form"
_FORM = re.compile(r"plate( [0-9a-f]{12})?")


def half_filled(studio: Studio) -> list[Kept]:
    """Return the record forms that hold something, the one saved last at the head."""
    return [kept for kept in reversed(studio.drafts(FIRST)) if kept.body and _FORM.fullmatch(kept.form)]


def new_form(studio: Studio, values: dict[str, Any]) -> str:
    """Begin a record form with some fields, beside those that stand; return its name."""
    standing = half_filled(studio)
    values = {"made_by": who() or (standing[0].body.get("made_by", "") if standing else ""), **values}
    name = FIRST if studio.claim_draft(FIRST, values) else _fresh_name()
    Draft(studio, name).fill(values)
    return name


def go_to_form(name: str) -> None:
    """Show a record form."""
    st.session_state[OPEN] = name
    st.switch_page(RECORD.file, query_params={"form": name})


def open_form(studio: Studio) -> Draft:
    """Return the form to show: the one that the address or the session names, else the one saved last."""
    kept = [form.form for form in half_filled(studio)]
    named, last = st.query_params.get("form"), st.session_state.get(OPEN)
    wanted = named or last
    if not wanted or not _FORM.fullmatch(wanted) or (wanted not in kept and wanted != last and wanted != FIRST):
        if named:
            tell("Nothing is kept of that form: it was logged, thrown away, or never begun.", "warning")
            st.query_params.pop("form", None)
        wanted = kept[0] if kept else FIRST
    st.session_state[OPEN] = wanted
    return Draft(studio, wanted)


def show_half_filled(studio: Studio, draft: Draft) -> None:
    """List the other forms, and let this one be put by for an empty one, or be thrown away."""
    others = [kept for kept in half_filled(studio) if kept.form != draft.form]
    if others:
        plates = f"{counted(len(others), 'other plate')} {agreeing(len(others))} half recorded, and kept until logged"
        with st.expander(literal(plates), key="record.half-filled"):
            for kept in others:
                words, actions = st.columns([3, 1.2], vertical_alignment="center")
                words.html(f"<p>{escaped(form_in_words(studio, kept))}</p>")
                with actions, st.container(horizontal=True, horizontal_alignment="right"):
                    if st.button("Open", key=f"record.open.{kept.form}"):
                        _show(kept.form)
                    _ask_to_throw_away(studio, kept.form)
    if studio.draft(draft.form):
        with st.container(horizontal=True, vertical_alignment="center"):
            if st.button("Record another plate meanwhile", type="tertiary", key="record.another"):
                taken = {kept.form for kept in others}
                _show(FIRST if FIRST not in {*taken, draft.form} else _fresh_name())
            _ask_to_throw_away(studio, draft.form, "Throw this form away")


def form_in_words(studio: Studio, kept: Kept) -> str:
    """Say which form it is: mark, or what its recipe is like; target, chemicals, when it was last saved."""
    body, recipe = kept.body, recipe_of(kept.body)
    said = [body.get("piece") or _unmarked(body)]
    names = {target.id: target.name for target in studio.targets()}
    if body.get("target_id") in names:
        said.append(f"for {names[body['target_id']]}")
    if body.get("tag"):
        said.append(f"tag {body['tag']}")
    if recipe is not None:
        said += [f"{coat.chemical}, {passes_in_words(coat)}" for coat in recipe.coats]
    said.append(f"saved {shown(kept.saved_at)}")
    return f"{said[0][:1].upper()}{said[0][1:]} · {' · '.join(said[1:])}"


def _unmarked(body: Mapping[str, Any]) -> str:
    """Name a form without a mark: its place in a run of plates, its cast, else a new plate like what it began from."""
    source = body.get("from_plate")
    if not source:
        return "A plate without a mark"
    return source if body.get("run") or body.get("cast") else f"A new plate like {source[:1].lower()}{source[1:]}"


def _ask_to_throw_away(studio: Studio, form: str, label: str = "Throw away") -> None:
    with st.popover(label, type="tertiary"):
        st.html("<p>What was typed in this form is gone for good then; nothing of it is logged.</p>")
        if st.button("Yes, throw it away", key=f"record.away.{form}"):
            Draft(studio, form).drop()
            st.session_state.pop(OPEN, None)
            st.query_params.pop("form", None)
            st.rerun()


def _fresh_name() -> str:
    return f"{FIRST} {uuid.uuid4().hex[:12]}"


def _show(name: str) -> None:
    st.session_state[OPEN] = name
    st.query_params["form"] = name
    st.rerun()
