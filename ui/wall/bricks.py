"""The plates themselves, edge to edge on neutral grey: each is its picture, and the way to its page.

Built in chunks of HTML, so that a long log does not come at once. A picture is fetched when it comes near the window;
until then its place has the plate's flat colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.colour.cielab import lab_to_srgb8
from matcher.photo.small import PATCH_SIDES
from ui.escaped import escaped
from ui.show.patches import said_of
from ui.state.addresses import below_the_base, patch_address
from ui.state.cache_keys import Key
from ui.state.places import LOG

if TYPE_CHECKING:
    from matcher.ranking.finding import Found
    from matcher.trials.trial import Trial

AT_ONCE = 300
"""How many plates come at first, and each time that one scrolls to their end."""
SIDE = PATCH_SIDES[0]


def newest_strip(trials: Sequence[Trial]) -> str:
    """Return a row of plates as HTML."""
    return f'<div class="pm-wall strip">{"".join(_brick(trial) for trial in trials)}</div>'


def show_wall(found: Found, key: Key, count: int, picked: Sequence[int], picking: bool) -> None:
    """Show the first ``count`` of the plates found, laid out in chunks; key: of all that the order hangs on."""
    classes = "pm-wall picking" if picking else "pm-wall"
    for start in range(0, min(count, len(found.trials)), AT_ONCE):
        own = [plate for plate in picked if any(t.id == plate for t in found.trials[start : start + AT_ONCE])]
        stop = min(start + AT_ONCE, len(found.trials))
        inner = _chunk((*key, start, stop, tuple(own)), found, start, own)
        st.html(f'<div class="{classes}">{inner}</div>')


@st.cache_data(show_spinner=False, max_entries=120)
def _chunk(key: Key, _found: Found, start: int, _picked: Sequence[int]) -> str:
    headings = {}
    for group in _found.groups:
        counted = "" if group.count is None else f" <small>{group.count}</small>"
        headings[group.first] = f"<h2>{escaped(group.heading)}{counted}</h2>"
    bricks = []
    for place in range(start, min(start + AT_ONCE, len(_found.trials))):
        trial = _found.trials[place]
        apart = "" if _found.delta_e00 is None else f", ΔE00 {_found.delta_e00[place]:.1f}"
        bricks.append(headings.get(place, "") + _brick(trial, apart, trial.id in _picked))
    return "".join(bricks)


def _brick(trial: Trial, apart: str = "", picked: bool = False) -> str:
    address = patch_address("plate", str(trial.id), trial.reading, SIDE)
    said = escaped(said_of(f"Plate {trial.id}", trial.reading) + apart)
    red, green, blue = lab_to_srgb8(trial.reading.lab)
    on = " class=on" if picked else ""
    away = " class=away" if trial.set_aside is not None and not picked else ""
    return (
        f'<a href="{below_the_base(LOG.address)}?plate={trial.id}"{on}{away} title="{said}" '
        f'style="background:#{red:02x}{green:02x}{blue:02x}"><img src="{address}" loading="lazy" alt="{said}"></a>'
    )
