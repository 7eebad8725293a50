"""Delivery on the page: which casts the client has, since when, from whose hand into whose; taken back where wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.commissions.state import state_of
from matcher.commissions.wording import deliver_in_words, delivery_in_words
from matcher.dates import ISO, now, shown
from ui.escaped import escaped
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import told
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.commissions.commission import Commission, Delivery
    from matcher.commissions.known import Known
    from matcher.studio import Studio


def show_delivery(studio: Studio, known: Known) -> None:
    """Show what was delivered, and ask for what may be: at the head when the piece is done, folded before."""
    commission = known.commission
    for delivery in commission.deliveries:
        _standing(studio, commission, delivery)
    if commission.set_aside is not None or commission.delivered:
        return
    draft = Draft(studio, f"delivery of commission {commission.id}")
    done = state_of(known).stage == "finished"
    label = f"{deliver_in_words(known)}" if done else "Delivered already, or in part"
    with st.expander(literal(label), key=f"delivery.{commission.id}", expanded=done or bool(draft.values)):
        _ask(studio, known, draft, done)


def _standing(studio: Studio, commission: Commission, delivery: Delivery) -> None:
    with st.container(horizontal=True, vertical_alignment="center", key=f"delivered-{delivery.id}"):
        st.html(f"<p><b>{escaped(delivery_in_words(commission, delivery))}.</b></p>", width="content")
        if st.button(
            "Take that back",
            type="tertiary",
            key=f"delivery.back.{delivery.id}",
            help="When it was noted in error: the timeline keeps both.",
        ):
            with told():
                studio.casts.take_delivery_back(delivery.id, who())
                st.rerun()


def _ask(studio: Studio, known: Known, draft: Draft, done: bool) -> None:
    commission = known.commission
    left = commission.casts_with_us
    numbers = left
    if commission.casts > 1:
        field = draft.field("casts", left if done else left[:1])
        st.session_state[field["key"]] = [one for one in st.session_state[field["key"]] if one in left]
        numbers = st.multiselect("Casts that were delivered", left, format_func=lambda one: f"Cast {one}", **field)
    day, to = st.columns(2, gap="medium")
    on = day.text_input("Delivered on", placeholder="2027-05-04", live=True, **draft.field("on", shown(now(), ISO)))
    handed = to.text_input("Handed to", live=True, **draft.field("to", commission.client))
    label = "Note that it is delivered" if commission.casts == 1 else "Note that these are delivered"
    if st.button(label, type="primary" if done else "secondary", key=f"delivery.note.{commission.id}"):
        with told():
            studio.casts.deliver(commission.id or 0, numbers, on or "", handed or "", who())
            draft.drop()
            st.rerun()
