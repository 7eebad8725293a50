"""How far to trust predictions: what the studio's own plates say of them, in sentences with a plot under each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import SuggestionError
from ui.escaped import escaped
from ui.show import look
from ui.show.literal import literal
from ui.show.plots import QUIET
from ui.state.cache_keys import Key, target_key
from ui.state.messages import tell_plates_are_needed
from ui.state.open_studio import ask_for_target, chosen_target, how_many, say_part, the_studio
from ui.state.places import LOG
from ui.suggestions.disagreeing_plates import SHOWN, ask_whether_right, tell_what_was_said

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.suggest.cross_validation import CrossValidation
    from matcher.trials.trial import Target

WORST = 3


def show() -> None:
    studio = the_studio()
    look.title(
        "How far to trust predictions",
        "Every figure here comes from the studio's own plates: each was predicted without being shown, then compared.",
    )
    near = _near(studio)
    try:
        with st.spinner("Leaving out one plate after the other…"):
            figures = _figures(target_key(studio, near), studio, near)
    except SuggestionError as error:
        tell_plates_are_needed(str(error))
        return
    say_part(studio, near)
    _show(figures)


def _near(studio: Studio) -> Target | None:
    """Return the target near which the predictions are judged, asked for; it matters only where the log is long."""
    from matcher.suggest.predictor import MOST_LEARNED_FROM

    target = chosen_target(studio)
    if target is None or how_many(studio) <= MOST_LEARNED_FROM:
        return None
    return ask_for_target(studio, target, "trust")


@st.cache_resource(show_spinner=False, max_entries=4)
def _figures(key: Key, _studio: Studio, _target: Target | None) -> CrossValidation:
    """Return the figures, kept until the log changes."""
    reading = None if _target is None else _target.reading
    return _studio.suggester(reading).cross_validation(reading)


def _show(figures: CrossValidation) -> None:
    from matcher.suggest import validation_wording as words
    from ui.show import trust_plots as plots

    _note(words.learned_from_in_words(figures))
    _part("Predicting plates that were left out", words.left_out_in_words(figures))
    _plot(plots.errors_plot(figures), "errors", "Error of every plate when it is left out")
    if plots.off_the_plot(figures):
        _note("A triangle at the upper edge is farther off than the plot reaches.")
    _worst(figures)
    _part("Do the 95 % intervals hold?", words.coverage_in_words(figures))
    by_chance = words.coverage_by_chance(len(figures.left_out.errors))
    _plot(plots.coverage_plot(figures, by_chance), "coverage", "Share of plates inside their 95 % region")
    _note("The white line stands at 95 %, the pale band is what chance makes of it; the dot is what was found.")
    _part("Kinds of recipe that were never made", words.groups_in_words(figures))
    if figures.groups:
        _plot(plots.groups_plot(figures), "groups", "Error by kind of recipe when all of its plates are left out")
        _note("Half of a kind's plates were predicted within the pale dot, nine of ten within the dark one.")
    _part("As plates are added", words.growth_in_words(figures))
    if len(figures.growth) > 1:
        _plot(plots.growth_plot(figures), "growth", "Error against plates learned from")
    _part("Over the days", words.drift_in_words(figures))
    _part("Where one more plate would help most", words.regions_in_words(figures))
    if figures.regions:
        _plot(plots.expected_gain_plot(figures), "worth", "What one more plate is worth, by kind of recipe")
        _note("What it takes off the error, on average over all that could be made: one plate among many moves little.")
    _part("Plates that disagree with the others", words.contradictions_in_words(figures))
    tell_what_was_said()
    for item in sorted(figures.contradictions, key=lambda one: one.checked is not None)[:SHOWN]:
        with look.panel(f"odd-{item.trial.id}"):
            st.html(f"<p>{escaped(item.sentence)}</p>")
            with st.container(horizontal=True, gap="small"):
                _open(item.trial.id, "odd")
                ask_whether_right(item)
    more = len(figures.contradictions) - SHOWN
    if more > 0:
        _note(f"The {SHOWN} that disagree most are shown; settle these, and the other {more} come up in their turn.")


def _worst(figures: CrossValidation) -> None:
    """Name the plates predicted worst, each to be opened."""
    order = figures.left_out.errors.argsort()[::-1][:WORST]
    with st.container(horizontal=True, vertical_alignment="center", gap="small", key="trust-worst"):
        st.html('<span class="pm-soft">Predicted worst:</span>', width="content")
        for row in order:
            _open(figures.trials[row].id, "worst", f", off by {figures.left_out.errors[row]:.1f}")


def _open(plate: int | None, where: str, more: str = "") -> None:
    if st.button(f"Plate {literal(plate)}{literal(more)}", key=f"trust-{where}-{plate}"):
        st.switch_page(LOG.file, query_params={"plate": str(plate)})


def _part(heading: str, sentence: str) -> None:
    st.header(literal(heading), anchor=False)
    st.html(f'<p class="pm-words">{escaped(sentence)}</p>')


def _note(text: str) -> None:
    st.html(f'<p class="pm-soft">{escaped(text)}</p>')


def _plot(figure: Any, name: str, alt: str) -> None:
    st.plotly_chart(figure, theme=None, config=QUIET, key=f"trust-{name}", alt=alt)


show()
