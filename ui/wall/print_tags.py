"""Tags printed from the log's page: for plates to come, or for plates that are logged."""

from __future__ import annotations

import os
from functools import partial
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import streamlit as st

from matcher import typed
from matcher.errors import TagError
from matcher.tags.wording import MARK_ANEW
from matcher.words import counted
from ui.escaped import escaped
from ui.photograph.lay_beside import TO_TAG
from ui.recipe.print_card import paper_choice, say_what_prints_not
from ui.serving.how_served import URL
from ui.show.literal import literal
from ui.state.drafts import SHOWN_LATE
from ui.state.messages import tell, told
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.sheets.tag_sheet import PrintedTag
    from matcher.studio import Studio

TO_COME, LOGGED = "Plates to come", "Logged plates"
SIZES = (15, 20, 25)
USUAL_SIZE, A_SHEET = 20, 42
FIRST = "tags.first"
_THIS_MACHINE = ("localhost", "127.0.0.1", "::1")


def print_tags(studio: Studio) -> None:
    """Ask which tags, how large and on what paper, and give the sheet; open for who came to tag plates."""
    to_tag = st.query_params.get(TO_TAG, "").replace(",", ", ")
    with st.expander("Tags to print", expanded=TO_TAG in st.query_params, key="log.tags"):
        st.html(
            "<p>A tag beside its finish tells the plate in every photograph, and to a phone. Cut it out, fix it flat "
            "on the plate beside the finish, not on it, and seal it.</p>"
        )
        with st.container(horizontal=True, vertical_alignment="bottom", key="tags-what"):
            first = LOGGED if to_tag else TO_COME
            what = st.segmented_control(
                "For", (TO_COME, LOGGED), default=first, required=True, key="tags.for", format_func=literal
            )
            size, paper = size_choice("tags.size"), paper_choice("tags.paper")
        address = st.text_input(
            "Address that a phone opens",
            value=own_address(),
            placeholder="192.168.1.20:8501; none: number alone",
            live=True,
            key="tags.address",
        )
        with told():
            printed, new = _for_logged(studio, to_tag) if what == LOGGED else (_to_come(studio), {})
            if printed:
                _offer(studio, printed, new, size, address or "", paper)


def note_printed(studio: Studio, highest: int) -> None:
    """Keep that tags for plates to come were printed up to a number; the next sheet begins beyond it."""
    from matcher.printed import next_tag_to_come

    with told():
        studio.note_tags_printed(highest)
    st.session_state[FIRST] = next_tag_to_come(studio)


def size_choice(key: str) -> float:
    """Ask how large a tag is printed: its side in mm."""
    chosen = st.segmented_control(
        "Side of a tag, mm", SIZES, default=USUAL_SIZE, required=True, key=key, format_func=lambda side: f"{side:d}"
    )
    return float(chosen or USUAL_SIZE)


def own_address() -> str:
    """Return where other machines open this page: as it is served, else as it was opened here; "" for nowhere."""
    parts = urlsplit(os.environ.get(URL) or str(st.context.url or ""))
    return "" if not parts.hostname or parts.hostname in _THIS_MACHINE or ":" in parts.hostname else parts.netloc


def _to_come(studio: Studio) -> list[PrintedTag]:
    from matcher.printed import next_tag_to_come
    from matcher.sheets.tag_sheet import MOST, tags_from
    from matcher.tags.code import HIGHEST_NUMBER

    with st.container(horizontal=True, key="tags-numbers"):
        count = st.number_input("How many", 1, MOST, A_SHEET, key="tags.count")
        st.session_state.setdefault(FIRST, next_tag_to_come(studio))
        first = st.number_input("First number", 1, HIGHEST_NUMBER, key=FIRST, **SHOWN_LATE)
    st.html(
        '<p class="pm-soft">The first number lies beyond all tags that were carried or printed here, so that none is '
        "there twice, and beyond all plates' numbers.</p>"
    )
    return tags_from(studio.tag_signs, int(first), int(count))


def plate_numbers(text: str) -> list[int]:
    """Return the plates' numbers that were typed; none for nothing. Raises TagError."""
    if not text.strip():
        return []
    numbers = [typed.whole_number(part) for part in text.split(",")]
    plates = [number for number in numbers if number is not None]
    if len(plates) < len(numbers):
        raise TagError(f"Type the plates' numbers with commas between them, 5, 6, 12: {text.strip()!r} is not that.")
    return plates


def _for_logged(studio: Studio, plates_to_tag: str) -> tuple[list[PrintedTag], dict[int, str]]:
    """Return the tags of the plates that are typed, and the new ones among them by plate."""
    from matcher.printed import next_tag_number, tags_for_plates

    asked = st.text_input(
        "Numbers of the plates", value=plates_to_tag, placeholder="5, 6, 12", live=True, key="tags.plates"
    )
    plates = plate_numbers(asked or "")
    if not plates:
        return [], {}
    of_plate = tags_for_plates(studio, plates, next_tag_number(studio))
    have = {one.trial_id for one in studio.tags().in_force()}
    return list(of_plate.values()), {plate: str(tag.code) for plate, tag in of_plate.items() if plate not in have}


def _offer(
    studio: Studio, printed: list[PrintedTag], new: dict[int, str], size_mm: float, address: str, paper: str
) -> None:
    from matcher.sheets.paper import paper_named
    from matcher.sheets.tag_sheet import tag_sheet
    from matcher.tags.code import checked_address

    checked_address(address)

    def sheet() -> bytes:
        return tag_sheet(printed, size_mm, address, studio.title, paper_named(paper))

    say_what_prints_not(studio)
    if sum(bool(tag.name) for tag in printed) > len(new):
        st.html(f'<p class="pm-soft">{escaped(MARK_ANEW)}</p>')
    if new:
        lines = ", ".join(f"plate {plate}: {tag}" for plate, tag in new.items())
        tell(f"New tags, for {lines}. Give them once the sheet is printed, so that no number is used twice.", "warning")
    with st.container(horizontal=True, key="tags-go"):
        label = f"Print {counted(len(printed), 'tag')}"
        noted = "ignore" if printed[-1].name else partial(note_printed, studio, printed[-1].code.number)
        told_so: Any = {"on_click": noted, "type": "primary", "key": "tags.print"}
        st.download_button(label, sheet, "tags.pdf", "application/pdf", **told_so)
        if new and st.button("Give the new ones to their plates", key="tags.give"):
            for plate, tag in new.items():
                studio.give_tag(plate, tag, who())
            st.rerun()
