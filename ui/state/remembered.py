"""How this person likes the page: small choices that outlive the visit, kept in a cookie of their own browser."""

from __future__ import annotations

from typing import TypeVar

import streamlit as st

Seen = TypeVar("Seen")

A_YEAR_S = 365 * 24 * 3600


def remembered(name: str) -> bool:
    """Return whether this person had something unfolded when they last saw it. name: of letters and hyphens."""
    slot = f"remembered.{name}"
    if slot not in st.session_state:
        st.session_state[slot] = st.context.cookies.get(_cookie(name)) == "1"
    return bool(st.session_state[slot])


def remember(name: str, unfolded: bool) -> None:
    """Keep it; the browser is told by ``tell_browser`` on the run that follows."""
    if remembered(name) != unfolded:
        st.session_state[f"remembered.{name}"] = unfolded
        st.session_state["remembered.news"] = {**st.session_state.get("remembered.news", {}), name: unfolded}


def as_seen(slot: str, now: Seen) -> Seen:
    """Return what this page showed of a thing on its last run, which the person acts on, and note what it shows now."""
    seen: Seen = st.session_state.get(f"seen.{slot}", now)
    st.session_state[f"seen.{slot}"] = now
    return seen


def tell_browser() -> None:
    """Put what is to be kept into the browser's cookie, once; shows nothing."""
    news: dict[str, bool] = st.session_state.pop("remembered.news", {})
    with st.container(key="keeping-remembered"):
        kept = "".join(
            f'document.cookie = "{_cookie(name)}={int(unfolded)}; path=/; max-age={A_YEAR_S}; SameSite=Strict";'
            for name, unfolded in news.items()
        )
        st.html(f"<script>{kept}</script>" if kept else "<i></i>", unsafe_allow_javascript=True)


def _cookie(name: str) -> str:
    return f"patina-matcher-{name}"
