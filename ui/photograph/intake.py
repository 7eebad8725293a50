"""A photograph comes in: uploaded, taken with the camera, or one of the demo's. It is kept at once.

A file that cannot be read leaves everything as it was, with a sentence beside the place where it was dropped.
"""

from __future__ import annotations

import html
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from ui.show import look
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.studio import Studio

Pictures = Sequence[tuple[Path, str]]
"""Files of the demo's photographs, with their titles."""
PHOTOGRAPH_FIELDS = (
    "photo", "photo_name", "photo_waited", "card", "card_way", "corners", "neutral", "finishes", "chosen", "daylight",
    "same_light", "profile", "more_way", "paper", "second", "frames", "frames_used", "logged_areas",
)  # fmt: skip


def upload(studio: Studio, draft: Draft, then: Callable[[], object] = st.rerun) -> None:
    """Take a photograph file. then: what comes once it is kept."""
    key = f"{draft.form}.upload.{st.session_state.get(f'{draft.form}.uploads', 0)}"
    file = st.file_uploader("Photograph", key=key, label_visibility="collapsed", max_upload_size=256)
    st.html(
        '<p class="pm-soft">The file as the camera wrote it: JPEG, HEIC, PNG, WebP, TIFF or camera raw. '
        "On most phones this button also offers the camera.</p>"
    )
    if file is not None:
        _take(studio, draft, file.getvalue(), file.name, then)


def camera(studio: Studio, draft: Draft) -> None:
    """Take a photograph with the camera of this phone or computer."""
    shot = st.camera_input("Camera", key=f"{draft.form}.camera", label_visibility="collapsed", resolution="1080p")
    st.html(
        '<p class="pm-soft">Put the grey card flat beside the finish, in the same light. '
        "A phone's own camera, through “Upload”, gives a finer picture.</p>"
    )
    if shot is not None:
        _take(studio, draft, shot.getvalue(), "camera.jpg")


def demo_pictures(studio: Studio, draft: Draft, pictures: Pictures | None = None) -> None:
    """Offer photographs that come with the demo studio: ``pictures``, or all that show a finish, the client's first."""
    st.html('<p class="pm-soft">Invented pictures to try things out with.</p>')
    with st.container(horizontal=True, gap="small", key="demo-pictures"):
        for path, title in _demo_pictures() if pictures is None else pictures:
            with st.container(width=250, gap="small"):
                st.html(_thumb(path, title))
                if st.button(literal(title), key=f"{draft.form}.demo.{path.stem}", width="stretch"):
                    _take(studio, draft, path.read_bytes(), path.name)


@st.cache_data(show_spinner=False)
def _demo_pictures() -> list[tuple[Path, str]]:
    """Return the demo's large pictures that show a finish, with their titles."""
    from matcher.shipped import shipped

    folder = shipped("demo_images")
    pictures = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["pictures"]
    return [(folder / name, item["title"]) for name, item in pictures.items() if item["finishes"] and "/" not in name]


def _thumb(path: Path, title: str) -> str:
    from ui.photograph.photographs import shipped_image

    return f'<div class="pm-photo demo">{shipped_image(path, title)}</div>'


def _take(studio: Studio, draft: Draft, data: bytes, name: str, then: Callable[[], object] = st.rerun) -> None:
    """Open and keep a photograph, then start on it; or say why it cannot be used and change nothing."""
    try:
        with st.spinner("Reading the photograph…"):
            sha256 = keep(studio, data, name)
    except MatcherError as error:
        tell(str(error))
        return
    forget_photograph(draft)
    draft.set(photo=sha256, photo_name=name)
    st.session_state[f"{draft.form}.uploads"] = st.session_state.get(f"{draft.form}.uploads", 0) + 1
    then()


def take_a_photograph(draft: Draft) -> None:
    """Offer the phone's own camera; the browser keeps the picture until the studio has it (``serving.waiting``)."""
    field = f'<input type="file" accept="image/*" capture="environment" data-form="{html.escape(draft.form)}">'
    st.html(f'<label class="pm-take">Take a photograph{field}</label>')
    if refused := st.session_state.pop(_refused(draft), None):
        tell(refused)


def take_kept(draft: Draft, sent: Mapping[str, Any]) -> None:
    """Start a form on a photograph that the browser has sent, or keep the sentence that says why it cannot be used.

    sent: "sha256" and "name" of one that the studio keeps, else "said". The browser may tell of one twice: its marks
    stay.
    """
    if not sent.get("kept"):
        st.session_state[_refused(draft)] = str(sent.get("said", ""))
        return
    if draft.get("photo") == sent["sha256"]:
        return
    forget_photograph(draft)
    draft.set(photo=str(sent["sha256"]), photo_name=str(sent.get("name", "")), photo_waited=True)


def may_be_replaced(draft: Draft) -> bool:
    """Tell whether a photograph that comes late takes nothing away: the form holds none, or one that came so too and
    was not marked yet.
    """
    marked = any(draft.get(mark) for mark in ("card", "corners", "neutral", "finishes"))
    return draft.get("photo") is None or (bool(draft.get("photo_waited")) and not marked)


def _refused(draft: Draft) -> str:
    return f"{draft.form}.photograph.refused"


def keep(studio: Studio, data: bytes, name: str) -> str:
    """Keep a photograph in the studio and return its SHA-256. Raises MatcherError for a file that is none."""
    from matcher.photo.photo import open_photo
    from ui.photograph.photographs import opened

    photo = open_photo(data, name=name)
    sha256 = studio.keep_photo(data, name)
    opened(studio, sha256, photo)
    return sha256


def forget_photograph(draft: Draft) -> None:
    """Take the photograph and its marks out of the form; the file itself stays in the studio."""
    draft.forget(PHOTOGRAPH_FIELDS)


def ways(studio: Studio) -> dict[str, str]:
    """Return the ways in which a colour can come in, by name, with the words for each."""
    known = {"upload": "Upload", "camera": "Camera", "typed": "Instrument or Munsell"}
    return {"demo": "Demo picture", **known} if studio.is_demo else known


def choose_way(studio: Studio, draft: Draft, typed: bool = True) -> str:
    """Ask how the colour comes in, and return the answer. typed: whether figures will do instead of a photograph."""
    known = {name: words for name, words in ways(studio).items() if typed or name != "typed"}
    first = next(iter(known))
    chosen = st.segmented_control(
        "Where does the colour come from?" if typed else "Where does the photograph come from?",
        list(known),
        format_func=lambda name: literal(known[name]),
        required=True,
        **draft.field("way", first),
    )
    return chosen or first


def bring_in(studio: Studio, draft: Draft, way: str, pictures: Pictures | None = None) -> None:
    """Show what a way needs to bring a photograph in; ``pictures`` are the demo's to choose from."""
    with look.panel(f"intake-{draft.form}"):
        if way == "demo":
            demo_pictures(studio, draft, pictures)
        else:
            take_a_photograph(draft)
            {"upload": upload, "camera": camera}[way](studio, draft)
