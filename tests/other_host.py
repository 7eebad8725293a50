"""A phone on the other end of a cable: a browser in a network namespace of its own, joined to this one by a veth pair.

Linux, as root, with iproute2. Elsewhere the browser runs on this machine, by its own address, and the cable is cut by
the browser itself.
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


@dataclass
class Cable:
    """Where the browser finds this machine, and what cuts and mends the way there."""

    here: str
    wrapped: Callable[[str, Path], str]
    cut: Callable[[Any], None]
    mend: Callable[[Any], None]
    is_another_host: bool


@contextmanager
def other_host() -> Iterator[Cable]:
    """Lay a cable to another host, for as long as the block lasts."""
    name = f"phone{os.getpid() % 100000}"
    number = os.getpid() % 250 + 1
    near, far = f"10.213.{number}.1", f"10.213.{number}.2"
    if not _laid(name, near, far):
        _unlaid(name)
        yield Cable(_own_address(), lambda browser, _: browser, _offline(True), _offline(False), False)
        return
    try:
        yield Cable(
            near,
            lambda browser, folder: _wrapper(name, browser, folder),
            lambda _: _ip("-n", name, "link", "set", f"{name}b", "down"),
            lambda _: _ip("-n", name, "link", "set", f"{name}b", "up"),
            True,
        )
    finally:
        _unlaid(name)


def _laid(name: str, near: str, far: str) -> bool:
    if shutil.which("ip") is None or os.name != "posix" or os.geteuid() != 0:
        return False
    try:
        _ip("netns", "add", name)
        _ip("link", "add", f"{name}a", "type", "veth", "peer", "name", f"{name}b", "netns", name)
        _ip("addr", "add", f"{near}/24", "dev", f"{name}a")
        _ip("link", "set", f"{name}a", "up")
        _ip("-n", name, "addr", "add", f"{far}/24", "dev", f"{name}b")
        _ip("-n", name, "link", "set", f"{name}b", "up")
        _ip("-n", name, "link", "set", "lo", "up")
    except (OSError, subprocess.CalledProcessError):
        return False
    return True


def _unlaid(name: str) -> None:
    for command in (("link", "del", f"{name}a"), ("netns", "del", name)):
        with suppress(OSError, subprocess.CalledProcessError):
            _ip(*command)


def _ip(*arguments: str) -> None:
    subprocess.run(["ip", *arguments], check=True, capture_output=True)


def _wrapper(name: str, browser: str, folder: Path) -> str:
    script = folder / "browser-over-there"
    script.write_text(f'#!/bin/sh\nexec ip netns exec {name} {browser} "$@"\n')
    script.chmod(0o755)
    return str(script)


def _offline(yes: bool) -> Callable[[Any], None]:
    return lambda context: context.set_offline(yes)


def _own_address() -> str:
    from matcher.access.network import own_addresses

    return next(iter(own_addresses()), socket.gethostbyname("localhost"))
