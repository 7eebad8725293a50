"""The page served on a network: nothing without signing in, and the rules for sessions, headers and uploads.

Sources beside the checks: the OWASP cheat sheets (Session Management, CSRF Prevention, HTTP Headers, File Upload,
Unvalidated Redirects), RFC 6265bis (cookies), RFC 8446 by the ssl module, which checks the certificate as browsers do.
"""

from __future__ import annotations

import json
import re
import ssl
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from starlette.applications import Starlette
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from matcher import Studio
from matcher.access.attempts import MOST_BY_NAME
from matcher.access.devices import How
from matcher.demo import make_demo_studio
from matcher.errors import StudioError
from matcher.hands import Role, Work, ask, need
from matcher.hands import whose as whose_hand
from tests.own_loop import run_apart
from tests.served_network import COOKIE, GOOD, OTHER, Answered, Server, on_the_network, secret_of
from ui.serving.guard import Guard
from ui.sign_in.pages import local


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The demo studio with an owner and a reader."""
    top = tmp_path_factory.mktemp("served")
    with make_demo_studio(top / "studio") as studio:
        studio.access.people.add("Ines Invented", Role.OWNER, GOOD)
        studio.access.people.add("Rui", Role.READER, OTHER)
    with on_the_network(top, top / "studio") as served:
        yield served


@pytest.fixture(scope="module")
def owner(server: Server) -> str:
    return server.enter("Ines Invented", GOOD)


# What is served


def test_it_says_where_it_is_and_shows_a_certificate_that_its_authority_vouches_for(server: Server) -> None:
    assert server.said["url"].startswith("https://") and "localhost" not in server.said["url"]
    assert re.fullmatch(r"([0-9A-F]{2}:){31}[0-9A-F]{2}", server.said["certificate_sha256"])
    assert "first_owner" not in server.said, "there are people: no code lets anybody in"
    assert server.ask("/certificate.crt").body.startswith(b"-----BEGIN CERTIFICATE-----")
    with pytest.raises(ssl.SSLCertVerificationError):
        Server(server.port, server.folder, {}, ssl.create_default_context(), server.authority).ask("/")


def photograph_and_patch(folder: Path) -> tuple[str, str]:
    with Studio.open(folder) as studio:
        sha = next(sha for trial in studio.trials() for sha in trial.photos)
        from matcher.photo.small import patch_key

        trial = next(trial for trial in studio.trials() if trial.reading.photo)
        return f"/pictures/{sha}/480.jpg", f"/patches/plate/{trial.id}/{patch_key(trial.reading)}/240.jpg"


GUARDED = (
    "/",
    "/start",
    "/log",
    "/log?plate=5",
    "/people",
    "/TAG/K7QX2-88",
    "/changes",
    "/parts.js",
    "/_stcore/health",
    "/_stcore/host-config",
    "/_stcore/metrics",
    "/_stcore/script-health-check",
    "/media/0123456789abcdef.jpg",
    "/component/streamlit_component/index.html",
    "/static/js/index.js",
    "/favicon.png",
    "/nothing/like/it",
    "/sign-in/../log",
    "/icons/../log",
    "//log",
    "/code/../log",
    "/sign-in.css/../log",
    "/icons/log",
    "/openid/log",
    "/code/a/b",
    "/auth/login/log",
    "/oauth2callback/log",
    "/sign-in/",
    "/icons/%2e%2e%2flog",
)
"""Addresses that must say nothing to who is not signed in."""


@pytest.mark.parametrize("path", GUARDED)
@pytest.mark.parametrize("secret", ["", "x" * 43, "'; DROP TABLE people; --"])
def test_nothing_is_served_without_signing_in(server: Server, path: str, secret: str) -> None:
    assert server.ask(path, secret=secret).status == 401
    led = server.ask(path, secret=secret, Accept="text/html")
    assert led.status == 303 and led.headers["location"].startswith("/sign-in?to=") and not led.body


def test_no_picture_without_signing_in_and_every_one_with(server: Server, owner: str) -> None:
    for path in photograph_and_patch(server.folder):
        assert server.ask(path, Accept="image/*").status == 401
        shown = server.ask(path, secret=owner, Accept="image/*")
        assert shown.status == 200 and shown.body[:3] == b"\xff\xd8\xff"


@pytest.mark.parametrize("method", ["PUT", "POST", "DELETE"])
def test_no_upload_without_signing_in(server: Server, method: str) -> None:
    """OWASP File Upload Cheat Sheet: "Only allow authorized users to upload files"."""
    answer = server.ask("/_stcore/upload_file/some-session/some-file", method, b"x", Origin=f"https://{server.host}")
    assert answer.status == 401


def websocket(server: Server, secret: str = "", origin: str | None = None):  # type: ignore[no-untyped-def]
    headers = {"Cookie": f"{COOKIE}={secret}"} if secret else {}
    return connect(
        f"wss://{server.host}/_stcore/stream",
        ssl=server.context,
        origin=origin or f"https://{server.host}",  # type: ignore[arg-type]
        additional_headers=headers,
        subprotocols=["streamlit"],  # type: ignore[list-item]
        open_timeout=20,
    )


@pytest.mark.parametrize("secret", ["", "x" * 43])
def test_no_websocket_without_signing_in(server: Server, secret: str) -> None:
    with pytest.raises(InvalidStatus) as refused:
        websocket(server, secret)
    assert refused.value.response.status_code == 403


def test_a_websocket_is_refused_to_another_sites_page(server: Server, owner: str) -> None:
    """OWASP WebSocket Security Cheat Sheet: the Origin header is checked at the handshake."""
    with pytest.raises(InvalidStatus) as refused:
        websocket(server, owner, origin="https://elsewhere.example")
    assert refused.value.response.status_code == 403
    with websocket(server, owner) as opened:
        assert opened.protocol.state.name == "OPEN"


# Sessions


def test_the_cookie_is_held_as_close_as_can_be(server: Server) -> None:
    """OWASP Session Management Cheat Sheet, "Cookies"; RFC 6265bis, 4.1.3.2: what the prefix __Host- asks for."""
    answer = server.send("/sign-in", name="Ines Invented", passphrase=GOOD)
    given = [cookie for cookie in answer.cookies if cookie.startswith(COOKIE)]
    assert len(given) == 1
    parts = {part.strip().lower() for part in given[0].split(";")[1:]}
    assert {"httponly", "secure", "samesite=lax", "path=/"} <= parts
    assert not any(part.startswith("domain") for part in parts)
    assert answer.headers["cache-control"] == "no-store"


def test_signing_out_ends_what_is_open_and_takes_the_cookie(server: Server) -> None:
    """OWASP Session Management Cheat Sheet: the session ends on the server, what the browser keeps is cleared."""
    secret = server.enter("Ines Invented", GOOD)
    with websocket(server, secret) as opened:
        answer = server.send("/sign-out", secret)
        assert answer.status == 303 and answer.headers["clear-site-data"] == '"cache"'
        assert any(cookie.startswith(f'{COOKIE}="";') and "Max-Age=0" in cookie for cookie in answer.cookies)
        with pytest.raises(ConnectionClosed) as ended:
            while True:
                opened.recv(timeout=15)
    assert ended.value.rcvd is not None and ended.value.rcvd.code == 4401
    assert server.ask("/log", secret=secret).status == 401


def test_who_is_signed_out_elsewhere_hears_nothing_more(server: Server) -> None:
    secret = server.enter("Rui", OTHER)
    with server.studio() as studio:
        studio.access.devices.sign_out_everywhere(studio.access.people.named("Rui").uid)
    deadline = time.monotonic() + 10
    while server.ask("/log", secret=secret).status != 401:
        assert time.monotonic() < deadline
        time.sleep(0.2)


def test_each_sign_in_has_a_secret_of_its_own_and_none_is_taken_from_the_browser(server: Server) -> None:
    """OWASP Session Management Cheat Sheet, "Session Fixation"."""
    chosen = "c" * 43
    answer = server.ask(
        "/sign-in",
        "POST",
        urlencode({"name": "Ines Invented", "passphrase": GOOD}).encode(),
        chosen,
        Content_Type="application/x-www-form-urlencoded",
        Origin=f"https://{server.host}",
    )
    assert secret_of(answer) != chosen and secret_of(answer) != server.enter("Ines Invented", GOOD)
    assert server.ask("/log", secret=chosen).status == 401


def test_guessing_is_slowed_and_says_for_how_long(server: Server) -> None:
    for _ in range(MOST_BY_NAME):
        assert server.send("/sign-in", name="Nobody", passphrase=OTHER).status == 403
    answer = server.send("/sign-in", name="Nobody", passphrase=OTHER)
    assert answer.status == 429 and 0 < int(answer.headers["retry-after"]) <= 15 * 60
    with server.studio() as studio, studio.database.writing() as session:
        from matcher.storage.schema import SignInAttemptRow

        session.query(SignInAttemptRow).delete()


# Codes


def test_looking_at_a_code_does_not_use_it_and_using_it_does(server: Server) -> None:
    with server.studio() as studio:
        code = studio.access.codes.make(studio.access.people.named("Ines Invented").uid).text
    for _ in range(3):
        assert b"Sign this device in as Ines Invented?" in server.ask(f"/code/{code}").body
    answer = server.send(f"/code/{code}")
    assert answer.status == 303
    assert server.ask("/log", secret=secret_of(answer), Accept="text/html").status == 200
    assert server.send(f"/code/{code}").status in (403, 404)


# Forms from elsewhere


@pytest.mark.parametrize("path", ["/sign-in", "/sign-out", "/code", "/code/ABCD-EFGH", "/_stcore/upload_file/a/b"])
@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://elsewhere.example"},
        {"Origin": "null"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site", "Origin": "https://elsewhere.example"},
    ],
    ids=str,
)
def test_what_another_sites_page_sends_is_refused(
    server: Server, owner: str, path: str, headers: dict[str, str]
) -> None:
    """OWASP Cross-Site Request Forgery Prevention Cheat Sheet: Origin and Fetch Metadata."""
    answer = server.ask(path, "POST", b"name=x", owner, Content_Type="application/x-www-form-urlencoded", **headers)
    assert answer.status == 403 and b"refused" in answer.body
    assert server.ask("/log", secret=owner, Accept="text/html").status == 200, "and nobody was signed out"


@pytest.mark.parametrize(
    "to",
    ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "\\\\elsewhere",
     "javascript:alert(1)", "/sign-out", "/ok\r\nSet-Cookie: a=b", "", None, "elsewhere", "http:/elsewhere"],
)  # fmt: skip
def test_after_signing_in_one_stays_here(to: str | None) -> None:
    """OWASP Unvalidated Redirects and Forwards Cheat Sheet."""
    assert local(to) == "/"


@pytest.mark.parametrize("to", ["/log?plate=5", "/", "/TAG/K7QX2-88", "/suggestions?target=3&x=https://a.example"])
def test_after_signing_in_one_goes_on_to_what_was_asked_for(to: str) -> None:
    assert local(to) == to


def test_a_form_too_large_is_not_read(server: Server) -> None:
    assert server.send("/sign-in", name="x" * 100_000, passphrase=GOOD).status == 403


@pytest.mark.parametrize(
    "body", [b"[" * 4000, b'{"a":' * 700, b"\xff", b"9" * 4090, b"x" * 5000], ids=lambda body: repr(body[:5])
)
def test_a_tap_that_is_none_gets_a_sentence(server: Server, owner: str, body: bytes) -> None:
    """OWASP Denial of Service Cheat Sheet: what is nested too deeply is refused; it held up all taps behind it."""
    answer = server.ask("/taken-in/taps", "POST", body, owner, Content_Type="application/json")
    assert answer.status == 422 and json.loads(answer.body)["said"].startswith("Reload the page")


def test_what_is_typed_comes_back_as_text(server: Server) -> None:
    """OWASP Cross Site Scripting Prevention Cheat Sheet."""
    answer = server.send("/sign-in", name='"><script>alert(1)</script>', passphrase=OTHER, to='/"><script>')
    assert answer.status == 403 and b"<script" not in answer.body and b"&lt;script&gt;" in answer.body


# Photographs that a phone sends


def send_photograph(server: Server, secret: str, body: bytes, name: str = "plate.jpg") -> Answered:
    return server.ask(
        f"/taken-in/photographs?{urlencode({'name': name})}", "POST", body, secret, Origin=f"https://{server.host}"
    )


@pytest.mark.parametrize(
    ("body", "name"),
    [
        (b"", "empty.jpg"),
        (b"%PDF-1.7 no photograph", "sheet.pdf"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 500, "cut.jpg"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", "drawn.svg"),
    ],
)
def test_what_is_no_photograph_is_refused_in_one_sentence_and_not_kept(
    server: Server, owner: str, body: bytes, name: str
) -> None:
    """OWASP File Upload Cheat Sheet: what it is counts, and not what it is called."""
    before = sorted(path.name for path in (server.folder / "photos").rglob("*") if path.is_file())
    answer = send_photograph(server, owner, body, name)
    said = json.loads(answer.body)
    assert answer.status == 422 and not said["kept"] and said["said"].endswith(".") and "\n" not in said["said"]
    assert sorted(path.name for path in (server.folder / "photos").rglob("*") if path.is_file()) == before


def test_a_photograph_is_kept_once_however_often_it_is_sent_and_a_readers_not(server: Server, owner: str) -> None:
    body = shipped_photograph()
    sent = [json.loads(send_photograph(server, owner, body, "../../etc/plate.jpg").body) for _ in range(2)]
    assert sent[0]["kept"] and sent[0] == sent[1]
    refused = send_photograph(server, server.enter("Rui", OTHER), body)
    assert refused.status == 422 and "as a reader" in json.loads(refused.body)["said"]


def test_nothing_is_read_of_a_photograph_by_who_may_not_keep_it(server: Server) -> None:
    begun = {"Origin": f"https://{server.host}", "Content_Length": "200000000"}
    refused = server.ask("/taken-in/photographs", "POST", b"its beginning", server.enter("Rui", OTHER), **begun)
    assert refused.status == 422 and "as a reader" in json.loads(refused.body)["said"]


@pytest.mark.parametrize("why", ["disk", "moved"])
def test_a_photograph_that_the_studio_cannot_keep_just_now_stays_on_the_phone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    """RFC 9110, 15.6.4 (503): for now. A full disk, or a studio that was moved, threw the only one there was away."""
    import errno

    from matcher.storage.photos import PhotoStore
    from matcher.studio.keeping.move import move
    from ui.serving import waiting
    from ui.state import open_studio

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with Studio.open(tmp_path / "studio") as studio:
        monkeypatch.setattr(open_studio, "the_studio", lambda: studio)
        if why == "moved":
            move(studio, tmp_path / "elsewhere")
        else:
            monkeypatch.setattr(PhotoStore, "_keep", full)
        answer = waiting._answered(lambda: waiting._kept(shipped_photograph(), "plate.jpg"))
    said = json.loads(bytes(answer.body))
    assert answer.status_code == 503 and not said["kept"]
    assert ("No space left" if why == "disk" else "was moved to") in said["said"]


def shipped_photograph() -> bytes:
    from matcher.shipped import shipped

    return (shipped("demo_images") / "next_plate.jpg").read_bytes()


# Headers


@pytest.mark.parametrize(
    "path", ["/", "/sign-in", "/code", "/manifest.webmanifest", "/icons/192.png", "/_stcore/health"]
)
@pytest.mark.parametrize("signed_in", [False, True])
def test_every_answer_carries_the_headers_that_keep_it_in(
    server: Server, owner: str, path: str, signed_in: bool
) -> None:
    """OWASP HTTP Headers Cheat Sheet."""
    answer = server.ask(path, secret=owner if signed_in else "", Accept="text/html")
    policy = answer.headers["content-security-policy"]
    assert "frame-ancestors 'none'" in policy and "base-uri" in policy and "form-action 'self'" in policy
    assert "*" not in policy and "http:" not in policy and "https:" not in policy, "nothing from another host"
    assert answer.headers["x-frame-options"] == "DENY"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cross-origin-opener-policy"] == "same-origin"
    assert "strict-transport-security" not in answer.headers, "it would lock out whom a new certificate meets"


def test_the_sign_in_page_runs_no_script_at_all(server: Server) -> None:
    answer = server.ask("/sign-in")
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert "script-src" not in answer.headers["content-security-policy"] and b"<script" not in answer.body
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", ["/sign-in", "/code", "/sign-out", "/code/ABCD-EFGH"])
def test_what_a_sign_in_page_needs_is_given_to_who_is_not_signed_in(server: Server, path: str) -> None:
    """Its style sheet was guarded under a name that it had no more: everybody's first page stood there bare."""
    needed = set(re.findall(r'<(?:link|img|script)[^>]* (?:href|src)="([^"?]+)', server.ask(path).body.decode()))
    kinds = {"css": "text/css", "png": "image/png", "webmanifest": "application/manifest+json"}
    given = {address: server.ask(address) for address in needed}
    assert "/sign-in.css" in needed and all(answer.status == 200 for answer in given.values()), needed
    for address, answer in given.items():
        assert answer.headers["content-type"].startswith(kinds[address.rpartition(".")[2]]), address


