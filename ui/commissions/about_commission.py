"""What is typed of a commission, as a form: to take one on, and to change one; kept as it is typed.

The draft of a change holds the commission as it was seen ("before"), so that two who change it are told of each other.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.commissions.wording import TOLERANCE_HELP
from ui.recipe.recipe_form import COMMON
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.places import COMMISSIONS
from ui.state.remembered import as_seen
from ui.state.who import remember, who
from ui.suggestions.todays_limits import means

if TYPE_CHECKING:
    from matcher.commissions.commission import Commission
    from matcher.studio import Studio

_TYPED = ("title", "client", "alloy", "size", "area_cm2", "casts", "due_on", "tolerance", "notes")


def take_one_on(studio: Studio) -> None:
    """Ask for a new commission, and keep it."""
    draft = Draft(studio, "commission")
    _ask(studio, draft, {"casts": 1, "tolerance": 2.0})
    st.text_area("Its areas, one to a line", height=116, placeholder="head\ndrapery\nbase", **draft.field("areas", ""))
    st.text_input("Taken on by", live=True, **draft.field("made_by", who()))
    with st.container(horizontal=True, vertical_alignment="center"):
        pressed = st.button("Take on the commission", type="primary", key="commission.save")
        if draft.values and st.button("Throw this form away", type="tertiary", key="commission.away"):
            draft.drop()
            st.rerun()
    if pressed:
        with told():
            _taken_on(studio, draft)


def change_one(studio: Studio, commission: Commission) -> None:
    """Offer, folded, to change what was typed of a commission, to set it aside and to take it back."""
    draft = Draft(studio, f"change of commission {commission.id}")
    with st.expander("Change what is written here, or set it aside", key=f"commission.change.{commission.id}"):
        if said := draft.said():
            tell(said, "done")
        _ask(studio, draft, _fields_of(commission))
        if draft.values and "before" not in draft.values:
            draft.set(before=commission.as_dict())
        with st.container(horizontal=True, vertical_alignment="center"):
            if st.button("Save the change", key=f"commission.save.{commission.id}"):
                with told():
                    _changed(studio, draft, commission)
            if draft.values and st.button("Discard", type="tertiary", key=f"commission.discard.{commission.id}"):
                draft.drop()
                st.rerun()
        _set_aside(studio, commission)


def _ask(studio: Studio, draft: Draft, standing: dict[str, Any]) -> None:
    """Ask for everything that is typed of a commission. standing: what the fields show at first."""
    left, right = st.columns(2, gap="medium")
    with left:
        st.text_input("The piece", placeholder="Heron fountain", live=True, **_field(draft, "title", standing, ""))
        st.text_input("Client", placeholder="your own label", live=True, **_field(draft, "client", standing, ""))
        _ask_alloy(studio, draft, standing)
        st.text_input("Size", placeholder="1.8 m high", live=True, **_field(draft, "size", standing, ""))
    with right:
        st.number_input("Casts in the edition", step=1, min_value=1, **_field(draft, "casts", standing, 1))
        st.text_input("Due on", placeholder="2026-05-04", live=True, **_field(draft, "due_on", standing, ""))
        st.number_input(
            "Surface of one cast, cm²", value=None, step=None, format="%g", **_field(draft, "area_cm2", standing, None)
        )
        st.number_input(
            "A finish matches within ΔE00", step=0.5, format="%g", **_field(draft, "tolerance", standing, 2.0)
        )
        st.html(f'<p class="pm-soft pm-small">{TOLERANCE_HELP}</p>')
    st.text_area("Notes", height=80, **_field(draft, "notes", standing, ""))


def _field(draft: Draft, name: str, standing: dict[str, Any], otherwise: Any) -> dict[str, Any]:
    field = draft.field(name, standing.get(name, otherwise))
    if name == "casts" and st.session_state[field["key"]] is not None:
        st.session_state[field["key"]] = int(st.session_state[field["key"]])
    return field


def _ask_alloy(studio: Studio, draft: Draft, standing: dict[str, Any]) -> None:
    offered = list(dict.fromkeys((*means(studio).alloys, *COMMON["alloy"])))
    field = _field(draft, "alloy", standing, offered[0])
    chosen = st.session_state[field["key"]]
    if chosen and chosen not in offered:
        offered = [chosen, *offered]
    st.selectbox("Alloy", offered, accept_new_options=True, help="Every plate made for it is of this alloy.", **field)


def _fields_of(commission: Commission) -> dict[str, Any]:
    kept = {name: getattr(commission, name) for name in _TYPED}
    return {**kept, "due_on": "" if commission.due_on is None else commission.due_on.isoformat()}


def _typed(draft: Draft, standing: dict[str, Any]) -> dict[str, Any]:
    """Return what the form shows, by the names of `Commission`."""
    shown = {name: draft.shown(name, standing.get(name)) for name in _TYPED}
    texts = {name: shown[name] or "" for name in ("title", "client", "alloy", "size", "notes")}
    return {**shown, **texts, "due_on": shown["due_on"] or None}


def _taken_on(studio: Studio, draft: Draft) -> None:
    from matcher.commissions.commission import Area, Commission

    names = [line.strip() for line in (draft.shown("areas") or "").splitlines() if line.strip()]
    name = remember(draft.shown("made_by", who()))
    typed = _typed(draft, {"casts": 1, "tolerance": 2.0, "alloy": COMMON["alloy"][0]})
    kept = studio.commissions.save(Commission(**typed, areas=tuple(Area(name) for name in names), made_by=name))
    draft.drop()
    st.switch_page(COMMISSIONS.file, query_params={"commission": str(kept.id)})


def _changed(studio: Studio, draft: Draft, commission: Commission) -> None:
    from matcher.commissions.commission import Commission as Kept

    seen = Kept.from_dict(draft.get("before")) if draft.get("before") else commission
    studio.commissions.change(replace(seen, **_typed(draft, _fields_of(seen))), seen, who())
    draft.drop()
    draft.say("Saved. The timeline keeps what it was.")
    st.rerun()


def _set_aside(studio: Studio, commission: Commission) -> None:
    number = commission.id or 0
    seen = as_seen(f"commission set aside.{number}", commission.set_aside)
    if commission.set_aside is not None:
        if st.button("Take this commission back", key=f"commission.back.{number}"):
            with told():
                studio.commissions.take_back(number, who(), seen)
                st.rerun()
        return
    reason, action = st.columns([3, 1], vertical_alignment="bottom")
    why = reason.text_input("Set aside because", placeholder="postponed", live=True, key=f"commission.reason.{number}")
    if action.button("Set aside", key=f"commission.aside.{number}"):
        with told():
            studio.commissions.set_aside(number, why or "", who())
            st.rerun()
