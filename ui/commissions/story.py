"""What happened with a commission, the latest first, and its journal: notes, decisions, what is to be handed over."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.commissions.commission import HANDOVER, KINDS
from matcher.commissions.wording import event_in_words
from matcher.dates import SHORT, shown
from matcher.errors import MatcherError
from ui.escaped import escaped
from ui.photograph.photographs import image
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.who import remember, who

if TYPE_CHECKING:
    from matcher.commissions.known import Known
    from matcher.commissions.timeline import Event
    from matcher.studio import Studio

AT_FIRST = 12
_KIND_WORDS = dict(zip(KINDS, ("A note", "A decision", "To hand over"), strict=True))
WHOLE = 0
THUMB = 160


def show_timeline(studio: Studio, known: Known, events: Sequence[Event]) -> None:
    """Show what happened, the latest at the head."""
    st.html("<h2>What happened</h2>")
    latest = list(reversed(events))
    st.html(_listed(studio, known, latest[:AT_FIRST]))
    if len(latest) > AT_FIRST:
        with st.expander(f"Earlier ({len(latest) - AT_FIRST:d})"):
            st.html(_listed(studio, known, latest[AT_FIRST:]))


def show_handover(known: Known, events: Sequence[Event]) -> None:
    """Show what whoever looks after the piece must know, as it was written."""
    lines = [event.line for event in events if event.line is not None and event.line.kind == HANDOVER]
    st.html("<h2>To hand over with the piece</h2>")
    if not lines:
        st.html(
            '<p class="pm-soft">Nothing is noted yet. Write down what its keeper must know: how it was sealed, how to '
            "clean it, when to wax it again.</p>"
        )
        return
    names = {area.id: area.name for area in known.commission.every_area}
    items = "".join(
        f"<li>{f'<b>{escaped(names[line.area_id])}:</b> ' if line.area_id in names else ''}{_in_lines(line.text)}</li>"
        for line in lines
    )
    st.html(f'<ul class="pm-handover">{items}</ul>')


def ask_for_line(studio: Studio, known: Known) -> None:
    """Ask for a line of the journal, kept as it is typed until it is written down."""
    with st.container(key="fill-in-journal"):
        _ask_for_line(studio, known)


def _ask_for_line(studio: Studio, known: Known) -> None:
    commission = known.commission
    draft = Draft(studio, f"journal of commission {commission.id}")
    st.html("<h2>Journal</h2>")
    if said := draft.said():
        tell(said, "done")
    st.segmented_control(
        "What it is", KINDS, format_func=_KIND_WORDS.__getitem__, required=True, **draft.field("kind", KINDS[0])
    )
    st.text_area("Write it down", height=90, placeholder="She wants it a touch warmer.", **draft.field("text", ""))
    left, right = st.columns(2, gap="medium")
    areas = {WHOLE: "The whole piece", **{area.id or 0: area.name for area in commission.areas}}
    field = draft.field("area_id", WHOLE)
    if st.session_state[field["key"]] not in areas:
        st.session_state[field["key"]] = WHOLE
    left.selectbox("About", list(areas), format_func=areas.__getitem__, **field)
    right.text_input("Written by", live=True, **draft.field("who", who()))
    with st.expander("With a photograph"):
        file = st.file_uploader("A photograph", key=draft.key("file"), label_visibility="collapsed")
        if file is not None and draft.get("file") != file.file_id:
            with told():
                draft.set(photo=studio.keep_photo(file.getvalue(), file.name), file=file.file_id)
        if sha256 := draft.get("photo"):
            st.html(_thumb(studio, sha256))
    if st.button("Keep this line", key=f"journal.keep.{commission.id}"):
        with told():
            _written(studio, draft, commission.id)


def _written(studio: Studio, draft: Draft, commission_id: int | None) -> None:
    from matcher.commissions.commission import JournalLine

    line = JournalLine(
        commission_id,
        draft.shown("text") or "",
        draft.shown("kind") or KINDS[0],
        draft.shown("area_id") or None,
        draft.get("photo"),
        remember(draft.shown("who", who())),
    )
    studio.commissions.write(line=line)
    draft.drop()
    draft.say("Written down.")
    st.rerun()


def _listed(studio: Studio, known: Known, events: Sequence[Event]) -> str:
    items = "".join(
        f"<li><time>{shown(event.at, SHORT)}</time><div>{_in_lines(event_in_words(event, known))}"
        f"{f' <small>{escaped(event.who)}</small>' if event.who else ''}"
        f"{_thumb(studio, event.photo) if event.photo and event.what in ('photograph', 'journal') else ''}</div></li>"
        for event in events
    )
    return f'<ol class="pm-story" aria-label="What happened, the latest first">{items}</ol>'


def _thumb(studio: Studio, sha256: str) -> str:
    try:
        return f'<div class="pm-photo story">{image(studio, sha256, "The photograph kept then")}</div>'
    except MatcherError:
        return ""


def _in_lines(text: str) -> str:
    return escaped(text).replace("\n", "<br>")
