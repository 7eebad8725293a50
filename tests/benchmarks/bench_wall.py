"""What the wall of plates costs: the server's time and bytes for a run of the log page, and a scroll through it all.

Run: python -m tests.benchmarks.bench_wall --plates 5000 [--scroll]

The plates are invented and have no photographs: pictures are fetched by address, one by one, and `bench_pictures`
measures those. The run is Streamlit's own, without a browser; ``--scroll`` goes down the whole wall in Chromium, as
fast as a wheel turns, and says how long one waits at each end of what is there and how steadily it moves.
"""

from __future__ import annotations

import argparse
import logging
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe
from matcher.studio import Studio
from matcher.trials.trial import Trial
from tests.benchmarks.bench_page import wait_for
from tests.browser import CHROMIUM_FLAGS
from tests.postgres_server import free_port

APP = Path(__file__).parents[2] / "ui" / "app.py"
FRAMES = """
window.frames = [];
let last = performance.now();
const frame = (now) => { window.frames.push(now - last); last = now; requestAnimationFrame(frame); };
requestAnimationFrame(frame);
"""
HOW_FAR = """() => {
  const scrolled = document.querySelector("[data-testid=stMain]");
  const left = scrolled.scrollHeight - scrolled.scrollTop - scrolled.clientHeight;
  return [document.querySelectorAll(".pm-wall:not(.strip) > a").length, left < 5];
}"""
"""How many plates are there, and whether one has come to their end."""


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--plates", type=int, default=5000)
    options.add_argument("--scroll", action="store_true", help="in Chromium, after the rest")
    asked = options.parse_args()
    logging.disable(logging.WARNING)
    with tempfile.TemporaryDirectory() as folder:
        with Studio.open(folder) as studio:
            studio.record_all(invented_plates(asked.plates))
        os.environ["MATCHER_STUDIO"] = folder
        measure()
        if asked.scroll:
            scroll(folder, asked.plates)


def invented_plates(count: int) -> list[Trial]:
    """Return plates of a few recipes, their colours spread over those of bronze."""
    rng = np.random.default_rng(7)
    labs = np.clip(rng.normal((38, 10, 18), (14, 9, 12), (count, 3)), (8, -35, -20), (90, 45, 55))
    chemicals = ("ferric nitrate", "cupric nitrate", "bismuth nitrate")
    return [
        Trial(
            Recipe("silicon bronze", None, (Coat(chemicals[k % 3], 0.5, 1 + k % 12, 105.0),)),
            Reading(lab=lab),
            made_by=("A", "B")[k % 2],
        )
        for k, lab in enumerate(labs)
    ]


def measure() -> None:
    from streamlit.testing.v1 import AppTest

    app = AppTest.from_file(str(APP), default_timeout=300).run()

    def timed(what: str, run: Callable[[], object]) -> None:
        start = time.perf_counter()
        run()
        seconds = time.perf_counter() - start
        walls = [body for body in (str(e.proto.body) for e in app.get("html")) if 'class="pm-wall' in body]
        size = sum(len(body.encode()) for body in walls if "<style>" not in body)
        print(f"{what}: {seconds * 1000:.0f} ms, {size / 1000:.0f} kB of wall")

    timed("first, the log being read", lambda: app.switch_page("screens/log.py").run())
    timed("again", app.run)
    timed("by words", lambda: app.text_input(key="log.words").set_value("cupric").run())
    timed("by words and day", lambda: app.selectbox(key="log.order").set_value("newest").run())
    timed("all, by day", lambda: app.text_input(key="log.words").set_value("").run())
    for _ in range(3):
        timed("more, at its end", lambda: app.button(key="log.more").click().run())


def scroll(folder: str, plates: int) -> None:
    """Turn the wheel until the last plate is there; print the waits at an end and the times between two frames."""
    from playwright.sync_api import sync_playwright

    port = free_port()
    command = [sys.executable, "-m", "matcher", "app", "--studio", folder, "--port", str(port)]
    server = subprocess.Popen(command, cwd=APP.parents[1], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=list(CHROMIUM_FLAGS))
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            wait_for(f"http://127.0.0.1:{port}/_stcore/health", time.perf_counter())
            page.goto(f"http://127.0.0.1:{port}/log")
            bricks = page.locator(".pm-wall:not(.strip) > a")
            bricks.first.wait_for(timeout=60_000)
            page.mouse.move(640, 600)
            page.evaluate(FRAMES)
            waits, there, at_the_end = [], bricks.count(), 0.0
            began = time.perf_counter()
            while there < plates:
                before = there
                while there == before:
                    turned = time.perf_counter()
                    page.mouse.wheel(0, 600)
                    page.wait_for_timeout(16)
                    there, ended = page.evaluate(HOW_FAR)
                    at_the_end += (time.perf_counter() - turned) * ended
                waits.append(at_the_end)
                at_the_end = 0.0
            frames = np.sort(page.evaluate("window.frames"))
            print(f"scrolled to {there} plates in {time.perf_counter() - began:.0f} s, {len(waits)} times more came")
            print(f"  waiting at an end for more, s: median {np.median(waits):.2f}, at most {max(waits):.2f}")
            print(
                f"  between two frames, ms: median {np.median(frames):.0f}, 95 % {frames[int(0.95 * len(frames))]:.0f}"
            )
            browser.close()
    finally:
        server.terminate()
        server.wait()


if __name__ == "__main__":
    main()
