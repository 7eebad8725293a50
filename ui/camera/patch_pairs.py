"""The 24 patches of a chart as a small picture: what was published on the left, what was read on the right."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ui.escaped import escaped
from ui.show.swatches import css_colour, figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matcher.calibration.profile_report import PatchPair


def patch_picture(pairs: Sequence[PatchPair], columns: int) -> str:
    """Return the pairs in the chart's own order on neutral grey, with the ΔE00 of each, as HTML."""
    cells = "".join(_cell(pair) for pair in pairs)
    return (
        f'<div class="pm-mat tight"><div class="pm-chart" style="grid-template-columns: repeat({columns}, 1fr)" '
        f'role="list" aria-label="The patches of the chart">{cells}</div></div>'
        '<p class="pm-soft">Left half as published, right half as read; below it the ΔE00 between the two.</p>'
    )


def _cell(pair: PatchPair) -> str:
    if pair.read is None or pair.delta_e00 is None:
        said = escaped(f"{pair.name}: left out")
        halves, figure = f'<i style="background: {css_colour(pair.published)}"></i><i class="out"></i>', "out"
    else:
        said = escaped(f"{pair.name}: {figures(pair.published)}, read as {figures(pair.read)}")
        halves = "".join(f'<i style="background: {css_colour(lab)}"></i>' for lab in (pair.published, pair.read))
        figure = f"{pair.delta_e00:.1f}"
    return f'<span role="listitem" aria-label="{said}" title="{said}"><b>{halves}</b><small>{figure}</small></span>'
