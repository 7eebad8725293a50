"""Colours as people see them: swatches on neutral grey, target against plate without a gap, the figures beside.

The screen's colours, the figures and the words come from ``matcher``; here they are only set.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.colour.cielab import lab_to_srgb8, outside_srgb
from matcher.colour.uncertainty import plus_minus_95
from matcher.words import percent, with_sign
from ui.escaped import escaped
from ui.show.reading_trust import show_budget, show_trust

if TYPE_CHECKING:
    from matcher.errors import Caveat
    from matcher.reading.reading import PaletteColour, Reading
    from matcher.suggest.suggestion import Suggestion


def css_colour(lab: Any) -> str:
    """Return a CIELAB colour as CSS."""
    red, green, blue = lab_to_srgb8(lab)
    return f"rgb({red}, {green}, {blue})"


def field(lab: Any, name: str) -> str:
    """Return one flat field of colour as HTML, with its name and figures for those who cannot see it."""
    said = escaped(f"{name}: {figures(lab)}")
    return f'<span role="img" aria-label="{said}" title="{said}" style="background: {css_colour(lab)}"></span>'


def swatch(lab: Any, name: str) -> str:
    """Return one colour on neutral grey as HTML."""
    return f'<div class="pm-mat"><div class="pm-pair tall">{field(lab, name)}</div></div>'


def pair(left: Any, right: Any, left_name: str, right_name: str) -> str:
    """Return two colours that touch, on neutral grey, with their names below, as HTML."""
    names = f"<span>{escaped(left_name)}</span><span>{escaped(right_name)}</span>"
    return (
        f'<div class="pm-mat"><div class="pm-pair">{field(left, left_name)}{field(right, right_name)}</div></div>'
        f'<p class="pm-names">{names}</p>'
    )


def figures(lab: Any) -> str:
    """Return L*, a*, b* to one decimal, as text."""
    return f"L* {with_sign(lab[0])}, a* {with_sign(lab[1])}, b* {with_sign(lab[2])}"


def lab_line(reading: Reading | Suggestion) -> str:
    """Return L*, a*, b* with their 95 % plus-minus, as HTML."""
    parts = [
        f"<span><b>{name}</b> {with_sign(value)} <small>± {reach:.1f}</small></span>"
        for name, value, reach in zip(("L*", "a*", "b*"), reading.lab, plus_minus_95(reading.covariance), strict=True)
    ]
    return f'<p class="pm-lab" title="± holds 95 %">{"".join(parts)}</p>'


def show_reading(reading: Reading, name: str, beside: str = "", offer: Callable[[], bool] | None = None) -> None:
    """Show a reading: swatch, figures, how far to trust it, what to mind, what its ± is made of.

    beside: a sentence to stand with the figures, on what they were read with. offer: shows what would make it surer,
    before what else would help, and tells whether it did.
    """
    said = f'<p class="pm-soft pm-beside">{escaped(beside)}</p>' if beside else ""
    st.html(swatch(reading.lab, name) + lab_line(reading) + said)
    if outside_srgb(reading.lab):
        st.html('<p class="pm-soft">A screen cannot show this colour in full: go by the figures.</p>')
    if len(reading.palette) > 1:
        st.html(shares(reading.palette))
    show_trust(reading, offer)
    show_warnings(reading.caveats)
    show_budget(reading)


def shares(palette: Sequence[PaletteColour]) -> str:
    """Return a finish's colours, each as wide as its share, as HTML."""
    parts = "".join(
        f'<span style="flex: {colour.share:.4f} 1 0; background: {css_colour(colour.lab)}" '
        f'title="{percent(colour.share)}: {figures(colour.lab)}"></span>'
        for colour in palette
    )
    return (
        '<p class="pm-soft" style="margin: 0.2rem 0 0.3rem">Its colours, by share of the marked area</p>'
        '<div class="pm-mat tight">'
        f'<div class="pm-shares" role="img" aria-label="Its colours by share">{parts}</div></div>'
    )


def show_warnings(caveats: Sequence[Caveat]) -> None:
    """Show reasons to trust a reading less, each a plain sentence."""
    if caveats:
        items = "".join(f"<li>{escaped(caveat.message)}</li>" for caveat in caveats)
        st.html(f'<ul class="pm-warnings" aria-label="Warnings">{items}</ul>')
