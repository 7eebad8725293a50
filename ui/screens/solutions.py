"""Solutions: the shelf of bottles, making one, what to mix for a recipe, and noting what was used."""

from __future__ import annotations

import streamlit as st

from ui.bench.bottle_shelf import MAKE, show_shelf
from ui.bench.make_bottle import show_making
from ui.bench.mix_for import show_mixing
from ui.bench.solution_used import USED, show_using
from ui.recipe.mix_link import MIX
from ui.show import look
from ui.show.literal import literal
from ui.state.open_studio import the_studio

PARTS = {
    "shelf": ("The shelf", show_shelf),
    MAKE: ("Make a bottle", show_making),
    MIX: ("Mix for a recipe", show_mixing),
    USED: ("Note what was used", show_using),
}
ABOUT = "Bottles of stock, what half strength is half of, and what to mix for a recipe."


def show() -> None:
    studio = the_studio()
    look.title("Solutions", ABOUT)
    asked = st.query_params.get("part")
    wanted = asked if asked in PARTS else "shelf"
    part = st.segmented_control(
        "What to do",
        list(PARTS),
        format_func=lambda name: literal(PARTS[name][0]),
        default=wanted,
        required=True,
        label_visibility="collapsed",
        key=f"solutions.part.{wanted}",
    )
    if part is not None and part != wanted:
        st.query_params["part"] = str(part)
        st.rerun()
    PARTS[wanted][1](studio)


show()
