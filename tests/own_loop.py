"""Runs a coroutine though a browser test in the same process has left a loop running in this thread."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

Answer = TypeVar("Answer")


def run_apart(coroutine: Coroutine[Any, Any, Answer]) -> Answer:
    """Return what a coroutine gives, run in a thread of its own."""
    with ThreadPoolExecutor(1) as apart:
        return apart.submit(asyncio.run, coroutine).result()
