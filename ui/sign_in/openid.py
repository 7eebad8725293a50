"""Signing in by OpenID Connect where a foundry has it: Streamlit asks the provider, and its word becomes a device.

Set up in Streamlit's own file of secrets, under ``[auth]`` (``redirect_uri`` ends in ``/oauth2callback``); it needs
the package Authlib. The provider must vouch for the address: only a verified one counts, and only of who is expected.
"""

from __future__ import annotations

import json
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from matcher.errors import MatcherError, StudioError
from ui.serving.cookies import give
from ui.sign_in.device_names import device_name
from ui.sign_in.plain_pages import link, page
from ui.state.addresses import below_the_base

if TYPE_CHECKING:
    from starlette.requests import Request

_NO_WORD = "The account's provider has not vouched for you: begin again."
_NOT_VERIFIED = "The account's provider has not verified its e-mail address: ask who runs it, or sign in with a code."


def openid_routes() -> list[Route]:
    """Return the routes for the server."""
    return [Route(below_the_base("openid/done"), come_back, methods=["GET"])]


def openid_is_set_up() -> bool:
    """Tell whether Streamlit knows a provider."""
    from streamlit.auth_util import get_secrets_auth_section

    if find_spec("authlib") is None:
        return False
    section = get_secrets_auth_section()
    return bool(section) and "client_id" in section and "server_metadata_url" in section


def openid_address() -> str:
    """Return where signing in by OpenID begins: Streamlit's own address, with its word on which provider is meant."""
    from streamlit.auth_util import encode_provider_token

    return f"auth/login?provider={encode_provider_token('default')}"


async def come_back(request: Request) -> Response:
    """Sign a device in whose person the provider has just vouched for."""
    return await run_in_threadpool(_come_back, request)


def _come_back(request: Request) -> Response:
    from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

    from ui.state.open_studio import the_studio

    try:
        word = vouched_for(request)
        device = device_name(request.headers.get("user-agent", ""))
        email = str(word.get("email", ""))
        secret = the_studio().access.sign_in_by_openid(str(word["iss"]), str(word["sub"]), email, device)
    except MatcherError as error:
        answer = page("Sign in", link("sign-in", "Sign in another way"), the_studio().title, str(error), 403)
    else:
        answer = RedirectResponse(below_the_base(""), 303, {"Cache-Control": "no-store"})
        give(answer, request.scope, secret)
    for name in request.cookies:
        if name.startswith(USER_COOKIE_NAME):  # what Streamlit keeps of it is no longer needed
            answer.delete_cookie(name, path="/")
    return answer


def vouched_for(request: Request) -> dict[str, Any]:
    """Return what the provider said of somebody: "iss", "sub" and a verified "email". Raises StudioError."""
    from streamlit.auth_util import get_cookie_with_chunks
    from streamlit.web.server.server_util import get_cookie_secret
    from streamlit.web.server.starlette.starlette_app_utils import decode_signed_value
    from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

    def signed(name: str) -> bytes | None:
        raw = request.cookies.get(name)
        return None if raw is None else decode_signed_value(get_cookie_secret(), name, raw.encode("latin-1"))

    body = get_cookie_with_chunks(signed, USER_COOKIE_NAME)
    try:
        word: dict[str, Any] = json.loads(body) if body else {}
    except ValueError:
        word = {}
    if not word.get("is_logged_in") or not word.get("iss") or not word.get("sub"):
        raise StudioError(_NO_WORD)
    if word.get("email_verified") is not True:
        raise StudioError(_NOT_VERIFIED)
    return word
