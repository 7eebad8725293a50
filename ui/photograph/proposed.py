"""Outlines proposed for the finish: shown on the picture, and read only once a person has said so.

Every step that asks for a mark on a finish shows them in the same way; where none is sure, it says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from ui.draw import Fixed, Shape
from ui.escaped import escaped
from ui.photograph.card_step import card_reading
from ui.photograph.photographs import photo_of
from ui.photograph.plates_there import plates_there
from ui.state.cache_keys import Key, card_key
from ui.state.light import CardChoice

if TYPE_CHECKING:
    from matcher.card.outline import ProposedFinish
    from matcher.studio import Studio
    from ui.state.drafts import Draft


def proposals(
    studio: Studio, sha256: str, choice: CardChoice, marked: Sequence[Shape] = ()
) -> tuple[ProposedFinish, ...]:
    """Return what is proposed in a photograph, but for plates that are marked already, or known by their tags.

    Raises MatcherError.
    """
    from matcher.card.outline import clear_of_tags, not_marked_yet

    found = _proposals(card_key(studio, sha256, choice), studio, sha256, choice)
    plates = plates_there(studio, sha256)
    known = [one.outline for one in plates if one.reference is not None and one.outline is not None]
    left = not_marked_yet(found, [*(shape.points for shape in marked), *known])
    return clear_of_tags(left, [one.sighting.corners for one in plates])


def as_drawn(proposed: Sequence[ProposedFinish]) -> list[Fixed]:
    """Return the outlines to be shown on the picture, with the names that their buttons have."""
    return [
        Fixed(_points(item), f"Area {number}?" if len(proposed) > 1 else "This area?", proposed=True)
        for number, item in enumerate(proposed, start=1)
    ]


def confirmed(draft: Draft, sha256: str, proposed: Sequence[ProposedFinish], none_marked: bool = True) -> Shape | None:
    """Say what is proposed, with a button for each to read it; return the one that was just confirmed."""
    from matcher.reading.wording import proposals_in_words

    if not proposed and not none_marked:
        return None
    st.html(f'<p style="margin-bottom: 0">{escaped(proposals_in_words(proposed))}</p>')
    chosen = None
    with st.container(horizontal=True):
        for number, item in enumerate(proposed, start=1):
            label = f"Read area {number}" if len(proposed) > 1 else "Read this area"
            key = f"{draft.form}.{sha256[:12]}.proposed.{number}"
            if st.button(label, type="primary" if len(proposed) == 1 else "secondary", key=key):
                chosen = Shape("outline", _points(item))
    return chosen


def _points(item: ProposedFinish) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in item.outline)


@st.cache_resource(show_spinner=False, max_entries=24)
def _proposals(key: Key, _studio: Studio, _sha256: str, _choice: CardChoice) -> tuple[ProposedFinish, ...]:
    from matcher.card.outline import propose_finishes

    return propose_finishes(photo_of(_studio, _sha256), card_reading(_studio, _sha256, _choice))
