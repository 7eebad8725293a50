"""What the server runs: the page, and beside it the pictures that the page names.

``python -m matcher app`` starts it as ``streamlit run`` would. The page's own script is ``app.py``.
"""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from ui.photograph.picture_routes import picture_routes
from ui.state.opened_browser import opens_a_browser

app = st.App(Path(__file__).with_name("app.py"), routes=picture_routes(), lifespan=opens_a_browser)
