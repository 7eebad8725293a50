"""The finish in a photograph: marked by drawing, read, shown beside the picture."""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from ui.draw import Fixed, Shape, draw
from ui.parts.card_step import SAID, CardChoice, card_reading
from ui.parts.drafts import Draft
from ui.parts.faults import tell
from ui.parts.photographs import bench_picture, photo_of
from ui.parts.swatches import css_colour, figures, show_reading

if TYPE_CHECKING:
    from matcher.camera_profile import CameraProfile
    from matcher.cards import CardReading
    from matcher.finish import Reading
    from matcher.studio import Studio

MOST_FINISHES = 6


@dataclass(frozen=True)
class Light:
    """What is known of the light: the card, "daylight" or "unknown", and the camera's profile under it, if any."""

    card: CardChoice
    kind: str
    profile: CameraProfile | None


def ask_for_finish(studio: Studio, draft: Draft, sha256: str, heading: str, name: str) -> tuple[Reading | None, Any]:
    """Show the photograph to mark the finish on; return its reading and the column beside the picture.

    Several marks may be made; one of them is chosen. The reading is None until something readable is marked.
    """
    choice = CardChoice.from_dict(draft.get("card"))
    card = card_reading(studio, sha256, choice)
    profile, _ = studio.profile_for(photo_of(studio, sha256), card)
    marked = tuple(Shape.from_dict(shape) for shape in draft.get("finishes") or ())
    st.subheader(heading, anchor=False)
    picture_side, words_side = st.columns([1.75, 1], gap="medium")
    with picture_side:
        now = draw(
            bench_picture(studio, sha256, "The photograph, to mark the finish on"),
            "regions",
            marked,
            key=f"{draft.form}.{sha256[:12]}.finish",
            most=MOST_FINISHES,
            fixed=card_outline(card),
        )
        change_card(draft, card, profile)
    if now != marked:
        draft.set(finishes=[shape.as_dict() for shape in now])
    with words_side:
        if not now:
            st.html(
                "<p>Draw a box over an even part of the finish, or an outline around it. Leave edges and glare out.</p>"
            )
            return None, words_side
        light = ask_light(draft, profile)
        reading = _chosen_reading(studio, draft, sha256, Light(choice, light, profile), now)
        if reading is not None:
            st.subheader(name, anchor=False)
            show_reading(reading, name)
    return reading, words_side


def card_outline(card: CardReading | None) -> list[Fixed]:
    if card is None:
        return []
    corners = tuple((float(x), float(y)) for x, y in card.corners)
    return [Fixed(corners, card.card.name)]


def change_card(draft: Draft, card: CardReading | None, profile: CameraProfile | None) -> None:
    """Say what the light was judged by, and let it be changed; the marks on the finish stay."""
    said = "Without a card" if card is None else _card_in_words(card)
    if profile is not None:
        said += f"; camera profile {profile.name}"
    with st.container(horizontal=True, vertical_alignment="center", key=f"{draft.form}-card-line"):
        st.html(f'<span class="pm-soft">{html.escape(said)}.</span>', width="content")
        if st.button("Change the card", type="tertiary", key=f"{draft.form}.card.change"):
            draft.set(card=None)
            st.rerun()


def ask_light(draft: Draft, profile: CameraProfile | None) -> str:
    """Ask whether it was daylight, where no profile says how the camera sees this light."""
    if profile is not None:
        return "unknown"
    by_day = st.toggle(
        "Taken in daylight",
        help="By a window or outdoors, with no lamp on. A camera sees colour far truer then. Leave it off when unsure.",
        **draft.field("daylight", False),
    )
    return "daylight" if by_day else "unknown"


def _card_in_words(card: CardReading) -> str:
    title = card.card.title
    how = SAID.get(card.found_by)
    return f"{title[0].upper()}{title[1:]}" + (f", {how}" if how else "")


def _chosen_reading(
    studio: Studio, draft: Draft, sha256: str, light: Light, shapes: tuple[Shape, ...]
) -> Reading | None:
    """Read every mark; with more than one, ask which is meant. A mark that cannot be read says why."""
    readings: dict[int, Reading] = {}
    with st.spinner("Reading the finish…"):
        for number, shape in enumerate(shapes):
            try:
                readings[number] = finish_reading(studio, sha256, light, shape)
            except MatcherError as error:
                tell(f"{number + 1}: {error}" if len(shapes) > 1 else str(error))
    if not readings:
        return None
    if len(readings) == 1:
        return next(iter(readings.values()))
    return readings[_which(draft, readings)]


def _which(draft: Draft, readings: dict[int, Reading]) -> int:
    key = f"{draft.form}.chosen.{len(readings)}"
    kept = draft.get("chosen")
    numbers = list(readings)
    chosen = st.radio(
        "Which mark is meant?",
        numbers,
        index=numbers.index(kept) if kept in numbers else len(numbers) - 1,
        format_func=lambda number: f"{number + 1}: {figures(readings[number].lab)}",
        key=key,
    )
    colours = "".join(
        f'<span style="flex: 1; background: {css_colour(item.lab)}"></span>' for item in readings.values()
    )
    st.html(f'<div class="pm-mat tight"><div class="pm-shares">{colours}</div></div>')
    draft.set(chosen=chosen)
    return numbers[0] if chosen is None else chosen


def finish_reading(studio: Studio, sha256: str, light: Light, shape: Shape) -> Reading:
    """Return the reading of one mark. Raises MatcherError."""
    profile = None if light.profile is None else light.profile.to_json()
    return _finish_reading(
        str(studio.photo_path(sha256)), light.card, light.kind, profile, shape, studio, light, sha256
    )


@st.cache_resource(show_spinner=False, max_entries=64)
def _finish_reading(
    path: str,
    card: CardChoice,
    kind: str,
    profile: str | None,
    shape: Shape,
    _studio: Studio,
    _light: Light,
    _sha256: str,
) -> Reading:
    from matcher.calibration import calibrate
    from matcher.finish import read_finish

    photo = photo_of(_studio, _sha256)
    found = card_reading(_studio, _sha256, card)
    return read_finish(photo, calibrate(photo, found, camera=_light.profile, light=kind), shape.points)
