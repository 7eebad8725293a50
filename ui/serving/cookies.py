"""The one cookie: what a signed-in device shows. HttpOnly, SameSite=Lax, and Secure wherever there is HTTPS.

OWASP Session Management Cheat Sheet, "Cookies"; the prefix ``__Host-`` (RFC 6265bis, 4.1.3.2) keeps it to this very
host and to HTTPS. Lax and not Strict, so that a tag or a link that is opened from elsewhere finds one signed in.
"""

from __future__ import annotations

from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.responses import Response
    from starlette.types import Scope

OVER_HTTPS, ON_THIS_MACHINE = "__Host-patina-device", "patina-device"
LASTS_S = 90 * 24 * 3600  # no longer than any device stays signed in; the server ends it sooner


def secret_in(scope: Scope) -> str | None:
    """Return the secret that a request, or a websocket's handshake, shows; None for none."""
    header = b"; ".join(value for name, value in scope["headers"] if name == b"cookie").decode("latin-1")
    return shown_in(header, is_https(scope))


def shown_in(header: str, https: bool) -> str | None:
    try:
        cookies = SimpleCookie(header)
    except CookieError:
        return None
    found = cookies.get(OVER_HTTPS if https else ON_THIS_MACHINE)
    return None if found is None else found.value or None


def is_https(scope: Scope) -> bool:
    return scope["scheme"] in ("https", "wss")


def give(response: Response, scope: Scope, secret: str) -> None:
    https = is_https(scope)
    response.set_cookie(
        OVER_HTTPS if https else ON_THIS_MACHINE, secret, LASTS_S, path="/", secure=https, httponly=True, samesite="lax"
    )


def take(response: Response, scope: Scope) -> None:
    https = is_https(scope)
    name = OVER_HTTPS if https else ON_THIS_MACHINE
    response.delete_cookie(name, path="/", secure=https, httponly=True, samesite="lax")
