"""Processes forked from one that has everything imported already; one of them serves a studio's page.

What the forked process runs is the command line's own ``app``: only the seconds that its imports take are shared.
``tests/test_cli_app.py`` starts it as a person does.
"""

from __future__ import annotations

import faulthandler
import logging
import multiprocessing
import os
import pkgutil
import signal
import sys
from collections.abc import Callable
from importlib import import_module
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import matcher
import ui
from matcher.cli.main import main
from matcher.colour.library import colour_library

ROOT = Path(__file__).parents[1]
HEAVY = (
    "streamlit.web.cli",
    "streamlit.web.bootstrap",
    "plotly.graph_objects",
    "scipy.linalg",
    "scipy.ndimage",
    "scipy.optimize",
    "scipy.stats",
    "PIL.JpegImagePlugin",
)
SAY_WHERE = signal.SIGUSR1
"""At this signal a served page prints where each of its threads stands."""
RUN_AS_SCRIPTS = ("ui.app", "ui.served", "ui.screens", "matcher.__main__", "matcher.storage.migrations.")


def start_serving(folder: Path, port: int, said: Path) -> ForkServerProcess:
    """Serve a studio's folder on this machine; what is printed goes to the file ``said``."""
    return forked(_serve, folder, port, said)


def forked(target: Callable[..., None], *arguments: Any) -> ForkServerProcess:
    """Start a function in a process of its own, in which all that is imported here is imported already."""
    forks = multiprocessing.get_context("forkserver")
    forks.set_forkserver_preload([__name__])
    process = forks.Process(target=target, args=arguments, daemon=True)
    with pytest.MonkeyPatch.context() as patched:
        # A page tested in this process leaves its script as the main module, which the new process would run first.
        patched.setitem(sys.modules, "__main__", ModuleType("__main__"))
        # A process forked while another thread holds a lock waits for that lock for ever: there is only one thread.
        patched.setenv("OPENBLAS_NUM_THREADS", "1")
        process.start()
    return process


def _serve(folder: Path, port: int, said: Path) -> None:
    with said.open("wb") as file:
        for descriptor in (1, 2):
            os.dup2(file.fileno(), descriptor)
    faulthandler.register(SAY_WHERE)
    os.chdir(ROOT)
    sys.exit(main(["app", "--studio", str(folder), "--port", str(port)]))


def _import_all() -> None:
    """Import every part of the library and the page, and what they bring when they are first used."""
    parts = [
        found.name for room in (matcher, ui) for found in pkgutil.walk_packages(room.__path__, f"{room.__name__}.")
    ]
    logging.disable(logging.WARNING)  # Streamlit's own, that no page is being served yet
    try:
        for name in (*HEAVY, *(part for part in parts if not part.startswith(RUN_AS_SCRIPTS))):
            import_module(name)
        colour_library()
    finally:
        logging.disable(logging.NOTSET)


_import_all()
