"""A server and a phone on two ends of a cable: two network namespaces of their own, joined by a veth pair.

Linux, as root, with iproute2. Elsewhere both run on this machine, by its own address, and the cable is cut by the
browser itself. Neither end is this machine's own network: to lay, cut or mend a cable there breaks off whatever any
browser on it is loading (Chromium's ERR_NETWORK_CHANGED), a download of another test among it.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Host:
    """Where a program runs: in a network namespace, or (``None``) on this machine's own network."""

    namespace: str | None = None

    def runs(self, *command: str) -> list[str]:
        """Return the command that runs a command there."""
        return [*(["ip", "netns", "exec", self.namespace] if self.namespace else []), *command]

    def browser(self, path: str, folder: Path) -> str:
        """Return a program that starts a browser there, written into a folder."""
        script = folder / f"browser-on-{self.namespace or 'this-machine'}"
        script.write_text(f'#!/bin/sh\nexec {" ".join(self.runs(path))} "$@"\n')
        script.chmod(0o755)
        return str(script)


@dataclass(frozen=True)
class Cable:
    """A server's end and a phone's, where the phone finds the server, and what cuts and mends the way there."""

    server: Host
    phone: Host
    here: str
    cut: Callable[[Any], None]
    mend: Callable[[Any], None]


@contextmanager
def other_host() -> Iterator[Cable]:
    """Lay a cable between two hosts, for as long as the block lasts."""
    near, far = f"desk{os.getpid()}", f"phone{os.getpid()}"
    if not _laid(near, far):
        _unlaid(near, far)
        yield Cable(Host(), Host(), _own_address(), _offline(True), _offline(False))
        return
    try:
        yield Cable(
            Host(near),
            Host(far),
            NEAR,
            lambda _: _ip("-n", far, "link", "set", LINK, "down"),
            lambda _: _ip("-n", far, "link", "set", LINK, "up"),
        )
    finally:
        _unlaid(near, far)


LINK, NEAR, FAR = "cable", "10.213.0.1", "10.213.0.2"


def _laid(near: str, far: str) -> bool:
    if shutil.which("ip") is None or os.name != "posix" or os.geteuid() != 0:
        return False
    try:
        _ip("netns", "add", near)
        _ip("netns", "add", far)
        _ip("-n", near, "link", "add", LINK, "type", "veth", "peer", "name", LINK, "netns", far)
        for end, address in ((near, NEAR), (far, FAR)):
            _ip("-n", end, "addr", "add", f"{address}/24", "dev", LINK)
            _ip("-n", end, "link", "set", "lo", "up")
            _ip("-n", end, "link", "set", LINK, "up")
    except (OSError, subprocess.CalledProcessError):
        return False
    return True


def _unlaid(*namespaces: str) -> None:
    for name in namespaces:
        with suppress(OSError, subprocess.CalledProcessError):
            _ip("netns", "del", name)


def _ip(*arguments: str) -> None:
    subprocess.run(["ip", *arguments], check=True, capture_output=True)


def _offline(yes: bool) -> Callable[[Any], None]:
    return lambda context: context.set_offline(yes)


def _own_address() -> str:
    from matcher.access.network import own_addresses

    return next(iter(own_addresses()), socket.gethostbyname("localhost"))
