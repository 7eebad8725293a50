"""The finish in a photograph: marked by drawing, read, shown beside the picture."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from matcher.words import capital
from ui.draw import Fixed, Shape, draw
from ui.escaped import escaped
from ui.photograph.card_step import SAID, card_reading
from ui.photograph.lay_beside import offer_to_lay
from ui.photograph.once_more import logged_areas, logged_drawn
from ui.photograph.photographs import bench_picture, photo_of
from ui.photograph.plates_there import (
    left_out_by_hand,
    mark_of_a_plate,
    note_seen,
    own_tag_in,
    plates_drawn,
    plates_there,
    tell_plates,
)
from ui.photograph.proposed import as_drawn, confirmed, proposals
from ui.reading.improve_accuracy import bring_more, goes_on_without
from ui.reading.pale_spots import ask_about_pale_spots
from ui.reading.profile_line import choose_profile, profile_in_use, say_profile
from ui.reading.read_marks import finish_reading, finish_texture, frames_that_fit, light_field, plates_seen
from ui.reading.texture import show_texture
from ui.reading.which_light import ask_light
from ui.show.literal import literal
from ui.show.swatches import css_colour, figures, show_reading
from ui.state.drafts import Draft
from ui.state.light import CardChoice, Light, More
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.calibration.profile import CameraProfile
    from matcher.card.reading import CardReading
    from matcher.reading.reading import Reading
    from matcher.studio import Studio

MOST_FINISHES = 6
DRAW = "Draw a box over an even part of the finish, or an outline around it. Leave edges and glare out."


def ask_for_finish(
    studio: Studio,
    draft: Draft,
    sha256: str,
    heading: str,
    name: str,
    plate: int | None = None,
    asks_tag: bool = False,
) -> tuple[Reading | None, Any]:
    """Show the photograph to mark the finish on; return its reading and the column beside the picture.

    plate: the number of the logged plate that the finish is of, None where it is of none. asks_tag: whether the form
    asks for a tag itself, and offers the one in the picture that is on no plate.

    Several marks may be made; one of them is chosen. The reading is None until something readable is marked.
    """
    choice = CardChoice.from_dict(draft.get("card"))
    card, photo = card_reading(studio, sha256, choice), photo_of(studio, sha256)
    used = profile_in_use(studio, draft, photo, card)
    marked = tuple(Shape.from_dict(shape) for shape in draft.get("finishes") or ())
    proposed = () if marked else proposals(studio, sha256, choice, logged_areas(draft))
    plates, out = plates_there(studio, sha256), left_out_by_hand(draft)
    st.subheader(literal(heading), anchor=False)
    picture_side, words_side = st.columns([1.75, 1], gap="medium")
    with picture_side:
        chosen = None if marked else confirmed(draft, sha256, proposed)
        if chosen is not None:
            draft.set(finishes=[chosen.as_dict()])
            st.rerun()
        now = draw(
            bench_picture(studio, sha256, "The photograph, to mark the finish on"),
            "regions",
            marked,
            key=f"{draft.form}.{sha256[:12]}.finish",
            most=MOST_FINISHES,
            fixed=card_outline(card) + plates_drawn(plates, out) + logged_drawn(draft) + as_drawn(proposed),
        )
        change_card(draft, card, None)
        say_profile(draft, used)
        with st.expander("Improve accuracy", expanded="more_way" in draft.values):
            choose_profile(studio, draft)
            more, refusals = bring_more(studio, draft, sha256, choice, card_outline(card))
    if now != marked:
        draft.set(finishes=[shape.as_dict() for shape in now])
        if proposed or not now:
            st.rerun()  # what is proposed goes, or comes back
    with words_side:
        if not now:
            if not proposed:
                st.html(f"<p>{DRAW}</p>")
            return None, words_side
        kind = ask_light(draft, used.profile, photo, card)
        light = Light(choice, kind, used.profile, more, draft.shown("pale_spots", "unknown"), out)
        reading = _chosen_reading(studio, draft, sha256, light, now, name, refusals, plate, asks_tag)
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
        st.html(f'<span class="pm-soft">{escaped(said)}.</span>', width="content")
        if st.button("Change the card", type="tertiary", key=f"{draft.form}.card.change"):
            draft.set(card=None)
            st.rerun()


def _card_in_words(card: CardReading) -> str:
    title = card.card.title
    how = SAID.get(card.found_by)
    return f"{capital(title)}" + (f", {how}" if how else "")


def _chosen_reading(
    studio: Studio,
    draft: Draft,
    sha256: str,
    light: Light,
    shapes: tuple[Shape, ...],
    name: str,
    refusals: Any,
    plate: int | None,
    asks_tag: bool,
) -> Reading | None:
    """Read every mark; with more than one, ask which is meant, and show it. A mark that cannot be read says why."""
    found: dict[int, _Read] = {}
    refused: set[str] = set()
    with st.spinner("Reading the finish…"):
        for number, shape in enumerate(shapes):
            try:
                found[number] = _read(studio, sha256, light, shape, refused)
            except MatcherError as error:
                tell(f"{number + 1}: {error}" if len(shapes) > 1 else str(error))
    with refusals:
        for message in sorted(refused):
            goes_on_without(message)
    if not found:
        return None
    number = next(iter(found)) if len(found) == 1 else _which(draft, {k: item.reading for k, item in found.items()})
    chosen = found[number]
    used = [frame.photo for frame in chosen.light.more.frames]
    if used != draft.get("frames_used", []):
        draft.set(frames_used=used)
    st.subheader(literal(name), anchor=False)
    there = [one.trial_id for one in plates_there(studio, sha256) if one.trial_id is not None]
    offer = partial(offer_to_lay, studio, chosen.reading, plate, there=there)
    show_reading(chosen.reading, name, chosen.said, offer)
    seen = plates_seen(studio, sha256, chosen.light)
    note_seen(draft, sha256, seen)
    tell_plates(draft, seen, own_tag_in(draft) if asks_tag else "")
    mark_of_a_plate(studio, draft, sha256, shapes[number])
    ask_about_pale_spots(studio, draft, sha256, chosen.light, shapes[number], chosen.reading)
    shown = partial(finish_texture, studio, sha256, chosen.light, shapes[number])
    show_texture(chosen.reading, shown, key=f"{draft.form}.texture")
    return chosen.reading


@dataclass(frozen=True, eq=False)
class _Read:
    """A mark's reading, the light that it was read in, and what a further photograph did to it, in words."""

    reading: Reading
    light: Light
    said: str = ""


