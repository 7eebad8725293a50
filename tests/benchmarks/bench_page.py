"""From the command to the first usable page: ``python -m matcher app --demo`` with Chromium waiting beside it.

Run: python -m tests.benchmarks.bench_page --times 5

Every time makes the demo studio anew. The page counts as usable when its first heading stands and its button can be
pressed.
"""

from __future__ import annotations

import argparse
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import Any

from tests.browser import CHROMIUM_FLAGS
from tests.forked import ROOT

PATIENCE_S = 60.0


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--times", type=int, default=3)
    times = options.parse_args().times
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=list(CHROMIUM_FLAGS))
        seconds = [time_to_first_page(browser) for _ in range(times)]
        browser.close()
    print("command to usable page, s:", ", ".join(f"{value:.2f}" for value in seconds))


def time_to_first_page(browser: Any) -> float:
    """Return the seconds from starting the command until the front page can be used."""
    with socket.socket() as free, tempfile.TemporaryDirectory() as folder:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        free.close()
        context = browser.new_context()
        page = context.new_page()
        command = [sys.executable, "-m", "matcher", "app", "--demo", "--studio", str(Path(folder) / "demo")]
        start = time.perf_counter()
        server = subprocess.Popen(
            [*command, "--port", str(port)], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        try:
            wait_for(f"http://127.0.0.1:{port}/_stcore/health", start)
            page.goto(f"http://127.0.0.1:{port}", wait_until="commit")
            page.locator("h1").first.wait_for()
            page.get_by_role("button", name=re.compile("^(See|Start|Go on)")).first.click(trial=True)
            return time.perf_counter() - start
        finally:
            context.close()
            server.terminate()
            server.wait()


def wait_for(address: str, start: float) -> None:
    """Wait until an address answers. start: of the waiting, ``time.perf_counter``."""
    while time.perf_counter() - start < PATIENCE_S:
        try:
            urllib.request.urlopen(address, timeout=1).close()
            return
        except OSError:
            time.sleep(0.02)
    raise TimeoutError("The page is not served.")


if __name__ == "__main__":
    main()
