"""What the server runs: the page, beside it the pictures that the page names and the addresses that tags carry, and a
guard in front of all of it.

``python -m matcher app`` starts it as ``streamlit run`` would. The page's own script is ``app.py``.
"""

from __future__ import annotations

from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware
from starlette.responses import RedirectResponse
from starlette.routing import Route

from matcher.errors import MatcherError
from ui.photograph.picture_routes import picture_routes
from ui.serving.guard import Guard
from ui.serving.live import live_routes
from ui.serving.parts import page_routes
from ui.serving.waiting import waiting_routes
from ui.serving.while_served import while_served
from ui.sign_in.certificate import certificate_routes
from ui.sign_in.home_screen import home_screen_routes
from ui.sign_in.openid import openid_routes
from ui.sign_in.pages import sign_in_routes
from ui.sign_in.plain_pages import cannot
from ui.state.addresses import below_the_base
from ui.state.places import START
from ui.wall.tag_route import tag_routes


def to_the_front_page(_: object) -> RedirectResponse:
    """Lead from the front page's own address, which Streamlit does not know, to where it lies."""
    return RedirectResponse(below_the_base(""))


FRONT_PAGE = Route(below_the_base(START.address), to_the_front_page)
ROUTES = [
    FRONT_PAGE,
    *page_routes(),
    *sign_in_routes(),
    *openid_routes(),
    *certificate_routes(),
    *home_screen_routes(),
    *live_routes(),
    *waiting_routes(),
    *picture_routes(),
    *tag_routes(),
]
app = st.App(
    Path(__file__).with_name("app.py"),
    routes=ROUTES,
    middleware=[Middleware(Guard)],
    lifespan=while_served,
    exception_handlers={MatcherError: cannot},
)
