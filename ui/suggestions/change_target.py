"""Changes what was typed of a target, sets it aside and takes it back; a change is kept as it is typed.

The draft holds the target as it was seen ("before"), so that two who change one target are told of each other.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from ui.escaped import escaped
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.places import SUGGESTIONS
from ui.state.remembered import as_seen
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.trials.trial import Target


def change_target(studio: Studio, target: Target) -> None:
    """Offer, folded, another name, tolerance or notes for a target, and to set it aside."""
    draft = Draft(studio, f"change of target {target.id}")
    with st.expander(
        "Change this target, or set it aside", key=f"target.change.{target.id}", expanded=bool(draft.values)
    ):
        if said := draft.said():
            tell(said, "done")
        st.text_input("Its name", live=True, **draft.field("name", target.name))
        st.number_input("It matches within ΔE00", step=0.5, format="%g", **draft.field("tolerance", target.tolerance))
        st.text_area("Notes", height=80, **draft.field("notes", target.notes))
        if draft.values and "before" not in draft.values:
            draft.set(before=target.as_dict())
        with st.container(horizontal=True, vertical_alignment="center"):
            if st.button("Save the change", key=f"target.save.{target.id}"):
                with told():
                    _save(studio, draft, target)
            if draft.values and st.button("Discard", type="tertiary", key=f"target.discard.{target.id}"):
                draft.drop()
                st.rerun()
        _set_aside(studio, target)


def set_aside_before(studio: Studio) -> None:
    """List, folded, the targets that were set aside, each with the way back; nothing when there is none."""
    aside = [target for target in studio.targets(include_set_aside=True) if target.set_aside is not None]
    if not aside:
        return
    with st.expander(f"Targets set aside ({len(aside):d})", key="targets.aside"):
        for target in aside:
            seen = as_seen(f"target set aside.{target.id}", target.set_aside)
            words, action = st.columns([3, 1], vertical_alignment="center")
            words.html(f"<p>{escaped(target.name)} <span class=pm-soft>{escaped(target.set_aside or '')}</span></p>")
            if action.button(literal("Take back"), key=f"target.back.{target.id}"):
                with told():
                    studio.take_target_back(target.id or 0, who(), seen)
                    st.switch_page(SUGGESTIONS.file, query_params={"target": str(target.id)})


def _save(studio: Studio, draft: Draft, target: Target) -> None:
    from matcher.trials.trial import Target as Kept

    seen = Kept.from_dict(draft.get("before") or target.as_dict())
    now = replace(
        seen,
        name=draft.shown("name") or "",
        tolerance=draft.shown("tolerance"),
        notes=draft.shown("notes") or "",
    )
    studio.change_target(now, seen, who())
    draft.drop()
    draft.say("Saved. The history keeps what it was.")
    st.rerun()


def _set_aside(studio: Studio, target: Target) -> None:
    st.html('<p class="pm-soft">A target that is set aside is no longer offered; nothing of it is lost.</p>')
    reason, action = st.columns([3, 1], vertical_alignment="bottom")
    why = reason.text_input("Set aside because", placeholder="done", live=True, key=f"target.reason.{target.id}")
    if action.button("Set aside", key=f"target.aside.{target.id}"):
        with told():
            studio.set_target_aside(target.id or 0, why or "done", who())
            st.query_params.pop("target", None)
            st.session_state.pop("target", None)
            st.rerun()
