"""Three browsers count passes on a served page while they, the page's server and the database are killed.

Run: python -m tests.benchmarks.bench_killed_pages --runs 50 --seed 1

The page, the browsers and PostgreSQL are the real ones, each in processes of their own, killed with SIGKILL at random
moments while hands tap the large button. What a browser has said that it keeps must be counted once it is back, and
nothing may be counted twice: the studio's count is compared with the taps that each browser's own database took in.
Needs Debian's Chromium and PostgreSQL; nothing of it is on the network.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from matcher.bench.work import Piece
from matcher.recipe.recipe import Coat, Recipe
from matcher.studio import Studio
from tests.benchmarks.bench_three_benches import Server, running_server
from tests.browser import BROWSERS, CHROMIUM_FLAGS
from tests.postgres_server import free_port, fresh_database

NAMES = ("a", "b", "c")
RECIPE = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, passes=150, surface_temp_c=105.0),))
BUTTON = ".st-key-bench-pass button"
PATIENCE_S = 120.0
TELLS = """
const add = IDBObjectStore.prototype.add;
IDBObjectStore.prototype.add = function (one) {
  const asked = add.apply(this, arguments);
  this.transaction.addEventListener("complete", () => window.kept(one.uid));
  return asked;
};
document.addEventListener("click", (event) => event.target.closest?.("BUTTON") && window.straight());
""".replace("BUTTON", BUTTON)
VICTIMS = ("browser", "page's server", "database process", "database", "everything")


@dataclass
class Hand:
    """One browser and its piece. tapped: how often its button was reached for; kept: what it said that it
    keeps; straight: taps on a page that had not yet loaded what keeps them, which its server counts by itself where it
    is there; killed: whether it was in this run, so that it may have kept a tap that it had no time to tell of."""

    name: str
    profile: Path
    address: str
    piece: str = ""
    tapped: int = 0
    kept: set[str] = field(default_factory=set)
    straight: int = 0
    killed: bool = False
    context: Any = None
    page: Any = None

    def begin(self, playwright: Any) -> None:
        path = next(found for found in map(shutil.which, BROWSERS) if found)
        self.context = playwright.chromium.launch_persistent_context(
            str(self.profile), executable_path=path, args=list(CHROMIUM_FLAGS)
        )
        self.context.set_default_timeout(1000 * PATIENCE_S)
        self.context.expose_function("kept", lambda uid: self.kept.add(uid))
        self.context.expose_function("straight", self.went_straight)
        self.context.add_init_script(TELLS)
        self.page = self.context.new_page()
        if self.piece:
            self.open()

    def open(self) -> None:
        """Open the piece, and again while nothing answers, as a person does."""
        until = time.monotonic() + PATIENCE_S
        while True:
            try:
                self.page.goto(f"{self.address}/bench?piece={self.piece}", timeout=20_000)
                self.page.locator(BUTTON).wait_for(timeout=20_000)
                return
            except Exception:
                if time.monotonic() > until:
                    raise
                self.page.wait_for_timeout(300)

    def went_straight(self) -> None:
        self.straight += 1

    def tap(self) -> None:
        self.tapped += 1
        with suppress(Exception):  # a button that is not there just now is not pressed
            self.page.locator(BUTTON).click(timeout=400, no_wait_after=True, force=True)

    def kill(self) -> None:
        """End the browser as a phone's battery does."""
        self.killed = True
        subprocess.run(["pkill", "-9", "-f", str(self.profile)], check=False)
        with suppress(Exception):
            self.context.close()
        for left in ("SingletonLock", "SingletonSocket", "SingletonCookie"):
            (self.profile / left).unlink(missing_ok=True)

    def waits(self) -> bool:
        return bool(self.page.locator(".pm-waiting").is_visible())


