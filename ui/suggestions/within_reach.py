"""Whether any recipe in range is likely to reach the target; if not, by how much it misses and what may help."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.plan.reach import FEWEST_TO_TELL
from matcher.suggest.wording import best_in_words
from matcher.words import capital
from ui.escaped import escaped
from ui.recipe.recipe_actions import ways_on
from ui.show.literal import literal
from ui.show.steps import recipe_steps
from ui.show.swatches import pair
from ui.suggestions.answers import Answers

if TYPE_CHECKING:
    from matcher.plan.reach import Reach
    from matcher.studio import Studio
    from matcher.trials.trial import Target


def show_reach(studio: Studio, target: Target, answers: Answers) -> None:
    """Show where the target stands: one sentence when it is within reach, else all that is known."""
    with st.spinner("Checking how near any recipe can come…"):
        reach = answers.reach()
    st.subheader(literal(capital(reach.standing)), anchor=False)
    st.html(f"<p>{escaped(capital(reach.explanation))}</p>")
    if reach.plates >= FEWEST_TO_TELL:
        best = answers.best_plate()
        number = None if best.trial is None else best.trial.id
        st.html(f"<p>{escaped(best_in_words(number, best.delta_e00, best.delta_e00_interval))}</p>")
    if reach.standing != "within reach":
        _how_near(studio, target, reach)


def _how_near(studio: Studio, target: Target, reach: Reach) -> None:
    colours, words = st.columns([1, 1.6], gap="medium")
    with colours:
        st.html(pair(target.reading.lab, reach.lab, "Target", "Nearest expected"))
    with words:
        more = "".join(f"<li>{escaped(capital(change))}</li>" for change in reach.changes[1:])
        also = f"<p>It also points to:</p><ul>{more}</ul>" if more else ""
        st.html(recipe_steps(reach.nearest) + also)
        ways_on(studio, reach.nearest, "make-nearest", "the nearest recipe in range", target.id)
