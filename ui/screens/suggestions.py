"""Suggestions: the studio's plates in the order of their nearness to the target, and what the last one changed."""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import MatcherError
from ui.parts import look
from ui.parts.cautions import show_cautions
from ui.parts.changes import changes, last_trial_for, show_changes
from ui.parts.drafts import Draft
from ui.parts.faults import tell
from ui.parts.opened import choose_target, chosen_target, logged, the_studio
from ui.parts.photographs import figure
from ui.parts.places import RECORD, TARGET
from ui.parts.recipe_form import fields_of
from ui.parts.steps import recipe_steps
from ui.parts.swatches import lab_line, minded, pair, swatch

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.suggest import Suggestion
    from matcher.trials.trial import Target

AT_FIRST = 5
MORE = 5
PLOTTED = 400
ALL_OF_THEM = 99


def show() -> None:
    studio = the_studio()
    target = chosen_target(studio)
    if target is None:
        look.title("Plates nearest to the target", "There is no target yet: start from a client's photograph.")
        st.page_link(TARGET.file, label="Start from a client's photograph")
        return
    look.title(
        f"Plates nearest to {target.name}",
        "Left in each pair is the target, right the plate. A predicted one is not made yet.",
    )
    _targets(studio, target)
    if logged(studio):
        _what_changed(studio, target)
    count = int(st.session_state.get("suggestions.count", AT_FIRST))
    try:
        with st.spinner("Ranking the plates…"):
            ranked = studio.suggester().suggest(target.reading, count)
    except MatcherError as error:
        tell(str(error), "mind")
        st.page_link(RECORD.file, label="Record a plate")
        return
    for place, suggestion in enumerate(ranked, start=1):
        _one(studio, target, place, suggestion)
    _more(studio, count, ranked)
    _next(studio, target)
    _plots(studio, target, ranked)


def _targets(studio: Studio, target: Target) -> None:
    """Show the target in short, and let another one be chosen."""
    targets = {str(item.id): item for item in reversed(studio.targets())}
    with look.panel("target"):
        colour, photograph, words = st.columns([0.8, 0.8, 1.7], gap="medium", vertical_alignment="center")
        with colour:
            st.html(swatch(target.reading.lab, f"Target {target.name}"))
        with photograph:
            if target.photo is not None:
                st.html(figure(studio, target.photo, f"The photograph of {target.name}"))
        with words:
            if len(targets) > 1:
                number = st.selectbox(
                    "Target",
                    list(targets),
                    index=list(targets).index(str(target.id)),
                    format_func=lambda key: targets[key].name,
                    key=f"suggestions.target.{target.id}",
                )
                if number != str(target.id):
                    choose_target(targets[number])
                    st.query_params["target"] = number
                    st.rerun()
            st.html(
                lab_line(target.reading)
                + f'<p class="pm-soft">A plate matches within ΔE00 {target.tolerance:g}. ± holds 95 %.</p>'
            )
            if target.reading.caveats:
                with st.expander(f"What to mind about this reading ({len(target.reading.caveats)})"):
                    minded(target.reading.caveats)


def _what_changed(studio: Studio, target: Target) -> None:
    """Show what the last plate changed: in full when it was logged just now, else when asked for."""
    trial = last_trial_for(studio, target)
    if trial is None:
        return
    rows = changes(target, logged(studio), trial)
    if st.query_params.get("logged") == str(trial.id):
        with look.panel("changed"):
            st.subheader(f"What plate {trial.id} changed", anchor=False)
            show_changes(target, rows)
    else:
        with st.expander(f"What the last plate, {trial.id}, changed"):
            show_changes(target, rows)


def _one(studio: Studio, target: Target, place: int, suggestion: Suggestion) -> None:
    name = _name(suggestion)
    with look.panel(f"place{place}"):
        colours, photograph, words = st.columns([1.05, 0.85, 1.35], gap="medium")
        with colours:
            st.html(_heading(place, suggestion, name) + pair(target.reading.lab, suggestion.lab, "Target", name))
        with photograph:
            if suggestion.trial is None:
                st.html('<div class="pm-photo none">Not made yet</div>')
            else:
                st.html(figure(studio, _photo(suggestion), f"Photograph of {name}"))
        with words:
            why = f'<p class="pm-soft">{html.escape(suggestion.because)}</p>' if suggestion.trial is None else ""
            st.html(_words(target, suggestion) + recipe_steps(suggestion.recipe) + why)
            if st.button("Make this plate", type="primary" if place == 1 else "secondary", key=f"make{place}"):
                _make(studio, target, suggestion, f"the recipe at place {place}" if suggestion.trial is None else name)
            with st.expander("Cautions for these chemicals"):
                show_cautions(suggestion.recipe, first=ALL_OF_THEM)