def test_the_home_screen_has_a_manifest_and_icons_of_our_own(server: Server) -> None:
    """W3C Web Application Manifest: name, start_url, display and icons are what installing asks for."""
    manifest = json.loads(server.ask("/manifest.webmanifest").body)
    assert manifest["display"] == "standalone" and manifest["start_url"] == "/" and manifest["name"]
    for one in manifest["icons"]:
        picture = server.ask(one["src"])
        width, height = (int.from_bytes(picture.body[at : at + 4], "big") for at in (16, 20))
        assert picture.body[:8] == b"\x89PNG\r\n\x1a\n" and one["sizes"] == f"{width}x{height}"
    assert server.ask("/icons/7.png").status == 404


# Served in another way


def test_served_to_this_machine_alone_it_answers_to_nobody_else(tmp_path: Path) -> None:
    """OWASP SSRF and DNS rebinding: another name that leads here is not answered."""
    from ui.serving.guard import Guard

    async def asked(client: str, host: str, kind: str = "http") -> int | str:
        sent: list[dict[str, object]] = []

        async def app(scope, receive, send):  # type: ignore[no-untyped-def]
            await send({"type": "http.response.start", "status": 200, "headers": []})

        async def send(message):  # type: ignore[no-untyped-def]
            sent.append(message)

        scope = {
            "type": kind, "scheme": "http", "method": "GET", "path": "/log", "query_string": b"",
            "client": (client, 1), "headers": [(b"host", host.encode())],
        }  # fmt: skip
        await Guard(app)(scope, None, send)  # type: ignore[arg-type]
        return sent[0].get("status", sent[0]["type"])  # type: ignore[return-value]

    assert run_apart(asked("127.0.0.1", "localhost:8501")) == 200
    assert run_apart(asked("::1", "[::1]:8501")) == 200
    assert run_apart(asked("127.0.0.1", "elsewhere.example:8501")) == 403
    assert run_apart(asked("127.0.0.1", "127.0.0.1.elsewhere.example")) == 403
    assert run_apart(asked("192.0.2.9", "localhost:8501")) == 403
    assert run_apart(asked("192.0.2.9", "localhost", "websocket")) == "websocket.close"


