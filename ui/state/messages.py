"""What a person reads when something went wrong: one sentence beside what caused it, and never a traceback."""

from __future__ import annotations

import logging
import traceback
from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from matcher.errors import MatcherError
from ui.escaped import escaped
from ui.state.places import FIRST_PLATES, RECORD


def tell(message: str, kind: str = "wrong") -> None:
    """Show one sentence. kind: "wrong" (put it right), "warning" (trust it less) or "done"."""
    role = "alert" if kind == "wrong" else "status"
    st.html(f'<div class="pm-tell pm-{kind}" role="{role}">{escaped(message)}</div>')


def tell_plates_are_needed(message: str) -> None:
    """Say what can't be done with so few plates, and lead on to where they come from."""
    tell(message, "warning")
    with st.container(horizontal=True):
        if st.button("Plan your first plates", type="primary"):
            st.switch_page(FIRST_PLATES.file)
        if st.button("Record a plate"):
            st.switch_page(RECORD.file)


@contextmanager
def told() -> Iterator[None]:
    """Show a MatcherError's sentence here, and go on with the page."""
    try:
        yield
    except MatcherError as error:
        tell(str(error))


@contextmanager
def guarded() -> Iterator[None]:
    """Around a whole page: whatever fails, say so plainly and say what was kept; the details are folded away."""
    try:
        yield
    except MatcherError as error:
        tell(str(error))
    except Exception:  # a person at the bench can do nothing with a traceback
        details = traceback.format_exc()
        logging.getLogger(__name__).exception("A page failed.")
        tell(
            "Something in this program failed. What you typed and the photographs you uploaded are saved: reload the "
            "page and carry on. If it happens again, send the details below to whoever looks after "
            "this program."
        )
        with st.expander("Details"):
            st.code(details, language=None)
