"""Suggestions: what was made and what could be made, in the order of nearness to the target; why, folded."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import SuggestionError
from matcher.words import counted
from ui.photograph.photographs import figure
from ui.show import look
from ui.show.literal import literal
from ui.show.swatches import lab_line, show_warnings, swatch
from ui.state.messages import tell, tell_plates_are_needed
from ui.state.open_studio import ask_for_target, chosen_target, how_many, logged, say_part, the_studio
from ui.state.places import FIRST_PLATES, TARGET
from ui.suggestions.after_trial import show_advice
from ui.suggestions.answers import Answers, answers_for
from ui.suggestions.change_target import change_target
from ui.suggestions.changes import changes, in_words, last_trial_for, show_changes
from ui.suggestions.disagreeing_plates import show_contradictions
from ui.suggestions.lights_darks import show_lights_and_darks
from ui.suggestions.ranked import show_ranked
from ui.suggestions.session import show_next, show_session
from ui.suggestions.todays_limits import lift_all, limits_of, show_limits
from ui.suggestions.within_reach import show_reach
from ui.wall.others_plates import show_others

if TYPE_CHECKING:
    from matcher.plan.limits import Limits
    from matcher.studio import Studio
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target, Trial

AT_FIRST = 5
MORE = 5
PLOTTED = 400
UNFOLDED = "suggestions.unfolded"
CHANGED = "changed"


def show() -> None:
    studio = the_studio()
    target = chosen_target(studio)
    if target is None:
        look.title("Plates nearest to the target", "There is no target yet: start from a client's photograph.")
        with st.container(key="onward-empty"):
            st.page_link(TARGET.file, label="Start from a client's photograph")
            if not how_many(studio):
                st.page_link(FIRST_PLATES.file, label="Plan your first plates")
        return
    _title(studio, target)
    if not how_many(studio):
        tell_plates_are_needed(
            "No plate is logged yet, so there is nothing to rank: plan your first plates, or record one."
        )
        _about_target(studio, target)
        return
    limits = limits_of(studio, target)
    answers = answers_for(studio, target, limits)
    if not answers.suggester.trials:
        _nothing_left(studio, target, limits)
        show_limits(studio, target, limits)
        return
    try:
        _answered(studio, target, limits, answers)
    except SuggestionError as error:
        tell(str(error), "warning")
        show_limits(studio, target, limits)


def _title(studio: Studio, target: Target) -> None:
    """Name the target, and let another one be chosen where there are several."""
    if len(studio.targets()) < 2:
        look.title(f"Plates nearest to {target.name}")
        return
    name, choice = st.columns([2.2, 1], gap="medium", vertical_alignment="bottom")
    with name:
        look.title(f"Plates nearest to {target.name}")
    with choice:
        ask_for_target(studio, target, "suggestions")


def _answered(studio: Studio, target: Target, limits: Limits, answers: Answers) -> None:
    new = _just_logged(studio, target)
    if new is not None:
        rows = changes(target, _near(studio, target), new)
        tell(in_words(target, rows), "done")
    count = int(st.session_state.get("suggestions.count", AT_FIRST))
    ranked = show_ranked(studio, target, answers, count)
    _more(answers, count, ranked)
    say_part(studio, target, limits)
    _warnings(target)
    show_limits(studio, target, limits)
    _explained(studio, target, answers, ranked, new)


def _near(studio: Studio, target: Target) -> list[Trial]:
    """Return the trials that are worked with for a target: all, of a long log those near to it among them."""
    return list(studio.part_of_log(target.reading).trials)


def _just_logged(studio: Studio, target: Target) -> Trial | None:
    """Return the plate that was logged for the target just now, as the address says, or None."""
    trial = last_trial_for(studio, target)
    return trial if trial is not None and st.query_params.get("logged") == str(trial.id) else None


def _explained(
    studio: Studio, target: Target, answers: Answers, ranked: Sequence[Suggestion], new: Trial | None
) -> None:
    """Offer in one row what explains the answer; only what is unfolded is worked out. The choice is kept."""
    from matcher.suggest.palettes import is_mottled

    trial = last_trial_for(studio, target)
    parts: dict[str, tuple[str, Callable[[], None]]] = {}
    if trial is not None:
        parts[CHANGED] = (f"What plate {trial.id} changed", lambda: _what_changed(studio, target, answers, trial))
    parts["reach"] = ("How near a recipe can come", lambda: show_reach(studio, target, answers))
    parts["next"] = ("What to make next", lambda: show_next(studio, target, answers))
    parts["session"] = ("Plan a session", lambda: show_session(studio, target, answers))
    if is_mottled(target.reading):
        parts["mottle"] = ("Lights and darks", lambda: show_lights_and_darks(studio, target, answers))
    parts["plots"] = ("All plates as a plot", lambda: _plots(studio, target, ranked))
    parts["odds"] = ("Plates that disagree", lambda: show_contradictions(answers))
    if studio.sharing.place is not None:
        parts["others"] = ("Other studios' plates", lambda: show_others(studio, target))
    parts["target"] = ("The target itself", lambda: _about_target(studio, target))
    if new is not None and st.session_state.get("suggestions.new") != new.id:
        st.session_state["suggestions.new"] = new.id
        st.session_state[UNFOLDED] = CHANGED
    unfolded = st.session_state.get(UNFOLDED)
    with st.container(key="explains"):
        st.header("What explains it", anchor=False)
        chosen = st.pills(
            "What explains it",
            list(parts),
            format_func=lambda part: literal(parts[part][0]),
            default=unfolded if unfolded in parts else None,
            key=f"suggestions.explained.{target.id}.{None if new is None else new.id}",
            label_visibility="collapsed",
            wrap=True,
        )
    st.session_state[UNFOLDED] = chosen
    if chosen in parts:
        with look.panel(f"explained-{chosen}"):
            parts[chosen][1]()


def _nothing_left(studio: Studio, target: Target, limits: Limits) -> None:
    from matcher.plan.limits import way_out

    tell(way_out(limits, [trial.recipe for trial in logged(studio)]), "warning")
    if st.button("Clear all limits", type="primary"):
        lift_all(studio, target)
        st.rerun()


def _about_target(studio: Studio, target: Target) -> None:
    """Show what was read of the target, its photograph, and let what was typed of it be changed."""
    colour, photograph, words = st.columns([0.8, 0.8, 1.7], gap="medium", vertical_alignment="center")
    with colour:
        st.html(swatch(target.reading.lab, f"Target {target.name}"))
    with photograph:
        if target.photo is not None:
            st.html(figure(studio, target.photo, f"The photograph of {target.name}"))
    with words:
        st.html(
            lab_line(target.reading)
            + f'<p class="pm-soft">A plate matches within ΔE00 {target.tolerance:g}. ± holds 95 %; what target and '
            "plates have in common, such as the camera, cancels when they are compared.</p>"
        )
    change_target(studio, target)


def _warnings(target: Target) -> None:
    """Say, folded, what speaks against the target's reading; nothing when nothing does."""
    if target.reading.caveats:
        with st.expander(f"Warnings about this reading ({len(target.reading.caveats)})"):
            show_warnings(target.reading.caveats)