def test_a_page_that_no_guard_has_let_in_shows_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Started in another way than ours, on any address, its script asks for the guard's mark and ends."""
    import streamlit as st

    from ui.serving import whose

    class Context:
        headers = {"Host": "192.0.2.1:8501", "X-Patina-Let-In": "guessed"}  # noqa: RUF012
        cookies: dict[str, str] = {}  # noqa: RUF012

    monkeypatch.setattr(st, "context", Context())
    with pytest.raises(StudioError, match="patina-matcher app"):
        whose.signed_in()


def test_while_the_studio_cannot_be_read_nobody_comes_in_and_nobody_is_sent_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A phone whose taps wait must not be led to a sign-in page that cannot be shown either."""
    from matcher.errors import UnavailableError
    from ui import served
    from ui.serving import guard, known
    from ui.sign_in import pages

    def away() -> Studio:
        raise UnavailableError("The database can't be reached: check server, name and password.")

    monkeypatch.setattr(guard, "sign_in_needed", lambda: True)
    monkeypatch.setattr(pages, "sign_in_needed", lambda: True)
    monkeypatch.setattr(known, "the_studio", away)
    monkeypatch.setattr(pages, "_studio", away)
    known.forget()
    app = Guard(Starlette(routes=served.ROUTES, exception_handlers=served.app._exception_handlers))

    async def asked(path: str, secret: str) -> tuple[int, str]:
        sent: list[dict[str, Any]] = []

        async def send(message):  # type: ignore[no-untyped-def]
            sent.append(message)

        async def receive():  # type: ignore[no-untyped-def]
            return {"type": "http.request", "body": b"", "more_body": False}

        cookie = (b"cookie", f"{COOKIE}={secret}".encode())
        scope = {
            "type": "http", "scheme": "https", "method": "GET", "path": path, "query_string": b"", "root_path": "",
            "client": ("192.0.2.9", 1), "headers": [(b"host", b"studio"), (b"accept", b"text/html"), cookie],
        }  # fmt: skip
        await app(scope, receive, send)
        return sent[0]["status"], b"".join(message.get("body", b"") for message in sent).decode()

    for secret, path in (("", "/sign-in"), ("", "/code"), ("x" * 43, "/sign-in"), ("x" * 43, "/changes")):
        status, said = run_apart(asked(path, secret))
        assert status == 503 and "wait a moment, then try again" in said, path
        assert "postgresql" not in said and "127.0.0.1" not in said, "a stranger learns nothing of what lies behind"


class Shown:
    """What Streamlit says of a browser; nothing once it has gone."""

    def __init__(self, secret: str | None) -> None:
        from ui.serving.guard import LET_IN, MARK

        self.headers = {} if secret is None else {MARK.decode(): LET_IN}
        self.cookies = {} if secret is None else {COOKIE: secret}


@pytest.fixture
def secrets(tmp_path: Path) -> dict[str, str]:
    """The secrets that the devices of three people show."""
    found = {}
    with Studio.open(tmp_path) as studio:
        for name, role in (("Ines", Role.OWNER), ("Marek", Role.OWNER), ("Rui", Role.READER)):
            uid = studio.access.people.add(name, role).uid
            found[name] = studio.access.devices.begin(uid, How.PASSPHRASE, "Computer")
    return found


@pytest.fixture
def page(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, secrets: dict[str, str]
) -> Iterator[Callable[[str | None], None]]:
    """A page's script of one session, on a server where everybody signs in; call it with what its browser shows."""
    import streamlit as st
    from streamlit import runtime

    from ui.serving import known, whose

    monkeypatch.setattr(runtime.Runtime, "_instance", runtime.Runtime.__new__(runtime.Runtime))
    monkeypatch.setattr(st, "session_state", {})
    monkeypatch.setattr(whose, "sign_in_needed", lambda: True)
    monkeypatch.setattr(whose, "get_script_run_ctx", lambda **_: object())
    with Studio.open(tmp_path) as studio:
        monkeypatch.setattr(known, "the_studio", lambda: studio)
        known.forget()
        hands = ask(whose._hand_of_the_script)
        yield lambda secret: monkeypatch.setattr(st, "context", Shown(secret))
        hands()
        known.forget()


