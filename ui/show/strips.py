"""Colours in little height, for lists: two that touch, and palettes as strips of their shares, one under the other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matcher.words import percent
from ui.escaped import escaped
from ui.show.swatches import css_colour, field, figures


def low_pair(left: Any, right: Any, left_name: str, right_name: str) -> str:
    """Return two colours that touch, on neutral grey, with their names below, as HTML."""
    names = f"<span>{escaped(left_name)}</span><span>{escaped(right_name)}</span>"
    return (
        '<div class="pm-mat tight"><div class="pm-pair low">'
        f'{field(left, left_name)}{field(right, right_name)}</div></div><p class="pm-names tight">{names}</p>'
    )


def strips(upper: Sequence[Any], lower: Sequence[Any]) -> str:
    """Return two palettes that touch, on neutral grey, as HTML: each is its name, colours (k, 3) and shares (k,)."""
    return (
        f'<p class="pm-strip-name">{escaped(upper[0])}</p>'
        f'<div class="pm-mat tight">{_strip(*upper)}{_strip(*lower)}</div>'
        f'<p class="pm-strip-name">{escaped(lower[0])}</p>'
    )


def _strip(name: str, labs: Sequence[Any], shares: Sequence[float]) -> str:
    """Return one palette, the darkest first, so that strips can be compared."""
    parts = sorted(zip(labs, shares, strict=True), key=lambda part: float(part[0][0]))
    said = "; ".join(f"{percent(share)} {figures(lab)}" for lab, share in parts)
    fields = "".join(
        f'<span style="flex: {share:.4f} 1 0; background: {css_colour(lab)}" '
        f'title="{percent(share)}: {figures(lab)}"></span>'
        for lab, share in parts
    )
    return f'<div class="pm-shares" role="img" aria-label="{escaped(f"{name}: {said}")}">{fields}</div>'