def _read(studio: Studio, sha256: str, light: Light, shape: Shape, refused: set[str]) -> _Read:
    """Read a mark with all that was brought; what cannot be used is noted in ``refused``, and done without."""
    from matcher.reading.wording import glare_in_words, levelled_in_words

    alone = replace(light, more=More())
    if not light.more:
        return _Read(finish_reading(studio, sha256, alone, shape), alone)
    try:
        before: Reading | None = finish_reading(studio, sha256, alone, shape)
    except MatcherError:
        before = None  # all glare, which more photographs may take out
    try:
        after, light = _read_with_more(studio, sha256, light, shape, refused)
    except MatcherError as error:
        if before is None:
            raise
        refused.add(str(error))
        return _Read(before, alone)
    if not light.more:
        return _Read(after, light)
    field = light_field(studio, sha256, light.card, light.more)
    if field is not None:
        return _Read(after, light, levelled_in_words(field, before, after))
    return _Read(after, light, glare_in_words(1 + len(light.more.frames), before, after))


def _read_with_more(
    studio: Studio, sha256: str, light: Light, shape: Shape, refused: set[str]
) -> tuple[Reading, Light]:
    """Read a mark with all that was brought; of several frames, those that do not fit are left out."""
    try:
        return finish_reading(studio, sha256, light, shape), light
    except MatcherError:
        if not light.more.frames:
            raise
    fitting, why = frames_that_fit(studio, sha256, light, shape)
    refused.update(why)
    if not why:
        fitting = light  # it is not the frames: let it be said again what is wrong
    return finish_reading(studio, sha256, fitting, shape), fitting


def _which(draft: Draft, readings: dict[int, Reading]) -> int:
    key = f"{draft.form}.chosen.{len(readings)}"
    kept = draft.get("chosen")
    numbers = list(readings)
    chosen = st.radio(
        "Which mark should be used?",
        numbers,
        index=numbers.index(kept) if kept in numbers else len(numbers) - 1,
        format_func=lambda number: literal(f"{number + 1}: {figures(readings[number].lab)}"),
        key=key,
    )
    colours = "".join(
        f'<span style="flex: 1; background: {css_colour(item.lab)}"></span>' for item in readings.values()
    )
    st.html(f'<div class="pm-mat tight"><div class="pm-shares">{colours}</div></div>')
    draft.set(chosen=chosen)
    return numbers[0] if chosen is None else chosen