def _next(studio: Studio, target: Target) -> None:
    """Name the plate most worth making next, when asked: it may take a while on a long log."""
    asked = st.session_state.setdefault("suggestions.next", set())
    if target.id not in asked:
        if st.button("Which plate is most worth making next?", key="suggestions.ask"):
            asked.add(target.id)
            st.rerun()
        return
    with st.spinner("Looking for the plate most worth making…"):
        suggestion = studio.suggester().next_trial(target.reading)
    with look.panel("next-plate"):
        st.subheader("Most worth making next", anchor=False)
        colours, words = st.columns([1, 1.6], gap="medium")
        with colours:
            st.html(pair(target.reading.lab, suggestion.lab, "Target", "Expected"))
        with words:
            st.html(_words(target, suggestion) + recipe_steps(suggestion.recipe))
            st.html(f'<p class="pm-soft">{html.escape(suggestion.because)}</p>')
            if st.button("Make this plate", key="make-next"):
                _make(studio, target, suggestion, "the plate most worth making")
            with st.expander("Cautions for these chemicals"):
                show_cautions(suggestion.recipe, first=ALL_OF_THEM)


def _name(suggestion: Suggestion) -> str:
    return "Predicted" if suggestion.trial is None else f"Plate {suggestion.trial.id}"


def _photo(suggestion: Suggestion) -> str | None:
    photos: Sequence[str] = getattr(suggestion.trial, "photos", ())
    return photos[0] if photos else None


def _heading(place: int, suggestion: Suggestion, name: str) -> str:
    tied = ""
    if suggestion.tied_with:
        others = ", ".join(str(other) for other in suggestion.tied_with)
        tied = f"<small>can’t be told apart from {others}</small>"
    return f'<p class="pm-rank">{place}. {html.escape(name)} {tied}</p>'


def _words(target: Target, suggestion: Suggestion) -> str:
    low, high = suggestion.delta_e00_interval
    chance = suggestion.chance_within(target.tolerance)
    return (
        f'<p class="pm-distance">ΔE00 {suggestion.delta_e00:.1f} <small>95 %: {low:.1f} to {high:.1f}</small></p>'
        f'<p class="pm-words">{html.escape(suggestion.difference[:1].upper() + suggestion.difference[1:])}. '
        f'<span class="pm-soft">Chance to be within {target.tolerance:g}: {chance:.0%}.</span></p>'
    )


def _make(studio: Studio, target: Target, suggestion: Suggestion, name: str) -> None:
    """Fill the record form with this recipe; what stood there is laid by, not lost."""
    draft = Draft(studio, "plate")
    if draft.values:
        Draft(studio, "plate laid by").fill(draft.values)
    kept = {"made_by": draft.get("made_by", "")}
    draft.fill({**kept, **fields_of(suggestion.recipe), "target_id": target.id, "from_plate": name})
    st.switch_page(RECORD.file)


def _more(studio: Studio, count: int, ranked: Sequence[Suggestion]) -> None:
    if len(ranked) == count < len(logged(studio)) and st.button(f"Show {MORE} more"):
        st.session_state["suggestions.count"] = count + MORE
        st.rerun()


def _plots(studio: Studio, target: Target, ranked: Sequence[Suggestion]) -> None:
    from ui.parts.plots import show_plots

    trials = logged(studio)
    named = [item.trial.id for item in ranked if item.trial is not None and item.trial.id is not None]
    shown = trials if len(trials) <= PLOTTED else [t for t in trials if t.id in named] + trials[-PLOTTED:]
    st.subheader("Target and plates", anchor=False)
    if len(shown) < len(trials):
        st.html(f'<p class="pm-soft">The {len(ranked)} nearest and the last {PLOTTED} plates of {len(trials)}.</p>')
    show_plots(target, shown, named[:AT_FIRST])


show()