def test_what_a_script_writes_when_its_browser_has_gone_is_still_of_whom_it_ran_for(
    page: Callable[[str | None], None], secrets: dict[str, str]
) -> None:
    """Who leaves while a script runs takes its headers along, and would be asked nothing: a reader could write."""
    page(secrets["Rui"])
    hand = whose_hand()
    assert hand is not None and hand.name == "Rui"
    page(None)
    assert whose_hand() == hand
    with pytest.raises(StudioError, match="as a reader"):
        need(Work.NOTE)


def test_a_script_whose_browser_had_gone_before_it_began_writes_nothing(page: Callable[[str | None], None]) -> None:
    page(None)
    with pytest.raises(StudioError, match="patina-matcher app"):
        whose_hand()


def test_nobody_takes_over_the_session_of_somebody_else(
    page: Callable[[str | None], None], secrets: dict[str, str]
) -> None:
    """OWASP Session Management Cheat Sheet: a tab left open reconnects to its session by name, whoever is in now."""
    page(secrets["Ines"])
    whose_hand()
    page(secrets["Marek"])
    with pytest.raises(StudioError, match="somebody else has signed in"):
        whose_hand()
    page(None)
    with pytest.raises(StudioError, match="somebody else has signed in"):
        whose_hand()
    page(secrets["Ines"])
    found = whose_hand()
    assert found is not None and found.name == "Ines"
