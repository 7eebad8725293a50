"""Several photographs of one plate: brought in together, the card looked for in each, those without it left out.

Whatever cannot be used is said beside its picture and stays where it is; nothing is lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from ui.draw import Shape
from ui.escaped import escaped
from ui.photograph.card_step import card_reading
from ui.photograph.outlined import outlined
from ui.show import look
from ui.show.literal import literal
from ui.state.light import CardChoice
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.card.reading import CardReading
    from matcher.studio import Studio
    from ui.draw import Point
    from ui.state.drafts import Draft


CORNERS = 4


@dataclass(frozen=True, eq=False)
class PlatePhotograph:
    """One photograph of the plate. choice: where its card is looked for; card: as found, or None; trouble: why it is
    left out, or None."""

    sha256: str
    name: str
    choice: CardChoice
    card: CardReading | None
    trouble: str | None = None


def bring_in_several(studio: Studio, draft: Draft) -> None:
    """Take photographs in, from files or from the demo, and keep them at once."""
    with look.panel(f"several-{draft.form}"):
        key = f"{draft.form}.files.{st.session_state.get(f'{draft.form}.rounds', 0)}"
        files = st.file_uploader("Photographs of one plate", key=key, accept_multiple_files=True, max_upload_size=256)
        offered = studio.is_demo and not draft.get("photos")
        if offered and st.button("Use the demo's photographs of one plate", key=f"{draft.form}.demo"):
            from matcher.demo import one_plate

            _take(studio, draft, [(path.read_bytes(), path.name) for path in one_plate()])
        if files:
            _take(studio, draft, [(file.getvalue(), file.name) for file in files])
    for message in draft.get("refused") or ():
        tell(message)


def _take(studio: Studio, draft: Draft, files: Sequence[tuple[bytes, str]]) -> None:
    """Keep what can be read; say of the rest why not."""
    from matcher.photo.photo import open_photo

    photos, refused = list(draft.get("photos") or ()), []
    for data, name in files:
        try:
            with st.spinner(f"Reading {literal(name)}…"):
                open_photo(data, name=name)
                sha256 = studio.keep_photo(data, name)
        except MatcherError as error:
            refused.append(str(error))
            continue
        if any(sha256 == item["sha256"] for item in photos):
            refused.append(f"{name} is here already: take each photograph afresh, the same one shows no variation.")
            continue
        photos.append({"sha256": sha256, "name": name})
    draft.set(photos=photos, refused=refused)
    st.session_state[f"{draft.form}.rounds"] = st.session_state.get(f"{draft.form}.rounds", 0) + 1
    st.rerun()


def the_photographs(studio: Studio, draft: Draft) -> list[PlatePhotograph]:
    """Return the photographs with the card in each, as far as it is found."""
    with st.spinner("Looking for the card in each…"):
        corners = draft.get("corners") or {}
        return [
            _with_card(studio, item["sha256"], item["name"], corners.get(item["sha256"]))
            for item in draft.get("photos") or ()
        ]


def _with_card(studio: Studio, sha256: str, name: str, marked: dict[str, Any] | None) -> PlatePhotograph:
    """Look for the card, or read it inside the corners that the person marked."""
    choice = CardChoice("card")
    if marked is not None and len(corners := Shape.from_dict(marked).points) == CORNERS:
        choice = CardChoice("card", corners=corners)
    try:
        return PlatePhotograph(sha256, name, choice, card_reading(studio, sha256, choice))
    except MatcherError as error:
        return PlatePhotograph(sha256, name, choice, None, str(error))


def show_photographs(
    studio: Studio, draft: Draft, photographs: Sequence[PlatePhotograph], marks: dict[str, tuple[Point, ...]]
) -> None:
    """Show each photograph with its card and its mark outlined, and let it be taken out."""
    with st.container(horizontal=True, gap="small", key=f"{draft.form}-photographs"):
        for number, item in enumerate(photographs, start=1):
            with st.container(width=165, gap="small"):
                st.html(_figure(studio, item, number, marks.get(item.sha256)))
                if st.button("Remove", key=f"{draft.form}.out.{item.sha256[:12]}", width="stretch"):
                    draft.set(
                        photos=[kept for kept in draft.get("photos") or () if kept["sha256"] != item.sha256],
                        refused=[],
                    )
                    st.rerun()


def _figure(studio: Studio, item: PlatePhotograph, number: int, mark: tuple[Point, ...] | None) -> str:
    card = None if item.card is None else [(float(x), float(y)) for x, y in item.card.corners]
    try:
        picture = outlined(studio, item.sha256, [card or [], mark or []], f"Photograph {number}")
    except MatcherError:
        picture = '<div class="pm-photo outlined none">Its photograph cannot be opened</div>'
    said = f"{number}: {item.name}"
    left_out = "" if item.trouble is None else f'<p class="pm-tell"><b>Left out.</b> {escaped(item.trouble)}</p>'
    return f'{picture}<p class="pm-caption" title="{escaped(said)}">{escaped(said)}</p>{left_out}'
