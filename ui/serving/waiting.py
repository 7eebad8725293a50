"""Taps and photographs that a phone keeps until the studio has them: the browser's side is ``waiting.js``.

A route of ours takes each in and answers once it is kept; the page is run again after that, and told what came of it.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from matcher.errors import MatcherError, StudioError, UnavailableError
from matcher.hands import Work, need, whose
from ui.heard import heard
from ui.state.addresses import below_the_base

if TYPE_CHECKING:
    from starlette.requests import Request

KEY, HEARD = "waiting_sent", "waiting.heard"
MOST_BYTES_OF_A_TAP = 4096
_TAPS, _PHOTOGRAPHS = "taken-in/taps", "taken-in/photographs"


def waiting_routes() -> list[Route]:
    """Return the routes for the server."""
    return [
        Route(below_the_base(_TAPS), take_in_tap, methods=["POST"]),
        Route(below_the_base(_PHOTOGRAPHS), take_in_photograph, methods=["POST"]),
    ]


async def take_in_tap(request: Request) -> Response:
    """Take in a tap, and answer once it is kept, or with the sentence that says why not."""
    body = await _body(request, MOST_BYTES_OF_A_TAP)
    return await run_in_threadpool(_answered, lambda: _tapped(body))


async def take_in_photograph(request: Request) -> Response:
    """Take in a photograph, and answer with its SHA-256 once it is kept. One sent twice is kept once.

    Nothing is read of one by who may not keep it.
    """
    from matcher.photo.formats import MAX_BYTES

    try:
        need(Work.NOTE)
    except StudioError as error:
        return _refused(error, 422)
    body = await _body(request, min(MAX_BYTES, int(st.get_option("server.maxUploadSize")) * 1024 * 1024))
    name = str(request.query_params.get("name", ""))
    return await run_in_threadpool(_answered, lambda: _kept(body, name))


def _tapped(body: bytes | None) -> dict[str, Any]:
    import json

    from matcher.bench.taps import Tap
    from ui.state.open_studio import the_studio

    try:
        sent = json.loads(body or b"")
    except (ValueError, RecursionError) as error:
        raise StudioError("Reload the page and tap again: what was sent is no tap.") from error
    the_studio().shelf.tap(Tap.from_dict(sent if isinstance(sent, dict) else {}))
    return {"kept": True}


def _kept(body: bytes | None, name: str) -> dict[str, Any]:
    from matcher.photo.photo import open_photo
    from ui.state.open_studio import the_studio

    if body is None:
        raise StudioError(f"{name or 'The photograph'} is too large: take it with fewer pixels.")
    open_photo(body, name=name)  # raises for what is none, before it is kept
    return {"kept": True, "sha256": the_studio().keep_photo(body, name)}


def _answered(take_in: Callable[[], dict[str, Any]]) -> Response:
    try:
        return JSONResponse(take_in(), headers={"Cache-Control": "no-store"})
    except UnavailableError as error:
        return _refused(error, 503)
    except MatcherError as error:
        return _refused(error, 422)


def _refused(error: MatcherError, status: int) -> Response:
    return JSONResponse({"kept": False, "said": str(error)}, status, headers={"Cache-Control": "no-store"})


async def _body(request: Request, most: int) -> bytes | None:
    """Return what was sent, None when it is more than ``most`` bytes; then it is not read to its end."""
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > most:
            return None
        parts.append(part)
    return b"".join(parts)


def take_in_what_waited(tell_of: Callable[[dict[str, Any]], None]) -> None:
    """Put what keeps taps and photographs into the page, once a run. tell_of: hears of each that was sent."""

    def came() -> None:
        batch = heard(KEY, "sent") or {}
        if batch.get("uid") in (None, st.session_state.get(HEARD)):
            return
        st.session_state[HEARD] = batch["uid"]
        for one in batch.get("sent") or []:
            tell_of(dict(one))

    hand = whose()
    data = {
        "taps": below_the_base(_TAPS),
        "photographs": below_the_base(_PHOTOGRAPHS),
        "sign_in": below_the_base("sign-in"),
        "whose": "" if hand is None else hand.uid,
        "heard": st.session_state.get(HEARD, ""),
    }
    with st.container(key="waiting"):
        _component()(key=KEY, data=data, on_sent_change=came)


@cache
def _component() -> Any:
    js = Path(__file__).with_name("waiting.js").read_text(encoding="utf-8")
    return st.components.v2.component("patina_matcher.waiting", js=js)
