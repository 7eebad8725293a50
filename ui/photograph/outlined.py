"""A small photograph with outlines on it that cannot be moved: where a card was found, what was marked."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ui.photograph.photographs import image, size_of

if TYPE_CHECKING:
    from matcher.studio import Studio
    from ui.draw import Point

Outline = Sequence["Point"]


def outlined(studio: Studio, sha256: str, outlines: Sequence[Outline], alt: str) -> str:
    """Return a kept photograph with outlines (pixels of the full picture) as HTML. Raises PhotoError, StudioError."""
    width, height = size_of(studio, sha256)
    lines = _as_image(width, height, [outline for outline in outlines if outline])
    return (
        f'<div class="pm-photo outlined"><figure style="--shape: {width / height:.4f}">{image(studio, sha256, alt)}'
        f'<img class="lines" src="{lines}" alt=""></figure></div>'
    )


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
