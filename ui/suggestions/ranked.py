"""The ranked list: one panel a recipe, with target against plate, how near, what was done, and the way on from it."""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import SuggestionError
from matcher.words import counted, percent
from ui.photograph.photographs import figure
from ui.recipe.piece import as_listed
from ui.recipe.recipe_actions import LABEL, ways_on
from ui.show import look
from ui.show.steps import recipe_steps
from ui.show.swatches import pair
from ui.suggestions.after_trial import show_advice
from ui.suggestions.answers import Answers

if TYPE_CHECKING:
    from matcher.process.logged import LoggedTrial
    from matcher.studio import Studio
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target


def show_ranked(studio: Studio, target: Target, answers: Answers, count: int) -> list[Suggestion]:
    """Show the list and return it. Measured plates come at once; where predictions need a wait, they join after it.

    Until they have, nothing in the list can be pressed, so that no button moves from under a finger.
    """
    said, place = st.empty(), st.empty()
    if not answers.at_once(count):
        with place.container():
            for number, suggestion in enumerate(answers.measured(count), start=1):
                _one(studio, target, number, suggestion, None)
        with said.container(), st.spinner("Measured plates. Working out the recipes between them…"):
            _worked_out(answers, count)
    ranked, words = _worked_out(answers, count)
    said.html(f'<p class="pm-soft pm-tally">{words}</p>')
    with place.container():
        for number, suggestion in enumerate(ranked, start=1):
            _one(studio, target, number, suggestion, answers)
    return ranked


def _worked_out(answers: Answers, count: int) -> tuple[list[Suggestion], str]:
    """Return the whole list and what it is made of, as HTML; the plates alone when nothing can be predicted."""
    try:
        ranked, standing = answers.ranked(count), answers.reach().standing
    except SuggestionError as error:
        return answers.measured(count), html.escape(str(error))
    far = "" if standing == "within reach" else f" <strong>{standing.capitalize()}</strong>, see below the list."
    return ranked, _made_of(ranked) + far


def figures_in_words(suggestion: Suggestion, tolerance: float) -> str:
    """Return ΔE00 with its interval, the difference in words and the chance to match, as HTML."""
    chance = suggestion.chance_within(tolerance)
    return distance_line(suggestion.delta_e00, suggestion.delta_e00_interval) + (
        f'<p class="pm-words">{html.escape(suggestion.difference[:1].upper() + suggestion.difference[1:])}. '
        f'<span class="pm-soft">Chance to be within {tolerance:g}: {percent(chance)}.</span></p>'
    )


def distance_line(delta_e00: float, interval: tuple[float, float]) -> str:
    """Return ΔE00 with its interval, as HTML."""
    low, high = interval
    return f'<p class="pm-distance">ΔE00 {delta_e00:.1f} <small>95 %: {low:.1f} to {high:.1f}</small></p>'


def _made_of(ranked: Sequence[Suggestion]) -> str:
    predicted = sum(item.trial is None for item in ranked)
    plates = counted(len(ranked) - predicted, "measured plate")
    if not predicted:
        return f"{plates}, the nearest first."
    recipes = counted(predicted, "predicted recipe")
    order = "the nearest first, allowing for how certain each is: of two, the more certain may come first"
    return f"{plates} and {recipes}, {order}."


def _one(studio: Studio, target: Target, place: int, suggestion: Suggestion, answers: Answers | None) -> None:
    """Show one place of the list. answers: None while the list is not final."""
    plate = None if suggestion.trial is None else suggestion.trial.id
    name = "Predicted" if suggestion.trial is None else f"Plate {plate}"
    with look.panel(f"place{place}" if answers else f"early{place}"):
        colours, photograph, words = st.columns([1.05, 0.85, 1.35], gap="medium")
        with colours:
            st.html(_heading(place, suggestion, name) + pair(target.reading.lab, suggestion.lab, "Target", name))
        with photograph:
            if suggestion.trial is None:
                st.html('<div class="pm-photo none">Not made yet</div>')
            else:
                st.html(figure(studio, _photo(suggestion), f"Photograph of {name}"))
        with words:
            why = f'<p class="pm-soft">{html.escape(suggestion.grounds)}</p>' if suggestion.grounds else ""
            st.html(figures_in_words(suggestion, target.tolerance) + recipe_steps(suggestion.recipe) + why)
            if answers is None:
                st.button(LABEL, type="primary" if place == 1 else "secondary", key=f"early{place}", disabled=True)
                return
            source = f"the predicted recipe at place {place}" if suggestion.trial is None else name
            listed = as_listed(suggestion, target.tolerance)
            with ways_on(studio, suggestion.recipe, f"make{place}", source, target.id, first=place == 1, listed=listed):
                asked = suggestion.trial is not None and _asked_nearer(target, suggestion.trial)
        if asked and suggestion.trial is not None:
            show_advice(studio, target, answers, suggestion.trial)


def _asked_nearer(target: Target, trial: LoggedTrial) -> bool:
    """Let a person ask what would bring a plate nearer; the same button folds the answer away."""
    slot = f"nearer.{target.id}.{trial.id}"
    asked = bool(st.session_state.get(slot))
    label = "Hide this" if asked else "What would bring this plate nearer?"
    if st.button(label, type="tertiary", key=f"{slot}.ask"):
        st.session_state[slot] = not asked
        st.rerun()
    return asked


def _photo(suggestion: Suggestion) -> str | None:
    photos: Sequence[str] = getattr(suggestion.trial, "photos", ())
    return photos[0] if photos else None


def _heading(place: int, suggestion: Suggestion, name: str) -> str:
    said = "" if suggestion.trial is None else "measured"
    if suggestion.tied_with:
        others = ", ".join(str(other) for other in suggestion.tied_with)
        said += f"{'; ' if said else ''}can’t be told apart from {others}"
    return f'<p class="pm-rank">{place}. {html.escape(name)} <small>{said}</small></p>'
