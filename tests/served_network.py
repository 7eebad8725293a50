"""A studio served on the network by HTTPS, in a process of its own, and what somebody outside sees of it."""

from __future__ import annotations

import http.client
import json
import os
import re
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode

import pytest

from matcher import Studio
from matcher.cli.app import free_port
from tests.other_host import Host

GOOD, OTHER = "warm torch, cold water", "three thin coats of wax"
COOKIE = "__Host-patina-device"
THIS_MACHINE = Host()


@dataclass
class Answered:
    status: int
    headers: dict[str, str]
    body: bytes
    cookies: list[str] = field(default_factory=list)


@dataclass
class Server:
    """A served page, and what somebody outside sees of it."""

    port: int
    folder: Path
    said: dict[str, str]
    context: ssl.SSLContext
    authority: Path

    @property
    def host(self) -> str:
        return f"127.0.0.1:{self.port}"

    def ask(
        self, path: str, method: str = "GET", body: bytes | None = None, secret: str = "", **headers: str
    ) -> Answered:
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if secret:
            sent["Cookie"] = f"{COOKIE}={secret}"
        connection = http.client.HTTPSConnection("127.0.0.1", self.port, context=self.context, timeout=30)
        try:
            connection.request(method, path, body, sent)
            answer = connection.getresponse()
            read = b"" if path.startswith("/changes") and answer.status == 200 else answer.read()
            found = dict(answer.getheaders())
            cookies = answer.msg.get_all("set-cookie") or []
            return Answered(answer.status, {key.lower(): value for key, value in found.items()}, read, cookies)
        finally:
            connection.close()

    def send(self, path: str, secret: str = "", origin: str | None = None, **fields: str) -> Answered:
        """Send a form, as a page of ours does."""
        named = {"Content_Type": "application/x-www-form-urlencoded", "Origin": origin or f"https://{self.host}"}
        return self.ask(path, "POST", urlencode(fields).encode(), secret, **named)

    def enter(self, name: str, passphrase: str) -> str:
        answer = self.send("/sign-in", name=name, passphrase=passphrase)
        assert answer.status == 303, answer.body
        return secret_of(answer)

    def studio(self) -> Studio:
        return Studio.open(self.folder)


def secret_of(answer: Answered) -> str:
    found = [re.match(rf"{COOKIE}=([^;]+);", cookie) for cookie in answer.cookies]
    assert found and found[0] is not None
    return found[0].group(1)


GONE_S = 60
"""Until a server that was told to stop has to be gone: asyncio waits 30 s (``ssl_shutdown_timeout``) for the goodbye of
a host whose cable was cut."""


@contextmanager
def on_the_network(top: Path, folder: Path, port: int | None = None, host: Host = THIS_MACHINE) -> Iterator[Server]:
    """Serve a studio on the network with a certificate made for it. top: the home of who serves; host: where it runs,
    and only from this machine can it be asked anything without a browser that runs there too."""
    port = port or free_port("127.0.0.1", 0)
    environment = {name: value for name, value in os.environ.items() if name not in ("DISPLAY", "WAYLAND_DISPLAY")}
    environment |= {"HOME": str(top), "XDG_DATA_HOME": str(top / "data")}
    environment["PYTHONPATH"] = os.pathsep.join(path for path in sys.path if path)
    command = [sys.executable, "-m", "matcher", "app", "--network", "--studio", folder, "--port", port, "--json"]
    with subprocess.Popen(
        host.runs(*(str(part) for part in command)),
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=environment,
        cwd=top,
    ) as process:
        try:
            assert process.stdout is not None
            said = json.loads(process.stdout.readline())
            authority = top / "data" / "patina-matcher" / "https" / "authority.crt"
            context = ssl.create_default_context(cafile=str(authority))
            served = Server(port, folder, said, context, authority)
            _wait_for(served, host)
            yield served
        finally:
            process.terminate()
            process.wait(timeout=GONE_S)


def _wait_for(served: Server, host: Host) -> None:
    reach = f"import socket; socket.create_connection(('127.0.0.1', {served.port}), timeout=2).close()"
    for _ in range(300):
        if subprocess.run(host.runs(sys.executable, "-c", reach), stderr=subprocess.DEVNULL).returncode == 0:
            return
        time.sleep(0.1)
    pytest.fail("the page did not answer within 30 s")
