"""What every screen must hold to: neutral greys, swatches that touch, sizes for a hand, nothing from elsewhere."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from matcher.colour.cielab import SRGB_TO_XYZ_D50, xyz_to_lab
from tests.browser import Served, Visitor

Visit = Callable[..., Visitor]
PLACES = (
    "",
    "target",
    "suggestions",
    "solutions",
    "record",
    "log",
    "how-to-photograph",
    "camera",
    "compare",
    "repeats",
)
NARROW_TOO = ("", "suggestions", "log")
LEAST_PART_PX = 40  # for the small parts of ready-made fields; WCAG 2.2, 2.5.8 asks for 24 (from memory)
LEAST_TOUCH_PX = 44


def rgb(css: str) -> tuple[float, ...]:
    return tuple(float(part) for part in re.findall(r"[\d.]+", css)[:3])


def lightness(css: str) -> float:
    linear = [(v / 255 / 12.92) if v / 255 <= 0.04045 else ((v / 255 + 0.055) / 1.055) ** 2.4 for v in rgb(css)]
    return float(xyz_to_lab(SRGB_TO_XYZ_D50 @ linear)[0])


@pytest.mark.parametrize("phone", [False, True], ids=["wide", "390 px"])
def test_every_screen_asks_only_its_own_server_fits_its_width_and_on_a_phone_the_hand(
    read_demo: Served, visit: Visit, phone: bool
) -> None:
    visitor = visit(read_demo, phone=phone)
    for place in (*PLACES, "first-plates"):
        visitor.open(place)
        visitor.shot(f"screen-{place or 'start'}")
        wide = visitor.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        main = visitor.page.locator("[data-testid=stMain]").evaluate("e => e.scrollWidth - e.clientWidth")
        assert max(wide, main) <= 0, f"{place or 'start'} is wider than the screen"
        assert visitor.page.get_by_role("alert").count() == 0
        if place in NARROW_TOO:
            assert skipped_headings(visitor) == [], place or "start"
        if phone:
            assert too_small(visitor) == [], place
            if place in NARROW_TOO:
                fits_a_narrow_phone(visitor)
    assert visitor.foreign == []


def skipped_headings(visitor: Visitor) -> list[str]:
    """Return the headings that lie more than one level below the one before: WCAG 2.2, technique G141 (from memory)."""
    found = visitor.page.evaluate(
        "[...document.querySelectorAll('h1, h2, h3, h4')].map(e => [Number(e.tagName[1]), e.innerText])"
    )
    levels = [0, *(level for level, _ in found)]
    return [text for (level, text), before in zip(found, levels, strict=False) if level > before + 1]


def fits_a_narrow_phone(visitor: Visitor) -> None:
    """320 px without scrolling sideways: WCAG 2.2, success criterion 1.4.10 (from memory)."""
    before = visitor.page.viewport_size
    visitor.page.set_viewport_size({"width": 320, "height": before["height"]})
    visitor.settle()
    main = visitor.page.locator("[data-testid=stMain]").evaluate("e => e.scrollWidth - e.clientWidth")
    visitor.page.set_viewport_size(before)
    assert main <= 0, "sideways at 320 px"


def too_small(visitor: Visitor) -> list[str]:
    """Return what is pressed and is below 44 px a side: WCAG 2.2, success criterion 2.5.5 (from memory)."""
    small = visitor.page.evaluate(
        """least => [...document.querySelectorAll(`.stButton button, .stDownloadButton button, .stPageLink a,
             button[data-variant=segmented_control], summary, .tools button, .stTextInput input`)]
             .filter(e => e.offsetParent && Math.round(e.getBoundingClientRect().height) < least)
             .map(e => e.innerText + ' ' + e.getBoundingClientRect().height)""",
        LEAST_TOUCH_PX,
    )
    parts = visitor.page.evaluate(
        """least => [...document.querySelectorAll(`.stNumberInput button, .stSelectbox button,
             .stMultiSelect button, button[aria-label^="Help for"]`)]
             .map(e => [e.ariaLabel, e.getBoundingClientRect()])
             .filter(([, box]) => box.width > 0 && Math.min(box.width, box.height) < least)
             .map(([label, box]) => `${label} ${box.width} x ${box.height}`)""",
        LEAST_PART_PX,
    )
    return [*small, *parts]


def test_swatches_touch_on_neutral_ground_and_have_their_own_colours(read_demo: Served, visit: Visit) -> None:
    visitor = visit(read_demo)
    visitor.open("suggestions")
    visitor.page.locator('[class*="st-key-panel-place"]').first.wait_for()
    visitor.settle()
    everything_around_colours_is_neutral_and_the_mat_is_mid_grey(visitor)
    target_and_plate_touch_without_a_gap(visitor)
    the_swatch_has_the_targets_own_screen_colour(visitor, read_demo)


def everything_around_colours_is_neutral_and_the_mat_is_mid_grey(visitor: Visitor) -> None:
    grounds = visitor.page.evaluate(
        """[...document.querySelectorAll(`body, .stApp, [data-testid=stMain], [class*=st-key-panel-], .pm-mat,
             .pm-photo, .pm-answer, [class*=st-key-ranked], .pm-answer figcaption`)]
             .map(e => [e.className, getComputedStyle(e).backgroundColor])"""
    )
    opaque = [(name, colour) for name, colour in grounds if not colour.startswith("rgba(0, 0, 0, 0)")]
    assert len(opaque) > 4
    assert all(len(set(rgb(colour))) == 1 for _, colour in opaque), "a tint beside the swatches leads the eye"
    mats = [colour for name, colour in opaque if name in ("pm-mat", "pm-photo", "pm-answer")]
    assert mats and all(50 <= lightness(colour) <= 60 for colour in mats)


def target_and_plate_touch_without_a_gap(visitor: Visitor) -> None:
    """Pictures side by side; below each, the target's flat colour on its own."""
    beside = visitor.page.evaluate(
        """(() => { const tiles = [...document.querySelectorAll('.pm-answer figure > :first-child')];
             return tiles.slice(1).map((tile, k) => {
               const [a, b] = [tiles[k], tile].map(c => c.getBoundingClientRect());
               return [b.left - a.right, a.top - b.top, a.height - b.height] }) })()"""
    )
    above = visitor.page.evaluate(
        """[...document.querySelectorAll('.pm-answer .pm-flat')].filter(p => p.children.length === 2).map(p => {
             const [a, b] = [...p.children].map(c => c.getBoundingClientRect());
             return [b.top - a.bottom, a.left - b.left, a.width - b.width] })"""
    )
    assert len(beside) == len(above) == 5
    assert all(abs(value) < 0.01 for gap in (*beside, *above) for value in gap)


