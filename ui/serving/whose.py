"""Whose hand it is that a page's script runs for; a page that the guard has not let in shows nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st
from streamlit import runtime
from streamlit.runtime.scriptrunner import get_script_run_ctx

from matcher.errors import StudioError
from matcher.hands import Hand, ask
from ui.serving.cookies import ON_THIS_MACHINE, OVER_HTTPS
from ui.serving.guard import LET_IN, MARK
from ui.serving.how_served import sign_in_needed
from ui.serving.known import looked_up

if TYPE_CHECKING:
    from matcher.access.devices import SignedIn

NOT_LET_IN = "Start the page with: patina-matcher app. Started in another way it would let everybody in."
SIGN_IN_AGAIN = "Sign in again: reload the page. Nothing that was kept is lost."
SOMEBODY_ELSES = "Reload the page: somebody else has signed in on this device since it was opened."
_SHOWN, _BEGUN_BY = "signed_in.shown", "signed_in.begun_by"
"""In the session: the secret that its browser showed last, "" where nobody signs in; whose session it is."""


def signed_in() -> SignedIn | None:
    """Return the device that this page is shown on, and whose it is; None where nobody signs in.

    Raises StudioError where somebody must be signed in and is not, or is not who began this session: Streamlit gives a
    session to whatever browser names it, half-typed forms and all.
    """
    if not _is_served():
        return None
    secret = _secret_shown()
    if not secret and not sign_in_needed():
        return None
    found = looked_up(secret) if secret else None
    if found is None:
        raise StudioError(SIGN_IN_AGAIN)
    if st.session_state.setdefault(_BEGUN_BY, found.hand.uid) != found.hand.uid:
        raise StudioError(SOMEBODY_ELSES)
    return found


def _is_served() -> bool:
    """Tell whether a server shows this page; a test of the page without one has a stand-in for Streamlit's runtime."""
    return len(st.context.headers) > 0 or (runtime.exists() and type(runtime.get_instance()) is runtime.Runtime)


def _secret_shown() -> str:
    """Return the secret that the browser shows, "" where nobody signs in. Raises StudioError for who was not let in.

    A script goes on for a while when its browser has gone, and Streamlit knows no headers then: what it writes is still
    of whom it ran for.
    """
    headers = st.context.headers
    if len(headers) > 0:
        if headers.get(MARK.decode()) != LET_IN:
            raise StudioError(NOT_LET_IN)
        cookies = st.context.cookies
        shown = (cookies.get(OVER_HTTPS) or cookies.get(ON_THIS_MACHINE) or "") if sign_in_needed() else ""
        st.session_state[_SHOWN] = shown
    shown_before: str | None = st.session_state.get(_SHOWN)
    if shown_before is None:
        raise StudioError(NOT_LET_IN)
    return shown_before


def _hand_of_the_script() -> Hand | None:
    if get_script_run_ctx(suppress_warning=True) is None:
        return None  # a route, or the server itself: who serves it says whose hand it is
    found = signed_in()
    return None if found is None else found.hand


def ask_the_page() -> None:
    """Let the log ask the page whose hand writes, once for the process."""
    if not _ASKED:
        _ASKED.append(ask(_hand_of_the_script))


_ASKED: list[object] = []
