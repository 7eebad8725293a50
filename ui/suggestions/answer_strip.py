"""The answer as pictures: the target and the nearest five, edge to edge on neutral grey, under one white.

On a phone two of them touch, the target and the one that is opened; below each lies its flat colour on the target's.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ui.show.patches import LARGE, plate_patch, target_patch
from ui.show.swatches import css_colour, field, figures

if TYPE_CHECKING:
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target

SHOWN = 5


def name_of(item: Suggestion) -> str:
    """Return what a suggestion is called: "Plate 12", or "Predicted" for one that nobody made yet."""
    return "Predicted" if item.trial is None else f"Plate {item.trial.id}"


def answer_strip(target: Target, ranked: Sequence[Suggestion], opened: int) -> str:
    """Return the pictures as HTML. opened: the place, from 1, of the suggestion that is open."""
    tiles = [_target(target)]
    for place in _shown(len(ranked), opened):
        tiles.append(_tile(target, ranked[place - 1], place, place == opened))
    return f'<div class="pm-answer" style="--tiles: {len(tiles) - 1}">{"".join(tiles)}</div>'


def _shown(count: int, opened: int) -> list[int]:
    """Return the places that have a picture: the nearest, the opened one among them."""
    places = list(range(1, min(count, SHOWN) + 1))
    return places if opened in places else [*places[:-1], opened]


def _target(target: Target) -> str:
    lab = target.reading.lab
    said = html.escape(f"Target: {figures(lab)}", quote=True)
    flat = f'<span class="pm-flat" role="img" aria-label="{said}" style="background: {css_colour(lab)}"></span>'
    return f'<figure class="target">{target_patch(target, LARGE)}{flat}<figcaption>Target</figcaption></figure>'


def _tile(target: Target, item: Suggestion, place: int, opened: bool) -> str:
    name = name_of(item)
    face = field(item.lab, f"{name}, as expected") if item.trial is None else plate_patch(item.trial, LARGE)  # type: ignore[arg-type]
    said = html.escape(f"{name}: {figures(item.lab)}", quote=True)
    flat = (
        f'<span class="pm-flat"><i style="background: {css_colour(target.reading.lab)}"></i>'
        f'<i role="img" aria-label="{said}" title="{said}" style="background: {css_colour(item.lab)}"></i></span>'
    )
    made = "<small>not made yet</small>" if item.trial is None else ""
    now = ' class="now" aria-current="true"' if opened else ""
    return f'<figure{now}>{face}{flat}<figcaption class="pm-rank">{place}. {name} {made}</figcaption></figure>'
