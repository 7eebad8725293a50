"""Whose hand it is that a page's script runs for; a page that the guard has not let in shows nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st
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


def signed_in() -> SignedIn | None:
    """Return the device that this page is shown on, and whose it is; None where nobody signs in.

    Raises StudioError where somebody must be signed in and is not.
    """
    headers = st.context.headers
    if len(headers) == 0:  # no browser: a test of the page without a server
        return None
    if headers.get(MARK.decode()) != LET_IN:
        raise StudioError(NOT_LET_IN)
    if not sign_in_needed():
        return None
    cookies = st.context.cookies
    secret = cookies.get(OVER_HTTPS) or cookies.get(ON_THIS_MACHINE)
    found = looked_up(secret) if secret else None
    if found is None:
        raise StudioError(SIGN_IN_AGAIN)
    return found


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
