"""Small matrices on one thread: shared out over the cores they take two to four times as long.

For the fits of ``suggest`` and ``texture``, whose matrices have a few hundred rows. The limit is the process's own, so
two of its threads that enter and leave in turn may leave it at one thread, which changes the time of nothing here.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from importlib import import_module
from typing import Any


@contextmanager
def one_thread() -> Iterator[None]:
    """Keep NumPy's and SciPy's linear algebra on one thread; a ``with`` block, or a function's decorator."""
    with _libraries().limit(limits=1):
        yield


@cache
def _libraries() -> Any:
    """Return the controls of the libraries loaded; looking for them takes milliseconds, so once is enough."""
    from threadpoolctl import ThreadpoolController  # type: ignore[import-untyped]

    import_module("scipy.linalg")  # brings the library that the fits run on
    return ThreadpoolController()
