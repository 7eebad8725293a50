"""At the bench: pieces led to their targets pass by pass, to be read at arm's length and pressed with gloves on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.bench.wording import title_of
from matcher.commissions.known import uses_on_bench
from matcher.commissions.wording import goal_in_words
from matcher.errors import MatcherError, SuggestionError
from matcher.words import counted
from ui.bench.bench_readings import show_readings
from ui.bench.choose_piece import choose
from ui.bench.on_the_bench import ask_to_take_off, list_pieces, others_line
from ui.bench.pass_path import show_path
from ui.bench.step_now import come_back_to_button, is_over, record_button, show_beside, show_now
from ui.bench.whole_recipe import show_whole
from ui.escaped import escaped
from ui.recipe.piece import CHOOSE, is_handed_over, is_mine, on_the_bench
from ui.recipe.record_forms import FORMS
from ui.show import look
from ui.show.swatches import pair
from ui.state.cache_keys import Key, log_key
from ui.state.messages import tell
from ui.state.open_studio import logged, the_studio

if TYPE_CHECKING:
    from matcher.bench.path import BenchPath
    from matcher.bench.seal import SealEffect
    from matcher.bench.work import Piece
    from matcher.studio import Studio
    from matcher.trials.trial import Target

ABOUT = "Follow each piece step by step: where it is, how many passes remain, when to stop."


def show() -> None:
    studio = the_studio()
    wanted = st.query_params.get("piece")
    pieces = on_the_bench(studio)
    piece = studio.shelf.find(wanted) if wanted != CHOOSE else None
    if wanted and wanted != CHOOSE and piece is None:
        tell("That piece is no longer on the bench: it was recorded, or taken off on another screen.", "warning")
    if piece is None and not wanted and len(pieces) == 1:
        piece = pieces[0]
    if piece is None:
        if wanted == CHOOSE or not pieces:
            others_line(pieces)
            look.title("At the bench", ABOUT)
            choose(studio)
            return
        look.title("At the bench", ABOUT)
        list_pieces(studio, pieces)
        if st.button("Put another piece on the bench", key="bench-another", icon=":material/add:"):
            _open(CHOOSE)
        return
    if is_handed_over(studio, piece):
        _handed_over(studio, piece, pieces)
        return
    _work(studio, piece, [other for other in pieces if other.uid != piece.uid])


def _work(studio: Studio, piece: Piece, others: list[Piece]) -> None:
    target, path = _target(studio, piece), None
    others_line(others)
    use = uses_on_bench(studio.database, [piece]).get(piece.uid)
    look.title(title_of(piece), goal_in_words(use, target))
    if target is not None:
        try:
            with st.spinner("Looking ahead…"):
                path = _path(studio, piece, target)
        except SuggestionError as error:
            tell(f"{error} Until then the passes are only counted.", "warning")
    now_side, path_side = st.columns([1, 1.25], gap="medium")
    with now_side:
        show_now(studio, piece, path, target)
        if path is not None:
            _colours(path)
    with path_side:
        show_beside(studio, piece)
        if path is not None and target is not None:
            show_path(path, piece, target.tolerance, _goal_name(path))
    show_readings(studio, piece, path)
    show_whole(studio, piece)
    _finish(studio, piece, path, others)
    come_back_to_button()


def _target(studio: Studio, piece: Piece) -> Target | None:
    if not piece.target_id:
        return None
    try:
        return studio.target(piece.target_id)
    except MatcherError as error:
        tell(str(error))
        return None


def _path(studio: Studio, piece: Piece, target: Target) -> BenchPath | None:
    from matcher.bench.passes import course_of
    from matcher.bench.work import UNSEALED

    course = course_of(piece)
    if course is None:
        return None
    shift = None if piece.sealed == UNSEALED else _shift(log_key(studio), piece.sealed, studio)
    return studio.suggester(target.reading).piece_path(target.reading, course, shift, target.tolerance)


@st.cache_resource(show_spinner=False, max_entries=4)
def _shift(key: Key, sealed: str, _studio: Studio) -> SealEffect:
    """Return what a seal did to other plates; learned anew only when the log has changed."""
    from matcher.bench.seal import learn_seal_shift

    return learn_seal_shift(logged(_studio), sealed)


def _goal_name(path: BenchPath) -> str:
    return "Target" if path.seal is None else "Target before sealing"


def _colours(path: BenchPath) -> None:
    if path.last_coat:
        st.html(pair(path.goal.lab, path.labs[path.done], _goal_name(path), "Piece now, expected"))
    else:
        st.html(pair(path.goal.lab, path.ends[path.stop_at], _goal_name(path), "Finished piece, expected"))
    if path.seal is not None:
        st.html(
            f'<p class="pm-soft">{escaped(path.seal.sentence)} The piece is read unsealed, so it is compared with '
            "what it must be before sealing; the bands include this uncertainty too.</p>"
        )


def _finish(studio: Studio, piece: Piece, path: BenchPath | None, others: list[Piece]) -> None:
    with st.container(horizontal=True, vertical_alignment="center", key="bench-end"):
        if not piece.untouched and not is_over(piece, path):
            record_button(studio, piece, primary=path is not None and path.past)
        if st.button("Put another piece on the bench", type="tertiary", key="bench-another"):
            _open(CHOOSE)
        ask_to_take_off(studio, piece)
    nearby = [other for other in others if other.run == piece.run] if piece.run else []
    if nearby:
        st.html(f'<p class="pm-soft">{counted(len(nearby), "other plate")} of this run on the bench.</p>')


def _handed_over(studio: Studio, piece: Piece, pieces: list[Piece]) -> None:
    mine = is_mine(piece)
    look.title(title_of(piece), f"This piece is now in {'the' if mine else _possessive(studio, piece)} record form.")
    with st.container(horizontal=True, vertical_alignment="center"):
        if mine and piece.form and st.button("Continue recording", type="primary", key="bench-go-on"):
            FORMS.go_to(piece.form)
        if st.button("More passes on this piece", key="bench-more"):
            from dataclasses import replace

            studio.shelf.change(piece.uid, lambda now: replace(now, handed_over=False))
            st.rerun()
        if st.button("Put another piece on the bench", type="tertiary", key="bench-another"):
            _open(CHOOSE)
    if pieces:
        list_pieces(studio, pieces)


def _possessive(studio: Studio, piece: Piece) -> str:
    names = {person.uid: person.name for person in studio.access.people.people(include_left=True)}
    return f"{names[piece.handed_to]}'s" if piece.handed_to in names else "somebody's"


def _open(uid: str) -> None:
    st.query_params["piece"] = uid
    st.rerun()


show()
