"""The record forms that are half filled: begun, opened, named and listed."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.dates import shown
from matcher.recipe.recipe import passes_in_words
from matcher.words import capital
from ui.reading.typed_in import forget_file
from ui.recipe.recipe_form import recipe_of
from ui.show.half_filled import HalfFilled
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.places import RECORD
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.storage.drafts import Kept
    from matcher.studio import Studio

FORMS = HalfFilled("plate", RECORD, "plate", "half recorded", "logged")
FIRST = FORMS.first


def half_filled(studio: Studio) -> list[Kept]:
    """Return the record forms that hold something, the one saved last at the head."""
    return FORMS.standing(studio)


def new_form(studio: Studio, values: dict[str, Any]) -> str:
    """Begin a record form with some fields, beside those that stand; return its name."""
    standing = half_filled(studio)
    values = {"made_by": who() or (standing[0].body.get("made_by", "") if standing else ""), **values}
    name = FIRST if studio.claim_draft(FIRST, values) else FORMS.fresh_name()
    Draft(studio, name).fill(values)
    return name


def open_form(studio: Studio) -> Draft:
    """Return the form to show: the one that the address or the session names, else the one saved last."""
    kept = [form.form for form in half_filled(studio)]
    named, last = st.query_params.get("form"), st.session_state.get(FORMS.open_slot)
    wanted = named or last
    if not wanted or not FORMS.is_one(wanted) or (wanted not in kept and wanted != last and wanted != FIRST):
        if named:
            tell("Nothing is kept of that form: it was logged, thrown away, or never begun.", "warning")
            st.query_params.pop("form", None)
        wanted = kept[0] if kept else FIRST
    st.session_state[FORMS.open_slot] = wanted
    return Draft(studio, wanted)


def show_half_filled(studio: Studio, draft: Draft) -> None:
    """List the other forms, and let this one be put by for an empty one, or be thrown away."""

    def empty() -> str:
        taken = {draft.form, *(kept.form for kept in half_filled(studio))}
        return FORMS.fresh_name() if FIRST in taken else FIRST

    forget = partial(forget_file, studio)
    FORMS.show_others(studio, draft, partial(form_in_words, studio), forget)
    FORMS.put_by(studio, draft, empty, "Record another plate meanwhile", forget)


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
    elif body.get("photo_name"):
        said.append(f"photograph {body['photo_name']}")
    said.append(f"saved {shown(kept.saved_at)}")
    return f"{capital(said[0])} · {' · '.join(said[1:])}"


def _unmarked(body: Mapping[str, Any]) -> str:
    """Name a form without a mark: its place in a run of plates, its cast, else a new plate like what it began from."""
    source = body.get("from_plate")
    if not source:
        return "A plate without a mark"
    return source if body.get("run") or body.get("cast") else f"A new plate like {source[:1].lower()}{source[1:]}"
