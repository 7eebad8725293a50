"""Keeps what C libraries write to standard error about a damaged file away from it: the error says it in words."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

_STANDARD_ERROR = 2


class _Hold:
    """How many threads are decoding, and where standard error really goes meanwhile."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.threads = 0
        self.kept: int | None = None


_HOLD = _Hold()


@contextmanager
def libraries_kept_quiet() -> Iterator[None]:
    """Send the process's standard error nowhere while any thread is in here.

    libtiff, libpng and LibRaw write past Python, so only the file descriptor stops them. Threads that decode at the
    same time share one change of it: the first in makes it, the last out undoes it.
    """
    with _HOLD.lock:
        _HOLD.threads += 1
        if _HOLD.threads == 1:
            _HOLD.kept = _sent_nowhere()
    try:
        yield
    finally:
        with _HOLD.lock:
            _HOLD.threads -= 1
            if _HOLD.threads == 0 and _HOLD.kept is not None:
                os.dup2(_HOLD.kept, _STANDARD_ERROR)
                os.close(_HOLD.kept)
                _HOLD.kept = None


def _sent_nowhere() -> int | None:
    """Turn standard error away; return a copy of where it went, None where there is none."""
    with suppress(OSError):
        kept = os.dup(_STANDARD_ERROR)
        with open(os.devnull, "wb") as nowhere:  # noqa: PTH123 - a device, not a path of ours
            os.dup2(nowhere.fileno(), _STANDARD_ERROR)
        return kept
    return None
