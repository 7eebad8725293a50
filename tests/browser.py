"""A served studio and Debian's Chromium, driven by Playwright: fixtures for the tests of the page.

``conftest.py`` loads them. Screenshots go to the folder that MATCHER_SCREENSHOTS names; without it none are taken.
"""

from __future__ import annotations

import os
import re
import shutil
import socket
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess

    from matcher.studio import Studio

WIDE, PHONE = (1280, 900), (390, 844)
CHROMIUM_FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
BROWSERS = ("chromium-headless-shell", "chromium")  # the first is the same engine without windows: a quarter cheaper
PATIENCE_MS = 60_000  # the machines that run this may be busy with other work


def page_file(name: str) -> str:
    """Return where a page's file lies, as Streamlit's tests ask for it: "bench" is "screens/bench.py"."""
    from ui.state.places import ALL

    return next(place.file for place in ALL if Path(place.file).stem == name)


LISTENING = """
(() => {
  const NEW_SESSION = 4 * 8 + 2, SCRIPT_FINISHED = 6 * 8, EARLY_FOR_RERUN = 2;
  const now = () => performance.now();
  const heard = window.heard = {
    sent: 0, loading: 0, sentAt: 0, answeredAt: 0, changedAt: now(), runsAgain: false,
  };
  // Of one protobuf message, Streamlit's ForwardMsg: true where a run has ended for another one, false where one began.
  const runsAgain = (bytes) => {
    let at = 0;
    const number = () => {
      for (let value = 0, scale = 1; ; scale *= 128) {
        const byte = bytes[at++];
        value += (byte % 128) * scale;
        if (byte < 128) return value;
      }
    };
    while (at < bytes.length) {
      const tag = number(), value = number();
      if (tag === NEW_SESSION) return false;
      if (tag === SCRIPT_FINISHED) return value === EARLY_FOR_RERUN;
      if (tag % 8 === 2) at += value;
    }
  };
  const Socket = window.WebSocket;
  window.WebSocket = class extends Socket {
    constructor(...how) {
      super(...how);
      this.addEventListener("message", ({data}) => {
        heard.answeredAt = now();
        heard.runsAgain = runsAgain(new Uint8Array(data)) ?? heard.runsAgain;
      });
    }
    send(data) {
      heard.sent += 1;
      heard.sentAt = now();
      super.send(data);
    }
  };
  const send = XMLHttpRequest.prototype.send;
  XMLHttpRequest.prototype.send = function (...body) {
    heard.loading += 1;
    this.addEventListener("loadend", () => { heard.loading -= 1; heard.changedAt = now(); });
    send.apply(this, body);
  };
  // What the page keeps in the browser's own database before it is sent, or after it was answered.
  const start = IDBDatabase.prototype.transaction;
  IDBDatabase.prototype.transaction = function (...asked) {
    const change = start.apply(this, asked);
    heard.loading += 1;
    const over = () => { heard.loading -= 1; heard.changedAt = now(); };
    for (const end of ["complete", "abort"]) change.addEventListener(end, over);
    return change;
  };
  const fetched = window.fetch;
  window.fetch = function (...asked) {
    if (asked[1]?.method !== "POST") return fetched.apply(this, asked);
    heard.loading += 1;
    return fetched.apply(this, asked).finally(() => { heard.loading -= 1; heard.changedAt = now(); });
  };
  new MutationObserver(() => { heard.changedAt = now(); })
    .observe(document, {childList: true, subtree: true, attributes: true, characterData: true});
})();
"""
SETTLED = """
([answered, unanswered]) => {
  const {loading, sentAt, answeredAt, changedAt, runsAgain} = window.heard;
  const state = document.querySelector("[data-testid=stApp]")?.dataset.testScriptState;
  const quiet = performance.now() - Math.max(sentAt, answeredAt, changedAt);
  // A part whose code is still being loaded has a grey bar in its place, however long that takes.
  const inPart = document.querySelector("[data-testid=stSkeleton]") !== null;
  const over = state === "notRunning" && !runsAgain && loading === 0 && !inPart;
  return over && quiet >= (answeredAt >= sentAt ? answered : unanswered);
}
"""
QUIET_MS = 250  # a part that was just drawn may tell of itself
UNANSWERED_MS = 20_000  # a busy server's answer takes its time; a message that is never answered costs this once
POLL_MS = 30


