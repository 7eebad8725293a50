"""Parts that the page loads when they are first needed, and a connection that is lost just then."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from tests.browser import Served, Visitor
from ui.serving.parts import ahead_of_need
from ui.state.places import IN_THE_BAR, LOG

Visit = Callable[..., Visitor]
NUMBERS = re.compile("/static/js/NumberInput")
STUDIO = re.compile("/changes")
AGAIN = re.compile("did not come while the connection was lost")


def without_numbers(visitor: Visitor) -> None:
    """Open the record form so that its number fields do not come."""
    visitor.page.route(NUMBERS, lambda route: route.abort())
    visitor.open("record")
    visitor.page.wait_for_function("document.body.innerText.includes('Failed to fetch')")


def passes(visitor: Visitor) -> Any:
    return visitor.page.get_by_role("spinbutton", name="Passes", exact=True)


def test_a_page_that_lacks_a_part_loads_itself_again_once_the_studio_is_back(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.page.route(STUDIO, lambda route: route.abort())
    without_numbers(visitor)
    with visitor.page.expect_navigation():
        visitor.page.unroute(NUMBERS)
        visitor.page.unroute(STUDIO)
    passes(visitor).first.wait_for()


@pytest.mark.parametrize("part", ["index", "react-dom", "BidiComponent"])
def test_a_page_that_never_began_begins_once_the_studio_is_back(read_demo: Served, visit: Visit, part: str) -> None:
    """Streamlit's own beginning, what that imports, and what our own scripts come in."""
    visitor = visit(read_demo)
    page = visitor.page
    lacking = re.compile(f"/static/js/{part}\\.")
    page.route(lacking, lambda route: route.abort())
    page.route(STUDIO, lambda route: route.abort())
    with page.expect_event("requestfailed", lambda request: lacking.search(request.url) is not None):
        page.goto(visitor.address)
    with page.expect_navigation():
        page.unroute(lacking)
        page.unroute(STUDIO)
    page.locator("h1").first.wait_for()
    visitor.settle()
    assert "Failed to fetch" not in page.evaluate("document.body.innerText")


def test_what_is_being_typed_is_not_taken_away_by_it(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    page = visitor.page
    page.route(STUDIO, lambda route: route.abort())
    without_numbers(visitor)
    mark = page.get_by_label("Mark on the plate")
    mark.press_sequentially("H-")
    page.unroute(NUMBERS)
    page.unroute(STUDIO)
    visitor.sees(AGAIN)
    assert mark.input_value() == "H-" and passes(visitor).count() == 0
    mark.press_sequentially("77")
    with page.expect_navigation():
        mark.blur()
    passes(visitor).first.wait_for()
    visitor.settle()
    assert mark.input_value() == "H-77"


def test_a_part_that_never_comes_is_asked_for_again_by_hand_only(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    without_numbers(visitor)
    visitor.sees(AGAIN)
    page = visitor.page
    page.evaluate("window.stands = true")
    page.wait_for_timeout(5000)
    assert page.evaluate("window.stands"), "it would load itself again and again"
    page.unroute(NUMBERS)
    with page.expect_navigation():
        page.get_by_role("button", name="Load the page again").click()
    passes(visitor).first.wait_for()


def test_a_phone_has_loaded_every_part_before_it_is_needed(read_demo: Served, visit: Visit) -> None:
    """HTML Living Standard, 4.6.7.14 (modulepreload): what was fetched so stands in the document's own module map."""
    visitor = visit(read_demo, phone=True)
    page = visitor.page
    visitor.open("log")
    loaded = "performance.getEntriesByType('resource').filter(({name, responseStatus}) => responseStatus === 200)"
    page.wait_for_function(
        f"(files) => {{ const there = new Set({loaded}.map(({{name}}) => new URL(name).pathname));"
        " return files.every((file) => there.has(file)); }",
        arg=[f"/{file}" for file in ahead_of_need()],
    )
    late: list[str] = []
    page.on("request", lambda request: late.append(request.url))
    page.route("**/static/js/**", lambda route: route.abort())
    for place in IN_THE_BAR:
        if place is not LOG:
            page.locator(f".st-key-to-{place.address} a").click()
            page.locator(".st-key-here").get_by_text(place.title).wait_for(state="attached")
            visitor.settle()
    assert not [url for url in late if "/static/js/" in url]
    assert "Failed to fetch" not in page.evaluate("document.body.innerText")


def held_back(visitor: Visitor, parts: re.Pattern[str]) -> list[Any]:
    """Keep a page's parts waiting; each that is returned is to be let go on."""
    late: list[Any] = []
    visitor.page.route(parts, lambda route: late.append(route))
    return late


def test_what_was_kept_of_a_form_stands_in_fields_that_come_late(demo: Served, visit: Visit) -> None:
    """Before a field's code is there the page runs again: the field shows what was kept of it, and that stays kept."""
    with demo.studio() as studio:
        studio.save_draft("plate", {"piece": "heron 7", "coat0_passes": 9})
    visitor = visit(demo)
    texts = re.compile("/static/js/TextInput")
    late = held_back(visitor, re.compile(f"{NUMBERS.pattern}|{texts.pattern}"))
    with visitor.page.expect_request(NUMBERS), visitor.page.expect_request(texts):
        visitor.page.goto(f"{visitor.address}/record")
    seal = visitor.page.locator(".st-key-panel-plate-seal")
    for kind in ("Wax", "None"):
        seal.get_by_text(kind, exact=True).click()
        visitor.page.wait_for_timeout(1000)
    for part in late:
        part.continue_()
    assert len(late) == 2
    visitor.settle()
    mark = visitor.page.get_by_label("Mark on the plate")
    for kind in ("Wax", "None"):
        assert passes(visitor).first.input_value() == "9" and mark.input_value() == "heron 7"
        seal.get_by_text(kind, exact=True).click()
        visitor.settle()
    with demo.studio() as studio:
        kept = studio.draft("plate") or {}
    assert (kept["piece"], kept["coat0_passes"]) == ("heron 7", 9)


def test_the_first_number_of_tags_stands_in_a_field_that_comes_late(read_demo: Served, visit: Visit) -> None:
    visitor = visit(read_demo)
    late = held_back(visitor, NUMBERS)
    with visitor.page.expect_request(NUMBERS):
        visitor.page.goto(f"{visitor.address}/log")
        visitor.page.get_by_text("Tags to print", exact=True).click()
    for _ in range(2):
        visitor.page.get_by_text("Pick plates to compare").click()
        visitor.page.wait_for_timeout(1000)
    for part in late:
        part.continue_()
    assert late
    visitor.settle()
    assert visitor.page.get_by_role("spinbutton", name="First number", exact=True).input_value() == "104"
