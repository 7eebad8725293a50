"""A phone on another host, by HTTPS: paired, photographing, counting at the bench, recording, with the cable cut."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from matcher.bench.steps import COAT
from matcher.demo import make_demo_studio
from matcher.hands import Role
from matcher.shipped import shipped
from tests.browser import BROWSERS, CHROMIUM_FLAGS, LISTENING, PATIENCE_MS, PHONE, WIDE, Visitor
from tests.other_host import Cable, Host, other_host
from tests.served_network import GOOD, Server, on_the_network
from ui.recipe.recipe_actions import LABEL

FINISH = (340.0, 510.0), (620.0, 720.0)  # well inside the client's piece
TAPS = 3


@pytest.fixture
def cable() -> Iterator[Cable]:
    with other_host() as laid:
        yield laid


@pytest.fixture
def server(tmp_path: Path, cable: Cable) -> Iterator[Server]:
    with make_demo_studio(tmp_path / "studio") as studio:
        studio.access.people.add("Ines Invented", Role.OWNER, GOOD)
    with on_the_network(tmp_path, tmp_path / "studio", host=cable.server) as served:
        yield served


@pytest.fixture
def phone(chromium: Any, cable: Cable, tmp_path: Path) -> Iterator[Any]:
    """A phone's browser at the other end of the cable."""
    width, height = PHONE
    with browsing(
        chromium, cable.phone, tmp_path, viewport={"width": width, "height": height},
        has_touch=True, is_mobile=True, device_scale_factor=2, reduced_motion="reduce",
    ) as context:  # fmt: skip
        yield context


@pytest.fixture
def desk(chromium: Any, cable: Cable, tmp_path: Path) -> Iterator[Any]:
    with browsing(chromium, cable.server, tmp_path, viewport=dict(zip(("width", "height"), WIDE, strict=True))) as here:
        yield here


@contextmanager
def browsing(chromium: Any, host: Host, folder: Path, **shown: Any) -> Iterator[Any]:
    """Start a browser on a host."""
    path = next(found for found in map(shutil.which, BROWSERS) if found)
    browser = chromium.browser_type.launch(executable_path=host.browser(path, folder), args=list(CHROMIUM_FLAGS))
    context = browser.new_context(ignore_https_errors=True, **shown)
    context.add_init_script(LISTENING)
    context.set_default_timeout(PATIENCE_MS)
    yield context
    browser.close()


def paired(server: Server, desk: Any, phone: Any, cable: Cable, shots: Path | None) -> Visitor:
    """Sign in at the desk, ask for a code, read its QR code off the screen and open what it says on the phone."""
    at_desk = Visitor(desk.new_page(), f"https://127.0.0.1:{server.port}", shots, touch=False)
    at_desk.page.goto(f"{at_desk.address}/people")
    at_desk.page.get_by_label("Name").fill("ines invented")
    at_desk.page.get_by_label("Passphrase").fill(GOOD)
    at_desk.page.get_by_role("button", name="Sign in").click()
    at_desk.sees("People and devices")
    at_desk.press("Pair a phone")
    at_desk.page.wait_for_function("document.querySelector('.pm-qr')?.complete")
    at_desk.shot("pairing")
    seen = np.frombuffer(at_desk.page.locator(".pm-qr").screenshot(), np.uint8)
    read, *_ = cv2.QRCodeDetectorAruco().detectAndDecode(cv2.imdecode(seen, cv2.IMREAD_COLOR))
    code = at_desk.page.locator(".pm-code").inner_text()
    assert read == f"{server.said['url']}/code/{code}" and "127.0.0.1" not in read and "localhost" not in read
    visitor = Visitor(phone.new_page(), f"https://{cable.here}:{server.port}", shots, touch=True)
    visitor.page.goto(f"{visitor.address}/code/{code}")
    visitor.page.get_by_role("heading", name="Sign this device in as Ines Invented?").wait_for()
    with visitor.page.expect_navigation():
        visitor.page.get_by_role("button", name="Sign in").click()
    visitor.page.locator("[data-testid=stApp] h1").first.wait_for()
    return visitor


def test_a_phone_is_paired_photographs_counts_and_records_though_the_connection_is_lost(
    server: Server, desk: Any, phone: Any, cable: Cable, shots: Path | None
) -> None:
    visitor = paired(server, desk, phone, cable, shots)
    page = visitor.page
    assert page.evaluate("isSecureContext && !!navigator.mediaDevices"), "the camera is given to secure pages alone"
    manifest = page.locator("link[rel=manifest]")
    manifest.wait_for(state="attached")
    assert str(manifest.get_attribute("href")).endswith("/manifest.webmanifest")
    waiting = page.locator(".pm-waiting")

    visitor.open("target")
    waiting.wait_for(state="attached")  # what keeps photographs is there
    visitor.press("Upload", role="radio")
    cable.cut(phone)
    page.locator(".pm-take input").set_input_files(shipped("demo_images") / "client_reference.jpg")
    waiting.get_by_text("1 photograph kept on this device, waiting").wait_for()
    cable.mend(phone)
    visitor.sees("Is the outline around it?")
    waiting.wait_for(state="hidden")
    visitor.press("Yes, that is the card")
    visitor.bench().drag(*FINISH)
    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^Plates nearest to"))

    visitor.press(LABEL)
    visitor.press("I have read them: start")
    count = page.locator(".st-key-bench-pass button")
    count.wait_for()
    with server.studio() as studio:  # another bench, which has laid the undercoat
        [piece] = [one for one in studio.shelf.pieces() if one.untouched]
        coat = next(at for at, step in enumerate(piece.steps) if step.kind == COAT)
        studio.shelf.change(piece.uid, lambda one: replace(one, at=coat))
        before = len(studio.trials())
    visitor.sees(re.compile(r"0 of (about )?\d+ passes"))
    visitor.settle()
    cable.cut(phone)
    for tapped in range(1, TAPS + 1):
        count.tap()
        waiting.get_by_text(f"{tapped} tap{'s' if tapped > 1 else ''} kept on this device").wait_for()
    visitor.shot("taps-waiting")
    cable.mend(phone)
    waiting.wait_for(state="hidden")
    visitor.sees(re.compile(rf"{TAPS} of (about )?\d+ passes"))
    with server.studio() as studio:
        assert studio.shelf.piece(piece.uid).counts[coat] == TAPS

    visitor.rest()
    page.locator(".st-key-bench-record button").click()
    visitor.sees("Log this plate")
    visitor.press("Instrument or Munsell", role="radio")
    for label, value in (("L*", "35.2"), ("a*", "17.4"), ("b*", "30.1")):
        visitor.type_number(label, value)
    visitor.press("Log this plate")
    visitor.sees(re.compile(r"^What plate \d+ changed"))
    with server.studio() as studio:
        assert len(studio.trials()) == before + 1
        assert [line.who for line in studio.history("trial", studio.trials()[-1].id)] == ["Ines Invented"]
