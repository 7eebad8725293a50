"""The folded place where a reading is made surer: which camera profile, a sheet of paper, a second card, more frames.

Everything brought here is kept in the draft. What cannot be used says so here, and the reading goes on without it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from ui.draw import Fixed, Shape, draw
from ui.escaped import escaped
from ui.photograph import intake
from ui.photograph.photographs import bench_picture, figure
from ui.reading.read_marks import card_in_frame, light_field
from ui.state.drafts import Draft
from ui.state.light import CardChoice, Frame, More
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.studio import Studio

WAYS = {"none": "Nothing more", "paper": "Sheet of paper", "card": "Second card", "lamp": "Lamp moved"}
HOW = {
    "none": "One more photograph, or a second card in this one, removes it from the reading.",
    "paper": "For uneven light. Leave camera and lamp as they were, lay a sheet of plain white paper where the plate "
    "lay, and photograph it so that it comes out a light grey.",
    "card": "For uneven light. If a second card of the same kind lies elsewhere in this picture, best with the finish "
    "between the two, tap its four corners.",
    "lamp": "For glare. Leave camera, plate and card where they are, and take two to five more photographs, the lamp "
    "in another place in each.",
}


def bring_more(studio: Studio, draft: Draft, sha256: str, card: CardChoice, fixed: list[Fixed]) -> tuple[More, Any]:
    """Ask what more there is; return what of it can be used, and the place where a later refusal is to be told."""
    way = str(draft.get("more_way") or "none")
    st.segmented_control(
        "Correct for uneven light or glare",
        list(WAYS),
        format_func=WAYS.__getitem__,
        required=True,
        **draft.field("more_way", "none"),
    )
    st.html(f'<p class="pm-soft">{escaped(HOW[way])}</p>')
    if way == "paper":
        _bring_paper(studio, draft)
    elif way == "card":
        _mark_second(studio, draft, sha256, fixed)
    elif way == "lamp":
        _bring_frames(studio, draft, sha256)
    place = st.container()
    return _usable(studio, draft, sha256, card, place), place


def brought(draft: Draft) -> More:
    """Return what the draft holds of the way that is chosen."""
    way = draft.get("more_way")
    if way == "paper" and draft.get("paper"):
        return More(paper=draft.get("paper")["photo"])
    if way == "card" and (corners := _corners(draft)) is not None:
        return More(second=corners)
    if way == "lamp" and draft.get("frames"):
        return More(frames=tuple(Frame(item["photo"], item["name"]) for item in draft.get("frames")))
    return More()


def _usable(studio: Studio, draft: Draft, sha256: str, card: CardChoice, place: Any) -> More:
    """Return what was brought without what cannot be used; say why it cannot."""
    more = brought(draft)
    if not more:
        return more
    with place, st.spinner("Checking what you added…"):
        try:
            light_field(studio, sha256, card, more)
        except MatcherError as error:
            goes_on_without(str(error))
            return More()
        sound = []
        for frame in more.frames:
            try:
                card_in_frame(studio, frame, card)
                sound.append(frame)
            except MatcherError as error:
                goes_on_without(str(error))
    return replace(more, frames=tuple(sound))


def goes_on_without(message: str) -> None:
    """Say why something that was brought cannot be used."""
    tell(f"{message} The reading is made without it.", "warning")


def _bring_paper(studio: Studio, draft: Draft) -> None:
    paper = draft.get("paper")
    if paper:
        st.html(_small(studio, paper["photo"], paper["name"]))
        if st.button("Remove the paper", type="tertiary", key=f"{draft.form}.paper.out"):
            draft.set(paper=None)
            st.rerun()
        return
    kept = _uploaded(studio, draft, "Photograph of the paper", several=False)
    if kept:
        draft.set(paper=kept[0])
        st.rerun()


def _mark_second(studio: Studio, draft: Draft, sha256: str, fixed: list[Fixed]) -> None:
    marked = tuple(Shape.from_dict(shape) for shape in draft.get("second") or ())
    picture = bench_picture(studio, sha256, "The photograph, to mark the second card on")
    key = f"{draft.form}.{sha256[:12]}.second"
    now = draw(picture, "corners", marked, key=key, noun="second card", fixed=fixed)
    if now != marked:
        draft.set(second=[shape.as_dict() for shape in now])


def _corners(draft: Draft) -> tuple[tuple[float, float], ...] | None:
    """Return the second card's corners once all four are marked."""
    marked = [Shape.from_dict(shape) for shape in draft.get("second") or ()]
    return marked[0].points if marked and len(marked[0].points) == 4 else None


def _bring_frames(studio: Studio, draft: Draft, sha256: str) -> None:
    frames = list(draft.get("frames") or ())
    if frames:
        with st.container(horizontal=True, gap="small", key=f"{draft.form}-frames"):
            for number, frame in enumerate(frames, start=2):
                with st.container(width=150, gap="small"):
                    st.html(_small(studio, frame["photo"], f"{number}: {frame['name']}"))
                    if st.button(f"Remove {number:d}", key=f"{draft.form}.frame.{frame['photo'][:16]}"):
                        draft.set(frames=[other for other in frames if other != frame])
                        st.rerun()
    kept = _uploaded(studio, draft, "More photographs of the plate", several=True)
    known = {sha256, *(frame["photo"] for frame in frames)}
    new = list({item["photo"]: item for item in kept if item["photo"] not in known}.values())
    if new:
        draft.set(frames=[*frames, *new])
        st.rerun()
    elif kept:
        tell("That photograph is already here: take another, with the lamp moved.", "warning")


def _uploaded(studio: Studio, draft: Draft, label: str, several: bool) -> list[dict[str, str]]:
    """Take photograph files and keep them; one that cannot be read says why, and the others are taken."""
    refused = f"{draft.form}.more.refused"
    for message in st.session_state.pop(refused, ()):
        tell(message)
    count = len(draft.get("frames") or ())
    key = f"{draft.form}.more.{draft.get('more_way')}.{count}"
    files = st.file_uploader(
        label, key=key, accept_multiple_files=several, label_visibility="collapsed",
        max_upload_size=256,
    )  # fmt: skip
    kept, wrong = [], []
    for file in files if isinstance(files, list) else [files] if files is not None else []:
        try:
            with st.spinner("Reading the photograph…"):
                kept.append({"photo": intake.keep(studio, file.getvalue(), file.name), "name": file.name})
        except MatcherError as error:
            wrong.append(str(error))
    if kept:  # the page runs again at once
        st.session_state[refused] = wrong
    else:
        for message in wrong:
            tell(message)
    return kept


def _small(studio: Studio, sha256: str, name: str) -> str:
    caption = f'<p class="pm-soft pm-caption">{escaped(name)}</p>'
    return figure(studio, sha256, name) + caption
