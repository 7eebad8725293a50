"""What a part of ours in the browser has said, heard by its callback."""

from __future__ import annotations

from typing import Any

import streamlit as st


def heard(key: str, name: str) -> Any:
    """Return what the part with that key says under a name, None where it says nothing.

    After a run that ended before the part was put into the page (the studio was away) Streamlit knows its callback
    still and its value no longer: what was said then is nothing, and a part that needs an answer says it again.
    """
    state = st.session_state.get(key)
    return None if state is None else state.get(name)
