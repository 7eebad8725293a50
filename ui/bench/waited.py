"""What came of the taps and photographs that waited in the browser: put where they belong, or told."""

from __future__ import annotations

from typing import Any

import streamlit as st

from ui.bench.step_now import SAID
from ui.photograph.intake import take_kept
from ui.state.open_studio import the_studio
from ui.target.half_read import form_for_photograph


def came_of_it(one: dict[str, Any]) -> None:
    """Take in what the studio said of one that was sent: a tap that was refused, a photograph that it keeps."""
    if one.get("kind") != "photograph":
        if not one.get("kept"):
            st.session_state[SAID] = str(one.get("said", ""))
        return
    take_kept(form_for_photograph(the_studio(), str(one.get("form", "")), str(one.get("sha256", ""))), one)
