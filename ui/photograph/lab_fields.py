"""Three fields for L*, a* and b*, side by side on a phone too, wherever an instrument's figures are typed."""

from __future__ import annotations

from typing import Any

import streamlit as st

from ui.state.drafts import Draft


def lab_fields(draft: Draft, key: str, fields: tuple[str, str, str]) -> list[Any]:
    """Ask for L*, a*, b* and return them, None where nothing stands. fields: of the draft; key: unique on the page."""
    with st.container(key=f"three-{key}"):
        columns = st.columns(3, gap="small", wrap=False)
    return [
        column.number_input(label, value=None, step=None, format="%g", **draft.field(field))
        for column, label, field in zip(columns, ("L*", "a*", "b*"), fields, strict=True)
    ]
