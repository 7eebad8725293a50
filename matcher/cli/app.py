"""The command that serves the web page: where it listens, on which studio; and where every command prints."""

from __future__ import annotations

import argparse
import contextlib
import ipaddress
import json
import os
import runpy
import signal
import socket
import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher.typed_in import values
from matcher.typed_in.options import Commands
from matcher.typed_in.values import TypingError
from matcher.typed_in.words import Answer
from matcher.words import listed

if TYPE_CHECKING:
    from matcher.access.certificate import Served

FIRST_PORT = 8501
OPEN_TO_ALL = ("0.0.0.0", "::")
"""What asks plainly to listen on every address of this machine."""


def add_app_command(commands: Commands) -> None:
    about = "Open the web page: on this machine, or on the local network, where everybody signs in."
    opens = commands.add("app", about, app)
    opens.add_argument("--demo", action="store_true", help="on an invented studio, made when it is not there yet")
    opens.add_argument("--port", metavar="N", type=values.whole, help=f"port ({FIRST_PORT}, or the next free one)")
    opens.add_argument("--host", metavar="H", default=None, help="address to listen on (127.0.0.1)")
    served = "on the local network, by HTTPS: phones and other benches sign in"
    opens.add_argument("--network", action="store_true", help=served)
    opens.add_argument("--sign-in", action="store_true", help="let people sign in on this machine's own address too")
    opens.add_argument("--certificate", metavar="FILE", help="the foundry's own certificate (PEM), with its chain")
    opens.add_argument("--key", metavar="FILE", help="its key (PEM)")


def app(options: argparse.Namespace) -> None:
    """Serve the page until it is stopped."""
    from matcher.access.network import is_this_machine_alone

    if options.network and options.host is None:
        options.host = OPEN_TO_ALL[0]
    host = "127.0.0.1" if options.host is None else options.host
    refuse_open_to_all(host)
    where = demo_folder(options.studio) if options.demo else options.studio
    environment = {} if where is None else {"MATCHER_STUDIO": str(where)}
    port = free_port(host, options.port)
    if not is_this_machine_alone(host):
        served, shown = _on_the_network(host, port, options)
        own = {"MATCHER_OWN_CERTIFICATE": "on"} if options.certificate else {"MATCHER_AUTHORITY": str(served.authority)}
        environment |= own
    elif options.certificate or options.key:
        raise TypingError("Give --network too: a certificate is for a page that other machines open.")
    else:
        served, shown = None, Shown(address(host, port), ())
    if served is not None or options.sign_in:
        environment["MATCHER_SIGN_IN"] = "on"
        shown = replace(shown, first_owner=_first_owner(where, shown.url))
    say(Answer(shown.document(), shown.lines()), options.json)
    with contextlib.redirect_stdout(sys.stderr):  # only our own answer belongs on standard output
        serve(host, port, environment | {"MATCHER_URL": shown.url}, served)


@dataclass(frozen=True)
class Shown:
    """What is said of a page that is served. first_owner: where the first owner comes in, None once there is one."""

    url: str
    others: tuple[str, ...]
    fingerprint: str = ""
    is_new_authority: bool = False
    first_owner: str | None = None

    def document(self) -> dict[str, Any]:
        known: dict[str, Any] = {"url": self.url}
        if self.fingerprint:
            known |= {"urls": [self.url, *self.others], "certificate_sha256": self.fingerprint}
        return known if self.first_owner is None else known | {"first_owner": self.first_owner}

    def lines(self) -> list[str]:
        from matcher.access.qr import in_a_terminal, qr_code

        lines = [f"The page is at {self.url} (stop it with Ctrl+C)."]
        if self.others:
            lines.append(f"Also at {listed(self.others)}.")
        if self.fingerprint:
            lines.append(f"Its certificate's SHA-256 is {self.fingerprint}.")
        if self.is_new_authority:
            lines.append(
                "The certificate is this machine's own and new: browsers warn of it until its authority is installed, "
                "which the sign-in page explains."
            )
        if self.first_owner is not None:
            lines.append(
                f"Nobody belongs to this studio yet. Its first owner comes in, within the hour, by {self.first_owner}"
            )
        if self.fingerprint or self.first_owner is not None:
            lines += in_a_terminal(qr_code(self.first_owner or self.url))
        return lines


