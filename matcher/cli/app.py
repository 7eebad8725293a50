"""The command that serves the web page: where it listens, on which studio."""

from __future__ import annotations

import argparse
import contextlib
import ipaddress
import os
import runpy
import signal
import socket
import sys
from pathlib import Path

from matcher.cli.say import say
from matcher.typed_in.values import TypingError
from matcher.typed_in.words import Answer

FIRST_PORT = 8501
OPEN_TO_ALL = ("0.0.0.0", "::")
"""What asks plainly to listen on every address of this machine."""


def app(options: argparse.Namespace) -> None:
    """Serve the page until it is stopped."""
    refuse_open_to_all(options.host)
    where = demo_folder(options.studio) if options.demo else options.studio
    if where is not None:
        os.environ["MATCHER_STUDIO"] = str(where)
    port = free_port(options.host, options.port)
    url = address(options.host, port)
    say(Answer({"url": url}, [f"The page is at {url} (stop it with Ctrl+C)."]), options.json)
    with contextlib.redirect_stdout(sys.stderr):  # only our own answer belongs on standard output
        serve(options.host, port)


def demo_folder(where: str | None) -> Path:
    """Return a folder with a demo studio in it, made there when it is not; None is the user's data directory."""
    from matcher.demo import make_demo_studio
    from matcher.storage.database import user_data

    folder = Path(where) if where is not None else user_data() / "demo"
    make_demo_studio(folder).close()
    return folder


def refuse_open_to_all(host: str) -> None:
    """Refuse an address that stands for all of this machine's and does not plainly say so. Raises TypingError."""
    if host in OPEN_TO_ALL:
        return
    try:
        found = {str(place[0]) for *_, place in socket.getaddrinfo(host.strip() or None, 0, flags=socket.AI_PASSIVE)}
    except (OSError, ValueError):
        return  # no address at all: what tries to listen on it says so
    addresses = [ipaddress.ip_address(text.partition("%")[0]) for text in found]
    mapped = [getattr(address, "ipv4_mapped", None) or address for address in addresses]
    if any(address.is_unspecified for address in mapped):
        raise TypingError(
            f"Give --host as an address of this machine: {host!r} would open the page to every machine on the network, "
            f"which only {' or '.join(OPEN_TO_ALL)} asks for."
        )


def free_port(host: str, wanted: int | None) -> int:
    """Return the wanted port, else the first free one from the usual one on; one that was just left is free."""
    reason = ""
    for port in [wanted] if wanted is not None else range(FIRST_PORT, FIRST_PORT + 50):
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
            if os.name == "posix":  # elsewhere it takes a port that is in use
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # as who serves there does
            try:
                probe.bind((host, port))
                return int(probe.getsockname()[1])
            except (OSError, TypeError, ValueError, OverflowError) as error:
                reason = getattr(error, "strerror", None) or str(error)
    raise TypingError(f"The page cannot be served on {host}, port {port} ({reason}): choose another --port or --host.")


def address(host: str, port: int) -> str:
    """Return what to type into this machine's browser."""
    name = "localhost" if host in OPEN_TO_ALL else f"[{host}]" if ":" in host else host
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
    page = Path(__file__).parents[2] / "ui" / "served.py"
    for asked in (signal.SIGINT, signal.SIGTERM):  # raised again once the server has closed: an end as good as any
        signal.signal(asked, lambda *_: sys.exit(0))
    sys.argv = ["streamlit", "run", str(page), *(f"--{name}={str(value).lower()}" for name, value in flags.items())]
    runpy.run_module("streamlit", run_name="__main__")


def _has_display() -> bool:
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
