"""Signing in by OpenID Connect, from the link on the sign-in page to a device that is signed in.

The provider is ours, with the three answers that OpenID Connect Core 1.0 (3.1) and Discovery 1.0 ask of one; its tokens
are signed by joserfc, and checked by Authlib in the tool.
"""

from __future__ import annotations

import html
import json
import re
import threading
import time
from collections.abc import Iterator
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit
from urllib.request import HTTPRedirectHandler, build_opener

import pytest
import uvicorn
from joserfc import jwt
from joserfc.jwk import RSAKey
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from matcher.cli.app import free_port
from matcher.hands import Role
from matcher.studio import Studio
from tests.served_network import COOKIE, GOOD, Answered, Server, on_the_network, secret_of

CLIENT, SECRET = "the-studio", "a secret of the two"


class Provider:
    """An OpenID provider that vouches for whoever ``claims`` says."""

    def __init__(self) -> None:
        self.port = free_port("127.0.0.1", 0)
        self.key = RSAKey.generate_key(2048, {"kid": "one"})
        self.claims: dict[str, Any] = {}
        self._asked: dict[str, str] = {}
        routes = [
            Route("/.well-known/openid-configuration", self._about),
            Route("/authorize", self._authorize),
            Route("/token", self._token, methods=["POST"]),
            Route("/keys", lambda _: JSONResponse({"keys": [self.key.as_dict(private=False)]})),
        ]
        config = uvicorn.Config(Starlette(routes=routes), port=self.port, log_level="error")
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)

    @property
    def issuer(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        self._thread.start()
        while not self._server.started:
            time.sleep(0.02)

    def stop(self) -> None:
        self._server.should_exit = True
        self._thread.join(timeout=10)

    def _about(self, _: Request) -> Response:
        return JSONResponse(
            {
                "issuer": self.issuer,
                "authorization_endpoint": f"{self.issuer}/authorize",
                "token_endpoint": f"{self.issuer}/token",
                "jwks_uri": f"{self.issuer}/keys",
                "response_types_supported": ["code"],
                "subject_types_supported": ["public"],
                "id_token_signing_alg_values_supported": ["RS256"],
            }
        )

    def _authorize(self, request: Request) -> Response:
        asked = request.query_params
        self._asked["code"] = asked.get("nonce", "")
        back = urlencode({"code": "code", "state": asked["state"]})
        return RedirectResponse(f"{asked['redirect_uri']}?{back}", 302)

    def _token(self, _: Request) -> Response:
        now = int(time.time())
        claims = {"iss": self.issuer, "aud": CLIENT, "iat": now, "exp": now + 300, "nonce": self._asked["code"]}
        token = jwt.encode({"alg": "RS256", "kid": "one"}, claims | self.claims, self.key)
        return JSONResponse({"access_token": "x", "token_type": "Bearer", "expires_in": 300, "id_token": token})


@pytest.fixture(scope="module")
def provider() -> Iterator[Provider]:
    made = Provider()
    made.start()
    yield made
    made.stop()


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory, provider: Provider) -> Iterator[Server]:
    top, port = tmp_path_factory.mktemp("openid"), free_port("127.0.0.1", 0)
    (top / ".streamlit").mkdir()
    (top / ".streamlit" / "secrets.toml").write_text(
        f"""[auth]
redirect_uri = "https://127.0.0.1:{port}/oauth2callback"
cookie_secret = "{"c" * 32}"
client_id = "{CLIENT}"
client_secret = "{SECRET}"
server_metadata_url = "{provider.issuer}/.well-known/openid-configuration"
"""
    )
    with Studio.open(top / "studio") as studio:
        studio.access.people.add("Ines Invented", Role.OWNER, GOOD)
        studio.access.people.add("Noor", Role.PATINEUR, email="noor@example.org")
    with on_the_network(top, top / "studio", port) as served:
        yield served


class Stay(HTTPRedirectHandler):
    def redirect_request(self, *_: Any) -> None:
        return None


def sent_on_by(provider_address: str) -> str:
    """Return where the provider sends a browser on to."""
    from urllib.error import HTTPError

    try:
        build_opener(Stay).open(provider_address, timeout=10)
    except HTTPError as answer:
        return str(answer.headers["Location"])
    raise AssertionError("the provider sent nobody on")


def come_in(server: Server) -> Answered:
    """Go the whole way as a browser does, and return the last answer."""
    page = server.ask("/sign-in").body.decode()
    link = re.search(r'href="(/auth/login[^"]*)"', page)
    assert link, "the sign-in page offers it"
    jar: dict[str, str] = {}

    def go(address: str) -> Answered:
        cookies = "; ".join(f"{name}={value}" for name, value in jar.items())
        answer = server.ask(address, Accept="text/html", Cookie=cookies)
        for cookie in answer.cookies:
            name, _, value = cookie.partition(";")[0].partition("=")
            jar[name] = value
        return answer

    away = go(html.unescape(link.group(1))).headers["location"]
    assert parse_qs(urlsplit(away).query)["client_id"] == [CLIENT]
    back = urlsplit(sent_on_by(away))
    assert back.path == "/oauth2callback"
    assert go(f"{back.path}?{back.query}").status in (302, 303, 307)
    assert go("/").headers["location"] == "/openid/done"
    return go("/openid/done")


def test_who_is_expected_and_verified_comes_in(server: Server, provider: Provider) -> None:
    provider.claims = {"sub": "7", "email": "noor@example.org", "email_verified": True}
    answer = come_in(server)
    assert answer.status == 303 and answer.headers["location"] == "/"
    assert server.ask("/log", secret=secret_of(answer), Accept="text/html").status == 200
    with server.studio() as studio:
        [device] = [one for one in studio.access.devices.devices() if one.how == "openid"]
        assert device.person == "Noor"
    provider.claims = {"sub": "7", "email": "another@example.org", "email_verified": True}
    assert come_in(server).status == 303, "known by issuer and subject from then on"


@pytest.mark.parametrize(
    "claims",
    [
        {"sub": "8", "email": "eve@example.org", "email_verified": True},
        {"sub": "9", "email": "noor@example.org", "email_verified": False},
        {"sub": "9", "email": "noor@example.org"},
        {"sub": "9", "email": "noor@example.org", "email_verified": "true"},
        {"sub": "9"},
    ],
    ids=json.dumps,
)
def test_nobody_else_does(server: Server, provider: Provider, claims: dict[str, Any]) -> None:
    provider.claims = claims
    answer = come_in(server)
    assert answer.status == 403 and not any(COOKIE in cookie for cookie in answer.cookies)


def test_a_word_that_nobody_gave_is_not_taken(server: Server) -> None:
    for word in ("", "2|1:0|10:1700000000|15:_streamlit_user|8:e30=|" + "0" * 64, "{}"):
        answer = server.ask("/openid/done", Cookie=f"_streamlit_user={word}", Accept="text/html")
        assert answer.status == 403 and not any(COOKIE in cookie for cookie in answer.cookies)
