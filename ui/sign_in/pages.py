"""Signing in by passphrase or by a code, and signing out."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from matcher.access.attempts import TooOften
from matcher.access.codes import plain
from matcher.access.passphrase import SHORTEST
from matcher.errors import MatcherError, StudioError
from matcher.hands import ABOUT
from ui.escaped import escaped
from ui.serving.cookies import give, secret_in, take
from ui.serving.how_served import sign_in_needed
from ui.serving.known import forget, looked_up
from ui.sign_in.device_names import device_name
from ui.sign_in.openid import openid_address, openid_is_set_up
from ui.sign_in.plain_pages import field, form, link, page, style
from ui.state.addresses import below_the_base

if TYPE_CHECKING:
    from starlette.datastructures import FormData
    from starlette.requests import Request

    from matcher.studio import Studio

MOST_BYTES = 8192
"""A form of ours is shorter."""
_TO_TRUST = """<details><summary>Your browser warns of this page?</summary><p>It does not know the certificate of this
studio's own machine yet. To be asked no more, and to use the camera on every phone:</p><ol>
<li>Compare the fingerprint that the warning shows with the one that was printed where the page was started.</li>
<li><a href="{certificate}">Load the studio's certificate</a>.</li>
<li>Install it in the phone's settings as a certificate authority. It can vouch for machines on a local network only.
</li></ol></details>"""


def sign_in_routes() -> list[Route]:
    """Return the routes for the server; none of them needs a signed-in device."""
    return [
        Route(below_the_base("sign-in"), sign_in_page, methods=["GET"]),
        Route(below_the_base("sign-in"), sign_in, methods=["POST"]),
        Route(below_the_base("code"), code_page, methods=["GET"]),
        Route(below_the_base("code"), code_typed, methods=["POST"]),
        Route(below_the_base("code/{code}"), code_shown, methods=["GET"]),
        Route(below_the_base("code/{code}"), code_used, methods=["POST"]),
        Route(below_the_base("sign-out"), sign_out_page, methods=["GET"]),
        Route(below_the_base("sign-out"), sign_out, methods=["POST"]),
        Route(below_the_base("sign-in.css"), style, methods=["GET"]),
    ]


def local(to: str | None) -> str:
    """Return where to go on to after signing in: an address of this very server, else the front page.

    OWASP Unvalidated Redirects and Forwards Cheat Sheet: nothing that a browser could take for another host.
    """
    base = below_the_base("")
    text = to or ""
    elsewhere = text.startswith("//") or "\\" in text or "://" in text.partition("?")[0]
    if elsewhere or not text.startswith(base) or text.startswith(below_the_base("sign-")) or not text.isprintable():
        return base
    return text


async def sign_in_page(request: Request) -> Response:
    if not sign_in_needed():
        return RedirectResponse(below_the_base(""), 303)
    return await run_in_threadpool(_sign_in_page, local(request.query_params.get("to")))


async def sign_in(request: Request) -> Response:
    typed = await _form(request)
    name, passphrase, to = (str(typed.get(name, "")) for name in ("name", "passphrase", "to"))
    return await run_in_threadpool(
        _entered,
        request,
        lambda studio: studio.access.sign_in(
            name, passphrase, _device(request), _address(request), secret_in(request.scope)
        ),
        local(to),
        lambda said, status: _sign_in_page(local(to), name, said, status),
    )


async def code_page(_: Request) -> Response:
    return await run_in_threadpool(_code_page)


async def code_typed(request: Request) -> Response:
    """Lead from a code that was typed to its own page; there it is looked at."""
    code = plain(str((await _form(request)).get("code", "")))[:20]
    return RedirectResponse(below_the_base(f"code/{quote(code, safe='')}" if code else "code"), 303)


async def code_shown(request: Request) -> Response:
    """Say whom a code would sign in. Looking does not use it up: what only previews an address does no harm."""
    return await run_in_threadpool(_code_shown, request, str(request.path_params["code"]))


async def code_used(request: Request) -> Response:
    typed = await _form(request)
    code = str(request.path_params["code"])
    name, passphrase, again = (str(typed.get(name, "")) for name in ("name", "passphrase", "again"))

    def use(studio: Studio) -> str:
        if passphrase != again:
            raise StudioError("Type the same passphrase twice: the two differ.")
        shown = secret_in(request.scope)
        return studio.access.sign_in_by_code(code, _device(request), _address(request), name, passphrase, shown)

    return await run_in_threadpool(
        _entered, request, use, below_the_base(""), lambda said, status: _code_shown(request, code, name, said, status)
    )


async def sign_out_page(_: Request) -> Response:
    return await run_in_threadpool(
        lambda: page("Sign out on this device?", form("sign-out", "Sign out", "") + link("", "Stay"), _studio().title)
    )


async def sign_out(request: Request) -> Response:
    return await run_in_threadpool(_out, request)


def _out(request: Request) -> Response:
    from matcher.hands import at_work

    secret = secret_in(request.scope)
    found = looked_up(secret) if secret else None
    if found is not None:
        with at_work(found.hand):
            _studio().access.devices.sign_out(found.device.uid)
        forget()
    answer = RedirectResponse(below_the_base("sign-in"), 303)
    take(answer, request.scope)
    # Pictures that the browser has kept go; what waits to be sent from this phone stays.
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


def _entered(
    request: Request, enter: Callable[[Studio], str], to: str, again: Callable[[str, int], Response]
) -> Response:
    """Sign the device in and go on, or show the page again with what stood in the way."""
    try:
        secret = enter(_studio())
    except TooOften as error:
        answer = again(str(error), 429)
        answer.headers["Retry-After"] = str(error.seconds)
        return answer
    except MatcherError as error:
        return again(str(error), 403)
    gone_on = RedirectResponse(to, 303, {"Cache-Control": "no-store"})
    give(gone_on, request.scope, secret)
    return gone_on


def _sign_in_page(to: str, name: str = "", said: str = "", status: int = 200) -> Response:
    studio = _studio()
    if not studio.access.people.people():
        body = (
            "<p>Nobody belongs to this studio yet. Its first owner comes in by the code that was printed where the "
            "page was started.</p>" + link("code", "I have the code")
        )
        return page("Sign in", body, studio.title, said, status)
    fields = field("Name", "name", value=name, fills="username")
    fields += field("Passphrase", "passphrase", "password", fills="current-password")
    ways = link("code", "I have a code")
    if openid_is_set_up():
        ways += link(openid_address(), "Sign in with your foundry's own account")
    trust = _TO_TRUST.format(certificate=below_the_base("certificate.crt"))
    return page("Sign in", form("sign-in", "Sign in", fields, {"to": to}) + ways + trust, studio.title, said, status)


def _code_page(said: str = "", status: int = 200) -> Response:
    fields = field("Code", "code", hint="Eight letters and numbers, as they stand on the other screen")
    body = form("code", "Go on", fields) + link("sign-in", "Sign in with a passphrase instead")
    return page("Sign in with a code", body, _studio().title, said, status)


def _code_shown(request: Request, code: str, name: str = "", said: str = "", status: int = 200) -> Response:
    studio = _studio()
    try:
        meant = studio.access.meant_by(code, _address(request), secret_in(request.scope))
    except TooOften as error:
        return _code_page(said or str(error), 429)
    except MatcherError as error:
        return _code_page(said or str(error), 404 if status == 200 else status)
    fields = ""
    if meant.hand is None:
        title, about = "You are this studio's first owner", "You say who else belongs here, and what each may do."
        fields += field("Your name", "name", value=name, fills="username", hint="As it is to stand in the log")
    else:
        title = f"Sign this device in as {meant.hand.name}?"
        about = f"{meant.hand.name} is {meant.hand.role.with_article}, who {ABOUT[meant.hand.role]}."
    if meant.chooses:
        hint = f"{SHORTEST} signs at least: four words in a row, for instance"
        fields += field("Choose a passphrase", "passphrase", "password", fills="new-password", hint=hint)
        fields += field("The same once more", "again", "password", fills="new-password")
    body = f"<p>{escaped(about)}</p>" + form(f"code/{quote(code, safe='')}", "Sign in", fields)
    return page(title, body, studio.title, said, status)


async def _form(request: Request) -> FormData:
    length = request.headers.get("content-length", "")
    if not length.isdigit() or int(length) > MOST_BYTES:
        from starlette.datastructures import FormData

        return FormData()
    return await request.form(max_files=0, max_fields=10, max_part_size=MOST_BYTES)


def _studio() -> Studio:
    from ui.state.open_studio import the_studio

    return the_studio()


def _address(request: Request) -> str:
    return request.client.host if request.client else "this machine"


def _device(request: Request) -> str:
    return device_name(request.headers.get("user-agent", ""))
