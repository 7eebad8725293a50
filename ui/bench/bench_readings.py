"""Readings of the piece on the bench, each after so many passes: taken, corrected, left out, put back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.words import counted
from ui.reading.colour_in import colour_in
from ui.recipe.piece import READING_FORM, Piece, keep_reading, put_back, take_out, taken_as
from ui.show import look
from ui.show.literal import literal
from ui.show.swatches import field, figures
from ui.state.drafts import Draft

if TYPE_CHECKING:
    from matcher.bench.path import BenchPath
    from matcher.studio import Studio

OPEN = "reading_open"
OWN_FIELDS = (OPEN, "after")


def show_readings(studio: Studio, draft: Draft, piece: Piece, path: BenchPath) -> None:
    """List the readings, and let one be added or corrected."""
    intake = Draft(studio, READING_FORM)
    with look.panel("bench-readings"):
        st.html("<strong>Readings of this piece</strong>")
        if not piece.readings:
            st.html(
                '<p class="pm-soft">None yet. Each one corrects the path: this piece may take the coat faster or '
                "slower than those before it.</p>"
            )
        for count in sorted(piece.readings):
            _one(draft, intake, piece, path, count)
        gone = draft.get("taken_out")
        if gone is not None and st.button(
            f"Restore the reading after {literal(counted(gone['after'], 'pass'))}",
            type="tertiary",
            key="bench-put-back",
        ):
            put_back(draft)
            st.rerun()
        if not intake.get(OPEN) and st.button("Add a reading", key="bench-add-reading", icon=":material/add:"):
            intake.fill({**intake.values, OPEN: True, "after": piece.done})
            st.rerun()
        if intake.get(OPEN):
            _take(studio, draft, intake, piece)


def _one(draft: Draft, intake: Draft, piece: Piece, path: BenchPath, count: int) -> None:
    lab = piece.readings[count].lab
    words, actions = st.columns([1.6, 1], vertical_alignment="center")
    after = counted(count, "pass")
    with words:
        st.html(
            f'<div class="pm-read"><div class="pm-mat">{field(lab, f"Read after {after}")}</div>'
            f"<p><b>After {after}: ΔE00 {path.readings_delta_e00[count]:.1f}</b><br>"
            f'<span class="pm-soft pm-figures">{figures(lab)}</span></p></div>'
        )
    with actions, st.container(horizontal=True, horizontal_alignment="right", gap="small"):
        if st.button("Correct", key=f"bench-correct-{count}"):
            intake.fill({**taken_as(draft, count), OPEN: True, "after": count})
            st.rerun()
        if st.button("Remove", key=f"bench-take-out-{count}"):
            take_out(draft, count)
            st.rerun()


def _take(studio: Studio, draft: Draft, intake: Draft, piece: Piece) -> None:
    """Let one colour come in, from a photograph or typed, and say after how many passes it was taken."""
    st.subheader("A reading of the piece", anchor=False)
    st.html('<p class="pm-soft">Torch out and set down before you reach for the camera. Read the piece unsealed.</p>')
    counts = list(range(piece.done + 1))
    tied = intake.field("after", piece.done)
    if st.session_state[tied["key"]] not in counts:
        st.session_state[tied["key"]] = piece.done
    after = st.selectbox("Taken after", counts, format_func=_when, **tied)
    reading, beside = colour_in(studio, intake, "Mark the finish", "This reading")
    with beside or st.container(), st.container(horizontal=True, vertical_alignment="center"):
        if reading is not None and st.button("Save this reading", type="primary", key="bench-keep-reading"):
            kept = {name: value for name, value in intake.values.items() if name not in OWN_FIELDS}
            keep_reading(draft, after, reading, kept)
            intake.drop()
            st.rerun()
        if st.button("Not now", type="tertiary", key="bench-no-reading"):
            intake.set(**{OPEN: False})
            st.rerun()


def _when(count: int) -> str:
    return "the start, before the first pass" if count == 0 else counted(count, "pass")
