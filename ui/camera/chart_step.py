"""The 24-patch chart in a photograph: found and shown with its patches to be confirmed, or marked by its corners.

Nothing is taken silently; marks stay in the draft whatever the chart turns out to be.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from ui.draw import Fixed, Shape, draw
from ui.photograph.card_step import card_reading
from ui.photograph.photographs import bench_picture
from ui.state.light import CardChoice
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.card.reading import CardReading
    from matcher.studio import Studio
    from ui.state.drafts import Draft

CHART = "24-patch chart"
SPOTS = 4  # corners
NAMED = (0, -1)  # patches whose names are shown, so that it can be seen which way round the chart was taken


def ask_for_chart(studio: Studio, draft: Draft, sha256: str) -> None:
    """Show the photograph and settle where the chart is; the draft's "card" holds the answer afterwards."""
    found, trouble = _looked_for(studio, sha256, CardChoice("card", CHART))
    kept = draft.get("corners")
    if kept is not None:
        marked = tuple(Shape.from_dict(shape) for shape in kept)
    else:
        marked = () if found is None else (Shape("corners", _points(found.corners)),)
    choice = _choice(found, marked)
    seen, fault = (None, trouble) if choice is None else _looked_for(studio, sha256, choice)
    picture_side, words_side = st.columns([1.75, 1], gap="medium")
    with picture_side:
        picture = bench_picture(studio, sha256, "The photograph, to mark the chart on")
        now = draw(
            picture, "corners", marked, key=f"{draft.form}.{sha256[:12]}.chart", noun="chart", fixed=_patches(seen)
        )
    if now != marked:
        draft.set(corners=[shape.as_dict() for shape in now])
        st.rerun()
    with words_side:
        _ask(draft, seen, fault, choice)


def _ask(draft: Draft, seen: CardReading | None, fault: str | None, choice: CardChoice | None) -> None:
    if seen is None or choice is None:
        tell(fault or "Mark the chart's four corners.", "warning")
        st.html(
            "<p>Tap the four outer corners of the patches on the picture, one after another, in any order. "
            "The chart's frame stays outside.</p>"
        )
        return
    how = "The chart is found." if choice.corners is None else "The chart is read inside your corners."
    names = " and ".join(f"“{_plain(seen.patches[number].patch.name)}”" for number in NAMED)
    st.html(
        f"<p>{how} Each of its 24 patches should have a dashed square well inside it, with {names} on the right "
        "patches. If not, drag the corners.</p>"
    )
    if st.button("Yes, that is the chart", type="primary", key=f"{draft.form}.chart.yes"):
        draft.set(card=choice.as_dict())
        st.rerun()


def _choice(found: CardReading | None, marked: tuple[Shape, ...]) -> CardChoice | None:
    """Return what the marks say of the chart: as found, by its corners, or None while corners are missing."""
    if not marked or len(marked[0].points) != SPOTS:
        return None
    if found is not None and marked[0].points == _points(found.corners):
        return CardChoice("card", CHART)
    return CardChoice("card", CHART, corners=marked[0].points)


def _looked_for(studio: Studio, sha256: str, choice: CardChoice) -> tuple[CardReading | None, str | None]:
    try:
        with st.spinner("Looking for the chart…"):
            return card_reading(studio, sha256, choice), None
    except MatcherError as error:
        return None, str(error)


def _patches(chart: CardReading | None) -> list[Fixed]:
    if chart is None:
        return []
    named = {number % len(chart.patches) for number in NAMED}
    return [
        Fixed(_points(item.outline), _plain(item.patch.name) if number in named else "")
        for number, item in enumerate(chart.patches)
    ]


def _plain(name: str) -> str:
    """Return a patch's name without its density in brackets."""
    return name.partition(" (")[0]


def _points(corners: Any) -> tuple[tuple[float, float], ...]:
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in corners)
