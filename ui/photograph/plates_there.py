"""The studio's own plates in a photograph: drawn on it, told beside it as the others read each, left out by a tap.

What is logged of a plate makes the photograph's other readings surer, without being asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.tags.wording import MARK_ANEW, TAKEN_FIRST
from matcher.words import capital
from ui.draw import Fixed, Shape
from ui.escaped import escaped
from ui.photograph.photographs import photo_of
from ui.show.literal import literal
from ui.show.swatches import css_colour
from ui.state.cache_keys import Key, plates_key
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.plates_in_picture import PlateInPicture, PlateSeen
    from matcher.studio import Studio

MOST_NAMED = 12
"""Plates that are named on the picture: of more, the numbers would hide it."""


def plates_there(studio: Studio, sha256: str) -> tuple[PlateInPicture, ...]:
    """Return the studio's plates in a kept photograph, found by their tags."""
    return _found(plates_key(studio, sha256), studio, sha256)


@st.cache_resource(show_spinner=False, max_entries=16)
def _found(key: Key, _studio: Studio, _sha256: str) -> tuple[PlateInPicture, ...]:
    return _studio.plates_in(photo_of(_studio, _sha256))


def left_out_by_hand(draft: Draft) -> tuple[str, ...]:
    """Return the tags of plates that the person does not want the photograph read by."""
    return tuple(draft.get("plates_out") or ())


def plates_drawn(plates: Sequence[PlateInPicture], left_out: Sequence[str]) -> list[Fixed]:
    """Return the outlines of the finishes that the photograph can be read by, with their plates' numbers."""
    able = [one for one in plates if one.reference is not None]
    shown = []
    for one in able:
        assert one.outline is not None
        points = tuple((float(x), float(y)) for x, y in one.outline)
        name = f"{one.name}, left out" if one.sighting.tag in left_out else one.name
        shown.append(Fixed(points, name if len(able) <= MOST_NAMED else ""))
    return shown


def tell_plates(draft: Draft, seen: Sequence[PlateSeen], offered_tag: str = "") -> None:
    """Say which plates the photograph is read by and how the others read each; a tap leaves one out or takes it in.

    offered_tag: the tag in the picture that the form itself offers for its plate, of which nothing is said here.
    """
    offered = [one for one in seen if one.plate.reference is not None]
    if offered:
        with st.container(key=f"{draft.form}-plates", gap="small"):
            by = "Read by the plates" if any(one.used for one in offered) else "Plates"
            st.html(f"<strong>{by} in the picture</strong>")
            st.html(f'<div class="pm-mat tight"><div class="pm-shares">{_colours(offered)}</div></div>')
            _ask_which(draft, offered)
            st.html(f'<ul class="pm-soft">{"".join(_line(one) for one in offered)}</ul>')
    others = [one for one in seen if one.plate.reference is None and one.plate.sighting.tag != offered_tag]
    for message in dict.fromkeys(one.left_out.message for one in others if one.left_out is not None):
        tell(message, "warning")


def _ask_which(draft: Draft, offered: Sequence[PlateSeen]) -> None:
    tags = [one.plate.sighting.tag for one in offered]
    names = {one.plate.sighting.tag: one.plate.name for one in offered}
    out = left_out_by_hand(draft)
    chosen = st.pills(
        "Tap a plate to leave it out, or to take it in again",
        tags,
        selection_mode="multi",
        default=[tag for tag in tags if tag not in out],
        format_func=lambda tag: literal(names[tag]),
        key=f"{draft.form}.plates.{','.join(tags)}",
    )
    now = tuple(tag for tag in tags if tag not in chosen)
    if now != tuple(tag for tag in out if tag in tags):
        draft.set(plates_out=list(now))
        st.rerun()


