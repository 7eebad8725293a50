"""The front page: what to do next, then the way from photograph to plate, then the latest plates."""

from __future__ import annotations

import html

import streamlit as st

from matcher.words import counted
from ui.recipe.piece import on_the_bench
from ui.recipe.plate_row import plate_row
from ui.recipe.record_forms import half_filled
from ui.show import look
from ui.show.literal import literal
from ui.state.next_step import NextStep, next_step
from ui.state.open_studio import chosen_target, logged, the_studio
from ui.state.places import FIRST_PLATES, LOG, RECORD, TARGET

LATEST = 4
PATH = (
    ("Target", "Read the colour of the finish that is wanted, from a photograph with a grey card in it."),
    ("Suggestions", "See which of the studio's plates come closest, how close, and with what recipe."),
    ("Record", "Make a plate, photograph it, log it. The list learns from it."),
)


def show() -> None:
    studio = the_studio()
    chosen = chosen_target(studio)
    targets = sorted(studio.targets(), key=lambda target: chosen is not None and target.id == chosen.id)
    trials = logged(studio)
    step = next_step(targets, trials, studio.draft("target"), on_the_bench(studio), half_filled(studio))
    with look.panel("next"):
        look.title(step.heading, step.sentence)
        with st.container(horizontal=True, vertical_alignment="center", key="next-actions"):
            if st.button(literal(step.button), type="primary", key="start.next"):
                st.switch_page(step.place.file, query_params=step.address)
            if step.place is not TARGET and st.button("Start from another photograph", type="tertiary"):
                st.switch_page(TARGET.file)
            if not trials:
                _without_plates(step)
    st.html(_path(step.stage))
    if trials:
        st.subheader("Latest plates", anchor=False)
        latest = "".join(plate_row(trial) for trial in reversed(trials[-LATEST:]))
        st.html(f'<div class="pm-latest">{latest}</div>')
        with st.container(key="onward"):
            st.page_link(LOG.file, label=literal(f"All {counted(len(trials), 'plate')}"))


def _without_plates(step: NextStep) -> None:
    """Offer both ways to a first plate, less the one that is offered already."""
    for place, label in ((FIRST_PLATES, "Plan your first plates"), (RECORD, "Record a plate you have made")):
        if step.place is not place and st.button(label, type="tertiary"):
            st.switch_page(place.file)


def _path(stage: int) -> str:
    items = "".join(
        f"<li{' class=now aria-current=step' if number == stage else ''}><b>{name}</b><p>{html.escape(text)}</p></li>"
        for number, (name, text) in enumerate(PATH, start=1)
    )
    return f'<ol class="pm-path" aria-label="The way from photograph to plate">{items}</ol>'


show()
