"""What goes on beside the page for as long as it is served: a browser is opened on it, the day's backup is made, and
what memory no longer needs is let go.
"""

from __future__ import annotations

import asyncio
import gc
import os
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from typing import Any

from matcher.studio.keeping.daily import DailyBackups
from ui.state.opened_browser import opens_a_browser

LOOKED_THROUGH_EVERY_S = 60.0
"""How often all that is in memory is looked through for what only holds itself (``gc``): with a log of 5,000 plates
that takes a quarter of a second, and after every run of a page, as Streamlit would do it, more than the pages."""


@asynccontextmanager
async def while_served(app: Any) -> AsyncGenerator[dict[str, Any], None]:
    """Do what goes on beside the page, until the server stops."""
    daily = DailyBackups(os.environ.get("MATCHER_STUDIO") or None)
    daily.start()
    tidying = asyncio.ensure_future(_let_go_of_what_is_left())
    try:
        async with opens_a_browser(app) as state:
            yield state
    finally:
        tidying.cancel()
        daily.stop()


async def _let_go_of_what_is_left() -> None:
    while True:
        await asyncio.sleep(LOOKED_THROUGH_EVERY_S)
        await asyncio.to_thread(gc.collect)
