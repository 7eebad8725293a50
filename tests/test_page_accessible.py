"""Whether everybody can use every page: by a screen reader, by the keyboard alone, in a narrow window.

axe-core (4.12, which axe-playwright-python brings) judges labels, contrast, the order of headings, landmarks and what
else a machine can judge of WCAG. What it calls minor is left to it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from tests.browser import WIDE, Served, Visitor
from tests.test_notebook import OLD
from ui.state.places import ALL, START

Visit = Callable[..., Visitor]
PARTS = (
    "commissions?commission=1",
    "commissions?commission=1&sign=1",
    "solutions?part=make",
    "solutions?part=mix",
    "solutions?part=used",
    "log?plate=9",
    "bench?piece=new",
)
PLACES = ("", *(place.address for place in ALL if place is not START), *PARTS)
PHONE_WIDTH, NARROWEST = 390, 320  # WCAG 2.2, 1.4.10: 320 px without scrolling sideways (from memory)
UNFOLD_ALL = """() => {
  const folded = [...document.querySelectorAll("[data-testid=stExpander] details:not([open]) > summary")];
  folded.forEach((summary) => summary.click());
  return folded.length;
}"""
WIDER = """() => {
  const main = document.querySelector("[data-testid=stMain]");
  const beside = [...document.querySelectorAll(".stHorizontalBlock:has(> .stColumn)")];
  const end = (one) => one.getBoundingClientRect().right;
  const isCut = (one) => [...one.children].some((column) => end(column) > end(one) + 1);
  const cut = beside.filter(isCut).map((one) => one.innerText.slice(0, 80));
  const wide = Math.max(document.scrollingElement.scrollWidth, main.scrollWidth);
  return wide > window.innerWidth ? [`${wide} px`, ...cut] : cut;
}"""
UNSEEN = """() => {
  document.head.insertAdjacentHTML("beforeend", "<style>* { transition: none !important; }</style>");
  const pressed = "a[href], button, summary, input[type=radio], input[type=checkbox]";
  const drawing = document.querySelector(".stage")?.getRootNode();
  const found = [...document.querySelectorAll(pressed), ...(drawing?.querySelectorAll(pressed) ?? [])];
  const reached = found.filter((one) => !one.disabled && one.tabIndex >= 0);
  const shown = reached.filter((one) => one.checkVisibility({visibilityProperty: true}));
  const ringed = (one) => {
    const {outlineStyle, outlineWidth} = getComputedStyle(one);
    return outlineStyle === "solid" && parseFloat(outlineWidth) >= 2;
  };
  const unseen = shown.filter((one) => {
    one.focus({focusVisible: true});
    return !ringed(one) && !(one.closest("label") && ringed(one.closest("label")));
  });
  return [shown.length, unseen.map((one) => one.outerHTML.slice(0, 200))];
}"""


def findings(page: Any) -> list[str]:
    """Return what axe-core finds moderate or worse, one line each."""
    from axe_playwright_python.sync_playwright import Axe

    broken = [rule for rule in Axe().run(page).response["violations"] if rule["impact"] != "minor"]
    return [f"{rule['id']}: {node['html'][:200]}" for rule in broken for node in rule["nodes"]]


@pytest.mark.parametrize("share", [0, 1], ids=["one half", "the other"])
def test_every_page_can_be_read_out_gone_through_by_keyboard_and_fits_a_narrow_window(
    read_demo: Served, visit: Visit, share: int
) -> None:
    visitor = visit(read_demo)
    found: dict[str, list[str]] = {}
    for place in PLACES[share::2]:
        visitor.page.set_viewport_size({"width": WIDE[0], "height": WIDE[1]})
        visitor.open(place)
        found |= hindrances(visitor, place)
    assert not any(found.values()), in_lines(found)


def test_the_columns_of_a_table_of_ones_own_can_be_said_by_everybody(read_demo: Served, visit: Visit) -> None:
    """What each column means is asked in lists without a label that is seen; bad rows and rows to come are told."""
    table = OLD.encode()
    visitor = visit(read_demo)
    visitor.open("log")
    visitor.page.get_by_text("Export, import and backup", exact=True).click()
    visitor.upload({"name": "book.csv", "mimeType": "text/csv", "buffer": table})
    visitor.sees("What your columns mean")
    visitor.sees("Your rows as plates")
    visitor.shot("own table")
    found = hindrances(visitor, "a table of one's own")
    visitor.shot("own table, narrow")
    lists = visitor.page.locator(".st-key-panel-own-table").get_by_role("combobox").all()
    names = [one.get_attribute("aria-label") or "" for one in lists]
    assert len(lists) >= 8 and all(re.search(" (means|is in)", name) for name in names), names
    assert not any(found.values()), in_lines(found)


def hindrances(visitor: Visitor, place: str) -> dict[str, list[str]]:
    """Return what hinders whom on the page that is open: at a desk, by the keyboard, on a phone, in a narrow window."""
    found = {}
    while visitor.page.evaluate(UNFOLD_ALL):
        visitor.settle()
    found[f"{place} at a desk"] = findings(visitor.page)
    visitor.page.keyboard.press("Tab")
    number, unseen = visitor.page.evaluate(UNSEEN)
    assert number >= 12, f"{place} shows only {number} links and buttons"
    found[f"{place} by the keyboard"] = unseen
    visitor.page.set_viewport_size({"width": PHONE_WIDTH, "height": WIDE[1]})
    visitor.settle()
    found[f"{place} on a phone"] = findings(visitor.page)
    visitor.page.set_viewport_size({"width": NARROWEST, "height": WIDE[1]})
    visitor.settle()
    found[f"{place} in a narrow window"] = visitor.page.evaluate(WIDER)
    return found


def in_lines(found: dict[str, list[str]]) -> str:
    return "\n".join(f"{where}: {each}" for where, what in found.items() for each in what)
