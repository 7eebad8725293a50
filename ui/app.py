"""The web page's entry: dresses the page, opens the studio, runs the page that was asked for.

``python -m matcher app`` starts it; MATCHER_STUDIO names the studio.
"""

from __future__ import annotations

import sys
from pathlib import Path

import streamlit as st

# Streamlit puts this file's own folder on the path; from a checkout that is not installed the packages lie above it.
if (root := str(Path(__file__).resolve().parents[1])) not in sys.path:
    sys.path.insert(0, root)

from ui.bench.waited import came_of_it
from ui.serving.live import hear_of_changes
from ui.serving.waiting import take_in_what_waited
from ui.serving.whose import ask_the_page, signed_in
from ui.show import look
from ui.state.messages import guarded
from ui.state.open_studio import the_studio
from ui.state.places import ALL, START
from ui.state.save_as_typed import save_as_typed

st.set_page_config(page_title="Patina matcher", layout="wide", initial_sidebar_state="collapsed")
page = st.navigation(
    [st.Page(place.file, title=place.title, url_path=place.address, default=place is START) for place in ALL],
    position="hidden",
)
look.dress()
ask_the_page()
with guarded():
    signed_in()
    look.bar(the_studio(), next((place for place in ALL if place.title == page.title), None))
    save_as_typed(the_studio())
    take_in_what_waited(came_of_it)
    with guarded():
        page.run()
    look.foot(the_studio())
    hear_of_changes(the_studio())
