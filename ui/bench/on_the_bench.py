"""What is on the bench: the list of pieces, a line of the others beside the one being worked on, the way off."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.bench.wording import done_so_far, shortly, standing, title_of
from matcher.commissions.known import uses_on_bench
from matcher.commissions.wording import use_in_words
from matcher.words import counted
from ui.escaped import escaped
from ui.show import look
from ui.show.literal import literal
from ui.state.messages import told
from ui.state.remembered import as_seen

if TYPE_CHECKING:
    from matcher.bench.work import Piece
    from matcher.studio import Studio


def list_pieces(studio: Studio, pieces: Sequence[Piece]) -> None:
    """List the pieces that are being worked on, each with the way to it."""
    names = {target.id: target.name for target in studio.targets()}
    uses = uses_on_bench(studio.database, pieces)
    with look.panel("bench-shelf"):
        st.html(f"<strong>{counted(len(pieces), 'piece')} on the bench</strong>")
        for piece in pieces:
            use = use_in_words(uses.get(piece.uid), names.get(piece.target_id))
            row = (
                f'<p class="pm-shelved"><b>{escaped(title_of(piece))}</b>{escaped(f" · {use}" if use else "")}<br>'
                f'<span class="pm-soft">{escaped(standing(piece))}</span></p>'
            )
            if look.way_in(row, f"Go to {title_of(piece)}", f"bench-open-{piece.uid}"):
                _open(piece)


def others_line(others: Sequence[Piece]) -> None:
    """Show the other pieces in one line, each to be reached with one touch."""
    if not others:
        return
    with st.container(key="bench-others", horizontal=True, gap="small"):
        for piece in others:
            if st.button(literal(f"{title_of(piece)} · {shortly(piece)}"), key=f"bench-open-{piece.uid}"):
                _open(piece)


def ask_to_take_off(studio: Studio, piece: Piece) -> None:
    """Take a piece off the bench once the person has said so twice: what was counted goes with it."""
    seen = as_seen(f"piece.{piece.uid}", piece)
    with st.popover("Take off the bench", type="tertiary"):
        st.html(
            f"<p>{escaped(title_of(piece))}: {escaped(done_so_far(piece))}. This is gone for good then, and "
            "nothing of it is logged. To keep it, record the plate instead.</p>"
        )
        if st.button("Yes, take it off", key="bench-take-off"):
            with told():
                studio.shelf.take_off(piece.uid, seen)
                st.query_params.pop("piece", None)
                st.rerun()


def _open(piece: Piece) -> None:
    st.query_params["piece"] = piece.uid
    st.rerun()