def the_swatch_has_the_targets_own_screen_colour(visitor: Visitor, served: Served) -> None:
    """sRGB of the target by colour-science, D50 to D65 by Bradford."""
    import colour
    import numpy as np

    shown = visitor.page.locator(".pm-answer .target .pm-flat").evaluate("e => getComputedStyle(e).backgroundColor")
    with served.studio() as studio:
        lab = studio.targets()[-1].reading.lab
    d50 = np.array([0.3457, 0.3585])
    wanted = colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab, d50), d50, chromatic_adaptation_transform="Bradford") * 255
    assert np.allclose(rgb(shown), np.clip(wanted, 0, 255), atol=1.0)


def test_the_four_ways_of_solutions_are_whole_on_a_phone_and_labels_are_printed_from_the_first_screen(
    read_demo: Served, visit: Visit
) -> None:
    visitor = visit(read_demo, phone=True)
    visitor.open("solutions")
    ways = visitor.page.locator("[class*=st-key-solutions-part] [role=radio]")
    ways.first.wait_for()
    sides = ways.evaluate_all(
        """found => found.map(e => { const box = e.getBoundingClientRect(), style = getComputedStyle(e);
           return [box.left, box.width, parseFloat(style.borderLeftWidth), parseFloat(style.borderTopLeftRadius)]; })"""
    )
    assert len(sides) == 4 and all(line >= 1 and corner > 0 for *_, line, corner in sides)
    lefts, widths = {round(left) for left, *_ in sides}, {round(width) for _, width, *_ in sides}
    assert (len(lefts), len(widths)) == (2, 1), "two in a row"
    low = visitor.page.get_by_role("button", name="Print labels").bounding_box()
    assert low is not None and low["y"] + low["height"] < 844
