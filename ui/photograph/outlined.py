"""A small photograph with outlines on it that cannot be moved: where a card was found, what was marked."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from ui.photograph.photographs import photo_of, thumb
from ui.state.cache_keys import Key, photo_key

if TYPE_CHECKING:
    from matcher.studio import Studio
    from ui.draw import Point

Outline = Sequence["Point"]


def outlined(studio: Studio, sha256: str, outlines: Sequence[Outline], alt: str) -> str:
    """Return a kept photograph with outlines (pixels of the full picture) as HTML. Raises PhotoError, StudioError."""
    path = str(studio.photo_path(sha256))
    width, height = size_of(studio, sha256)
    lines = _as_image(width, height, [outline for outline in outlines if outline])
    return (
        f'<div class="pm-photo outlined"><figure><img src="{thumb(path)}" alt="{html.escape(alt, quote=True)}">'
        f'<img class="lines" src="{lines}" alt=""></figure></div>'
    )


def size_of(studio: Studio, sha256: str) -> tuple[int, int]:
    """Return width and height of a kept photograph in pixels. Raises PhotoError, StudioError."""
    return _size(photo_key(studio, sha256), studio, sha256)


@st.cache_data(show_spinner=False, max_entries=400)
def _size(key: Key, _studio: Studio, _sha256: str) -> tuple[int, int]:
    photo = photo_of(_studio, _sha256)
    return photo.width, photo.height


def _as_image(width: int, height: int, outlines: Sequence[Outline]) -> str:
    """Return the outlines as an SVG picture, black under white so that they show on any metal, as a data URL."""
    unit = max(width, height) / 200
    drawn = "".join(
        f'<polygon points="{" ".join(f"{x:.0f},{y:.0f}" for x, y in outline)}" stroke="{ink}" '
        f'stroke-width="{unit * wide:.1f}"/>'
        for outline in outlines
        for ink, wide in (("#000", 2.6), ("#fff", 1.2))
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'fill="none" stroke-linejoin="round">{drawn}</svg>'
    )
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode("ascii")