@dataclass
class Visitor:
    """A person at the page: everything that they press, choose or draw counts as one interaction."""

    page: Any
    address: str
    shots: Path | None
    touch: bool
    interactions: int = 0
    foreign: list[str] = field(default_factory=list)
    console: list[str] = field(default_factory=list)
    ask_server: Callable[[], str] = field(default=lambda: "not asked")

    def open(self, place: str = "") -> None:
        """Come to a page."""
        from playwright.sync_api import Error

        try:
            self.page.goto(f"{self.address}/{place}")
            self.page.locator("h1").first.wait_for()
        except Error as error:
            raise AssertionError(f"/{place} did not come.\n{self._what_is_there()}") from error
        self.settle()

    def download(self, name: str | re.Pattern[str]) -> Path:
        """Press what downloads a file, and return the file once it is there."""
        from playwright.sync_api import Error

        try:
            with self.page.expect_download() as waiting:
                self.press(name)
            path: Path = waiting.value.path()
        except Error as error:
            raise AssertionError(f"{name!r} brought no file.\n{self._what_is_there()}") from error
        self.settle()
        return path

    def _what_is_there(self) -> str:
        """Return what the page shows, what the browser said, and where the server's threads stand."""
        from playwright.sync_api import Error

        try:
            shown = self.page.evaluate("document.body.innerText")
        except Error as error:
            shown = f"no page ({error})"
        return "\n".join([f"Shown: {shown!r}", "In the browser:", *self.console, "At the server:", self.ask_server()])

    def press(self, name: str | re.Pattern[str], role: str = "button") -> None:
        self.interactions += 1
        self.rest()  # pressed in the midst of a run, what is left of that one would pass for the answer
        self.page.get_by_role(role, name=name).first.click()
        self.settle()

    def upload(self, path: Path | dict[str, Any]) -> None:
        self.interactions += 1
        self.page.locator("[data-testid=stFileUploader] input[type=file]").first.set_input_files(path)
        self.settle()

    def type_number(self, label: str, value: str) -> None:
        self.interactions += 1
        box = self.page.get_by_role("spinbutton", name=label, exact=True)
        box.fill(value)
        box.press("Tab")
        self.settle()

    def settle(self) -> None:
        """Wait until the page is at rest: no run, nothing being loaded, the last message answered, no change since.

        What was just pressed may reach the server a moment later, so the rest is counted from now on.
        """
        self.page.evaluate("window.heard.changedAt = performance.now()")
        self.rest()

    def rest(self) -> None:
        """Wait until the page is at rest; no time at all where it has been so for a while."""
        self.page.wait_for_function(SETTLED, arg=[QUIET_MS, UNANSWERED_MS], polling=POLL_MS)

    def told(self, act: Callable[[], Any], at_most_ms: int) -> None:
        """Act, wait until the page has told the server, which it may do after a pause or not at all, and settle."""
        sent, began = self.page.evaluate("[window.heard.sent, performance.now()]")
        act()
        told = "([sent, until]) => window.heard.sent > sent || performance.now() > until"
        self.page.wait_for_function(told, arg=[sent, began + at_most_ms], polling=POLL_MS)
        self.settle()

    def sees(self, text: str | re.Pattern[str]) -> None:
        self.page.get_by_text(text).first.wait_for()

    def bench(self) -> Bench:
        from playwright.sync_api import expect

        self.settle()  # until then the picture may be put in anew, and what was found is gone
        stage = self.page.locator(".stage")
        expect(stage).to_have_count(1, timeout=PATIENCE_MS)
        stage.locator("img.picture").wait_for()
        stage.scroll_into_view_if_needed()
        self.page.evaluate("new Promise(drawn => requestAnimationFrame(() => requestAnimationFrame(drawn)))")
        return Bench(self, stage)

    def shot(self, name: str) -> None:
        """Keep a picture of the whole page, where a folder for it is named."""
        if self.shots is None:
            return
        before = self.page.viewport_size
        width = before["width"]
        height = self.page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
        self.page.set_viewport_size({"width": width, "height": max(int(height), before["height"])})
        self.page.wait_for_timeout(300)
        self.page.screenshot(path=self.shots / f"{name}-{width}.png")
        self.page.set_viewport_size(before)
        self.page.wait_for_timeout(300)


