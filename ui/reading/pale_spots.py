"""Pale spots on a finish: shown on the picture, and asked whether they are glare or the finish itself.

One photograph can't tell a white bloom from a mirrored lamp; the person at the bench can.
"""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

import streamlit as st

from matcher.reading.finish import PALE_SPOTS_CODE
from ui.photograph.photographs import photo_of
from ui.reading.read_marks import pixels_left_out
from ui.state.cache_keys import Key, light_key

if TYPE_CHECKING:
    from matcher.reading.reading import Reading
    from matcher.studio import Studio
    from ui.draw import Shape
    from ui.state.drafts import Draft
    from ui.state.light import Light

WAYS = {"unknown": "Not sure", "glare": "Glare", "finish": "The finish itself"}
LONGEST_SIDE = 480


def ask_about_pale_spots(
    studio: Studio, draft: Draft, sha256: str, light: Light, shape: Shape, reading: Reading
) -> None:
    """Ask what the pale spots are, where it makes a difference or was said before; the answer counts at once."""
    in_doubt = any(caveat.code == PALE_SPOTS_CODE for caveat in reading.caveats)
    if not in_doubt and light.pale_spots == "unknown":
        return
    before, marked = _pictures(light_key(studio, sha256, light), shape, studio, sha256, light)
    st.html(
        f'<div class="pm-mat tight"><div class="pm-pair-pictures"><img src="{before}" alt="The marked finish">'
        f'<img src="{marked}" alt="The same with its pale spots striped"></div></div>'
        '<p class="pm-soft">Striped: paler by light of the lamp\'s own colour. A mirrored lamp does that, and so does '
        "a white bloom.</p>"
    )
    st.radio(
        "What are the pale spots?",
        list(WAYS),
        format_func=WAYS.__getitem__,
        horizontal=True,
        help="Glare moves when the lamp or the plate is moved; the finish stays. While you are not sure, the ± allows "
        "for both. More photographs with the lamp moved settle it.",
        **draft.field("pale_spots", "unknown"),
    )


@st.cache_data(show_spinner=False, max_entries=16)
def _pictures(key: Key, shape: Shape, _studio: Studio, _sha256: str, _light: Light) -> tuple[str, str]:
    """Return the marked finish, and the same with striped pale spots, as data URLs of the same size."""
    import numpy as np

    photo = photo_of(_studio, _sha256)
    places, spots = pixels_left_out(_studio, _sha256, _light, shape)
    low, high = places.min(axis=0).astype(int), places.max(axis=0).astype(int) + 1
    longest = max(photo.width, photo.height)
    scale = min(1.0, LONGEST_SIDE / float((high - low).max()))
    small = photo.preview(max(1, round(longest * scale)))
    scale = small.shape[1] / photo.width
    left, top = np.floor(low * scale).astype(int)
    right, bottom = np.ceil(high * scale).astype(int)
    crop = small[top : max(bottom, top + 1), left : max(right, left + 1)].copy()
    columns, rows = np.clip((places[spots] * scale).astype(int) - [left, top], 0, np.array(crop.shape[1::-1]) - 1).T
    striped = crop.copy()
    striped[rows, columns] = np.where(((rows + columns) // 4 % 2 == 0)[:, None], 0, 255)
    return _as_url(crop), _as_url(striped)


def _as_url(pixels: object) -> str:
    from PIL import Image

    kept = io.BytesIO()
    Image.fromarray(pixels).save(kept, "PNG")  # type: ignore[arg-type]
    return "data:image/png;base64," + base64.b64encode(kept.getvalue()).decode("ascii")
