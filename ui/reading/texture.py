"""What a finish is besides its mean, on the page: its darks and lights, the colours it is made of, its mottle.

Worked out only when it is unfolded: finding the colours takes a moment.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import MatcherError
from matcher.words import percent
from ui.escaped import escaped
from ui.show.swatches import css_colour, figures, pair, shares
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.reading.reading import PaletteColour, Reading
    from matcher.reading.texture import Texture


def show_texture(reading: Reading, texture: Callable[[], Texture], key: str) -> None:
    """Fold away a finish's darks and lights, palette and mottle; ``texture`` is called when it is unfolded."""
    from matcher.reading.wording import lights_and_darks_in_words, mottle_in_words

    folded = st.expander("Lights, darks and mottle", key=key, on_change="rerun")
    if not folded.open:
        return
    with folded:
        try:
            with st.spinner("Looking at the finish…"):
                made_of = texture()
        except MatcherError as error:
            tell(str(error), "warning")
            return
        if reading.darks is not None and reading.lights is not None:
            st.html(pair(reading.darks, reading.lights, "Darkest quarter", "Lightest quarter"))
        st.html(f"<p>{escaped(lights_and_darks_in_words(reading))}</p>")
        st.html(shares(made_of.palette) + _legend(made_of.palette))
        st.html(f"<p>{escaped(mottle_in_words(made_of))}</p>")


def _legend(palette: tuple[PaletteColour, ...]) -> str:
    rows = "".join(
        f'<li><i style="background: {css_colour(colour.lab)}"></i><b>{percent(colour.share)}</b>'
        f"<span>{figures(colour.lab)}</span></li>"
        for colour in palette
    )
    return f'<ul class="pm-legend">{rows}</ul>'
