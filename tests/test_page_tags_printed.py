"""Tags on the page: printed from the log, and where a phone that reads one is led."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from starlette.requests import Request

from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.tags.wording import on_no_plate
from tests.app_pages import open_page, said_on
from tests.browser import Served, Visitor
from tests.plates import a_trial
from ui.wall.tag_route import tag_routes, to_the_plate

APP = Path(__file__).parents[1] / "ui" / "app.py"


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Studio:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "tagged"))
    studio = Studio.open(tmp_path / "tagged")
    for n in range(2):
        studio.record(a_trial(30.0 + n, reading=Reading((30.0 + n, 14, 22))))
    studio.give_tag(1, f"{studio.tag_signs}-7")
    return studio


def led_to(code: str) -> str:
    return to_the_plate(Request({"type": "http", "path_params": {"code": code}})).headers["location"]


def test_a_phone_is_led_to_the_plate_that_carries_the_tag(studio: Studio) -> None:
    assert [route.path for route in tag_routes()] == ["/TAG/{code}", "/tag/{code}"]
    assert led_to(f"{studio.tag_signs}-7") == "/log?plate=1"
    assert led_to(f"{studio.tag_signs}-8") == f"/log?tag={studio.tag_signs}-8"
    assert led_to("<script>&plate=2" + "x" * 200).startswith("/log?tag=%3Cscript%3E%26plate%3D2x")
    assert "another studio" in on_no_plate("00000-5", studio.tag_signs, studio.tags())
    assert "on no plate yet" in on_no_plate(f"{studio.tag_signs}-8", studio.tag_signs, studio.tags())
    studio.take_tag(1, why="came off")
    assert "it left plate 1 on " in on_no_plate(f"{studio.tag_signs}-7", studio.tag_signs, studio.tags())


def test_the_log_prints_tags_and_gives_new_ones_to_logged_plates(studio: Studio) -> None:
    app = open_page("log")
    assert app.number_input(key="tags.first").value == 8
    app.text_input(key="tags.address").set_value("two words").run()
    assert "Give the address as host:port" in said_on(app)
    app.text_input(key="tags.address").set_value("").run()
    app.segmented_control(key="tags.for").set_value("Logged plates").run()
    app.text_input(key="tags.plates").set_value("1, 2").run()
    app.button(key="tags.give").click().run()
    assert not app.exception
    assert {one.trial_id: one.tag for one in studio.tags().in_force()}[2] == f"{studio.tag_signs}-8"


def test_a_sheet_of_tags_to_come_is_printed_once(demo: Served, visit: Callable[..., Visitor]) -> None:
    """Tags that lie ready are on no plate: the next sheet goes on beyond them, and none has a logged plate's number."""
    visitor = visit(demo)
    visitor.open("log")
    visitor.page.get_by_text("Tags to print", exact=True).click()
    for first in (104, 146):
        box = visitor.page.get_by_role("spinbutton", name="First number", exact=True)
        assert box.input_value() == str(first)
        assert visitor.download(re.compile("^Print 42 tags")).read_bytes().startswith(b"%PDF-")
    with demo.studio() as studio:
        assert studio.tags_printed_to() == 187 and len(studio.trials(include_set_aside=True)) == 103
