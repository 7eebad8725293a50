"""Photographs from the studio's store: opened once, shown small, as data that needs no second request."""

from __future__ import annotations

import base64
import html
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

from ui.draw import Picture

if TYPE_CHECKING:
    from matcher.photo.photo import Photo
    from matcher.studio import Studio

BENCH_SIDE = 1600
THUMB_SIDE = 480
LARGE_SIDE = 1200


def photo_of(studio: Studio, sha256: str) -> Photo:
    """Return a kept photograph, decoded; the last few stay in memory. Raises PhotoError, StudioError."""
    return _photo(str(studio.photo_path(sha256)))


def opened(studio: Studio, sha256: str, photo: Photo) -> None:
    """Take a photograph that has just been kept as decoded already: a large one takes a tenth of a second."""
    _photo(str(studio.photo_path(sha256)), photo)


@st.cache_resource(show_spinner=False, max_entries=3)
def _photo(path: str, _opened: Photo | None = None) -> Photo:
    from matcher.photo.photo import open_photo

    return open_photo(path) if _opened is None else _opened


def bench_picture(studio: Studio, sha256: str, alt: str) -> Picture:
    """Return a kept photograph for drawing on. Raises PhotoError, StudioError."""
    path = str(studio.photo_path(sha256))
    source, width, height = _bench_source(path)
    return Picture(source, width, height, alt)


@st.cache_data(show_spinner=False, max_entries=12)
def _bench_source(path: str) -> tuple[str, int, int]:
    photo = _photo(path)
    return _as_data(photo.preview(BENCH_SIDE), quality=88), photo.width, photo.height


def figure(studio: Studio, sha256: str | None, alt: str, large: bool = False) -> str:
    """Return a picture on neutral grey as HTML, or words in its place when there is none."""
    from matcher.errors import MatcherError

    if sha256 is None:
        return '<div class="pm-photo none">No photograph of this plate</div>'
    try:
        source = thumb(str(studio.photo_path(sha256)), LARGE_SIDE if large else THUMB_SIDE)
    except MatcherError:
        return '<div class="pm-photo none">Its photograph cannot be opened</div>'
    size = " large" if large else ""
    return f'<div class="pm-photo{size}"><img src="{source}" alt="{html.escape(alt, quote=True)}"></div>'


@st.cache_data(show_spinner=False, max_entries=400)
def thumb(path: str, side: int = THUMB_SIDE) -> str:
    """Return a small copy of a photograph file as a data URL, ``side`` pixels at most. Raises PhotoError."""
    from matcher.photo.photo import open_photo

    return _as_data(open_photo(Path(path)).preview(side), quality=82)


def _as_data(pixels: Any, quality: int) -> str:
    import cv2

    _, coded = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return "data:image/jpeg;base64," + base64.b64encode(coded.tobytes()).decode("ascii")
