"""Choosing, among a studio's camera profiles, the one that fits a photograph: its camera, its encoding, its light."""

from __future__ import annotations

from collections.abc import Sequence

from matcher.camera_profile import LIGHT_MOVED, CameraProfile, other_camera
from matcher.card_reading import CardReading
from matcher.errors import Caveat
from matcher.photo import Photo


def best_profile(
    profiles: Sequence[CameraProfile], photo: Photo, card: CardReading | None
) -> tuple[CameraProfile | None, tuple[Caveat, ...]]:
    """Choose the profile that fits a photograph: same camera and encoding, and the light nearest to the card's.

    One whose camera is not known, or any for a photograph whose camera is not known, stands behind one of the right
    camera and comes with a caveat. Returns None with the reason when none fits; a retired profile never does, and
    without a card none does.
    """
    fitting = [
        profile
        for profile in profiles
        if profile.retired is None
        and not any(
            caveat.code in ("profile-camera", "profile-encoding") for caveat in profile.caveats_for(photo, None)
        )
    ]
    if not fitting:
        return None, ()
    if card is None:
        message = "No card tells which light this was: name the camera profile, if one holds here."
        return None, (Caveat("profile-none-fits", message),)
    lit_alike = [profile for profile in fitting if profile.light_moved(card) <= LIGHT_MOVED]
    if not lit_alike:
        message = "No profile of this camera was made under this light: photograph a 24-patch chart here."
        return None, (Caveat("profile-none-fits", message),)
    near = min(lit_alike, key=lambda profile: (not _same_camera(profile, photo), profile.light_moved(card)))
    if _same_camera(near, photo):
        return near, ()
    which = "this photo" if photo.camera is None else f"the profile {near.name!r}"
    message = f"The camera of {which} is not known: use the profile {near.name!r} only if it is of the same camera."
    return near, (Caveat("profile-camera-unknown", message),)


def _same_camera(profile: CameraProfile, photo: Photo) -> bool:
    """Tell whether both files name their camera, and the same one."""
    known = [camera is not None and camera.model is not None for camera in (profile.camera, photo.camera)]
    return all(known) and not other_camera(profile.camera, photo.camera)
