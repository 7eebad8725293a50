"""Suggestions: what was made and what could be made, in the order of nearness to the target, and what to make next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import SuggestionError
from ui.photograph.photographs import figure
from ui.show import look
from ui.show.swatches import lab_line, show_warnings, swatch
from ui.state.messages import tell
from ui.state.open_studio import ask_for_target, chosen_target, logged, the_studio
from ui.state.places import FIRST_PLATES, RECORD, TARGET
from ui.suggestions.after_trial import show_advice
from ui.suggestions.answers import Answers, answers_for
from ui.suggestions.change_target import change_target
from ui.suggestions.changes import changes, last_trial_for, show_changes
from ui.suggestions.disagreeing_plates import show_contradictions
from ui.suggestions.lights_darks import show_lights_and_darks
from ui.suggestions.ranked import show_ranked
from ui.suggestions.session import show_next, show_session
from ui.suggestions.todays_limits import lift_all, limits_of, show_limits
from ui.suggestions.within_reach import show_reach

if TYPE_CHECKING:
    from matcher.plan.limits import Limits
    from matcher.studio import Studio
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target

AT_FIRST = 5
MORE = 5
PLOTTED = 400


def show() -> None:
    studio = the_studio()
    target = chosen_target(studio)
    if target is None:
        look.title("Plates nearest to the target", "There is no target yet: start from a client's photograph.")
        with st.container(key="onward-empty"):
            st.page_link(TARGET.file, label="Start from a client's photograph")
            if not logged(studio):
                st.page_link(FIRST_PLATES.file, label="Plan your first plates")
        return
    look.title(
        f"Plates nearest to {target.name}",
        "In each pair the target is on the left, the plate on the right. A predicted plate has not been made yet.",
    )
    _targets(studio, target)
    if not logged(studio):
        _nothing_logged()
        return
    limits = limits_of(studio, target)
    show_limits(studio, target, limits)
    answers = answers_for(studio, target, limits)
    if not answers.suggester.trials:
        _nothing_left(studio, target, limits)
        return
    try:
        _answered(studio, target, answers)
    except SuggestionError as error:
        tell(str(error), "warning")


def _answered(studio: Studio, target: Target, answers: Answers) -> None:
    _what_changed(studio, target, answers)
    count = int(st.session_state.get("suggestions.count", AT_FIRST))
    ranked = show_ranked(studio, target, answers, count)
    _more(answers, count, ranked)
    show_reach(studio, target, answers)
    show_next(studio, target, answers)
    show_session(studio, target, answers)
    show_lights_and_darks(studio, target, answers)
    show_contradictions(answers)
    _plots(studio, target, ranked)


def _nothing_logged() -> None:
    tell("No plate is logged yet, so there is nothing to rank: plan your first plates, or record one.", "warning")
    with st.container(horizontal=True):
        if st.button("Plan your first plates", type="primary"):
            st.switch_page(FIRST_PLATES.file)
        if st.button("Record a plate"):
            st.switch_page(RECORD.file)


def _nothing_left(studio: Studio, target: Target, limits: Limits) -> None:
    from matcher.plan.limits import way_out

    tell(way_out(limits, [trial.recipe for trial in logged(studio)]), "warning")
    if st.button("Clear all limits", type="primary"):
        lift_all(studio, target)
        st.rerun()


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
                ask_for_target(studio, target, "suggestions")
            st.html(
                lab_line(target.reading)
                + f'<p class="pm-soft">A plate matches within ΔE00 {target.tolerance:g}. ± holds 95 %; what target and '
                "plates have in common, such as the camera, cancels when they are compared.</p>"
            )
            if target.reading.caveats:
                with st.expander(f"Warnings about this reading ({len(target.reading.caveats)})"):
                    show_warnings(target.reading.caveats)
        change_target(studio, target)


def _what_changed(studio: Studio, target: Target, answers: Answers) -> None:
    """Show what the last plate changed and what would help: in full when it was logged just now, else when asked."""
    trial = last_trial_for(studio, target)
    if trial is None:
        return
    if st.query_params.get("logged") == str(trial.id):
        with look.panel("changed"):
            st.subheader(f"What plate {trial.id} changed", anchor=False)
            show_changes(target, changes(target, logged(studio), trial))
            st.subheader("What would help", anchor=False)
            show_advice(studio, target, answers, trial)
        return
    folded = st.expander(
        f"What the last plate, {trial.id}, changed, and what would help",
        key=f"changed.{target.id}.{trial.id}",
        on_change="rerun",
    )
    if folded.open:
        with folded:
            show_changes(target, changes(target, logged(studio), trial))
            show_advice(studio, target, answers, trial)


def _more(answers: Answers, count: int, ranked: Sequence[Suggestion]) -> None:
    if len(ranked) == count < len(answers.suggester.trials) and st.button(f"Show {MORE} more"):
        st.session_state["suggestions.count"] = count + MORE
        st.rerun()


def _plots(studio: Studio, target: Target, ranked: Sequence[Suggestion]) -> None:
    from ui.show.plots import show_plots

    trials = logged(studio)
    named = [item.trial.id for item in ranked if item.trial is not None and item.trial.id is not None]
    shown = trials if len(trials) <= PLOTTED else [t for t in trials if t.id in named] + trials[-PLOTTED:]
    st.subheader("Target and plates", anchor=False)
    if len(shown) < len(trials):
        st.html(f'<p class="pm-soft">The {len(ranked)} nearest and the last {PLOTTED} plates of {len(trials)}.</p>')
    show_plots(target, shown, named[:AT_FIRST], [item for item in ranked if item.trial is None])


show()
