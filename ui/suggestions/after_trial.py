"""After a plate: what would bring it nearer, on the same piece and on the next one, and what is expected of each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import MatcherError
from matcher.words import capital
from ui.escaped import escaped
from ui.recipe.recipe_actions import ways_on
from ui.show.strips import low_pair
from ui.state.messages import tell
from ui.suggestions.answers import Answers

if TYPE_CHECKING:
    from matcher.plan.advice import Adjustment, Advice
    from matcher.process.logged import LoggedTrial
    from matcher.studio import Studio
    from matcher.trials.trial import Target

SEALED = " It is sealed: no pass can be applied over that."


def show_advice(studio: Studio, target: Target, answers: Answers, trial: LoggedTrial) -> None:
    """Show the advice after a trial."""
    try:
        with st.spinner("Working out what would help…"):
            advice = answers.advice(trial)
    except MatcherError as error:
        tell(str(error), "warning")
        return
    sealed = trial.recipe.seal is not None and advice.standing in ("untold", "outside")
    st.html(f"<p>{escaped(advice.sentence)}{SEALED if sealed else ''}</p>")
    _group(studio, target, trial, "On this piece", advice.on_this_piece)
    if advice.on_this_piece:
        st.html(
            '<p class="pm-soft">What is on the metal stays there: passes can’t be taken off, so add one at a time '
            "and look.</p>"
        )
    _group(studio, target, trial, "On the next plate", advice.on_the_next)
    _nothing(target, advice)


def _nothing(target: Target, advice: Advice) -> None:
    if not advice.on_this_piece and not advice.on_the_next and advice.standing == "outside":
        st.html(
            '<p class="pm-soft">No change of one thing alone is expected to help by more than the eye can see: see the '
            "predicted recipes in the list.</p>"
        )


def _group(studio: Studio, target: Target, trial: LoggedTrial, heading: str, changes: Sequence[Adjustment]) -> None:
    if not changes:
        return
    st.html(f'<h3 class="pm-part">{heading}</h3>')
    for number, change in enumerate(changes):
        colours, words = st.columns([1, 2], gap="medium", vertical_alignment="center")
        with colours:
            st.html(low_pair(target.reading.lab, change.lab, "Target", "Expected"))
        with words:
            low, high = change.interval
            st.html(
                f'<p class="pm-change"><strong>{escaped(capital(change.what))}</strong><br>'
                f"ΔE00 {change.delta_e00:.1f} expected <small>95 %: {low:.1f} to {high:.1f}</small></p>"
            )
            ways_on(
                studio,
                change.recipe,
                f"change.{target.id}.{trial.id}.{heading}.{number}",
                f"Plate {trial.id} with {change.what}",
                target.id,
                begun=change.same_piece,
            )
