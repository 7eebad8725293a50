"""Who works on this screen: asked for once, and filled in wherever "made by" is asked in the same browser session."""

from __future__ import annotations

import streamlit as st

from matcher.hands import whose

_WHO = "who"


def who() -> str:
    """Return the name of who is signed in, else the one that was given last in this browser session, "" for none."""
    hand = whose()
    return hand.name if hand is not None else str(st.session_state.get(_WHO, ""))


def remember(name: str | None) -> str:
    """Keep a name that was typed for the next form, and return it."""
    if name and name.strip():
        st.session_state[_WHO] = name.strip()
    return (name or "").strip()
