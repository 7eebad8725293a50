"""The finish marked once for several photographs of one plate, and anew on those where the camera moved; then read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import MatcherError
from ui.draw import Shape, draw
from ui.escaped import escaped
from ui.photograph.card_step import card_reading
from ui.photograph.photographs import bench_picture, photo_of, size_of
from ui.photograph.proposed import as_drawn, confirmed, proposals
from ui.reading.finish_step import card_outline
from ui.reading.read_marks import finish_reading
from ui.reading.which_light import ask_light, light_of
from ui.show.literal import literal
from ui.state.cache_keys import Key, profiles_key
from ui.state.light import CardChoice, Light
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.calibration.profile import CameraProfile
    from matcher.card.outline import ProposedFinish
    from matcher.reading.reading import Reading
    from matcher.studio import Studio
    from ui.photograph.plate_photographs import PlatePhotograph
    from ui.state.drafts import Draft

MARK_FINISH = (
    "Mark the finish once. The other photographs take the same place in the picture: where the camera or the plate "
    "moved, choose that photograph and draw its own mark."
)
MARK_CARD = (
    "No card is found in this photograph, so it is left out. If the card is in it, tap its four corners, just inside "
    "its edge."
)


def marks_of(studio: Studio, draft: Draft, usable: Sequence[PlatePhotograph]) -> dict[str, Shape]:
    """Return the mark on each photograph: its own, else that of the first one marked, at the same place in it."""
    own = {sha256: Shape.from_dict(shape) for sha256, shape in (draft.get("marks") or {}).items()}
    first = next((item.sha256 for item in usable if item.sha256 in own), None)
    if first is None:
        return {}
    return {item.sha256: own.get(item.sha256) or _carried(studio, own[first], first, item.sha256) for item in usable}


def _carried(studio: Studio, shape: Shape, from_photo: str, to_photo: str) -> Shape:
    """Return a mark at the same place in a photograph that may have another size."""
    (width, height), (new_width, new_height) = size_of(studio, from_photo), size_of(studio, to_photo)
    return Shape(shape.kind, tuple((x * new_width / width, y * new_height / height) for x, y in shape.points))


def ask_for_marks(studio: Studio, draft: Draft, photographs: Sequence[PlatePhotograph]) -> None:
    """Let the finish be marked on one photograph after another, and the card where it was not found."""
    by_number = dict(enumerate(photographs, start=1))
    first = next((number for number, item in by_number.items() if item.card is not None), 1)
    field = draft.field("marking", first)
    if st.session_state[field["key"]] not in by_number:
        st.session_state[field["key"]] = first
    picture_side, words_side = st.columns([1.75, 1], gap="medium")
    with words_side:
        number = (
            st.segmented_control("Photograph", list(by_number), format_func=literal, required=True, **field) or first
        )
        item = by_number[number]
        st.html(f"<p>{escaped(MARK_FINISH if item.card is not None else MARK_CARD)}</p>")
        usable = [item for item in photographs if item.card is not None]
        mark = marks_of(studio, draft, usable).get(item.sha256)
        unmarked = item.card is not None and mark is None
        proposed = proposals(studio, item.sha256, item.choice) if unmarked else ()
        if usable:
            ask_light(draft, _profile(studio, usable[0]), photo_of(studio, usable[0].sha256), usable[0].card)
    with picture_side:
        if item.card is None:
            _draw_card(studio, draft, item, number)
        else:
            _draw_finish(studio, draft, item, number, mark, proposed)


def _draw_finish(
    studio: Studio,
    draft: Draft,
    item: PlatePhotograph,
    number: int,
    mark: Shape | None,
    proposed: Sequence[ProposedFinish],
) -> None:
    before = () if mark is None else (mark,)
    chosen = confirmed(draft, item.sha256, proposed) if mark is None else None
    if chosen is not None:
        _keep(draft, "marks", item.sha256, (chosen,))
        st.rerun()
    picture = bench_picture(studio, item.sha256, f"Photograph {number}, to mark the finish on")
    key = f"{draft.form}.{item.sha256[:12]}.finish"
    now = draw(picture, "regions", before, key=key, fixed=card_outline(item.card) + as_drawn(proposed))
    if now != before:
        _keep(draft, "marks", item.sha256, now)
        st.rerun()


def _draw_card(studio: Studio, draft: Draft, item: PlatePhotograph, number: int) -> None:
    kept = (draft.get("corners") or {}).get(item.sha256)
    before = () if kept is None else (Shape.from_dict(kept),)
    picture = bench_picture(studio, item.sha256, f"Photograph {number}, to mark the grey card on")
    now = draw(picture, "corners", before, key=f"{draft.form}.{item.sha256[:12]}.card", noun="card")
    if now != before:
        _keep(draft, "corners", item.sha256, now)
        st.rerun()


def _keep(draft: Draft, field: str, sha256: str, now: Sequence[Shape]) -> None:
    marks = dict(draft.get(field) or {})
    marks.pop(sha256, None)
    if now:
        marks[sha256] = now[0].as_dict()
    draft.set(**{field: marks})


def read_all(studio: Studio, draft: Draft, usable: Sequence[PlatePhotograph], numbers: dict[str, int]) -> list[Reading]:
    """Read the finish in every photograph; say of each that cannot be read why, and leave it out."""
    marks = marks_of(studio, draft, usable)
    readings = []
    for item in usable:
        if item.sha256 not in marks:
            continue
        profile = _profile(studio, item)
        kind = light_of(draft, profile)
        try:
            with st.spinner("Reading the finish…"):
                readings.append(
                    finish_reading(studio, item.sha256, Light(item.choice, kind, profile), marks[item.sha256])
                )
        except MatcherError as error:
            tell(f"Photograph {numbers[item.sha256]} is left out. {error}", "warning")
    return readings


def _profile(studio: Studio, item: PlatePhotograph) -> CameraProfile | None:
    return _fitting(profiles_key(studio, item.sha256, item.choice), studio, item.sha256, item.choice)


@st.cache_resource(show_spinner=False, max_entries=64)
def _fitting(key: Key, _studio: Studio, _sha256: str, _choice: CardChoice) -> CameraProfile | None:
    return _studio.profile_for(photo_of(_studio, _sha256), card_reading(_studio, _sha256, _choice))[0]
