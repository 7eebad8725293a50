"""Two to four plates beside each other: their pictures touch; below, what sets their recipes and colours apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.colour.difference import delta_e_2000
from matcher.colour.wording import difference_in_words
from matcher.colour.words_for_colours import colour_in_words
from matcher.recipe.recipe import coat_in_words, seal_in_words, undercoat_in_words
from ui.escaped import escaped
from ui.show.patches import LARGE, patch_strip, plate_patch

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.trials.trial import Trial

WIDE_PX = 270


def picked_strip(trials: Sequence[Trial]) -> str:
    """Return the plates picked so far as HTML, low, or what to do when there are none."""
    if not trials:
        return '<p class="pm-soft">Tap two to four plates.</p>'
    return patch_strip([plate_patch(trial) for trial in trials], [f"Plate {trial.id}" for trial in trials])


def show_beside(trials: Sequence[Trial]) -> None:
    """Show the plates; the first is what the others are held against."""
    strip = patch_strip([plate_patch(trial, LARGE) for trial in trials], [f"Plate {trial.id}" for trial in trials])
    st.html(f'<div style="max-width: {WIDE_PX * len(trials)}px">{strip}</div>')
    if len(trials) > 1:
        with st.spinner("Comparing them…"):
            table = _table(trials)
        st.html(table)


def differences(recipes: Sequence[Recipe]) -> list[tuple[str, tuple[str, ...]]]:
    """Return what is not the same in all recipes: its name, and how each has it."""
    coats = max(len(recipe.coats) for recipe in recipes)
    rows = [
        ("Alloy", tuple(recipe.alloy for recipe in recipes)),
        ("Surface", tuple(recipe.surface for recipe in recipes)),
        ("Undercoat", tuple("none" if r.undercoat is None else undercoat_in_words(r.undercoat) for r in recipes)),
        *(
            (
                "Coat" if coats == 1 else f"Coat {number + 1}",
                tuple(coat_in_words(r.coats[number]) if number < len(r.coats) else "none" for r in recipes),
            )
            for number in range(coats)
        ),
        ("Seal", tuple("unsealed" if r.seal is None else seal_in_words(r.seal) for r in recipes)),
    ]
    return [(name, said) for name, said in rows if len(set(said)) > 1]


def _apart(first: Trial, other: Trial) -> str:
    """Say how a plate's colour differs from the first one's, as HTML: in words from the interval, then the figures."""
    from matcher.reading.comparison import delta_e_interval

    delta = float(delta_e_2000(first.reading.lab, other.reading.lab))
    low, high = interval = delta_e_interval(first.reading, other.reading, given=True)
    words = difference_in_words(first.reading.lab, other.reading.lab, f"than plate {first.id}", interval)
    return f"{escaped(words)} <small>ΔE00 {delta:.1f}, 95 %: {low:.1f} to {high:.1f}</small>"


def _table(trials: Sequence[Trial]) -> str:
    rows = [("Colour", [colour_in_words(trials[0].reading.lab), *(_apart(trials[0], trial) for trial in trials[1:])])]
    rows += [(name, [escaped(part) for part in said]) for name, said in differences([trial.recipe for trial in trials])]
    head = "".join(f'<th scope="col">Plate {trial.id}</th>' for trial in trials)
    body = "".join(
        f'<tr><th scope="row">{name}</th>{"".join(f"<td>{part}</td>" for part in said)}</tr>' for name, said in rows
    )
    same = "" if len(rows) > 1 else '<p class="pm-soft">Their recipes are the same.</p>'
    return (
        f'<div class="pm-beside-table"><table class="pm-changes"><thead><tr><td></td>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>{same}"
    )
