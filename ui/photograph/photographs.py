"""Photographs from the studio's store: opened once, and shown small by an address that the server answers.

The page holds addresses only (``/pictures/{SHA-256}/{longest side}.jpg``); ``picture_routes`` serves them.
"""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from matcher.photo.small import shown_size
from ui.draw import Picture
from ui.escaped import escaped
from ui.state.addresses import photograph_address
from ui.state.cache_keys import Key, photo_key

if TYPE_CHECKING:
    from matcher.photo.photo import Photo
    from matcher.studio import Studio

BENCH_SIDE = 1600
THUMB_SIDE = 480
EXAMPLE_SIDE = 640
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


def size_of(studio: Studio, sha256: str) -> tuple[int, int]:
    """Return width and height of a kept photograph in pixels. Raises PhotoError, StudioError."""
    return _size(photo_key(studio, sha256), studio.photo_path(sha256))


@st.cache_data(show_spinner=False, max_entries=10_000)
def _size(key: Key, _path: Path) -> tuple[int, int]:
    from matcher.photo.small import size_of as size_of_file

    return size_of_file(_path)


def bench_picture(studio: Studio, sha256: str, alt: str) -> Picture:
    """Return a kept photograph for drawing on. Raises PhotoError, StudioError."""
    return Picture(
        photograph_address(sha256, BENCH_SIDE), *_size_once_opened(photo_key(studio, sha256), studio, sha256), alt
    )


@st.cache_data(show_spinner=False, max_entries=400)
def _size_once_opened(key: Key, _studio: Studio, _sha256: str) -> tuple[int, int]:
    """Return a photograph's size once it is decoded: it is read next, and what cannot be opened is said here."""
    photo = photo_of(_studio, _sha256)
    return photo.width, photo.height


def figure(studio: Studio, sha256: str | None, alt: str, large: bool = False) -> str:
    """Return a picture on neutral grey as HTML, or words in its place when there is none."""
    from matcher.errors import MatcherError

    if sha256 is None:
        return '<div class="pm-photo none">No photograph of this plate</div>'
    try:
        shown = image(studio, sha256, alt, LARGE_SIDE if large else THUMB_SIDE)
    except MatcherError:
        return '<div class="pm-photo none">Its photograph cannot be opened</div>'
    size = " large" if large else ""
    return f'<div class="pm-photo{size}">{shown}</div>'


def image(studio: Studio, sha256: str, alt: str, side: int = THUMB_SIDE) -> str:
    """Return a small copy of a kept photograph as an HTML image. Raises PhotoError, StudioError."""
    return _image(sha256, size_of(studio, sha256), alt, side)


def shipped_image(path: Path, alt: str, side: int = THUMB_SIDE) -> str:
    """Return a small copy of one of the demo's pictures as an HTML image. Raises PhotoError."""
    from matcher.photo.small import size_of as size_of_file

    sha256 = next(name for name, known in shipped_pictures().items() if known == path)
    return _image(sha256, size_of_file(path), alt, side)


def _image(sha256: str, size: tuple[int, int], alt: str, side: int) -> str:
    """Return an HTML image that takes its room before it is there, and is fetched when it comes near the window."""
    width, height = shown_size(*size, side)
    return (
        f'<img src="{photograph_address(sha256, side)}" width="{width}" height="{height}" loading="lazy" '
        f'decoding="async" style="--shape: {width / height:.4f}; --own: {width}px" '
        f'alt="{escaped(alt)}">'
    )


def small_copy(studio: Studio, sha256: str, side: int) -> bytes:
    """Return the JPEG that ``photograph_address`` stands for. Raises PhotoError, StudioError."""
    if side == BENCH_SIDE and studio.photos.has(sha256):
        return studio.made_small(sha256, side, lambda: photo_of(studio, sha256))  # decoded already, to be drawn on
    path = shipped_pictures().get(sha256)
    if path is None or studio.photos.has(sha256):
        return studio.small_photo(sha256, side)
    from matcher.photo.photo import open_photo

    return studio.made_small(sha256, side, lambda: open_photo(path))


@cache
def shipped_pictures() -> dict[str, Path]:
    """Return the pictures that travel with the tool by the SHA-256 of their bytes."""
    from matcher.shipped import shipped

    return {hashlib.sha256(path.read_bytes()).hexdigest(): path for path in shipped("demo_images").rglob("*.jpg")}
