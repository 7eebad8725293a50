"""colour-science, imported once and quietly: it is slow to import, and warns of plotting that is not used here."""

from __future__ import annotations

import warnings
from functools import lru_cache
from importlib import import_module
from types import ModuleType


@lru_cache(maxsize=1)
def colour_library() -> ModuleType:
    """Return the ``colour`` module."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return import_module("colour")
