"""What a recipe would give as people see it: swatch on grey beside target and kept one, words, figures, plates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.colour.words_for_colours import colour_in_words
from matcher.suggest.wording import nearness_in_words
from matcher.words import capital, in_ten, percent
from ui.escaped import escaped
from ui.show.literal import literal
from ui.show.patches import patch_strip, plate_patch
from ui.show.swatches import field, lab_line
from ui.state.places import LOG
from ui.state.remembered import remember, remembered, tell_browser

if TYPE_CHECKING:
    from matcher.suggest.suggestion import Apart, Prediction
    from matcher.trials.trial import Target, Trial

FIGURES = "figures"
NOW, KEPT = "this recipe", "the one kept"


def face(now: Prediction, target: Target | None, kept: Prediction | None) -> str:
    """Return the colour on neutral grey as HTML, between the one kept and the target where there are such."""
    shown = [] if kept is None else [(kept.lab, KEPT)]
    shown.append((now.lab, NOW))
    if target is not None:
        shown.append((target.reading.lab, "target"))
    fields = "".join(field(lab, name) for lab, name in shown)
    names = "".join(f"<span>{escaped(name)}</span>" for _, name in shown)
    return (
        f'<div class="pm-mat tight"><div class="pm-pair tall">{fields}</div></div><p class="pm-names tight">{names}</p>'
    )


def headline(now: Prediction, target: Target | None, to_target: Apart | None) -> str:
    """Return in one line what is expected, as HTML: how near the target, or what colour."""
    if target is None or to_target is None:
        words = colour_in_words(now.lab)
        return f'<p class="pm-expected">{capital(words)}</p>'
    standing = to_target.standing(target.tolerance)
    near, how = nearness_in_words(standing, target.reading.lab, now.lab, to_target.delta_e00_interval)
    return f'<p class="pm-expected"><b>{capital(near)}</b>, {escaped(how)}</p>'


def said(now: Prediction, target: Target | None, to_target: Apart | None) -> str:
    """Return the chance to match and how far to trust it, as HTML."""
    lines = []
    if target is not None and to_target is not None:
        chance = in_ten(to_target.chance_within(target.tolerance))
        within = f"to come within ΔE00 {target.tolerance:g} of {escaped(target.name)}"
        lines.append(f"<b>{capital(chance)}</b> {within}.")
    lines.append(f"How far to trust it: {escaped(now.sureness)}.")
    return "".join(f'<p class="pm-chance">{line}</p>' for line in lines)


def against_kept(apart: Apart) -> str:
    """Return how this recipe differs from the one kept, as HTML: words, then its own interval."""
    low, high = apart.delta_e00_interval
    return (
        f'<p class="pm-expected">Against the one kept: {escaped(apart.difference.rstrip())}</p>'
        f'<p class="pm-chance">ΔE00 {apart.delta_e00:.1f} <small>95 %: {low:.1f} to {high:.1f}; what both have in '
        "common from the plates is taken out.</small></p>"
    )


def show_doubts(doubts: Sequence[str]) -> None:
    """Show what speaks against it; nothing when nothing does."""
    if doubts:
        items = "".join(f"<li>{escaped(doubt)}</li>" for doubt in doubts)
        st.html(f'<ul class="pm-warnings" aria-label="Doubts">{items}</ul>')


def show_figures(now: Prediction, target: Target | None, to_target: Apart | None, kept: Prediction | None) -> None:
    """Show the figures, folded, or unfolded for a person who had them so."""
    key = "predicted.figures"

    def folded() -> None:
        remember(FIGURES, bool(st.session_state.get(key)))

    with st.expander("Figures", key=key, expanded=remembered(FIGURES), on_change=folded, type="compact"):
        parts = []
        if target is not None and to_target is not None:
            low, high = to_target.delta_e00_interval
            parts.append(
                f'<p class="pm-distance">ΔE00 {to_target.delta_e00:.1f} <small>95 %: {low:.1f} to {high:.1f}</small>'
                f'</p><p class="pm-words">Chance to be within {target.tolerance:g}: '
                f'{percent(to_target.chance_within(target.tolerance))}.</p><p class="pm-of">Target</p>'
                + lab_line(target.reading)
            )
        parts.append(f'<p class="pm-of">The recipe’s own colour, as expected</p>{lab_line(now.reading)}')
        parts.append(
            f'<p class="pm-soft">One plate of it, made and read as the others were, lies within ΔE00 '
            f"{now.plate_reach:.1f} of that in 95 % of cases.</p>"
        )
        if kept is not None:
            parts.append(f'<p class="pm-of">The one kept</p>{lab_line(kept.reading)}')
        st.html("".join(parts))
    tell_browser()


def show_nearest(now: Prediction, trials: Sequence[Trial]) -> None:
    """Show the plates that it leans on, each to be opened."""
    by_number = {trial.id: trial for trial in trials}
    nearest = [by_number[one.id] for one in now.nearest if one.id in by_number]
    if not nearest:
        return
    st.html('<p class="pm-of">It leans most on these plates</p>')
    with st.container(key="predicted-nearest"):
        st.html(patch_strip([plate_patch(trial) for trial in nearest], [f"Plate {trial.id}" for trial in nearest]))
        with st.container(horizontal=True, horizontal_alignment="distribute"):
            for place, trial in enumerate(nearest):
                if st.button(f"Open plate {literal(trial.id)}", type="tertiary", key=f"predicted.open.{place}"):
                    st.switch_page(LOG.file, query_params={"plate": str(trial.id)})
