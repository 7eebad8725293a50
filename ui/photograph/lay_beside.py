"""Which logged plates are worth laying beside a finish that was read too widely: colours, and the ways to them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.words import capital, listed
from ui.escaped import escaped
from ui.show.literal import literal
from ui.show.swatches import field
from ui.state.addresses import below_the_base
from ui.state.cache_keys import Key, beside_key
from ui.state.places import LOG

if TYPE_CHECKING:
    from matcher.colour.types import Floats
    from matcher.plates_beside import LaidBeside
    from matcher.reading.reading import Reading
    from matcher.studio import Studio

TO_TAG = "to-tag"
"""In the log's address: plates to print tags for, "24,9"."""


def offer_to_lay(
    studio: Studio,
    reading: Reading,
    plate: int | None = None,
    what: str = "it",
    folded: bool = False,
    there: Sequence[int] = (),
) -> bool:
    """Say which plates to lay beside a finish and what that gains; nothing where it gains too little.

    plate: the number of the logged plate that the reading is of, None where it is of none. what: how the finish is
    called. folded: whether colours and ways wait below the sentence until it is tapped. there: the plates in its
    photograph, which are not offered. Returns whether anything was said.
    """
    if reading.photo is None:
        return False
    laid = _worth_laying(beside_key(studio, reading, plate, there), studio, reading, plate, there)
    if laid is None:
        return False
    colours = [(number, studio.trial(number).reading.lab) for number in laid.numbers]
    words = f"{capital(laid.beside(what))}."
    shown = plates_in_a_strip(colours) + _to_tag(studio, laid)
    if folded:
        with st.expander(f"**{literal(words)}**", type="compact"):
            st.html(f'<div class="pm-lay">{shown}</div>')
    else:
        st.html(f'<div class="pm-lay"><p><strong>{escaped(words)}</strong></p>{shown}</div>')
    return True


@st.cache_resource(show_spinner=False, max_entries=256)
def _worth_laying(
    key: Key, _studio: Studio, _reading: Reading, _plate: int | None, _there: Sequence[int]
) -> LaidBeside | None:
    return _studio.worth_laying(_reading, _plate, _there)


def plates_in_a_strip(plates: Sequence[tuple[int, Floats]]) -> str:
    """Return plates' colours side by side on neutral grey, each with its number, which leads to it, as HTML."""
    colours = "".join(field(lab, f"Plate {number}") for number, lab in plates)
    log = below_the_base(LOG.address)
    names = "".join(
        f'<span><a href="{log}?plate={number}" target="_self" aria-label="Plate {number}">{number}</a></span>'
        for number, _ in plates
    )
    return (
        f'<div class="pm-mat tight"><div class="pm-pair apart">{colours}</div></div>'
        f'<p class="pm-names tight apart">{names}</p>'
    )


def _to_tag(studio: Studio, laid: LaidBeside) -> str:
    """Return the way to print tags for those that carry none."""
    carried = {one.trial_id for one in studio.tags().in_force()}
    bare = [number for number in laid.numbers if number not in carried]
    if not bare:
        return ""
    address = f"{below_the_base(LOG.address)}?{TO_TAG}={','.join(map(str, bare))}"
    label = f"Print {'a tag' if len(bare) == 1 else 'tags'} for {listed([str(number) for number in bare])}"
    return f'<p><a class="pm-way" href="{address}" target="_self">{label}</a></p>'
