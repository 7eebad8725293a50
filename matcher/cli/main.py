"""The command line, `patina-matcher` or `python -m matcher`: parses, calls, prints. Here too: demo and app.

A thin skin over the Python API. Each command returns what `--json` prints and what a person reads; errors are one
plain sentence on standard error with exit code 2.
"""

from __future__ import annotations

import argparse
import contextlib
import ipaddress
import os
import runpy
import signal
import socket
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path

from matcher.cli import bench, commissions, log, reading, solutions, suggest, tags, values
from matcher.cli.options import PROGRAM, Commands, Parser, command_line
from matcher.cli.photographs import opened_studio, studio_is_there, studio_that_is_there
from matcher.cli.values import TypingError
from matcher.cli.words import Answer, say
from matcher.errors import MatcherError, sentence_of
from matcher.words import counted

FIRST_PORT = 8501
OPEN_TO_ALL = ("0.0.0.0", "::")
"""What asks plainly to listen on every address of this machine."""
STOPPED = 130  # what a shell gives for a command that was stopped with Ctrl+C


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return the exit code: 0, or 2 after an error that was told on standard error."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # whatever the terminal's locale, ΔE00 has a Δ; a file's name need not be UTF-8
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")
    try:
        options = whole_command_line().parse_args(arguments)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what matters comes as a caveat or an error
            answer = options.command(options)
        if answer is not None:
            say(answer, options.json)
    except MatcherError as error:
        print(sentence_of(error), file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return STOPPED
    if "opened" in options:
        from matcher.storage.damaged import in_words  # only now: it brings the database's library

        if damage := in_words(options.opened.damaged()):
            print(damage, file=sys.stderr)
    return 0


def whole_command_line() -> Parser:
    """Return the parser of all commands, in the order of the help."""
    return command_line(
        *(group.add_commands for group in (reading, suggest, bench, log, tags, commissions, solutions)),
        add_opening_commands,
    )


def add_opening_commands(commands: Commands) -> None:
    commands.add("demo", "Make an invented studio to try things on.", demo).add_argument("folder", metavar="FOLDER")
    about = "Show the studio's title, where it lies and what is in it; or give it another title."
    shown = commands.add("studio", about, about_studio)
    shown.add_argument("--title", metavar="TEXT", help="its title from now on, on every page and sheet")
    opens = commands.add("app", "Open the web page on this machine.", app)
    opens.add_argument("--demo", action="store_true", help="on an invented studio, made when it is not there yet")
    opens.add_argument("--port", metavar="N", type=values.whole, help=f"port ({FIRST_PORT}, or the next free one)")
    opens.add_argument("--host", metavar="H", default="127.0.0.1", help="address to listen on (127.0.0.1)")


def demo(options: argparse.Namespace) -> Answer:
    from matcher.demo import make_demo_studio

    was_there = studio_is_there(options.folder)
    with make_demo_studio(Path(options.folder)) as studio:
        name, count, targets = studio.name, len(studio.trials()), len(studio.targets())
    said = (
        f"The demo studio in {name} is there already, with {counted(count, 'plate')}: nothing was made."
        if was_there
        else f"Made the demo studio in {name}: {counted(count, 'invented plate')} that count."
    )
    document = {"studio": name, "trials": count, "targets": targets}
    return Answer(document, [said, f"Open it with: {PROGRAM} app --studio {options.folder}"])


def about_studio(options: argparse.Namespace) -> Answer:
    """Give the studio a title where one is named, and tell what is in it."""
    with (studio_that_is_there if options.title is None else opened_studio)(options) as studio:
        if options.title is not None:
            studio.title = options.title
        title, demo = studio.title, studio.is_demo
        counts = {
            "plate": len(studio.trials()),
            "target": len(studio.targets()),
            "commission": len(studio.commissions.commissions()),
        }
        document = {"studio": studio.name, "title": title, "is_demo": demo}
        document |= {f"{noun}s": count for noun, count in counts.items()}
        said = [f"{title or 'A studio without a title'} ({studio.name})" + (": all of it is invented." if demo else "")]
    return Answer(document, [*said, ", ".join(counted(count, noun) for noun, count in counts.items())])


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
