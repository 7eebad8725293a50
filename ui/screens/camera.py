"""Camera and light: the way from a photograph of a 24-patch chart to a profile, and the profiles that there are."""

from __future__ import annotations

from ui.parts import look
from ui.parts.camera_lesson import teach_camera
from ui.parts.faults import told
from ui.parts.opened import the_studio
from ui.parts.profile_list import list_profiles


def show() -> None:
    look.title(
        "Camera and light",
        "Photograph a 24-patch chart once under the light that you work in. Later photographs by that camera in that "
        "light are read with what was learned, and most of the error goes.",
    )
    with told():
        teach_camera(the_studio())
    with told():
        list_profiles(the_studio())


show()
