"""What a person reads when something went wrong: one sentence beside what caused it, and never a traceback."""

from __future__ import annotations

import html
import logging
import traceback
from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from matcher.errors import MatcherError


def tell(message: str, kind: str = "wrong") -> None:
    """Show one sentence. kind: "wrong" (put it right), "warning" (trust it less) or "done"."""
    role = "alert" if kind == "wrong" else "status"
    st.html(f'<div class="pm-tell pm-{kind}" role="{role}">{html.escape(message)}</div>')


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
