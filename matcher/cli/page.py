"""What the command line does to open the web page: which studio, which port, and serving it until it is stopped."""

from __future__ import annotations

import os
import runpy
import socket
import sys
from pathlib import Path

from matcher.cli.parser import FIRST_PORT
from matcher.cli.values import TypingError


def demo_folder(where: str | None) -> Path:
    """Return a folder with a demo studio in it, made there when it is not; None is the user's data directory."""
    from matcher.demo.studio import make_demo_studio
    from matcher.storage.database import user_data

    folder = Path(where) if where is not None else user_data() / "demo"
    make_demo_studio(folder).close()
    return folder


def free_port(host: str, wanted: int | None) -> int:
    """Return the wanted port, else the first free one from the usual one on."""
    reason = ""
    for port in [wanted] if wanted is not None else range(FIRST_PORT, FIRST_PORT + 50):
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
            try:
                probe.bind((host, port))
                return int(probe.getsockname()[1])
            except (OSError, OverflowError) as error:
                reason = getattr(error, "strerror", None) or str(error)
    raise TypingError(f"The page cannot be served on {host}, port {port} ({reason}): choose another --port or --host.")


def address(host: str, port: int) -> str:
    """Return what to type into this machine's browser."""
    name = "localhost" if host in ("0.0.0.0", "::") else f"[{host}]" if ":" in host else host
    return f"http://{name}:{port}"


def serve(host: str, port: int) -> None:
    """Serve the page in this process until it is stopped. A browser is opened where there is a display."""
    flags = {
        "server.address": host,
        "server.port": port,
        "server.headless": not _has_display(),
        "server.showEmailPrompt": False,
        "logger.hideWelcomeMessage": True,
        "browser.gatherUsageStats": False,
    }
    page = Path(__file__).parents[2] / "ui" / "app.py"
    sys.argv = ["streamlit", "run", str(page), *(f"--{name}={str(value).lower()}" for name, value in flags.items())]
    runpy.run_module("streamlit", run_name="__main__")


def _has_display() -> bool:
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