class Page:
    """The served page, in a process of its own."""

    def __init__(self, url: str, folder: Path) -> None:
        self.port, self._url, self._folder = free_port(), url, folder
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        command = [sys.executable, "-m", "matcher", "app", "--studio", self._url, "--port", str(self.port)]
        with (self._folder / "page.log").open("ab") as log:
            self._process = subprocess.Popen(
                command, stdout=log, stderr=log, env={**os.environ, "BROWSER": "true", "DISPLAY": ""},
                start_new_session=True,
            )  # fmt: skip
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            with suppress(urllib.error.URLError, OSError):
                urllib.request.urlopen(self.address, timeout=5).close()
                return
            time.sleep(0.1)
        raise SystemExit(f"The page did not start: see {self._folder}/page.log.")

    def kill(self) -> None:
        if self._process is not None:
            with suppress(ProcessLookupError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()


@dataclass
class Found:
    runs: int = 0
    taps: int = 0
    kept: int = 0
    counted: int = 0
    straight: int = 0
    kills: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    @property
    def said(self) -> str:
        return f"{self.taps} taps, {self.kept} kept, {self.straight} went straight, {self.counted} counted"


def one_run(
    playwright: Any, server: Server, page: Page, url: str, hands: list[Hand], dice: np.random.Generator, found: Found
) -> None:
    """Tap, kill what the dice say once or twice, bring it back, wait until nothing waits, and look at the counts."""
    with Studio.open(url) as studio:
        for hand in hands:
            name = f"{hand.name}-{found.runs}"
            hand.piece, hand.tapped, hand.kept = studio.shelf.put(Piece(name, RECIPE, name=name)).uid, 0, set()
            hand.straight, hand.killed = 0, False
            hand.open()
    for _ in range(int(dice.integers(1, 3))):
        _taps(hands, dice, float(dice.uniform(0.3, 2.0)))
        victim = str(dice.choice(VICTIMS))
        found.kills[victim] += 1
        everything = victim == "everything"
        killed = hands if everything else [hands[int(dice.integers(len(hands)))]] if victim == "browser" else []
        if victim == "database process":
            server.kill_one_process(dice)
        if victim in ("database", "everything"):
            server.kill()
        if victim in ("page's server", "everything"):
            page.kill()
        _taps([hand for hand in hands if hand not in killed], dice, float(dice.uniform(0.2, 1.5)))
        for hand in killed:
            hand.kill()
        if victim in ("database", "everything"):
            server.start()
        if victim in ("page's server", "everything"):
            page.start()
        server.wait()
        for hand in killed:
            hand.begin(playwright)
        _taps(hands, dice, float(dice.uniform(0.2, 1.0)))
    _until_nothing_waits(hands)
    found.runs += 1
    found.taps += sum(hand.tapped for hand in hands)
    found.kept += sum(len(hand.kept) for hand in hands)
    with Studio.open(url) as studio:
        for hand in hands:
            piece = studio.shelf.piece(hand.piece)
            count = sum(piece.counts)
            found.counted += count
            found.straight += hand.straight
            most = hand.tapped if hand.killed else len(hand.kept) + hand.straight
            if not (hand.kept <= set(piece.heard) and len(hand.kept) <= count <= most):
                found.wrong.append(
                    f"{hand.name}: {len(hand.kept)} kept, {len(piece.heard)} heard, {hand.straight} went straight, "
                    f"{count} counted, {hand.tapped} tapped"
                )


def _taps(hands: list[Hand], dice: np.random.Generator, seconds: float) -> None:
    until = time.monotonic() + seconds
    while hands and time.monotonic() < until:
        hand = hands[int(dice.integers(len(hands)))]
        hand.tap()
        with suppress(Exception):
            hand.page.wait_for_timeout(float(dice.uniform(20, 200)))


def _until_nothing_waits(hands: list[Hand]) -> None:
    until = time.monotonic() + PATIENCE_S
    for hand in hands:
        hand.page.wait_for_timeout(600)  # the last tap is on its way into the browser's database
        while hand.waits():
            if time.monotonic() > until:
                raise SystemExit(f"{hand.name} still waits: {hand.page.locator('.pm-waiting').inner_text()}")
            hand.page.wait_for_timeout(200)


def main() -> None:
    """Print what the runs came to; the exit code is 1 when anything was lost or doubled."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--runs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    dice, found = np.random.default_rng(options.seed), Found()
    folder = Path(tempfile.mkdtemp(prefix="killed-pages-"))
    os.environ["MATCHER_PHOTOS"], os.environ["MATCHER_BACKUPS"] = str(folder / "photographs"), "no"
    with running_server() as server, fresh_database(server.url) as url, sync_playwright() as playwright:
        page = Page(url, folder)
        Studio.open(url).close()
        page.start()
        hands = [Hand(name, folder / name, page.address) for name in NAMES]
        try:
            for hand in hands:
                hand.begin(playwright)
            while found.runs < options.runs and not found.wrong:
                one_run(playwright, server, page, url, hands, dice, found)
                print(f"{found.runs}: {found.said}, kills {dict(found.kills)}", flush=True)
        finally:
            for hand in hands:
                hand.kill()
            page.kill()
    for line in found.wrong:
        print(line)
    if not found.wrong:
        shutil.rmtree(folder, ignore_errors=True)
    print(f"{found.runs} runs, {found.said}: {len(found.wrong)} lost or doubled")
    sys.exit(bool(found.wrong))


if __name__ == "__main__":
    main()
