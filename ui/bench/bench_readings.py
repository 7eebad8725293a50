"""Readings of the piece on the bench, each after so many passes: taken, corrected, left out, put back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.bench.work import After, Piece, Taken
from matcher.words import capital
from ui.bench.step_now import TO_BUTTON
from ui.photograph.lay_beside import offer_to_lay
from ui.photograph.plates_there import keep_seen
from ui.reading.colour_in import colour_in
from ui.recipe.piece import half_reading
from ui.show import look
from ui.show.literal import literal
from ui.show.swatches import field, figures
from ui.state.drafts import Draft
from ui.state.messages import told

if TYPE_CHECKING:
    from matcher.bench.path import BenchPath
    from matcher.studio import Studio

OPEN = "reading_open"
OWN_FIELDS = (OPEN, "after")


def show_readings(studio: Studio, piece: Piece, path: BenchPath | None) -> None:
    """List the readings, and let one be added or corrected."""
    intake = half_reading(studio, piece)
    with look.panel("bench-readings"):
        st.html("<strong>Readings of this piece</strong>")
        if not piece.readings:
            st.html(
                '<p class="pm-soft">None yet. Each one corrects the path: this piece may take the coat faster or '
                "slower than those before it.</p>"
            )
        for taken in piece.readings:
            _one(studio, intake, piece, path, taken)
        if piece.readings and not intake.get(OPEN):
            offer_to_lay(studio, piece.readings[-1].reading, what="the piece")
        gone = piece.taken_out
        if gone is not None and gone.after in piece.on_its_way:
            label = f"Restore the reading {piece.in_words(gone.after)}"
            if st.button(literal(label), type="tertiary", key="bench-put-back"):
                studio.shelf.change(piece.uid, Piece.put_back)
                st.rerun()
        if not intake.get(OPEN) and st.button("Add a reading", key="bench-add-reading", icon=":material/add:"):
            intake.fill({**intake.values, OPEN: True, "after": _key(piece.after)})
            st.rerun()
        if intake.get(OPEN):
            _take(studio, intake, piece)


def _one(studio: Studio, intake: Draft, piece: Piece, path: BenchPath | None, taken: Taken) -> None:
    lab, when = taken.reading.lab, piece.in_words(taken.after)
    words, actions = st.columns([1.6, 1], vertical_alignment="center")
    here = path is not None and path.last_coat and taken.after.coat == piece.after.coat
    delta = path.readings_delta_e00.get(taken.after.passes) if here and path is not None else None
    with words:
        away = "" if delta is None else f": ΔE00 {delta:.1f}"
        st.html(
            f'<div class="pm-read"><div class="pm-mat">{field(lab, f"Read {when}")}</div>'
            f"<p><b>{capital(when)}{away}</b><br>"
            f'<span class="pm-soft pm-figures">{figures(lab)}</span></p></div>'
        )
    name = _key(taken.after).replace(".", "-")
    with actions, st.container(horizontal=True, horizontal_alignment="right", gap="small"):
        if st.button("Correct", key=f"bench-correct-{name}"):
            intake.fill({**taken.taken_as, OPEN: True, "after": _key(taken.after)})
            st.rerun()
        if st.button("Remove", key=f"bench-take-out-{name}"):
            studio.shelf.change(piece.uid, lambda now: now.without_reading(taken.after))
            st.rerun()


def _take(studio: Studio, intake: Draft, piece: Piece) -> None:
    """Let one colour come in, from a photograph or typed, and say after how many passes it was taken."""
    st.header("A reading of the piece", anchor=False)
    st.html('<p class="pm-soft">Torch out and set down before you reach for the camera. Read the piece unsealed.</p>')
    points = {_key(after): after for after in piece.on_its_way}
    tied = intake.field("after", _key(piece.after))
    if st.session_state[tied["key"]] not in points:
        st.session_state[tied["key"]] = _key(piece.after)
    chosen = st.selectbox("Taken", list(points), format_func=lambda key: literal(piece.in_words(points[key])), **tied)
    reading, beside = colour_in(studio, intake, "Mark the finish", "This reading")
    with beside or st.container(), st.container(horizontal=True, vertical_alignment="center"):
        if reading is not None and st.button("Save this reading", type="primary", key="bench-keep-reading"):
            kept = {name: value for name, value in intake.values.items() if name not in OWN_FIELDS}
            with told():
                studio.shelf.change(piece.uid, lambda now: now.with_reading(Taken(points[chosen], reading, kept)))
                keep_seen(studio, intake)
                intake.drop()
                st.session_state[TO_BUTTON] = True
                st.rerun()
        if st.button("Not now", type="tertiary", key="bench-no-reading"):
            intake.set(**{OPEN: False})
            st.rerun()


def _key(after: After) -> str:
    return f"{after.coat}.{after.passes}"