def _on_the_network(host: str, port: int, options: argparse.Namespace) -> tuple[Served, Shown]:
    """Return the certificate to serve with, and what to say. Raises StudioError, TypingError."""
    from matcher.access.certificate import certificate_for, served_with
    from matcher.access.network import own_addresses, own_names
    from matcher.files import user_data

    if bool(options.certificate) != bool(options.key):
        raise TypingError("Give --certificate and --key together, or neither: then one is made here.")
    addresses = own_addresses() if host in OPEN_TO_ALL else _addresses_of(host)
    names = own_names() if host in OPEN_TO_ALL or host in own_names() else [host]
    if options.certificate:
        served = served_with(Path(options.certificate), Path(options.key))
    else:
        served = certificate_for(user_data() / "https", names, [*addresses, "127.0.0.1", "::1"])
    reached = [*(f"[{one}]" if ":" in one else one for one in addresses), *names] or ["localhost"]
    urls = [f"https://{name}:{port}" for name in dict.fromkeys(reached)]
    return served, Shown(urls[0], tuple(urls[1:]), served.fingerprint, served.is_new_authority)


def _addresses_of(host: str) -> list[str]:
    """Return the addresses that a host stands for. Raises TypingError."""
    try:
        found = {str(place[0]).partition("%")[0] for *_, place in socket.getaddrinfo(host, None)}
    except (OSError, UnicodeError) as error:
        raise TypingError(f"Give --host as an address of this machine: {host!r} is none.") from error
    return sorted(found)


def _first_owner(where: str | Path | None, url: str) -> str | None:
    """Return where the first owner comes in, None where there are people already. Raises StudioError."""
    from matcher.studio import Studio

    with Studio.open(where) as studio:
        if studio.access.people.people():
            return None
        return f"{url}/code/{studio.access.codes.make_first().text}"


def demo_folder(where: str | None) -> Path:
    """Return a folder with a demo studio in it, made there when it is not; None is the user's data directory."""
    from matcher.demo import make_demo_studio
    from matcher.files import user_data

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


def serve(host: str, port: int, environment: Mapping[str, str], served: Served | None) -> None:
    """Serve the page in this process until it is stopped. A browser is opened where there is a display.

    environment: what the page is told by. served: the certificate to serve with by HTTPS, None for none.
    """
    os.environ.update(environment)
    flags = {
        "server.address": host,
        "server.port": port,
        "server.headless": not _has_display(),
        "server.showEmailPrompt": False,
        "logger.hideWelcomeMessage": True,
        "browser.gatherUsageStats": False,
    }
    if served is not None:
        flags |= {"server.sslCertFile": served.certificate, "server.sslKeyFile": served.key}
    page = Path(__file__).parents[2] / "ui" / "served.py"
    for asked in (signal.SIGINT, signal.SIGTERM):  # raised again once the server has closed: an end as good as any
        signal.signal(asked, lambda *_: sys.exit(0))
    sys.argv = ["streamlit", "run", str(page), *(f"--{name}={_flag(value)}" for name, value in flags.items())]
    runpy.run_module("streamlit", run_name="__main__")


def _flag(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _has_display() -> bool:
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def say(answer: Answer, as_json: bool) -> None:
    """Print an answer on standard output. Raises TypingError."""
    try:
        print(json.dumps(answer.document, ensure_ascii=False) if as_json else "\n".join(answer.lines), flush=True)
    except BrokenPipeError:  # the reader, "head" perhaps, has seen enough; nor is what is left to be tried again
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise TypingError(f"The answer cannot be written ({error.strerror}): send it to another place.") from error
