"""The camera profile that a photograph is read with: named with its light and day, or why there is none.

It is chosen by camera, file and light; the person can choose another by hand, or none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import StudioError
from ui.escaped import escaped
from ui.state.drafts import Draft
from ui.state.places import CAMERA

if TYPE_CHECKING:
    from matcher.calibration.profile import CameraProfile
    from matcher.card.reading import CardReading
    from matcher.photo.photo import Photo
    from matcher.studio import Studio

AUTO, NONE, NAMED = "auto", "none", "named "
"""What the draft keeps in "profile": one of the first two, or the third with a profile's name."""


@dataclass(frozen=True)
class InUse:
    """The profile in use, or None; why: sentences on why none, or why not the one that was chosen."""

    profile: CameraProfile | None
    why: tuple[str, ...] = ()


def profile_in_use(studio: Studio, draft: Draft, photo: Photo, card: CardReading | None) -> InUse:
    """Return the profile that the draft names, or the studio's that fits."""
    chosen = str(draft.get("profile") or AUTO)
    if chosen == NONE:
        return InUse(None, ("No camera profile, as you chose.",))
    gone: tuple[str, ...] = ()
    if chosen.startswith(NAMED):
        name = chosen.removeprefix(NAMED)
        try:
            named = studio.profile(name)
            if named.retired is None:
                return InUse(named)
        except StudioError:
            pass
        gone = (f"The profile {name} is no longer in use, so another that fits was looked for.",)
    found, caveats = studio.profile_for(photo, card)
    return InUse(found, (*gone, *(caveat.message for caveat in caveats)))


def say_profile(draft: Draft, used: InUse) -> None:
    """Say which profile is in use, or why none is and where one is made."""
    from matcher.reading.wording import profile_in_words

    said = list(used.why)
    if used.profile is not None:
        said.append(f"Read with the camera profile {profile_in_words(used.profile)}.")
    with st.container(key=f"{draft.form}-profile-line", gap=None):
        st.html(f'<p class="pm-soft">{escaped(" ".join(filter(None, said)))}</p>')
        if used.profile is None:
            with st.container(key=f"onward-{draft.form}"):
                st.page_link(CAMERA.file, label="Make a profile of your camera and light")


def choose_profile(studio: Studio, draft: Draft) -> None:
    """Let the person choose a profile by hand, where there is one to choose."""
    names = {NAMED + profile.name: profile.name for profile in studio.profiles()}
    if not names:
        return
    ways = {AUTO: "Choose automatically", **names, NONE: "None"}
    field = draft.field("profile", AUTO)
    if st.session_state[field["key"]] not in ways:
        st.session_state[field["key"]] = AUTO
    st.selectbox("Camera profile", list(ways), format_func=ways.__getitem__, **field)