@dataclass
class Bench:
    """The picture that marks are drawn on, in pixels of the full picture."""

    visitor: Visitor
    stage: Any
    size: tuple[int, int] = (1600, 1200)  # of the demo's large pictures

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        steps = 8
        path = [
            (start[0] + (end[0] - start[0]) * k / steps, start[1] + (end[1] - start[1]) * k / steps)
            for k in range(steps + 1)
        ]
        self.stroke(path)

    def stroke(self, path: list[tuple[float, float]]) -> None:
        self.visitor.interactions += 1
        points = [self._on_screen(point) for point in path]
        self.visitor.told(lambda: self._draw(points), at_most_ms=600)  # a corner of four tells nothing yet

    def _draw(self, points: list[tuple[float, float]]) -> None:
        if self.visitor.touch:
            self._by_finger(points)
            return
        mouse = self.visitor.page.mouse
        mouse.move(*points[0])
        mouse.down()
        for point in points[1:]:
            mouse.move(*point)
        mouse.up()

    def tap(self, point: tuple[float, float]) -> None:
        self.stroke([point, point])

    def _on_screen(self, point: tuple[float, float]) -> tuple[float, float]:
        box = self.stage.bounding_box()
        return (
            box["x"] + box["width"] * point[0] / self.size[0],
            box["y"] + box["height"] * point[1] / self.size[1],
        )

    def _by_finger(self, points: list[tuple[float, float]]) -> None:
        session = self.visitor.page.context.new_cdp_session(self.visitor.page)
        for kind, (x, y) in [("touchStart", points[0]), *(("touchMove", point) for point in points[1:])]:
            session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
        session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        session.detach()


@dataclass
class Served:
    """A studio and the address of its page."""

    folder: Path
    address: str
    process: BaseProcess
    said: Path

    def where_it_stands(self) -> str:
        """Return what the server printed, with where each of its threads stands just now."""
        from tests.forked import SAY_WHERE

        if self.process.pid is not None and self.process.is_alive():
            os.kill(self.process.pid, SAY_WHERE)
            time.sleep(1)
        return self.said.read_text(errors="replace")

    def studio(self) -> Studio:
        from matcher.studio import Studio

        return Studio.open(self.folder)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Chromium; without it the test is skipped, but not in CI."""
    path = next((found for found in map(shutil.which, BROWSERS) if found), None)
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        path = None
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("CI must test the page: Playwright or Chromium is missing.")
        pytest.skip("Playwright and Debian's Chromium drive the page; one of them is missing.")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(CHROMIUM_FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Callable[[Path], Served]]:
    """Serve a studio folder as the command line does, until the test is over."""
    with _serving(tmp_path) as start:
        yield start


@contextmanager
def _serving(scratch: Path) -> Iterator[Callable[[Path], Served]]:
    from tests.forked import start_serving  # only now: it imports the whole tool

    running: list[BaseProcess] = []
    ports: list[int] = []

    def start(folder: Path) -> Served:
        ports.append(_take_port())
        port = ports[-1]
        said = scratch / f"served-{port}.txt"
        running.append(start_serving(folder, port, said))
        address = f"http://127.0.0.1:{port}"
        _wait_for(address, running[-1], said)
        return Served(folder, address, running[-1], said)

    try:
        yield start
    finally:
        for process in running:
            process.terminate()
        for process in running:
            process.join(timeout=30)
            process.kill()  # or the next that gets its port would be taken for it
            process.join()
        _free_ports.extend(reversed(ports))


@pytest.fixture(scope="session")
def master_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo studio's folder, made once and only ever copied."""
    from matcher.demo import make_demo_studio

    folder = tmp_path_factory.mktemp("master") / "demo"
    make_demo_studio(folder).close()
    return folder


@pytest.fixture
def demo(serve: Callable[[Path], Served], master_demo: Path, tmp_path: Path) -> Served:
    """A demo studio of the test's own, served."""
    return serve(Path(shutil.copytree(master_demo, tmp_path / "demo")))


