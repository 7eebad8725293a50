"""What goes on beside the page for as long as it is served: a browser is opened on it, the day's backup is made."""

from __future__ import annotations

import os
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from typing import Any

from matcher.keeping.daily import DailyBackups
from ui.state.opened_browser import opens_a_browser


@asynccontextmanager
async def while_served(app: Any) -> AsyncGenerator[dict[str, Any], None]:
    """Do what goes on beside the page, until the server stops."""
    daily = DailyBackups(os.environ.get("MATCHER_STUDIO") or None)
    daily.start()
    try:
        async with opens_a_browser(app) as state:
            yield state
    finally:
        daily.stop()
