"""The answer as pictures: the target and the nearest five, edge to edge on neutral grey, under one white.

On a phone the target and the one that is opened touch, with the others small below them, each with its chance. Below
each picture lies its flat colour on the target's.
A tap on a picture opens its line, without leaving the page; without the script it is a link to the page so opened.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.words import in_ten
from ui.escaped import escaped
from ui.heard import heard
from ui.show.patches import LARGE, plate_patch, target_patch
from ui.show.swatches import css_colour, field, figures

if TYPE_CHECKING:
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target

SHOWN = 5
OPEN = "open"
"""In the address: the place, from 1, of the line that is open."""
KEY = "answer_hand"
_JS = """
let tell;
let listening;
let byKeyboard;

export default function ({ data, setTriggerValue }) {
  tell = setTriggerValue;
  if (byKeyboard === data.opened) {  // the pictures are new ones: whoever came by the keyboard stays where they were
    const place = byKeyboard;
    byKeyboard = undefined;
    const there = () => document.querySelector(`.pm-answer a[data-place="${place}"][aria-current]`);
    let left = 60;
    const stay = () => { const link = there(); link ? link.focus() : left-- > 0 && requestAnimationFrame(stay); };
    stay();
  }
  if (listening) return;
  listening = true;
  document.addEventListener("click", (event) => {
    const picture = event.target.closest?.(".pm-answer a.pm-tap");
    if (!picture || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
    event.preventDefault();
    const place = Number(new URL(picture.href).searchParams.get("open"));
    byKeyboard = event.detail === 0 ? place : undefined;
    tell("opened", place);
  }, true);
}
"""


def name_of(item: Suggestion) -> str:
    """Return what a suggestion is called: "Plate 12", or "Predicted" for one that nobody made yet."""
    return "Predicted" if item.trial is None else f"Plate {item.trial.id}"


def answer_strip(target: Target, ranked: Sequence[Suggestion], opened: int, can_open: bool = True) -> str:
    """Return the pictures as HTML. opened: the place, from 1, of the suggestion that is open.

    can_open: whether a tap on a picture opens its line.
    """
    tiles = [_target(target)]
    for place in _shown(len(ranked), opened):
        tiles.append(_tile(target, ranked[place - 1], place, place == opened, can_open))
    return f'<div class="pm-answer" style="--tiles: {len(tiles) - 1}">{"".join(tiles)}</div>'


def hear_taps(opened: int, then: Callable[[int], None]) -> None:
    """Put the listener below the pictures, once a run. then: is told the place that was tapped, before the run."""

    def hear() -> None:
        place = heard(KEY, "opened")
        if place is not None:
            then(int(place))

    _component()(key=KEY, data={"opened": opened}, on_opened_change=hear)


@cache
def _component() -> Any:
    return st.components.v2.component("patina_matcher.answer", js=_JS)


def _shown(count: int, opened: int) -> list[int]:
    """Return the places that have a picture: the nearest, the opened one among them."""
    places = list(range(1, min(count, SHOWN) + 1))
    return places if opened in places else [*places[:-1], opened]


def _target(target: Target) -> str:
    lab = target.reading.lab
    said = escaped(f"Target: {figures(lab)}")
    flat = f'<span class="pm-flat" role="img" aria-label="{said}" style="background: {css_colour(lab)}"></span>'
    return f'<figure class="target">{target_patch(target, LARGE)}{flat}<figcaption>Target</figcaption></figure>'


def _tile(target: Target, item: Suggestion, place: int, opened: bool, can_open: bool) -> str:
    name = name_of(item)
    face = field(item.lab, f"{name}, as expected") if item.trial is None else plate_patch(item.trial, LARGE)  # type: ignore[arg-type]
    said = escaped(f"{name}: {figures(item.lab)}")
    flat = (
        f'<span class="pm-flat"><i style="background: {css_colour(target.reading.lab)}"></i>'
        f'<i role="img" aria-label="{said}" title="{said}" style="background: {css_colour(item.lab)}"></i></span>'
    )
    made = "<small>not made yet</small>" if item.trial is None else ""
    chance = in_ten(item.chance_within(target.tolerance))
    made += f'<small class="pm-odds">{escaped(chance)}</small>'
    now = ' class="now"' if opened else ""
    tap = _tap(target, name, place, opened) if can_open else ""
    return f'<figure{now}>{face}{flat}<figcaption class="pm-rank">{place}. {name} {made}</figcaption>{tap}</figure>'


def _tap(target: Target, name: str, place: int, opened: bool) -> str:
    """Return the link that covers a picture."""
    said = f"{place}. {name}" + (", open" if opened else ": open it")
    now = ' aria-current="true"' if opened else ""
    address = f"suggestions?target={target.id}&amp;{OPEN}={place}"
    return f'<a class="pm-tap" href="{address}" target="_self" data-place="{place}" aria-label="{said}"{now}></a>'
