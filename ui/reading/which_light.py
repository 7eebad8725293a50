"""Which light a photograph was taken in: asked where neither the file nor a camera profile shows it.

The answer is kept with the draft, and offered for the next photograph of the session that meets the same profile.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from ui.show.literal import literal
from ui.state.drafts import Draft

if TYPE_CHECKING:
    from matcher.calibration.profile import CameraProfile
    from matcher.card.reading import CardReading
    from matcher.photo.photo import Photo

ANSWERED = "profiles-whose-light-it-is"
SAME, OTHER = "The same light", "Another light, or not sure"


def ask_light(draft: Draft, profile: CameraProfile | None, photo: Photo, card: CardReading | None) -> str:
    """Return what is known of the light, as ``calibrate`` takes it; ask what only the person knows."""
    if profile is None:
        return _by_day(draft)
    if not profile.light_in_question(photo, card):
        return "unknown"  # the picture tells, one way or the other
    return _of_the_profile(draft, profile)


def light_of(draft: Draft, profile: CameraProfile | None) -> str:
    """Return the same for another photograph of the draft, which was asked about once."""
    if profile is None:
        return "daylight" if draft.get("daylight") else "unknown"
    return "profile" if draft.get("same_light") == profile.name else "unknown"


def _by_day(draft: Draft) -> str:
    by_day = st.toggle(
        "Taken in daylight",
        help="By a window or outdoors, with no lamp on. A camera records colour far more accurately then. Leave it "
        "off if you are not sure.",
        **draft.field("daylight", False),
    )
    return "daylight" if by_day else "unknown"


def _of_the_profile(draft: Draft, profile: CameraProfile) -> str:
    from matcher.reading.wording import light_in_words

    answered: set[str] = st.session_state.setdefault(ANSWERED, set())
    answers = {profile.name: SAME, "": OTHER}  # the answer for one profile is none for another
    field = draft.field("same_light", profile.name if profile.name in answered else "")
    if st.session_state[field["key"]] not in answers:
        st.session_state[field["key"]] = ""
    same = st.radio(
        literal(f"Was it taken in the light of the camera profile, {light_in_words(profile)}?"),
        tuple(answers),
        format_func=lambda one: literal(answers[one]),
        help="A camera that balances white by itself shows every light alike, so the picture cannot tell. A profile "
        "used under another light misleads, so until you say that it is the same, the ± allows for another.",
        **field,
    )
    (answered.add if same else answered.discard)(profile.name)
    return "profile" if same else "unknown"
