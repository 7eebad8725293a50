"""A page of the app run without a browser, with what is on it and a press of its buttons."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from streamlit.testing.v1 import AppTest

from tests.browser import page_file

APP = Path(__file__).parents[1] / "ui" / "app.py"


def open_page(name: str, **query: str) -> AppTest:
    """Open a page of the studio that MATCHER_STUDIO names, with what stands in its address."""
    app = AppTest.from_file(str(APP), default_timeout=90).run()
    for key, value in query.items():
        app.query_params[key] = value
    return app.switch_page(page_file(name)).run()


def said_on(app: AppTest) -> str:
    """Return the page's own HTML."""
    assert not app.exception
    return " ".join(plain(element.proto.body) for element in app.get("html"))


def plain(text: object) -> str:
    """Return text as it is compared: spaces that break no line are spaces."""
    return str(text).replace("\u00a0", " ")


def button(app: AppTest, label: str) -> Any:
    """Return the button of a label."""
    return next(item for item in app.button if item.label == label)
