"""The ranked list: pictures that touch, then one line a recipe; one is open, with what was done and the way on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.colour.verdict import standing
from matcher.errors import SuggestionError
from matcher.recipe.names import same
from matcher.recipe.recipe import chemicals_of, steps_in_words
from matcher.suggest.wording import nearness_in_words
from matcher.typed import whole_number
from matcher.words import capital, counted, in_ten, listed, percent
from ui.escaped import escaped
from ui.photograph.lay_beside import offer_to_lay
from ui.recipe.piece import as_listed
from ui.recipe.recipe_actions import LABEL, go_on_buttons, show_recipe_cautions
from ui.show.literal import literal
from ui.show.steps import step_line
from ui.show.swatches import lab_line
from ui.state.remembered import remember, remembered, tell_browser
from ui.suggestions.after_trial import show_advice
from ui.suggestions.answer_strip import OPEN, answer_strip, hear_taps, name_of
from ui.suggestions.answers import Answers

if TYPE_CHECKING:
    from matcher.colour.types import Floats
    from matcher.process.logged import LoggedTrial
    from matcher.studio import Studio
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target

FIGURES = "figures"

NEXT, AGAIN = "the next plate", "worth making again"


def show_ranked(studio: Studio, target: Target, answers: Answers, count: int) -> list[Suggestion]:
    """Show the list and return it. Measured plates come at once; where predictions need a wait, they join after it.

    Until they have, nothing in the list can be pressed, so that no button moves from under a finger.
    """
    said, place = st.empty(), st.empty()
    if not answers.at_once(count):
        with said.container(), st.spinner("Comparing the plates with the target…"):
            measured = answers.measured(count)
        with place.container():
            _list(studio, target, measured, None)
        with said.container(), st.spinner("Measured plates. Working out the recipes between them…"):
            _worked_out(answers, count)
    ranked, words = _worked_out(answers, count)
    said.html(f'<p class="pm-lead pm-tally">{words}</p>')
    with place.container():
        _list(studio, target, ranked, answers)
    return ranked


def _worked_out(answers: Answers, count: int) -> tuple[list[Suggestion], str]:
    """Return the whole list and what it is made of, as HTML; the plates alone when nothing can be predicted."""
    try:
        ranked, reach = answers.ranked(count), answers.reach()
    except SuggestionError as error:
        return answers.measured(count), escaped(str(error))
    within = reach.standing == "within reach"
    far = "" if within else f" <strong>{capital(reach.standing)}</strong>: more on that below."
    return ranked, _made_of(ranked) + far + escaped(_tries(ranked, reach.untried))


def _tries(ranked: Sequence[Suggestion], untried: Sequence[str]) -> str:
    """Say which of the list tries what stands on the shelf and no plate has; "" where none does."""
    for place, item in enumerate(ranked, start=1):
        new = [name for name in chemicals_of(item.recipe) if any(same(name, other) for other in untried)]
        if new:
            return f" Number {place} tries {listed(new)} from the shelf, which no plate has yet."
    return ""


def in_words(target: Target, lab: Floats, delta_e00: float, interval: tuple[float, float], chance: float) -> str:
    """Return how near a colour is expected, as the list says it, with the figures small below, as HTML."""
    near, said = _near_in_words(target, lab, interval, chance)
    low, high = interval
    return (
        f'<p class="pm-words"><b>{escaped(capital(near))}</b>; {escaped(said)} to come within '
        f"the target’s ΔE00 {target.tolerance:g}</p>"
        f'<p class="pm-soft">{escaped(f"ΔE00 {delta_e00:.1f}, 95 %: {low:.1f} to {high:.1f}")}</p>'
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
    return f"{plates} and {counted(predicted, 'predicted recipe')}, the nearest first, as measured or as expected."


def _list(studio: Studio, target: Target, ranked: Sequence[Suggestion], answers: Answers | None) -> None:
    """Show pictures and lines. answers: None while the list is not final."""
    slot = f"suggestions.open.{target.id}"
    opened = min(int(st.session_state.get(slot, _opened_by_address())), len(ranked))

    def open_place(place: int) -> None:
        st.session_state[slot] = place

    with st.container(key="ranked" if answers else "ranked-early", gap=None):
        st.html(answer_strip(target, ranked, opened, answers is not None))
        for place, suggestion in enumerate(ranked, start=1):
            if place == opened:
                _open(studio, target, place, suggestion, answers)
            elif _line(target, place, suggestion, answers is None):
                open_place(place)
                st.rerun()
        if answers:
            hear_taps(opened, open_place)
        if answers and not ranked[opened - 1].tied_with:
            with st.container(key="surer"):  # else it stands in the open one, beside what that can't be told from
                _surer(studio, target)


def _opened_by_address() -> int:
    """Return the place of the line that the address opens, the first where it says nothing of use."""
    place = whole_number(st.query_params.get(OPEN, ""))
    return place if place is not None and place >= 1 else 1


def _line(target: Target, place: int, suggestion: Suggestion, early: bool) -> bool:
    """Show a suggestion as one line, and tell whether it was pressed."""
    words = [literal(part) for part in _said(target, suggestion)]
    following = NEXT if suggestion.trial is None else AGAIN
    name = f"{name_of(suggestion)}, {following}" if suggestion.is_next else name_of(suggestion)
    label = f"{place}\\. **{name}** · {' · '.join(words)}"
    key = f"early{place}" if early else f"open{place}"
    return st.button(
        label,
        key=key,
        type="tertiary",
        icon=":material/chevron_right:",
        width="stretch",
        wrap=True,
        disabled=early,
    )


def _said(target: Target, suggestion: Suggestion) -> tuple[str, str]:
    """Return how near a suggestion is, in words, and its chance."""
    chance = suggestion.chance_within(target.tolerance)
    return _near_in_words(target, suggestion.lab, suggestion.delta_e00_interval, chance)


def _near_in_words(target: Target, lab: Floats, interval: tuple[float, float], chance: float) -> tuple[str, str]:
    stands = standing(interval, chance, target.tolerance)
    near, how = nearness_in_words(stands, target.reading.lab, lab, interval)
    return f"{near}, {how}", in_ten(chance).replace(" ", "\u00a0")


def _open(studio: Studio, target: Target, place: int, suggestion: Suggestion, answers: Answers | None) -> None:
    """Show the suggestion that is open: how near it is, what was done, the way on, the rest a tap away."""
    near, chance = _said(target, suggestion)
    said = [f"<b>{chance}</b> to come within the target’s ΔE00 {target.tolerance:g}"]
    if suggestion.is_next:
        again = "another plate of it is" if suggestion.trial is not None else "the plate"
        said.append(f"{again} most worth making next")
    if suggestion.tied_with:
        said.append(f"can’t be told apart from {listed([str(other) for other in suggestion.tied_with])}")
    doubt = f'<p class="pm-soft">{escaped(suggestion.caveat.strip())}</p>' if suggestion.caveat else ""
    with st.container(key=f"panel-{'place' if answers else 'early'}{place}"):
        st.html(
            f'<h2 class="pm-opened">{place}. {name_of(suggestion)}: <span>{escaped(near)}</span></h2>'
            f'<p class="pm-steps">{step_line(steps_in_words(suggestion.recipe))}</p>'
            f'<p class="pm-chance">{"; ".join(said)}</p>{doubt}'
        )
        if answers is None:
            st.button(LABEL, type="primary", key=f"early{place}", disabled=True)
            return
        source = f"the predicted recipe at place {place}" if suggestion.trial is None else name_of(suggestion)
        listed_as = as_listed(suggestion, target.tolerance)
        with st.container(horizontal=True, vertical_alignment="center", key="go-on"):
            go_on_buttons(studio, suggestion.recipe, f"make{place}", source, target.id, first=True, listed=listed_as)
            asked = suggestion.trial is not None and _asked_nearer(target, suggestion.trial)
        with st.container(horizontal=True, vertical_alignment="top", key="asides"):
            if suggestion.tied_with:
                _surer(studio, target)
            _figures(target, place, suggestion)
            show_recipe_cautions(suggestion.recipe)
        if asked and suggestion.trial is not None:
            show_advice(studio, target, answers, suggestion.trial)


def _surer(studio: Studio, target: Target) -> None:
    """Say with which plates beside it the target would be read so surely that more can be told apart."""
    offer_to_lay(studio, target.reading, what="the target’s finish", folded=True)


def _figures(target: Target, place: int, suggestion: Suggestion) -> None:
    """Show the figures, folded, or unfolded for a person who had them so."""
    key = f"figures.{target.id}.{place}"

    def folded() -> None:
        remember(FIGURES, bool(st.session_state.get(key)))

    with st.expander("Figures", key=key, expanded=remembered(FIGURES), on_change=folded, type="compact"):
        plate = "Expected" if suggestion.trial is None else name_of(suggestion)
        st.html(
            distance_line(suggestion.delta_e00, suggestion.delta_e00_interval)
            + f'<p class="pm-words">Chance to be within {target.tolerance:g}: '
            f"{percent(suggestion.chance_within(target.tolerance))}.</p>"
            + f'<p class="pm-of">Target</p>{lab_line(target.reading)}'
            + f'<p class="pm-of">{plate}</p>{lab_line(suggestion)}'
            + (f'<p class="pm-soft">{escaped(suggestion.grounds)}</p>' if suggestion.grounds else "")
        )
    tell_browser()


def _asked_nearer(target: Target, trial: LoggedTrial) -> bool:
    """Let a person ask what would bring a plate nearer; the same button folds the answer away."""
    slot = f"nearer.{target.id}.{trial.id}"
    asked = bool(st.session_state.get(slot))
    label = "Hide this" if asked else "What would bring this plate nearer?"
    if st.button(label, type="tertiary", key=f"{slot}.ask"):
        st.session_state[slot] = not asked
        st.rerun()
    return asked
