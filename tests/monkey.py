"""Random hands on the page: they press, type, choose, draw, reload and come by odd addresses, from a seed.

Streamlit's own test client stands for the browser; what it sends is what a browser would. Marks that need a hand on
the picture are put into the forms, as the drawing would. In a studio of its own, as a user who may write nothing else.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[1]
APP = ROOT / "ui" / "app.py"
NOBODY = 65534
AS_NOBODY = (
    "setpriv", f"--reuid={NOBODY}", f"--regid={NOBODY}", "--clear-groups", "--inh-caps=+dac_read_search",
    "--ambient-caps=+dac_read_search",
)  # fmt: skip
TEXTS = (
    "", " ", "0", "-1", "1e400", "nan", "²", "9" * 400, "x" * 300, "a\0b", "none", "today", "2025-03-31", "2999-01-01",
    "0001-01-01", "ferric nitrate", "Ferric  Nitrate", "<b>x</b> **y** $z$ :red[q]", "é\u0301ß\u202e", "5YR 3/4", "Ann",
    "a\nb\nc", "105", "0.5", "Fe(NO3)3·9H2O", "{}", "';--",
)  # fmt: skip
NUMBERS = (0.0, 1.0, -1.0, 0.5, 3.0, 12.0, 55.0, 105.0, 250.0, 1e6, 1e-9, 1e15)
ADDRESSES = (
    "", "0", "1", "9", "104", "-1", "new", "1e9", "²", "x" * 200, "plate", "make", "mix", "used", "JQWQ2-53",
    "36,17,29", "none",
)  # fmt: skip
NAMES_IN_ADDRESSES = (
    "target", "plate", "commission", "sign", "part", "form", "piece", "area", "logged", "start", "open", "tag",
    "to-tag", "words", "order", "like", "view", "pick", "shade", "season", "year", "for", "aside",
)  # fmt: skip
FORMS = ("target", "plate", "compare", "camera", "repeats", "profiles", "first plates", "predicted")
NOT_TOLD_TO = "Something in this program failed"


@dataclass
class Fault:
    """What went wrong: the page, the steps that led there, and what was said of it."""

    place: str
    did: list[str]
    said: str


@dataclass
class Monkey:
    """Someone at the page of the studio that MATCHER_STUDIO names. did: what was done since the page was opened."""

    folder: Path
    rng: np.random.Generator
    app: Any = None
    place: Any = None
    did: list[str] = field(default_factory=list)
    logged: list[str] = field(default_factory=list)

    def open(self, place: Any, **address: str) -> None:
        """Come to a page with a new browser."""
        from streamlit.testing.v1 import AppTest

        self.place = place
        before, self.app = self.app, AppTest.from_file(str(APP), default_timeout=300)
        if before is None:
            self.app.run()  # only then are the pages known
        else:
            self.app._registered_pages = before._registered_pages
        self.app.switch_page(place.file)
        self.app.query_params.update(address)
        self.app.run()

    def steps(self, place: Any, count: int) -> list[Fault]:
        """Do ``count`` things on a page; return what went wrong."""
        faults = []
        self.did = ["opened"]
        with listening(self.logged):
            self.open(place)
            for number in range(count + 1):
                if said := self.trouble():
                    faults.append(Fault(place.title, self.did[-12:], said))
                    self.did = ["opened again"]
                    self.open(place)
                elif number < count:
                    self.step()
        return faults

    def step(self) -> None:
        """Do one thing."""
        chance = self.rng.random()
        if chance < 0.06:
            self.did.append("reloaded")
            self.open(self.place, **{name: str(value) for name, value in self.app.query_params.items()})
        elif chance < 0.12:
            name, value = self.pick(NAMES_IN_ADDRESSES), self.pick(ADDRESSES)
            self.did.append(f"came by {name}={value[:20]}")
            self.open(self.place, **{name: value})
        elif chance < 0.18:
            self.draw()
        else:
            self.use(self.pick(self.widgets()))

    def pick(self, among: Any) -> Any:
        return among[int(self.rng.integers(len(among)))]

    def widgets(self) -> list[Any]:
        kinds = (
            "button", "text_input", "text_area", "number_input", "selectbox", "radio", "multiselect", "button_group",
            "checkbox", "toggle", "select_slider", "file_uploader",
        )  # fmt: skip
        found = [one for kind in kinds for one in self.app.get(kind)]
        return [one for one in found if not getattr(one.proto, "disabled", False)]

    def use(self, widget: Any) -> None:
        """Do to a widget what a hand may do, as the browser would tell it."""
        from streamlit.proto.WidgetStates_pb2 import WidgetState

        told = WidgetState(id=widget.proto.id)
        what: Any = ""
        options = list(getattr(widget.proto, "options", ()))
        match widget.type:
            case "button":
                told.trigger_value = True
            case "text_input" | "text_area":
                most = widget.proto.max_chars or None
                what = told.string_value = self.pick(TEXTS)[:most]
            case "number_input":
                if self.rng.random() < 0.85:
                    what = told.double_value = self.number(widget.proto)
            case "selectbox" | "radio":
                what = told.string_value = self.pick(options)
            case "multiselect" | "button_group":
                names = [getattr(one, "content", one) for one in options]
                what = sorted({self.pick(names) for _ in range(1 if widget.type == "button_group" else 2)})
                told.string_array_value.data[:] = what
            case "checkbox" | "toggle":
                what = told.bool_value = bool(self.rng.random() < 0.5)
            case "file_uploader":
                what = self.upload(widget)
                return
            case _:
                return
        self.did.append(f"{widget.type} {getattr(widget, 'label', '')!r} {str(what)[:40]!r}")
        states = self.app._tree.get_widget_states()
        kept = [state for state in states.widgets if state.id != told.id]
        del states.widgets[:]
        states.widgets.extend([*kept, told])
        self.app._run(states)

    def number(self, proto: Any) -> float:
        """Return a number that the field lets through."""
        value = self.pick(NUMBERS)
        value = max(value, proto.min) if proto.has_min else value
        value = min(value, proto.max) if proto.has_max else value
        return float(round(value)) if proto.data_type == proto.INT else value

    def upload(self, widget: Any) -> str:
        from matcher.shipped import shipped

        demo = shipped("demo_images")
        picture = demo / self.pick(("client_reference.jpg", "next_plate.jpg", "plate_no_card.jpg", "two_plates.jpg"))
        name, content = self.pick(
            (
                (picture.name, picture.read_bytes()),
                ("cut.jpg", picture.read_bytes()[:5000]),
                ("list.csv", b"name,L,a,b\nsample,36,14,22\nother,90,0,0\n"),
                ("plates.csv", b"alloy,lab_l,lab_a,lab_b\nbronze,38,14,22\n"),
                ("odd.zip", b"PK\x05\x06" + bytes(18)),
                ("empty.jpg", b""),
                ("profile.json", b"[[[["),
            )
        )
        self.did.append(f"uploaded {name} as {getattr(widget, 'label', '')!r}")
        widget.set_value((name, content, "application/octet-stream"))
        self.app.run()
        return str(name)

    def draw(self) -> None:
        """Put a photograph and marks into a form, as if they had been drawn."""
        from matcher.shipped import shipped
        from matcher.studio import Studio

        form, file = self.pick(FORMS), shipped("demo_images") / self.pick(("client_reference.jpg", "two_plates.jpg"))
        corners = self.rng.uniform((-50, -50), (1700, 1300), (int(self.rng.integers(1, 6)), 2)).tolist()
        kind = self.pick(("outline", "box", "corners"))
        marks = [{"kind": kind, "points": corners}]
        name = self.pick(("finishes", "corners", "neutral", "paper", "second"))
        self.did.append(f"drew {kind} of {len(corners)} as {name} of {form}")
        with Studio.open(self.folder) as studio:
            kept = studio.draft(form) or {}
            photo = studio.keep_photo(file)
            studio.save_draft(form, {**kept, "photo": photo, "photo_name": file.name, name: marks})
        self.app.run()

    def trouble(self) -> str | None:
        """Return what went wrong in the last run: an exception shown, the sentence for what nobody foresaw, the log."""
        shown = [str(one.proto.message) for one in self.app.get("exception")]
        bodies = " ".join(str(one.proto.body) for one in self.app.get("html"))
        details = [str(one.value) for one in self.app.get("code")] if NOT_TOLD_TO in bodies else []
        said, self.logged[:] = [*shown, *details, *self.logged], []
        return "\n".join(said) or None


@contextmanager
def listening(heard: list[str]) -> Iterator[None]:
    """Hear what is logged as an error."""

    class Ear(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            heard.append(self.format(record))

    ear = Ear(logging.ERROR)
    logging.getLogger().addHandler(ear)
    try:
        yield
    finally:
        logging.getLogger().removeHandler(ear)


def let_loose(master: Path, seed: int, pages: Sequence[str], count: int, told: Callable[[str], None]) -> list[Fault]:
    """Do ``count`` random things on each page of a copy of a studio; return what went wrong.

    In a process of its own; where this one may do anything, that one reads what it likes and writes nowhere else.
    """
    home = Path(tempfile.mkdtemp(prefix="monkey-", dir="/tmp"))  # a test's own folder lets nobody in
    try:
        shutil.copytree(master, home / "studio")
        if os.geteuid() == 0:
            for path in (home, *home.rglob("*")):
                os.chown(path, NOBODY, NOBODY)
        command = [*AS_NOBODY, sys.executable] if os.geteuid() == 0 else [sys.executable]
        named = [f"--page={page}" for page in pages]
        command += ["-W", "ignore", "-m", "tests.monkey", str(home), f"--seed={seed}", f"--steps={count}", *named]
        places = {"HOME": str(home), "XDG_DATA_HOME": str(home), "MATCHER_STUDIO": str(home / "studio")}
        faults = []
        with (
            tempfile.TemporaryFile("w+") as complaints,
            subprocess.Popen(
                command,
                cwd=ROOT,
                env={**os.environ, **places},
                stdout=subprocess.PIPE,
                stderr=complaints,
                text=True,
            ) as child,
        ):
            for line in child.stdout or ():
                if not line.startswith("{"):
                    continue  # libraries print too
                page = json.loads(line)
                faults += [Fault(**fault) for fault in page["faults"]]
                told(f"{page['page']}: {page['steps']} steps, {len(page['faults'])} faults, {page['seconds']:.0f} s")
            child.wait()
            complaints.seek(0)
            said = complaints.read()
        if child.returncode != 0:
            faults.append(Fault("all", [], f"The process ended with {child.returncode}.\n{said}"))
        return faults
    finally:
        shutil.rmtree(home, ignore_errors=True)


def main() -> None:
    """Do random things in the studio of a folder; print a line of JSON for each page."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("home", type=Path)
    options.add_argument("--seed", type=int)
    options.add_argument("--steps", type=int)
    options.add_argument("--page", action="append", default=[])
    asked = options.parse_args()
    from ui.state.places import ALL

    for number, place in enumerate(ALL):
        if asked.page and place.title not in asked.page:
            continue
        began = time.monotonic()
        monkey = Monkey(asked.home / "studio", np.random.default_rng((asked.seed, number)))
        faults = [asdict(fault) for fault in monkey.steps(place, asked.steps)]
        seconds = time.monotonic() - began
        print(json.dumps({"page": place.title, "steps": asked.steps, "seconds": seconds, "faults": faults}), flush=True)


def in_words(fault: Fault) -> str:
    """Say what went wrong, with the end of a traceback only."""
    lines = [line for line in fault.said.splitlines() if line.strip()]
    ours = [line.strip() for line in lines if re.search(r'File ".*/(ui|matcher)/', line)]
    return "\n".join([f"{fault.place}: {lines[-1]}", *ours[-3:], *(f"    {did}" for did in fault.did)])


if __name__ == "__main__":
    main()
