"""The studio's own chart, at the log: which plates make it, what it gains, its page to print; kept till chosen anew."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError, TagError
from matcher.tags.wording import ALL_ALIKE, KNOWN_MORE_SURELY, MARK_ANEW, ON_A_BOARD
from matcher.words import counted, listed
from ui.escaped import escaped
from ui.photograph.lay_beside import plates_in_a_strip
from ui.recipe.print_card import paper_choice, say_what_prints_not
from ui.state.cache_keys import Key, board_key
from ui.state.messages import tell, told
from ui.state.open_studio import how_many
from ui.state.remembered import as_seen
from ui.state.who import who
from ui.wall.print_tags import own_address, plate_numbers, size_choice

if TYPE_CHECKING:
    from matcher.plates_beside import Board
    from matcher.studio import Studio

CHOOSING, ASKED = "board.choosing", "board.asked"
"""Whether a person chooses anew, and what was asked for: how many plates, or which."""


def show_board(studio: Studio) -> None:
    """Show the board that is kept, or let one be chosen; nothing while no plate is logged.

    Folded, but for what is to be said of the board that is kept.
    """
    from matcher.plates_beside import FEWEST_ON_BOARD, MOST_ON_BOARD, ON_BOARD

    if not how_many(studio):
        return
    seen = as_seen("board", studio.board_uids)
    kept, fault = None, ""
    try:
        with st.spinner("Working out what the board is worth…"):
            kept = _kept(board_key(studio, studio.board_uids), studio)
    except MatcherError as error:
        fault = str(error)
    to_say = bool(fault) or (kept is not None and bool(kept.changed or kept.left_out))
    with st.expander("The studio's own chart", expanded=to_say, key="log.board"):
        st.html(
            "<p>Some of your own plates on one board, laid beside whatever is photographed, make every reading surer, "
            "above all of finishes like yours. Which do most for the colours that you make is worked out from the "
            "log.</p>"
        )
        with told():
            if fault:
                tell(fault)
                return
            if kept is not None:
                _show(studio, kept, "kept")
                _print(studio, kept)
            if kept is not None and not st.session_state.get(CHOOSING):
                with st.container(horizontal=True, key="board-other"):
                    if st.button("Choose the plates anew", type="tertiary", key="board.anew"):
                        st.session_state[CHOOSING] = True
                        st.rerun()
                    if st.button("Keep no board", type="tertiary", key="board.forget"):
                        studio.keep_board([], seen, who())
                        st.rerun()
                return
            with st.container(horizontal=True, vertical_alignment="bottom", key="board-count"):
                count = st.number_input("How many plates", FEWEST_ON_BOARD, MOST_ON_BOARD, ON_BOARD, key="board.count")
                these = st.text_input("Or these plates", placeholder="5, 6, 12", live=True, key="board.these") or ""
                if st.button("Show which plates", key="board.show"):
                    st.session_state[ASKED] = tuple(plate_numbers(these)) or int(count)
            if st.session_state.get(ASKED):
                _proposed(studio, kept, st.session_state[ASKED], seen)


def _proposed(studio: Studio, kept: Board | None, asked: int | tuple[int, ...], seen: Sequence[str]) -> None:
    """Show the plates that would make the best board by now, or those that were asked for, and let them be kept."""
    with st.spinner("Working out which plates tell most…"):
        best = _best(board_key(studio, asked), studio, asked)
    if kept is not None and set(kept.numbers) == set(best.numbers):
        same = "By now the same plates would be chosen." if isinstance(asked, int) else "These make the board already."
        tell(same, "done")
        return
    if kept is not None:
        st.subheader("Chosen by now", anchor=False)
    _show(studio, best, "best")
    label = "Keep these as the board" if kept is None else "Keep these instead"
    if st.button(label, type="primary", key="board.keep"):
        with told():
            studio.keep_board(best.numbers, seen, who())
            for slot in (CHOOSING, ASKED):
                st.session_state.pop(slot, None)
            st.rerun()


@st.cache_resource(show_spinner=False, max_entries=8)
def _best(key: Key, _studio: Studio, _asked: int | tuple[int, ...]) -> Board:
    return _studio.board(_asked) if isinstance(_asked, int) else _studio.board_with(_asked)


@st.cache_resource(show_spinner=False, max_entries=8)
def _kept(key: Key, _studio: Studio) -> Board | None:
    return _studio.kept_board()


def _show(studio: Studio, board: Board, key: str) -> None:
    """Show a board's plates, and what it gains."""
    from matcher.reading.advice import reach_of

    known = {number: studio.colour_by_now(number) for number in board.numbers}
    colours = [(number, one.lab) for number, one in known.items()]
    half = -(-len(colours) // 2)
    rows = [colours] if len(colours) < 7 else [colours[:half], colours[half:]]
    st.html(f'<div class="pm-board">{"".join(map(plates_in_a_strip, rows))}</div>')
    if board.numbers:
        st.html(f"<p>{escaped(board.words)}.</p>")
        with st.expander("With each number of plates", key=f"board.bars.{key}"):
            st.html(_bars(board.reaches))
        reaches = [reach_of(one) for one in known.values()]
        how = f"These are known to ±{min(reaches):.1f} at best and ±{max(reaches):.1f} at worst. {KNOWN_MORE_SURELY}"
        st.html(f'<p class="pm-soft">{escaped(how)}</p><p class="pm-soft">{escaped(ALL_ALIKE)}</p>')
    if board.changed:
        tell(board.changed_words, "warning")
    if board.left_out:
        names = listed([str(number) for number in board.left_out])
        tell(f"Set aside since, and left out: {names}. Choose anew, or restore it in the log.", "warning")


def _bars(reaches: Sequence[float]) -> str:
    """Return how surely colours are read with none, one, two ... of the plates, as bars in HTML."""
    rows = "".join(
        f"<li><span>{'None, a grey card alone' if k == 0 else counted(k, 'plate')}</span><b>±{reach:.1f}</b>"
        f'<i aria-hidden="true"><i style="width: {100 * reach / reaches[0]:.1f}%"></i></i></li>'
        for k, reach in enumerate(reaches)
    )
    return f'<ul class="pm-parts">{rows}</ul>'


def _print(studio: Studio, board: Board) -> None:
    """Give the board's page to print, and its plates their tags."""
    from matcher.printed import next_tag_number, printed_board, tags_for_plates
    from matcher.sheets.paper import paper_named
    from matcher.tags.code import checked_address

    if not board.numbers:
        return
    st.html(f"<p>{escaped(ON_A_BOARD)}</p><p>{escaped(MARK_ANEW)}</p>")
    tags = tags_for_plates(studio, board.numbers, next_tag_number(studio))
    carried = {one.trial_id for one in studio.tags().in_force()}
    new = {plate: str(tag.code) for plate, tag in tags.items() if plate not in carried}
    say_what_prints_not(studio)
    with st.container(horizontal=True, vertical_alignment="bottom", key="board-print"):
        size, paper = size_choice("board.size"), paper_choice("board.paper")
    if new:
        lines = ", ".join(f"plate {plate}: {tag}" for plate, tag in new.items())
        tell(f"New tags, for {lines}. Give them once the page is printed, so that no number is used twice.", "warning")
    address = own_address()
    try:
        checked_address(address)
    except TagError:
        address = ""

    def page() -> bytes:
        return printed_board(studio, tags, board.words, size, address, paper_named(paper))

    with st.container(horizontal=True, key="board-go"):
        as_pdf: Any = {"on_click": "ignore", "type": "primary", "key": "board.print"}
        st.download_button("Print the board's page", page, "board.pdf", "application/pdf", **as_pdf)
        if new and st.button("Give the new ones to their plates", key="board.give"):
            for plate, tag in new.items():
                studio.give_tag(plate, tag, who())
            st.rerun()
