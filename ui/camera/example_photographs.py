"""Good and bad photographs of one plate, side by side: what is wrong, what to do, and what was read from each.

Every figure comes from the readings that travel with the demo's pictures.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from ui.escaped import escaped
from ui.photograph.photographs import EXAMPLE_SIDE, shipped_image
from ui.show.swatches import field

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matcher.demo_examples import ReadExample


def show_examples(examples: Sequence[ReadExample]) -> None:
    """Show the good photograph large with its reading, then the others against it."""
    good = [example for example in examples if not example.wrong]
    spoiled = [example for example in examples if example.wrong]
    cards = "".join(_example(example) for example in (*good, *spoiled))
    st.html(f'<div class="pm-examples">{cards}</div>')


def _example(example: ReadExample) -> str:
    picture = shipped_image(example.file, example.wrong or example.remedy, EXAMPLE_SIDE)
    wrong = f"<p>{escaped(example.wrong)}</p>" if example.wrong else ""
    remedy = f"<p>{'<b>Instead:</b> ' if example.wrong else ''}{escaped(example.remedy)}</p>"
    return (
        f'<section><h3>{escaped(example.title)}</h3><div class="pm-photo">{picture}</div>'
        f"{_colours(example)}{_read(example)}{wrong}{remedy}{_said(example)}</section>"
    )


def _colours(example: ReadExample) -> str:
    """True colour beside what was read, touching; the true one alone where nothing was read."""
    fields = field(example.true_lab, "True colour")
    names = "<span>true</span>"
    if example.read_lab is not None:
        fields += field(example.read_lab, "As read")
        names += "<span>as read</span>"
    return f'<div class="pm-mat tight"><div class="pm-pair">{fields}</div></div><p class="pm-names">{names}</p>'


def _read(example: ReadExample) -> str:
    if example.delta_e00 is None or example.reach_delta_e00 is None:
        return '<p class="pm-words">Not read at all</p>'
    words = example.words or ""
    inside = example.delta_e00 <= example.reach_delta_e00
    claimed = f"The tool claims ±{example.reach_delta_e00:.1f}" + (
        ", which is right." if inside else ", and is wrong: it cannot see this fault."
    )
    return (
        f'<p class="pm-distance">Off by ΔE00 {example.delta_e00:.1f} <small>{escaped(words)}</small></p>'
        f'<p class="pm-soft">{claimed}</p>'
    )


def _said(example: ReadExample) -> str:
    notes = list(example.said)
    if not example.card_found and example.read_lab is not None:
        notes.insert(0, "The card is not found by itself: its corners were marked by hand.")
    if not notes:
        return ""
    items = "".join(f"<li>{escaped(note)}</li>" for note in notes)
    return f'<ul class="pm-warnings" aria-label="What the tool says">{items}</ul>'
