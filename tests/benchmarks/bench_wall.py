"""What the wall of plates costs the server: time and bytes of a run of the log page, on a log of many plates.

Run: python -m tests.benchmarks.bench_wall --plates 5000

The plates are invented and have no photographs: pictures are fetched by address, one by one, and `bench_pictures`
measures those. The run is Streamlit's own, without a browser.
"""

from __future__ import annotations

import argparse
import logging
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe
from matcher.studio import Studio
from matcher.trials.trial import Trial

APP = Path(__file__).parents[2] / "ui" / "app.py"


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--plates", type=int, default=5000)
    plates = options.parse_args().plates
    logging.disable(logging.WARNING)
    with tempfile.TemporaryDirectory() as folder:
        with Studio.open(folder) as studio:
            studio.record_all(invented_plates(plates))
        os.environ["MATCHER_STUDIO"] = folder
        measure()


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


if __name__ == "__main__":
    main()