def _line(one: PlateSeen) -> str:
    from matcher.plates_in_picture import agreement, left_out_in_words
    from matcher.reading.finish import OF_NO_HELP

    name = escaped(capital(one.plate.name))
    if one.left_out is not None:
        return f"<li>{escaped(left_out_in_words(one))}</li>"
    said = OF_NO_HELP if one.of_no_help else agreement(one)
    return f"<li><b>{name}</b>{': ' if said else ''}{escaped(said)}</li>"


def _colours(offered: Sequence[PlateSeen]) -> str:
    """Return a strip of the plates' logged colours, on neutral grey."""
    logged = [one.plate.reference.reading.lab for one in offered if one.plate.reference is not None]
    return "".join(f'<span style="flex: 1; background: {css_colour(lab)}"></span>' for lab in logged)


def mark_of_a_plate(studio: Studio, draft: Draft, sha256: str, shape: Shape) -> None:
    """Let the mark be kept as where a plate's finish lies by its tag: once, and anew where the tag lies elsewhere."""
    from matcher.plates_in_picture import NOT_MARKED

    there = [one for one in plates_there(studio, sha256) if one.trial_id is not None]
    for one in there:
        if one.why_not is not None and one.why_not.code == NOT_MARKED:
            _offer_mark(studio, draft, one, shape, sha256)
    marked = [one for one in there if one.reference is not None]
    if marked:
        with st.expander("An outline lies beside its plate's finish?", key=f"{draft.form}.marks"):
            st.html(f"<p>{escaped(f'{MARK_ANEW} {TAKEN_FIRST}')} Mark it now, and say which plate it is.</p>")
            with st.container(horizontal=True, key=f"{draft.form}-marks"):
                for one in marked:
                    _offer_mark(studio, draft, one, shape, sha256)


def _offer_mark(studio: Studio, draft: Draft, one: PlateInPicture, shape: Shape, sha256: str) -> None:
    from matcher.plates_in_picture import taken_at

    if one.trial_id is None:
        return
    key = f"{draft.form}.marks.{one.sighting.tag}"
    if st.button(f"The mark is the finish of plate {one.trial_id:d}", type="tertiary", key=key):
        with told():
            taken = taken_at(photo_of(studio, sha256))
            studio.tag_log.keep_outline(one.trial_id, one.sighting.corners, shape.points, who(), taken)
            draft.set(finishes=[])
            st.rerun()


def note_seen(draft: Draft, sha256: str, seen: Sequence[PlateSeen]) -> None:
    """Remember what was seen in the photograph that the draft's reading is of, until it is kept."""
    st.session_state[f"{draft.form}.seen"] = (sha256, tuple(seen))


def seen_for(draft: Draft) -> tuple[PlateSeen, ...]:
    """Return the plates in the photograph that the draft's reading is of."""
    sha256, seen = st.session_state.get(f"{draft.form}.seen", (None, ()))
    return tuple(seen) if sha256 is not None and sha256 == draft.get("photo") else ()


def own_tag_in(draft: Draft) -> str:
    """Return the one tag of this studio in the photograph that is on no plate yet; "" where there is none, or more."""
    from matcher.tags.sightings import NO_PLATE

    free = {
        one.plate.sighting.tag for one in seen_for(draft) if one.left_out is not None and one.left_out.code == NO_PLATE
    }
    return next(iter(free)) if len(free) == 1 else ""


def keep_seen(studio: Studio, draft: Draft, own_tag: str = "") -> None:
    """Let the log keep which plates were seen in the photograph whose reading was just kept.

    What cannot be kept of that is said, and undoes nothing: the reading is in the log already.
    """
    from matcher.errors import MatcherError
    from matcher.plates_in_picture import kept_sightings
    from matcher.tags.sightings import sightings_not_kept

    seen, sha256 = seen_for(draft), draft.get("photo")
    if seen and sha256:
        try:
            taken = studio.taken_at(photo_of(studio, sha256))
            studio.keep_sightings(kept_sightings(seen, taken, sha256, own_tag))
        except MatcherError as error:
            st.toast(literal(sightings_not_kept(error).message), icon=":material/warning:")
