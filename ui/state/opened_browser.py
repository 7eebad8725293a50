"""A browser opened on the page where there is a display: Streamlit does so for a script, but not for an app."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from typing import Any

from streamlit import cli_util, config
from streamlit.web.server import server_util

LISTENS_AFTER_S = 0.3
"""The server listens right after it has started; a browser takes longer than this to come up."""


@asynccontextmanager
async def opens_a_browser(_app: Any) -> AsyncGenerator[dict[str, Any], None]:
    """Open the page once it is served, unless there is nobody to look at it (``server.headless``)."""
    if not config.get_option("server.headless"):
        asyncio.get_running_loop().call_later(LISTENS_AFTER_S, _open)
    yield {}


def _open() -> None:
    address = server_util.get_display_address(config.get_option("server.address"))
    cli_util.open_browser(server_util.get_url(address))
