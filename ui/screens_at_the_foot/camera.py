"""Camera and light: the way from a photograph of a 24-patch chart to a profile, and the profiles that there are."""

from __future__ import annotations

from ui.camera.make_profile import make_profile
from ui.camera.profile_list import list_profiles
from ui.show import look
from ui.state.messages import told
from ui.state.open_studio import the_studio


def show() -> None:
    look.title(
        "Camera and light",
        "Photograph a 24-patch chart once under the light that you work in. Later photographs by that camera in that "
        "light are read with what was learned, and most of the error goes.",
    )
    with told():
        make_profile(the_studio())
    with told():
        list_profiles(the_studio())


show()
