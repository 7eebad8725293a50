"""Learns a camera under its light from one photograph of a 24-patch chart; readings under that light become surer."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import CardError
from ui.parts import look
from ui.parts.drafts import Draft
from ui.parts.faults import tell, told
from ui.parts.intake import KINDS

if TYPE_CHECKING:
    from matcher.camera_profile import CameraProfile
    from matcher.studio import Studio


def teach_camera(studio: Studio) -> None:
    """Ask for a photograph of a chart, and list what was learned before."""
    st.subheader("Teach it your camera and your light", anchor=False)
    st.html(
        "<p>Photograph a 24-patch chart once, flat and evenly lit, under the light that you work in. Every later "
        "photograph by that camera under that light is then read with what was learned.</p>"
    )
    draft = Draft(studio, "camera")
    with look.panel("lesson"):
        name = st.text_input(
            "Name of camera and light", placeholder="phone, north window", live=True, **draft.field("name", "")
        )
        file = st.file_uploader("Photograph of the chart", type=KINDS, key="camera.chart", max_upload_size=256)
        if file is not None and st.button("Learn from this chart", type="primary", key="camera.learn"):
            with told():
                _learn(studio, draft, file, name or "")
        known = studio.profiles()
        if known:
            items = "".join(f"<li>{html.escape(_in_words(profile))}</li>" for profile in known)
            st.html(f'<p class="pm-soft">Learned so far</p><ul class="pm-steps">{items}</ul>')


def _learn(studio: Studio, draft: Draft, file: Any, name: str) -> None:
    from matcher.camera_profile import profile_from_chart
    from matcher.cards import find_card
    from matcher.photo import open_photo

    if not name.strip():
        raise CardError("Give the camera and its light a name first, so that you know them again.")
    with st.spinner("Learning from the chart…"):
        data = file.getvalue()
        photo = open_photo(data, name=file.name)
        profile = profile_from_chart(photo, find_card(photo, kind="24-patch chart"), name)
        studio.keep_photo(data, file.name)
        kept = studio.save_profile(profile)
    draft.drop()
    tell(f"Learned: {_in_words(kept)}.", "done")
    for caveat in kept.caveats:
        tell(caveat.message, "mind")


def _in_words(profile: CameraProfile) -> str:
    error = float(profile.leave_one_out.mean())
    return f"{profile.name}, {profile.made_at:%d %b %Y}: ΔE00 {error:.1f} on patches that it had not seen"
