"""What each page costs the server with a large log: the demo studio, 5,000 plates more and 20,000 photographs of them.

Run: python -m tests.benchmarks.bench_every_page --plates 5000 --photographs 20000

The plates and their photographs are invented; a photograph is small, since a page is only told of it and its pictures
come by address (`bench_pictures`). A run is Streamlit's own, without a browser: the first one of each page fits what it
needs, those after it are what a person waits for.
"""

from __future__ import annotations

import argparse
import io
import logging
import os
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image
from streamlit.testing.v1 import AppTest

from matcher.demo import make_demo_studio
from matcher.studio import Studio
from matcher.trials.trial import Trial
from tests.benchmarks.bench_wall import APP, invented_plates
from ui.state.places import ALL, LOG, Place

AGAIN = 5


def main() -> None:
    """Print a line for each page."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--plates", type=int, default=5000)
    options.add_argument("--photographs", type=int, default=20000)
    given = options.parse_args()
    logging.disable(logging.WARNING)
    with tempfile.TemporaryDirectory() as name:
        with make_demo_studio(Path(name) / "demo") as studio:
            a_plate = _fill(studio, given.plates, given.photographs)
        os.environ["MATCHER_STUDIO"] = str(Path(name) / "demo")
        for place in ALL:
            _measure(place)
        _measure(LOG, {"plate": str(a_plate)}, ", one plate of it")


def _fill(studio: Studio, plates: int, photographs: int) -> int:
    """Log plates with as many photographs each; return the number of the last."""
    each = max(1, photographs // plates)
    shown = ((20.0, 20.0), (140.0, 20.0), (140.0, 100.0), (20.0, 100.0))
    trials: list[Trial] = []
    for k, trial in enumerate(invented_plates(plates)):
        kept = [studio.keep_photo(_photograph(k, n), f"{k}-{n}.jpg") for n in range(each)]
        reading = replace(trial.reading, photo=kept[0], region=np.array(shown))
        trials.append(replace(trial, reading=reading, photos=tuple(kept)))
    return studio.record_all(trials)[-1].id or 0


def _photograph(plate: int, number: int) -> bytes:
    """Return a small picture that is like no other."""
    pixels = np.random.default_rng((plate, number)).integers(0, 255, (6, 8, 3), dtype=np.uint8)
    written = io.BytesIO()
    Image.fromarray(pixels).resize((160, 120)).save(written, "JPEG", quality=90)
    return written.getvalue()


def _measure(place: Place, query: dict[str, str] | None = None, what: str = "") -> None:
    app = AppTest.from_file(str(APP), default_timeout=600).run()
    for name, value in (query or {}).items():
        app.query_params[name] = value
    app.switch_page(place.file)
    first, *later = (_seconds(app) for _ in range(1 + AGAIN))
    wrong = " (an exception is shown)" if app.exception else ""
    print(
        f"{place.title}{what}: first {first:.2f} s, then {np.median(later):.3f} s, at most {max(later):.3f} s{wrong}",
        flush=True,
    )


def _seconds(app: AppTest) -> float:
    start = time.perf_counter()
    app.run()
    return time.perf_counter() - start


if __name__ == "__main__":
    main()
