"""The guard in front of everything that is served: pages, pictures, uploads, media files and the websocket.

Served to this machine alone, it lets nobody else in. Served to a network, it lets in who is signed in, and ends what
they have open when they are signed out. What it has let through it marks, so that a page that is served in any other
way shows nothing (``whose.py``).
"""

from __future__ import annotations

import asyncio
import re
import secrets
from contextlib import suppress
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlsplit

from starlette.responses import PlainTextResponse, RedirectResponse, Response

from matcher.access.network import is_loopback
from matcher.errors import MatcherError
from matcher.hands import at_work
from ui.serving.cookies import secret_in
from ui.serving.headers import security_headers
from ui.serving.how_served import sign_in_needed
from ui.serving.known import KNOWN_FOR_S, away, looked_up, remembered
from ui.state.addresses import below_the_base

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from matcher.access.devices import SignedIn

MARK = b"x-patina-let-in"
LET_IN = secrets.token_hex(16)
"""What the guard marks a request with; known to this process alone."""
SIGN_IN_PAGE = "sign-in"
OPEN_TO_ALL = re.compile(
    rf"{SIGN_IN_PAGE}|code|code/[^/]+|sign-out|sign-in\.css|manifest\.webmanifest|certificate\.crt|icons/[0-9]+\.png|"
    r"openid/done|auth/login|oauth2callback"
)
"""The addresses, below the page's own, that are answered to who is not signed in."""
VOUCHED_FOR = b"_streamlit_user="
"""The cookie in which Streamlit keeps what an OpenID provider said of somebody, until it has become a device."""
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_ONLY_HERE = (
    "This page is served to its own machine alone. To reach it from others, start it with: patina-matcher app --network"
)
_FROM_ELSEWHERE = "This was sent from another site's page and is refused: open this page itself, and try again."
_SIGN_IN = "Sign in first: open the page and sign in, then try again."


