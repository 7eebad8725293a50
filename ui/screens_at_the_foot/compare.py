"""Two finishes side by side: one photograph, two marks, how far apart they are and where."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import MatcherError
from matcher.words import capital
from ui.escaped import escaped
from ui.photograph import intake
from ui.photograph.card_step import ask_for_card
from ui.reading.two_marks import TwoMarks, ask_for_two, map_of
from ui.show import look
from ui.show.difference_picture import difference_picture
from ui.show.literal import literal
from ui.show.swatches import lab_line, pair, show_warnings
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.open_studio import chosen_target, the_studio

if TYPE_CHECKING:
    from matcher.reading.comparison import SideBySide
    from matcher.studio import Studio

NO_TARGET = 0
SPOTS, EVENED = "Spot by spot", "Smoothed"
WITHOUT_CARD = (
    "Without a card the two colours themselves are guesses. Their difference still holds: the same light falls on "
    "both, and what is not known about it is in the interval."
)


def show() -> None:
    studio = the_studio()
    draft = Draft(studio, "compare")
    look.title(
        "Two finishes side by side",
        "Put both into one photograph, close together in one light. What the camera and the light get wrong, they get "
        "wrong for both, so the difference is more certain than either colour.",
    )
    sha256 = draft.get("photo")
    if sha256 is None:
        from matcher.demo import two_finishes

        way = intake.choose_way(studio, draft, typed=False)
        intake.bring_in(studio, draft, way, [(two_finishes(), "The client's piece and the next plate")])
        return
    with told():
        _compare(studio, draft, sha256)
    if st.button("Use another photograph", type="tertiary", key="compare.another"):
        intake.forget_photograph(draft)
        st.rerun()


def _compare(studio: Studio, draft: Draft, sha256: str) -> None:
    studio.photo_path(sha256)
    if draft.get("card") is None:
        ask_for_card(studio, draft, sha256)
        return
    st.header("Mark both finishes", anchor=False)
    marks, beside = ask_for_two(studio, draft, sha256)
    if marks is None:
        return
    from matcher.reading.comparison import side_by_side

    found = side_by_side(*marks.readings)
    with beside:
        _difference(studio, draft, marks, found)
    _where(studio, draft, marks, found)


def _difference(studio: Studio, draft: Draft, marks: TwoMarks, found: SideBySide) -> None:
    """Say how far apart they are, how surely, and whether that is within the target's tolerance."""
    low, high = found.interval
    words = capital(found.words)
    st.html(
        pair(found.first.lab, found.second.lab, "first", "second")
        + f'<p class="pm-distance pm-said">ΔE00 {found.delta_e00:.1f} '
        f"<small>{low:.1f} to {high:.1f} with 95 %</small></p>"
        f'<p class="pm-words">{escaped(words)}</p>'
    )
    _verdict(studio, draft, found)
    if marks.light.card.way == "none":
        tell(WITHOUT_CARD, "warning")
    st.html(f'<p class="pm-soft">{escaped(found.gain_in_words)}</p>')
    with st.expander("Each on its own"):
        for name, reading in (("First", found.first), ("Second", found.second)):
            st.html(f'<p class="pm-said"><b>{name}</b></p>{lab_line(reading)}')
        show_warnings(tuple(dict.fromkeys((*found.first.caveats, *found.second.caveats))))


def _verdict(studio: Studio, draft: Draft, found: SideBySide) -> None:
    """Hold the difference against the tolerance of a target, when one is chosen."""
    targets = {target.id or NO_TARGET: target for target in reversed(studio.targets())}
    if not targets:
        return
    chosen = chosen_target(studio)
    field = draft.field("target_id", NO_TARGET if chosen is None else chosen.id)
    if st.session_state[field["key"]] not in (*targets, NO_TARGET):
        st.session_state[field["key"]] = NO_TARGET
    number = st.selectbox(
        "Compare with the tolerance of",
        [*targets, NO_TARGET],
        format_func=lambda key: "No target" if key == NO_TARGET else f"{targets[key].name}: {targets[key].tolerance:g}",
        **field,
    )
    if number:
        st.html(f'<p class="pm-tell">{escaped(found.verdict(targets[number].tolerance))}</p>')


def _where(studio: Studio, draft: Draft, marks: TwoMarks, found: SideBySide) -> None:
    """Show where the two differ."""
    from matcher.reading.difference_map import COARSE, FINE, in_bands
    from matcher.reading.wording import where_they_differ_in_words

    st.header("Where they differ", anchor=False)
    picture_side, words_side = st.columns([1.2, 1], gap="medium")
    details = {EVENED: COARSE, SPOTS: FINE}
    with words_side:
        detail = st.segmented_control(
            "Detail", list(details), format_func=literal, required=True, **draft.field("detail", EVENED)
        )
        st.html(
            "<p>The second mark is laid over the first, corner to corner. Spot by spot, the mottle of one falls on "
            "the mottle of the other; smoothed, the mottle blends, and what is left differs over a whole area.</p>"
        )
    try:
        with st.spinner("Laying one over the other…"):
            differ = map_of(studio, marks, found.covariance, details[detail or EVENED])
    except MatcherError as error:
        with picture_side:
            tell(str(error), "warning")
        return
    with picture_side:
        st.html(difference_picture(*in_bands(differ.apart)))
    with words_side:
        st.html(f"<p>{escaped(where_they_differ_in_words(differ))}</p>")


show()
