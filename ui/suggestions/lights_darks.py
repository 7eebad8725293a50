"""For a mottled target: plates by their lights and darks, and an undercoat for the darks with a coat for the lights."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from ui.escaped import escaped
from ui.recipe.recipe_actions import ways_on
from ui.show.steps import recipe_steps
from ui.show.strips import strips
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.suggestions.answers import Answers

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.trials.trial import Target

SHOWN = 5
BARE_PERCENT = (5, 90)


def show_lights_and_darks(studio: Studio, target: Target, answers: Answers) -> None:
    """Show the second ranking and the recipes for both colours."""
    from matcher.suggest.palettes import mottled_in_words

    st.html(
        f"<p>{escaped(mottled_in_words(target.reading))} Here plates rank by both: the distance is the mean ΔE00 "
        "at which the one set of colours becomes the other.</p>"
    )
    with st.spinner("Comparing lights and darks…"):
        _ranking(studio, target, answers)
    st.html('<h3 class="pm-part">Undercoat for the darks, coat for the lights</h3>')
    _together(studio, target, answers)


def _ranking(studio: Studio, target: Target, answers: Answers) -> None:
    from matcher.suggest.palettes import palette_of

    wanted = palette_of(target.reading)
    for place, match in enumerate(answers.palettes(SHOWN), start=1):
        trial = match.suggestion.trial
        if trial is None:
            continue
        colours, words = st.columns([1, 1.6], gap="medium", vertical_alignment="center")
        with colours:
            st.html(strips(("Target", *wanted), (f"Plate {trial.id}", *palette_of(trial.reading))))
        with words:
            st.html(
                f'<p class="pm-change"><strong>{place}. Plate {trial.id}</strong><br>ΔE00 {match.distance:.1f} '
                f"by lights and darks <small>{match.suggestion.delta_e00:.1f} as one colour</small></p>"
                + recipe_steps(match.suggestion.recipe)
            )
            ways_on(studio, match.suggestion.recipe, f"palette.{target.id}.{place}", f"Plate {trial.id}", target.id)


def _together(studio: Studio, target: Target, answers: Answers) -> None:
    draft = Draft(studio, f"mottle {target.id}")
    bare = _bare_share(draft)
    if bare is None:
        return
    try:
        with st.spinner("Looking for an undercoat and a coat that go together…"):
            found = answers.mottled(bare)
    except MatcherError as error:
        tell(str(error), "warning")
        return
    parts = (1 - bare, bare)
    wanted: Any = [target.reading.darks, target.reading.lights]
    for number, item in enumerate(found, start=1):
        colours, words = st.columns([1, 1.6], gap="medium", vertical_alignment="center")
        with colours:
            st.html(strips(("Target", wanted, parts), ("Expected", (item.darks, item.lights), parts)))
        with words:
            st.html(
                f'<p class="pm-change">ΔE00 {item.distance:.1f} by lights and darks</p>'
                + recipe_steps(item.recipe)
                + f'<p class="pm-soft">{escaped(item.because)}</p>'
            )
            ways_on(studio, item.recipe, f"both.{target.id}.{number}", "a recipe for lights and darks", target.id)


def _bare_share(draft: Draft) -> float | None:
    """Ask how much of the metal is burnished bare; return it as a share, or None when it cannot be."""
    least, most = BARE_PERCENT
    field = draft.field("bare_percent", 50)
    st.session_state[field["key"]] = int(
        50 if st.session_state[field["key"]] is None else st.session_state[field["key"]]
    )
    percent = st.number_input("Bare metal, % of the surface", step=5, width=260, **field)
    if not least <= percent <= most:
        tell(f"Type a share of bare metal from {least} to {most} %.")
        return None
    return float(percent) / 100