class Guard:
    """ASGI middleware; Starlette runs it before everything else, websockets too."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        scope = {**scope, "headers": [pair for pair in scope["headers"] if pair[0] != MARK]}
        send = _with_headers(send, scope["scheme"] in ("https", "wss"))
        if not sign_in_needed():
            if not (_is_own(scope) and _same_site(scope)):
                await _refuse(scope, receive, send, 403, _ONLY_HERE if not _is_own(scope) else _FROM_ELSEWHERE)
                return
            await self._app(_marked(scope), receive, send)
            return
        if not _same_site(scope):
            await _refuse(scope, receive, send, 403, _FROM_ELSEWHERE)
            return
        secret = secret_in(scope)
        try:
            signed_in = await self._signed_in(secret)
        except MatcherError as error:  # what a phone keeps goes on waiting, and nobody is sent to sign in anew
            await _refuse(scope, receive, send, 503, away(error))
            return
        if signed_in is None:
            if is_open_to_all(scope):
                await self._app(_marked(scope), receive, send)
            else:
                await _lead_to_sign_in(scope, receive, send)
            return
        with at_work(signed_in.hand):
            scope.setdefault("state", {})["signed_in"] = signed_in
            if scope["type"] == "websocket":
                await self._while_signed_in(secret, _marked(scope), receive, send)
            else:
                await self._app(_marked(scope), receive, send)

    async def _signed_in(self, secret: str | None) -> SignedIn | None:
        if not secret:
            return None
        return remembered(secret) or await asyncio.to_thread(looked_up, secret)

    async def _is_still_in(self, secret: str | None) -> bool:
        """Tell whether a device is signed in; while nobody can tell it stays, and each run of its page asks anew."""
        try:
            return await self._signed_in(secret) is not None
        except MatcherError:
            return True

    async def _while_signed_in(self, secret: str | None, scope: Scope, receive: Receive, send: Send) -> None:
        """Run a websocket until it ends, or the device is signed out; what it would send after that is kept back."""
        ended, send_now = False, send

        async def send_while_in(message: Message) -> None:
            if not ended:
                await send_now(message)

        task = asyncio.ensure_future(self._app(scope, receive, send_while_in))
        while not task.done():
            await asyncio.wait({task}, timeout=KNOWN_FOR_S)
            if not task.done() and not await self._is_still_in(secret):
                ended = True
                with suppress(Exception):
                    await send_now({"type": "websocket.close", "code": 4401, "reason": "signed out"})
                await asyncio.wait({task}, timeout=KNOWN_FOR_S)
                task.cancel()
                with suppress(asyncio.CancelledError, Exception):
                    await task
                return
        await task


def is_open_to_all(scope: Scope) -> bool:
    """Tell whether an address is answered to who is not signed in."""
    if scope["type"] != "http":
        return False
    base = below_the_base("")
    path = str(scope["path"])
    below = path.removeprefix(base) if path.startswith(base) else path.lstrip("/")
    if ".." in below or "\\" in below or "//" in path:
        return False
    return OPEN_TO_ALL.fullmatch(below) is not None


def _is_own(scope: Scope) -> bool:
    """Tell whether a request comes from this machine and asks for it by its own name.

    The name too: another site's name that is made to lead here (DNS rebinding) would be let read everything.
    """
    client = scope.get("client")
    host = _header(scope, b"host")
    name = urlsplit(f"//{host}").hostname if host else ""
    return (client is None or is_loopback(str(client[0]))) and is_loopback(name or "")


def _same_site(scope: Scope) -> bool:
    """Tell whether what changes something was sent by a page of ours, as far as the browser says where it was sent.

    OWASP Cross-Site Request Forgery Prevention Cheat Sheet, "Verifying Origin With Standard Headers".
    """
    if scope["type"] == "http" and scope["method"] in _SAFE:
        return True
    fetched = _header(scope, b"sec-fetch-site")
    if fetched and fetched not in ("same-origin", "none"):
        return False
    origin = _header(scope, b"origin")
    return not origin or urlsplit(origin).netloc.lower() == _header(scope, b"host").lower()


def _header(scope: Scope, name: bytes) -> str:
    found: list[bytes] = [value for key, value in scope["headers"] if key == name]
    return found[-1].decode("latin-1") if found else ""


def _marked(scope: Scope) -> Scope:
    return {**scope, "headers": [*scope["headers"], (MARK, LET_IN.encode())]}


async def _refuse(scope: Scope, receive: Receive, send: Send, status: int, sentence: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    await PlainTextResponse(sentence, status, {"Cache-Control": "no-store"})(scope, receive, send)


async def _lead_to_sign_in(scope: Scope, receive: Receive, send: Send) -> None:
    """Lead who opens a page to the sign-in, and refuse what a page asks for by itself."""
    opens = scope["type"] == "http" and scope["method"] == "GET" and "text/html" in _header(scope, b"accept")
    if opens and any(VOUCHED_FOR in value for name, value in scope["headers"] if name == b"cookie"):
        done: Response = RedirectResponse(below_the_base("openid/done"), 303, {"Cache-Control": "no-store"})
        await done(scope, receive, send)
        return
    if not opens:
        await _refuse(scope, receive, send, 401, _SIGN_IN)
        return
    asked = str(scope["path"]) + (f"?{scope['query_string'].decode('latin-1')}" if scope["query_string"] else "")
    to = f"{below_the_base(SIGN_IN_PAGE)}?to={quote(asked, safe='')}"
    answer: Response = RedirectResponse(to, 303, {"Cache-Control": "no-store"})
    await answer(scope, receive, send)


def _with_headers(send: Send, https: bool) -> Callable[[Message], Awaitable[None]]:
    """Return ``send`` so that every answer carries the headers that it does not have itself."""
    ours = security_headers(https)

    async def sent(message: Any) -> None:
        if message["type"] == "http.response.start":
            has = {name.lower() for name, _ in message.get("headers", [])}
            message = {**message, "headers": [*message.get("headers", []), *(h for h in ours if h[0] not in has)]}
        await send(message)

    return sent