@pytest.fixture(scope="session")
def read_demo(master_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The demo studio, served once for all tests that write nothing; it is checked that nothing was written."""
    folder = Path(shutil.copytree(master_demo, tmp_path_factory.mktemp("read") / "demo"))
    with _serving(folder.parent) as start:
        yield start(folder)
    assert _contents(folder) == _contents(master_demo), "a test that shares the demo studio wrote to it"


def _contents(folder: Path) -> dict[str, list[Any]]:
    """Return every row of a studio by table."""
    import sqlite3

    from matcher.storage.database import DATABASE_NAME

    with closing(sqlite3.connect(folder / DATABASE_NAME)) as log:
        tables = [name for (name,) in log.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {name: sorted(log.execute(f'SELECT * FROM "{name}"').fetchall(), key=repr) for name in tables}


@pytest.fixture(scope="session")
def shots() -> Path | None:
    folder = os.environ.get("MATCHER_SCREENSHOTS")
    if not folder:
        return None
    path = Path(folder)
    path.mkdir(parents=True, exist_ok=True)
    return path


class Visitors:
    """A desk and a phone whose browsers keep the page's own scripts from test to test, and nothing else.

    To load and compile them anew takes as long as half of a test.
    """

    def __init__(self, chromium: Any) -> None:
        self._chromium = chromium
        self._contexts: dict[bool, Any] = {}

    def context(self, phone: bool) -> Any:
        if phone not in self._contexts:
            width, height = PHONE if phone else WIDE
            hand = {"has_touch": True, "is_mobile": True, "device_scale_factor": 2} if phone else {}
            self._contexts[phone] = self._chromium.new_context(
                viewport={"width": width, "height": height}, accept_downloads=True, reduced_motion="reduce", **hand
            )
            self._contexts[phone].add_init_script(LISTENING)
            self._contexts[phone].set_default_timeout(PATIENCE_MS)
        return self._contexts[phone]

    def forget(self, page: Any) -> None:
        """Close a page, and forget all that it kept in its browser."""
        session = page.context.new_cdp_session(page)
        origin = page.evaluate("window.origin")
        session.send("Storage.clearDataForOrigin", {"origin": origin, "storageTypes": "local_storage,indexeddb"})
        page.close()
        page.context.clear_cookies()

    def close(self) -> None:
        for context in self._contexts.values():
            context.close()


@pytest.fixture(scope="session")
def visitors(chromium: Any) -> Iterator[Visitors]:
    both = Visitors(chromium)
    yield both
    both.close()


@pytest.fixture
def visit(visitors: Visitors, shots: Path | None) -> Iterator[Callable[..., Visitor]]:
    """Come to a served studio: ``visit(demo)`` at a desk, ``visit(demo, phone=True)`` with a phone."""
    come_to: list[Any] = []

    def come(served: Served, phone: bool = False) -> Visitor:
        page = visitors.context(phone).new_page()
        come_to.append(page)
        visitor = Visitor(page, served.address, shots, touch=phone, ask_server=served.where_it_stands)
        page.on("console", lambda message: visitor.console.append(message.text))
        page.on("requestfailed", lambda request: visitor.console.append(f"{request.url}: {request.failure}"))
        page.on("request", lambda request: _note_foreign(visitor, request.url))
        page.on("popup", lambda other: visitor.foreign.append(f"another window: {other.url}"))
        return visitor

    yield come
    for page in come_to:
        visitors.forget(page)


def _note_foreign(visitor: Visitor, url: str) -> None:
    own = (visitor.address, visitor.address.replace("http", "ws", 1), "data:", "blob:")
    if not url.startswith(own):
        visitor.foreign.append(url)


_free_ports: list[int] = []


def _take_port() -> int:
    """Return a port that nobody serves on: one of this worker's own where there is one, as its pages are kept by it."""
    if _free_ports:
        return _free_ports.pop()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


def _wait_for(address: str, process: BaseProcess, said: Path) -> None:
    until = time.monotonic() + PATIENCE_MS / 1000
    while time.monotonic() < until:
        if not process.is_alive():
            break
        try:
            urllib.request.urlopen(f"{address}/_stcore/health", timeout=2).close()
            return
        except OSError:
            time.sleep(0.02)
    raise RuntimeError(f"The page is not served: {said.read_text(errors='replace')}")
