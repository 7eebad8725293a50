"""Learns a camera under its light from one photograph of a 24-patch chart, step by step.

Photograph, chart, names, what was learned: everything stays in the draft until the last of them.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import CardError, MatcherError
from ui.camera.chart_step import ask_for_chart
from ui.camera.profile_list import show_profile
from ui.escaped import escaped
from ui.photograph import intake
from ui.photograph.card_step import card_reading
from ui.photograph.photographs import photo_of, shipped_image
from ui.show import look
from ui.show.swatches import show_warnings
from ui.state.drafts import Draft
from ui.state.light import CardChoice
from ui.state.messages import tell, told
from ui.state.places import TARGET

if TYPE_CHECKING:
    from matcher.studio import Studio

STEPS = 3
WHAT_TO_PHOTOGRAPH = (
    "A 24-patch colour chart: four rows of six, the greys along one side. Clean, and not faded.",
    "Lay it where your plates lie, flat, in the light that you work in. No shadow and no shine on it.",
    "Let it fill half the picture or more, sharp, without flash or filter.",
    "If the camera lets you set its white balance, set it once and leave it so.",
)
DEMO_CHARTS = (("chart_daylight.jpg", "In daylight"), ("chart_tubes.jpg", "Under workshop tubes"))


def make_profile(studio: Studio) -> None:
    """Lead from a photograph of a chart to a kept profile."""
    draft = Draft(studio, "camera")
    if draft.get("learned") is not None:
        _learned(studio, draft)
        return
    sha256 = draft.get("photo")
    if sha256 is None:
        _photograph(studio, draft)
        return
    try:
        studio.photo_path(sha256)
        if draft.get("card") is None:
            _step(2, "Is the chart outlined?")
            ask_for_chart(studio, draft, sha256)
        else:
            _step(3, "Name it")
            _name(studio, draft, sha256)
    except MatcherError as error:
        tell(str(error))
    if st.button("Use another photograph", type="tertiary", key="camera.another"):
        intake.forget_photograph(draft)
        st.rerun()


def _step(number: int, heading: str) -> None:
    st.html(f'<h2 class="pm-step"><small>Step {number} of {STEPS}</small> {escaped(heading)}</h2>')


def _photograph(studio: Studio, draft: Draft) -> None:
    _step(1, "Photograph the chart")
    words_side, picture_side = st.columns([1.75, 1], gap="medium")
    with words_side:
        items = "".join(f"<li>{escaped(line)}</li>" for line in WHAT_TO_PHOTOGRAPH)
        st.html(f'<ul class="pm-steps">{items}</ul>')
    with picture_side:
        chart = shipped_image(_demo_chart(DEMO_CHARTS[0][0]), "A 24-patch chart on a bench, photographed well")
        st.html(f'<div class="pm-photo">{chart}</div>')
    way = intake.choose_way(studio, draft, typed=False)
    intake.bring_in(studio, draft, way, [(_demo_chart(name), title) for name, title in DEMO_CHARTS])


def _demo_chart(name: str) -> Path:
    from matcher.shipped import shipped

    return shipped("demo_images") / name


def _name(studio: Studio, draft: Draft, sha256: str) -> None:
    """Ask for the names and learn; a chart that does not fit says so, and everything stays as it is."""
    camera = photo_of(studio, sha256).camera
    model = (camera.model if camera is not None else None) or "phone"
    with look.panel("lesson"):
        st.text_input("The light", placeholder="north window, overcast", live=True, **draft.field("light", ""))
        name = st.text_input(
            "Name of camera and light",
            placeholder=f"{model}, north window",
            live=True,
            **draft.field("name", ""),
        )
        if any(profile.name == " ".join((name or "").split()) for profile in studio.profiles()):
            tell("There is a profile of this name: it will be retired and kept under its date.", "warning")
        with st.container(horizontal=True, vertical_alignment="center"):
            learn = st.button("Make the profile", type="primary", key="camera.learn")
            if st.button("Mark the chart again", type="tertiary", key="camera.again"):
                draft.set(card=None)
                st.rerun()
        if learn:
            with told():
                _learn(studio, draft, sha256)
                st.rerun()


def _learn(studio: Studio, draft: Draft, sha256: str) -> None:
    from matcher.calibration.profile_from_chart import profile_from_chart

    name, light = (str(st.session_state.get(draft.key(field)) or "").strip() for field in ("name", "light"))
    if not name:
        raise CardError("Give the camera and its light a name first, so that you can recognise them later.")
    with st.spinner("Making the profile…"):
        chart = card_reading(studio, sha256, CardChoice.from_dict(draft.get("card")))
        assert chart is not None  # this page offers no way without a chart
        kept = studio.save_profile(profile_from_chart(photo_of(studio, sha256), chart, name, light=light))
    draft.fill({"learned": kept.name})


def _learned(studio: Studio, draft: Draft) -> None:
    """Show what was learned; a profile that was renamed or retired since then leaves the place free."""
    profile = next((item for item in studio.profiles() if item.name == draft.get("learned")), None)
    if profile is None:
        draft.drop()
        st.rerun()
    st.html(f'<h2 class="pm-step">Profile made: {escaped(profile.name)}</h2>')
    with look.panel("learned"):
        show_profile(profile)
        show_warnings(profile.caveats)
        st.html(
            "<p>Photographs by this camera are now read with it wherever the card shows the same light. Make another "
            "one for every other light, and a new one when a lamp is changed.</p>"
        )
        with st.container(horizontal=True, vertical_alignment="center"):
            if st.button("Read a client's photograph", type="primary", key="camera.onward"):
                draft.drop()
                st.switch_page(TARGET.file)
            if st.button("Photograph another chart", type="tertiary", key="camera.more"):
                draft.drop()
                st.rerun()