def _what_changed(studio: Studio, target: Target, answers: Answers, trial: Trial) -> None:
    """Show what the last plate changed and what would help."""
    st.subheader(f"What plate {trial.id} changed", anchor=False)
    show_changes(target, changes(target, _near(studio, target), trial))
    st.subheader("What would help", anchor=False)
    show_advice(studio, target, answers, trial)


def _more(answers: Answers, count: int, ranked: Sequence[Suggestion]) -> None:
    if len(ranked) == count < len(answers.suggester.trials) and st.button(f"Show {MORE} more"):
        st.session_state["suggestions.count"] = count + MORE
        st.rerun()


def _plots(studio: Studio, target: Target, ranked: Sequence[Suggestion]) -> None:
    from ui.show.plots import show_plots

    trials = _near(studio, target)
    named = [item.trial.id for item in ranked if item.trial is not None and item.trial.id is not None]
    shown = trials if len(trials) <= PLOTTED else [t for t in trials if t.id in named] + trials[-PLOTTED:]
    if len(shown) < how_many(studio):
        of = counted(how_many(studio), "plate")
        st.html(f'<p class="pm-soft">The {len(ranked)} nearest and the last {PLOTTED} of {of}.</p>')
    show_plots(target, shown, named[:AT_FIRST], [item for item in ranked if item.trial is None])


show()
