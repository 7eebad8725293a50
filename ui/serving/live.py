"""What one bench logs appears at the others: the browser hears that the log has changed, and asks for the page anew.

By server-sent events (HTML Living Standard, 9.2) on a route of ours. A tab that nobody sees hears nothing, and takes up
no connection. Who has been signed out is led to the sign-in page by it.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator
from functools import cache
from typing import TYPE_CHECKING, Any

import streamlit as st
from starlette.concurrency import run_in_threadpool
from starlette.responses import StreamingResponse
from starlette.routing import Route

from matcher.errors import MatcherError
from ui.serving.cookies import secret_in
from ui.serving.how_served import sign_in_needed
from ui.serving.known import looked_up
from ui.state.addresses import below_the_base

if TYPE_CHECKING:
    from starlette.requests import Request

    from matcher.studio import Studio

KEY = "live_changes"
STILL_HERE_S = 4.0
"""How often a line is sent that says nothing, so that each side notices when the other has gone; and how soon who was
signed out hears nothing more."""
_WAIT_S = 5.0

_JS = """
const SILENT_MS = 11000; // the server says every four seconds that it is there
let known, tell, addresses, events, telling, heard_at;

export default function ({ data, setTriggerValue }) {
  tell = setTriggerValue;
  known = data.count;
  if (addresses) return;
  addresses = data;
  document.addEventListener("visibilitychange", () => (document.hidden ? leave() : listen()));
  window.addEventListener("pagehide", leave);
  setInterval(() => {
    if (document.hidden || Date.now() - heard_at < SILENT_MS) return;
    reached(false); // a connection that nobody has closed: out of the radio's reach
    listen();
  }, 2000);
  if (!document.hidden) listen();
}

// The veil of a lost connection is known by this everywhere on the page (waiting.js).
function reached(yes) {
  heard_at = yes ? Date.now() : heard_at;
  document.documentElement.toggleAttribute("data-pm-lost", !yes);
  document.dispatchEvent(new Event("pm-reach"));
}

function leave() {
  events?.close();
  events = undefined;
}

function listen() {
  leave();
  events = new EventSource(addresses.changes);
  heard_at = Date.now();
  events.onopen = () => reached(true);
  events.addEventListener("here", () => reached(true));
  events.onmessage = ({ data }) => {
    reached(true);
    heard(Number(data));
  };
  events.onerror = async () => {
    reached(false);
    if (events?.readyState !== EventSource.CLOSED) return; // it tries again by itself
    const answer = await fetch(addresses.changes + "?once").catch(() => undefined);
    if (answer?.status === 401) {
      const here = location.pathname + location.search;
      location.assign(addresses.sign_in + "?to=" + encodeURIComponent(here));
    } else setTimeout(() => document.hidden || listen(), 3000);
  };
}

// Not while the page is being worked out: that would break the run off, which may itself have made the change. And not
// at once after it: the page says how many changes it knows a moment after its run is over, and to run it again would
// take away what it has just said.
function heard(count, after_ms = 200, was_quiet = false) {
  clearTimeout(telling);
  telling = setTimeout(() => {
    if (count === known) return;
    const state = document.querySelector('[data-testid="stApp"]')?.dataset.testScriptState;
    if (state === "running" || state === "rerunRequested") return heard(count);
    if (!was_quiet) return heard(count, 700, true);
    tell("changed", count);
    heard(count, 3000, true); // the page's own connection may just be coming back: told again until it has run
  }, after_ms);
}
"""


def live_routes() -> list[Route]:
    """Return the routes for the server."""
    return [Route(below_the_base("changes"), changes, methods=["GET"])]


def hear_of_changes(studio: Studio) -> None:
    """Put what hears of changes into the page, once a run and at its end; it shows nothing."""
    named = {"changes": "changes", "sign_in": "sign-in"}
    addresses = {name: below_the_base(path) for name, path in named.items()}
    with st.container(key="live"):
        _component()(key=KEY, data={"count": studio.changes.count, **addresses}, on_changed_change=_nothing)


def _nothing() -> None:
    """The run that follows shows what has changed."""


@cache
def _component() -> Any:
    return st.components.v2.component("patina_matcher.live", js=_JS)


async def changes(request: Request) -> StreamingResponse:
    """Tell the number of changes as it grows, for as long as somebody listens."""
    heard = _told_here()
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    return StreamingResponse(_lines(heard, request), media_type="text/event-stream", headers=headers)


async def _lines(heard: _Told, request: Request) -> AsyncIterator[str]:
    secret, count = secret_in(request.scope), heard.count
    yield f"retry: 2000\ndata: {count}\n\n"
    while "once" not in request.query_params:
        grown = await heard.beyond(count, STILL_HERE_S)
        if sign_in_needed() and not await _is_in(secret):
            return
        yield f"data: {grown}\n\n" if grown != count else "event: here\ndata:\n\n"
        count = grown


async def _is_in(secret: str | None) -> bool:
    try:
        return secret is not None and await run_in_threadpool(looked_up, secret) is not None
    except MatcherError:  # the studio cannot be read: the page asks again, as after a lost connection
        return False


class _Told:
    """The number of changes as the event loop knows it; one thread waits for the studio."""

    def __init__(self, studio: Studio, loop: asyncio.AbstractEventLoop) -> None:
        self._changes = studio.changes
        self.loop = loop
        self.count = self._changes.count
        self._grown = asyncio.Event()
        threading.Thread(target=self._wait, name="changes of the log", daemon=True).start()

    async def beyond(self, count: int, timeout_s: float) -> int:
        """Return the number once it is another one than ``count``, or when the time is over."""
        if self.count == count:
            try:
                await asyncio.wait_for(self._grown.wait(), timeout_s)
            except TimeoutError:
                return self.count
        return self.count

    def _wait(self) -> None:
        while not self.loop.is_closed():
            count = self._changes.wait(self.count, _WAIT_S)
            if count != self.count and not self.loop.is_closed():
                self.loop.call_soon_threadsafe(self._tell, count)
                while self.count != count and not self.loop.is_closed():
                    threading.Event().wait(0.01)

    def _tell(self, count: int) -> None:
        self.count = count
        grown, self._grown = self._grown, asyncio.Event()
        grown.set()


_TOLD: list[_Told] = []


def _told_here() -> _Told:
    from ui.state.open_studio import the_studio

    loop = asyncio.get_running_loop()
    if not _TOLD or _TOLD[0].loop is not loop:
        _TOLD[:] = [_Told(the_studio(), loop)]
    return _TOLD[0]
