"""Two finishes in one photograph: marked, read in the same light, and laid upon each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from ui.draw import Shape, draw
from ui.photograph.card_step import card_reading
from ui.photograph.photographs import bench_picture, photo_of
from ui.photograph.plates_there import plates_drawn, plates_there
from ui.photograph.proposed import as_drawn, confirmed, proposals
from ui.reading.finish_step import card_outline, change_card
from ui.reading.read_marks import calibration_of, finish_reading
from ui.reading.which_light import ask_light
from ui.state.cache_keys import Key, light_key
from ui.state.light import CardChoice, Light
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.reading.difference_map import DifferenceMap
    from matcher.reading.reading import Reading
    from matcher.studio import Studio
    from ui.state.drafts import Draft


@dataclass(frozen=True, eq=False)
class TwoMarks:
    """Two marks on a photograph and their readings, in the order in which they were drawn."""

    sha256: str
    light: Light
    shapes: tuple[Shape, Shape]
    readings: tuple[Reading, Reading]


def ask_for_two(studio: Studio, draft: Draft, sha256: str) -> tuple[TwoMarks | None, Any]:
    """Show the photograph to mark two finishes on; return their readings, or None, and the column beside."""
    choice = CardChoice.from_dict(draft.get("card"))
    card = card_reading(studio, sha256, choice)
    profile, _ = studio.profile_for(photo_of(studio, sha256), card)
    marked = tuple(Shape.from_dict(shape) for shape in draft.get("finishes") or ())
    proposed = proposals(studio, sha256, choice, marked) if len(marked) < 2 else ()
    picture_side, words_side = st.columns([1.75, 1], gap="medium")
    with picture_side:
        chosen = confirmed(draft, sha256, proposed, none_marked=not marked) if len(marked) < 2 else None
        if chosen is not None:
            draft.set(finishes=[shape.as_dict() for shape in (*marked, chosen)])
            st.rerun()
        now = draw(
            bench_picture(studio, sha256, "The photograph, to mark two finishes on"),
            "regions",
            marked,
            key=f"{draft.form}.{sha256[:12]}.finish",
            most=2,
            fixed=card_outline(card) + plates_drawn(plates_there(studio, sha256), ()) + as_drawn(proposed),
        )
        change_card(draft, card, profile)
    if now != marked:
        draft.set(finishes=[shape.as_dict() for shape in now])
        if proposed or len(now) < 2:
            st.rerun()  # what is proposed goes, or comes back
    with words_side:
        if len(now) < 2:
            st.html(f"<p>{MARK_FIRST if not now else MARK_SECOND}</p>")
            return None, words_side
        light = Light(choice, ask_light(draft, profile, photo_of(studio, sha256), card), profile)
        return _read_both(studio, sha256, light, (now[0], now[1])), words_side


MARK_FIRST = "Draw a box over an even part of the first finish, or an outline around it. Leave edges and glare out."
MARK_SECOND = "Now mark the second finish in the same way, about as large."


def _read_both(studio: Studio, sha256: str, light: Light, shapes: tuple[Shape, Shape]) -> TwoMarks | None:
    readings = []
    with st.spinner("Reading both finishes…"):
        for number, shape in enumerate(shapes, start=1):
            try:
                readings.append(finish_reading(studio, sha256, light, shape))
            except MatcherError as error:
                tell(f"{number}: {error}")
    return TwoMarks(sha256, light, shapes, (readings[0], readings[1])) if len(readings) == 2 else None


def map_of(studio: Studio, marks: TwoMarks, covariance: Any, longest: int) -> DifferenceMap:
    """Return where the two differ, laid upon each other; ``longest``: cells along. Raises MatcherError.

    covariance: (3, 3) of the difference of their readings.
    """
    key = (*light_key(studio, marks.sha256, marks.light), covariance.tobytes())
    return _map(key, marks.shapes, longest, studio, marks, covariance)


@st.cache_resource(show_spinner=False, max_entries=8)
def _map(
    key: Key, shapes: tuple[Shape, Shape], longest: int, _studio: Studio, _marks: TwoMarks, _covariance: Any
) -> DifferenceMap:
    from matcher.reading.difference_map import difference_map, map_size

    photo = photo_of(_studio, _marks.sha256)
    calibration = calibration_of(_studio, _marks.sha256, _marks.light)
    first, second = (shape.points for shape in shapes)
    return difference_map(photo, calibration, first, second, _covariance, map_size(first, longest))
