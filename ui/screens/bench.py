"""At the bench: a piece led to its target pass by pass, to be read at arm's length and pressed with gloves on."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING, Literal

import streamlit as st

from matcher.errors import StudioError
from matcher.words import counted, percent
from ui.bench.bench_readings import show_readings
from ui.bench.choose_piece import ALL_OF_THEM, ask_if_sealed, choose
from ui.bench.pass_path import show_path
from ui.recipe.piece import FORM, UNSEALED, Piece, hand_over, lay_by, lay_pass, piece_of, undo_pass
from ui.show import look
from ui.show.cautions import show_cautions
from ui.show.nonbreaking import nonbreaking
from ui.show.steps import recipe_steps
from ui.show.swatches import pair
from ui.state.cache_keys import Key, log_key
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.open_studio import logged, the_studio
from ui.state.places import RECORD

if TYPE_CHECKING:
    from matcher.bench.path import BenchPath
    from matcher.bench.seal import SealShift
    from matcher.studio import Studio
    from matcher.trials.trial import Target


def show() -> None:
    studio = the_studio()
    draft = Draft(studio, FORM)
    piece = piece_of(draft)
    if said := draft.said():
        tell(said)
    if piece is None:
        look.title("At the bench", "Follow a piece pass by pass: where it is, how many passes remain, when to stop.")
        choose(studio, draft)
        return
    if piece.handed_over:
        _handed_over(studio, draft, piece)
        return
    try:
        target = studio.target(piece.target_id)
    except StudioError as error:
        tell(str(error))
        _away(studio, draft)
        return
    _work(studio, draft, piece, target)


def _work(studio: Studio, draft: Draft, piece: Piece, target: Target) -> None:
    look.title("At the bench", f"For {target.name}, within ΔE00 {target.tolerance:g}.")
    if draft.unkept:
        tell(draft.unkept)
    shift = None if piece.sealed == UNSEALED else _shift(log_key(studio), piece.sealed, studio)
    with st.spinner("Looking ahead…"):
        path = studio.suggester().bench_path(target.reading, piece.recipe, piece.readings, shift, piece.done)
    now_side, path_side = st.columns([1, 1.25], gap="medium")
    with now_side:
        _now(draft, piece, path, target.tolerance)
        name = "Target" if shift is None else "Target before sealing"
        st.html(pair(path.goal.lab, path.labs[piece.done], name, "Piece now, expected"))
        if shift is not None:
            _seal_words(shift)
    with path_side:
        show_path(path, piece.readings, target.tolerance, name)
    show_readings(studio, draft, piece, path)
    _recipe(draft, piece)
    _finish(studio, draft, piece, path)


@st.cache_resource(show_spinner=False, max_entries=4)
def _shift(key: Key, sealed: str, _studio: Studio) -> SealShift:
    """Return what a seal did to other plates; learned anew only when the log has changed."""
    from matcher.bench.seal import learn_seal_shift

    return learn_seal_shift(logged(_studio), sealed)


def _now(draft: Draft, piece: Piece, path: BenchPath, tolerance: float) -> None:
    """Say what to do in letters that are read from where the torch is held, with one large button below."""
    laid = f"{counted(piece.done, 'pass')} done" if piece.done else "No pass done yet"
    when = "then" if path.remaining else "now"
    chance = f"Chance to be within {tolerance:g} {when}: {percent(path.chance_within(tolerance))}."
    with look.panel("bench-now"):
        st.html(
            f'<p class="pm-laid">{laid}</p><p class="pm-instruction" role="status">{html.escape(path.instruction)}</p>'
            f"<p>{nonbreaking(path.sentence)} {chance}</p>"
        )
        if path.warning is not None:
            tell(path.warning, "wrong")
        if piece.done and path.past and path.expected[piece.done] <= tolerance:
            tell(f"It is still expected within ΔE00 {tolerance:g}: read the piece before you burnish it.", "warning")
        if path.caveat is not None:
            tell(path.caveat, "warning")
        kind: Literal["primary", "secondary"] = "primary" if path.remaining else "secondary"
        # Counted before the page is worked out anew, so that quick presses do not overtake one another.
        st.button(
            "One pass done", type=kind, key="bench-pass", width="stretch", on_click=lay_pass, args=(draft, piece.uid)
        )
        if piece.done and st.button("Undo the last pass", key="bench-undo", width="stretch"):
            why = undo_pass(draft)
            if why is None:
                st.rerun()
            tell(why, "warning")


def _seal_words(shift: SealShift) -> None:
    st.html(
        f'<p class="pm-soft">{nonbreaking(shift.sentence)} The piece is read unsealed, so it is compared with what it '
        "must be before sealing; the bands include this uncertainty too.</p>"
    )


def _recipe(draft: Draft, piece: Piece) -> None:
    with st.expander("Recipe, seal and cautions"):
        st.html(recipe_steps(piece.recipe))
        ask_if_sealed(draft, "sealed", piece.sealed)
        show_cautions(piece.recipe, first=ALL_OF_THEM)


def _finish(studio: Studio, draft: Draft, piece: Piece, path: BenchPath) -> None:
    with st.container(horizontal=True, vertical_alignment="center", key="bench-end"):
        ready = piece.done > 0 and path.remaining == 0
        if st.button("Record this plate", type="primary" if ready else "secondary", key="bench-record"):
            hand_over(studio, draft, piece)
        _away(studio, draft)


def _away(studio: Studio, draft: Draft) -> None:
    if st.button("Start another piece", type="tertiary", key="bench-another"):
        lay_by(studio, draft)
        st.rerun()


def _handed_over(studio: Studio, draft: Draft, piece: Piece) -> None:
    look.title("At the bench", "This piece is now in the record form.")
    with st.container(horizontal=True, vertical_alignment="center"):
        if st.button("Continue recording", type="primary", key="bench-go-on"):
            st.switch_page(RECORD.file)
        if st.button("More passes on this piece", key="bench-more"):
            draft.set(handed_over=False)
            st.rerun()
        _away(studio, draft)


show()
