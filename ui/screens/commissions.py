"""Commissions: what clients have asked for, the one due first at the head; and one of them with all that happened."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.commissions.known import all_known
from matcher.commissions.state import next_steps, state_of
from matcher.commissions.store import by_due_day
from matcher.commissions.timeline import what_happened
from matcher.commissions.wording import deliver_in_words, state_in_words, step_in_words
from matcher.dates import day_shown
from matcher.errors import MatcherError
from matcher.words import counted, listed
from ui.commissions.about_commission import change_one, take_one_on
from ui.commissions.approval import sign_off_form
from ui.commissions.areas import pictures, show_areas
from ui.commissions.delivery import show_delivery
from ui.commissions.edition import print_record
from ui.commissions.story import ask_for_line, show_handover, show_timeline
from ui.escaped import escaped
from ui.show import look
from ui.show.literal import literal
from ui.state.messages import tell
from ui.state.open_studio import the_studio

if TYPE_CHECKING:
    from matcher.commissions.commission import Commission
    from matcher.commissions.known import Known
    from matcher.studio import Studio

NEW = "new"


def show() -> None:
    studio = the_studio()
    with st.container(key="paper"):
        named = st.query_params.get("commission")
        if named == NEW:
            _new(studio)
            return
        commission = _named(studio, named)
        if commission is not None:
            _one(studio, commission)
            return
        _list(studio)


def _named(studio: Studio, named: str | None) -> Commission | None:
    if not named:
        return None
    try:
        return studio.commissions.commission(int(named) if named.isdecimal() else 0)
    except MatcherError as error:
        tell(str(error), "warning")
        return None


def _list(studio: Studio) -> None:
    """Show all commissions in short."""
    kept = by_due_day(studio.commissions.commissions(include_set_aside=True))
    worked_on = [one for one in kept if one.set_aside is None and not one.delivered]
    delivered = [one for one in kept if one.set_aside is None and one.delivered]
    aside = [one for one in kept if one.set_aside is not None]
    look.title("Commissions", "What clients have asked for, from the first photograph to the piece handed over.")
    if not worked_on:
        st.html('<p class="pm-soft">No commission is being worked on. Take one on, and name its areas.</p>')
    if st.button("Take on a commission", type="primary", key="commission.new", icon=":material/add:"):
        _open(NEW)
    for commission in worked_on:
        _card(studio, commission)
    last = sorted(delivered, key=lambda one: max(delivery.on for delivery in one.deliveries), reverse=True)
    _apart("Delivered", "commissions.delivered", [(one, _delivered(one)) for one in last])
    _apart("Set aside", "commissions.aside", [(one, one.set_aside or "") for one in aside])


def _apart(heading: str, key: str, commissions: Sequence[tuple[Commission, str]]) -> None:
    """List, folded, commissions that are not worked on, each with what is said of it."""
    if not commissions:
        return
    with st.expander(literal(f"{heading} ({len(commissions)})"), key=key):
        for commission, about in commissions:
            words, action = st.columns([4, 1], vertical_alignment="center")
            words.html(f"<p><b>{escaped(commission.title)}</b> {escaped(about)}</p>")
            if action.button("Open", key=f"commission.open.{commission.id}"):
                _open(str(commission.id))


def _delivered(commission: Commission) -> str:
    """Say to whom a commission was delivered, and on which day the last of it was."""
    to = listed(list(dict.fromkeys(one.to for one in commission.deliveries if one.to))) or commission.client
    day = day_shown(max(one.on for one in commission.deliveries))
    return ", ".join(part for part in (counted(commission.casts, "cast"), to, day) if part)


def _card(studio: Studio, commission: Commission) -> None:
    with st.spinner("Looking at what happened…"):  # the first comparison after the start takes a while
        known = all_known(studio.database, commission)
        areas = "".join(
            f'<div class="pm-card-area"><p>{escaped(area.name)}</p>{pictures(known, area)}</div>'
            for area in commission.areas
        )
    with st.container(key=f"card-{commission.id}"):
        st.html(
            f'<div class="pm-card-head"><h2>{escaped(commission.title)}</h2>{_state(known)}</div>'
            f'<p class="pm-soft">{escaped(_about(commission))}</p><div class="pm-card-areas">{areas}</div>'
            f"{_next(known)}"
        )
        if st.button(literal(f"Open {commission.title}"), key=f"commission.open.{commission.id}"):
            _open(str(commission.id))


def _next(known: Known) -> str:
    """Say what to do next, as HTML: for the first area that is not done, else to deliver it."""
    step = next((step for step in next_steps(known) if step.step != "done"), None)
    said = deliver_in_words(known) if step is None else step_in_words(step)
    return f'<p class="pm-next"><b>Next:</b> {escaped(said)}.</p>' if said else ""


def _one(studio: Studio, commission: Commission) -> None:
    with st.spinner("Looking at what happened…"):
        known = all_known(studio.database, commission)
        events = what_happened(studio.database, known)
    signing = next((area for area in commission.areas if str(area.id) == st.query_params.get("sign")), None)
    if signing is not None:
        sign_off_form(studio, known, signing)
        return
    if st.button("All commissions", type="tertiary", key="commission.all", icon=":material/arrow_back:"):
        st.query_params.clear()
        st.rerun()
    st.html(
        f'<div class="pm-card-head"><h1>{escaped(commission.title)}</h1>{_state(known)}</div>'
        f'<p class="pm-lead">{escaped(_about(commission))}</p>'
        + (f'<p class="pm-notes">{escaped(commission.notes)}</p>' if commission.notes else "")
    )
    if not commission.areas:
        st.html('<p class="pm-soft">Name its first area below: the whole piece may be one.</p>')
    show_areas(studio, known, next_steps(known))
    show_delivery(studio, known)
    print_record(studio, known)
    story, beside = st.columns([1.5, 1], gap="large")
    with story:
        show_timeline(studio, known, events)
    with beside:
        ask_for_line(studio, known)
        show_handover(known, events)
    change_one(studio, commission)


def _new(studio: Studio) -> None:
    if st.button("All commissions", type="tertiary", key="commission.all", icon=":material/arrow_back:"):
        st.query_params.clear()
        st.rerun()
    look.title("Take on a commission", "What you write is kept as you type. Everything can be changed later.")
    take_one_on(studio)


def _about(commission: Commission) -> str:
    """Say in one line whose it is, what it is cast in, how many casts, when it is due."""
    due = f"due {day_shown(commission.due_on)}" if commission.due_on is not None else ""
    told = (commission.client, commission.alloy, commission.size, counted(commission.casts, "cast"), due)
    return " · ".join(part for part in told if part)


def _state(known: Known) -> str:
    state = state_of(known)
    kind = state.stage.replace(" ", "-")
    return f'<span class="pm-state {kind}">{escaped(state_in_words(state))}</span>'


def _open(which: str) -> None:
    st.query_params["commission"] = which
    st.rerun()


show()
