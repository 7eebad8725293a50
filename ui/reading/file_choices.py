"""What an instrument's file leaves open, to choose: angle, measurement condition, white, light, observer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import streamlit as st

from matcher.instrument.choices import Asked, option_in_words
from ui.show.literal import literal
from ui.state.drafts import Draft

if TYPE_CHECKING:
    from matcher.instrument.choices import Question
    from matcher.instrument.files import InstrumentFile

LABELS = {
    Asked.ANGLE: "Angle",
    Asked.CONDITION: "Measurement condition",
    Asked.WHITE: "A perfect white in this file is",
    Asked.ILLUMINANT: "Light of its figures",
    Asked.OBSERVER: "Observer",
}
FIELDS = {about: f"file_{about}" for about in Asked}
FIRST = (Asked.ANGLE, Asked.CONDITION, Asked.WHITE)
"""What is asked first: what is taken of a file tells whether its light is open."""


def choices_of_file(draft: Draft, read: Callable[[Mapping[str, str]], InstrumentFile]) -> InstrumentFile:
    """Ask what the file leaves open, and return it as it is read with the answers. read: by the answers."""
    file = read({})
    answers = _asked(draft, file, FIRST)
    file = read(answers) if answers else file
    more = _asked(draft, file, (Asked.ILLUMINANT, Asked.OBSERVER))
    return read({**answers, **more}) if more else file


def _asked(draft: Draft, file: InstrumentFile, abouts: tuple[Asked, ...]) -> dict[str, str]:
    """Show what is open of these; return the answers that differ from what is taken anyway."""
    questions = [one for one in file.questions if one.about in abouts and len(one.options) > 1]
    if not questions:
        return {}
    columns = st.columns(len(questions), gap="small")
    found = {}
    for column, question in zip(columns, questions, strict=True):
        with column:
            answer = _answer(draft, question)
        if answer is not None and answer != question.taken:
            found[question.about.value] = answer
    return found


def _answer(draft: Draft, question: Question) -> str | None:
    field = draft.field(FIELDS[question.about], question.taken)
    if st.session_state[field["key"]] not in question.options:
        st.session_state[field["key"]] = question.taken

    label, options = LABELS[question.about], question.options
    if question.about is Asked.WHITE:
        return st.radio(label, options, format_func=lambda one: literal(option_in_words(question, one)), **field)
    return st.selectbox(label, options, format_func=lambda one: literal(option_in_words(question, one)), **field)
