"""What every screen must hold to: neutral greys, swatches that touch, sizes for a hand, nothing from elsewhere."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from matcher.colour.cielab import SRGB_TO_XYZ_D50, xyz_to_lab
from matcher.shipped import shipped
from matcher.studio import Studio
from tests.browser import Served, Visitor

Visit = Callable[..., Visitor]
PLACES = ("", "target", "suggestions", "record", "log", "how-to-photograph", "camera", "compare", "repeats")
LEAST_PART_PX = 40  # for the small parts of ready-made fields; WCAG 2.2, 2.5.8 asks for 24 (from memory)
LEAST_TOUCH_PX = 44


def rgb(css: str) -> tuple[float, ...]:
    return tuple(float(part) for part in re.findall(r"[\d.]+", css)[:3])


def lightness(css: str) -> float:
    linear = [(v / 255 / 12.92) if v / 255 <= 0.04045 else ((v / 255 + 0.055) / 1.055) ** 2.4 for v in rgb(css)]
    return float(xyz_to_lab(SRGB_TO_XYZ_D50 @ linear)[0])


@pytest.mark.parametrize("phone", [False, True], ids=["wide", "390 px"])
def test_every_screen_asks_only_its_own_server_and_fits_its_width(read_demo: Served, visit: Visit, phone: bool) -> None:
    visitor = visit(read_demo, phone=phone)
    for place in PLACES:
        visitor.open(place)
        visitor.shot(f"screen-{place or 'start'}")
        wide = visitor.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        main = visitor.page.locator("[data-testid=stMain]").evaluate("e => e.scrollWidth - e.clientWidth")
        assert max(wide, main) <= 0, f"{place or 'start'} is wider than the screen"
        assert visitor.page.get_by_role("alert").count() == 0
    assert visitor.foreign == []


def test_on_a_phone_everything_that_is_pressed_is_big_enough(read_demo: Served, visit: Visit) -> None:
    """44 px a side: WCAG 2.2, success criterion 2.5.5 (from memory)."""
    visitor = visit(read_demo, phone=True)
    for place in (*PLACES, "first-plates"):
        visitor.open(place)
        small = visitor.page.evaluate(
            """least => [...document.querySelectorAll(`.stButton button, .stDownloadButton button, .stPageLink a,
                 button[data-variant=segmented_control], summary, .tools button, .stTextInput input`)]
                 .filter(e => e.offsetParent && Math.round(e.getBoundingClientRect().height) < least)
                 .map(e => e.innerText + ' ' + e.getBoundingClientRect().height)""",
            LEAST_TOUCH_PX,
        )
        assert small == [], place
        parts = visitor.page.evaluate(
            """least => [...document.querySelectorAll(`.stNumberInput button, .stSelectbox button,
                 .stMultiSelect button, button[aria-label^="Help for"]`)]
                 .map(e => [e.ariaLabel, e.getBoundingClientRect()])
                 .filter(([, box]) => box.width > 0 && Math.min(box.width, box.height) < least)
                 .map(([label, box]) => `${label} ${box.width} x ${box.height}`)""",
            LEAST_PART_PX,
        )
        assert parts == [], place


def test_everything_around_colours_is_neutral_and_the_mat_is_mid_grey(read_demo: Served, visit: Visit) -> None:
    visitor = visit(read_demo)
    visitor.open("suggestions")
    visitor.page.locator(".pm-rank").first.wait_for()
    grounds = visitor.page.evaluate(
        """[...document.querySelectorAll(`body, .stApp, [data-testid=stMain], [class*=st-key-panel-], .pm-mat,
             .pm-photo`)].map(e => [e.className, getComputedStyle(e).backgroundColor])"""
    )
    opaque = [(name, colour) for name, colour in grounds if not colour.startswith("rgba(0, 0, 0, 0)")]
    assert len(opaque) > 8
    assert all(len(set(rgb(colour))) == 1 for _, colour in opaque), "a tint beside the swatches leads the eye"
    mats = [colour for name, colour in opaque if "pm-mat" in name or "pm-photo" in name]
    assert mats and all(50 <= lightness(colour) <= 60 for colour in mats)


def test_target_and_plate_touch_without_a_gap(read_demo: Served, visit: Visit) -> None:
    visitor = visit(read_demo)
    visitor.open("suggestions")
    pairs = visitor.page.locator(".pm-names")
    pairs.first.wait_for()
    gaps = visitor.page.evaluate(
        """[...document.querySelectorAll('.pm-pair')].filter(p => p.children.length === 2).map(p => {
             const [a, b] = [...p.children].map(c => c.getBoundingClientRect());
             return [b.left - a.right, a.top - b.top, a.height - b.height] })"""
    )
    assert len(gaps) >= 5
    assert all(abs(value) < 0.01 for gap in gaps for value in gap)


def test_the_swatch_has_the_targets_own_screen_colour(read_demo: Served, visit: Visit) -> None:
    """sRGB of the target by colour-science, D50 to D65 by Bradford."""
    import colour
    import numpy as np

    visitor = visit(read_demo)
    visitor.open("suggestions")
    shown = visitor.page.locator(".pm-pair > span").first.evaluate("e => getComputedStyle(e).backgroundColor")
    with read_demo.studio() as studio:
        lab = studio.targets()[-1].reading.lab
    d50 = np.array([0.3457, 0.3585])
    wanted = colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab, d50), d50, chromatic_adaptation_transform="Bradford") * 255
    assert np.allclose(rgb(shown), np.clip(wanted, 0, 255), atol=1.0)


def test_the_keyboard_alone_marks_the_finish(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("target")
    visitor.press("Upload", role="radio")
    visitor.upload(shipped("demo_images") / "client_reference.jpg")
    visitor.press("Yes, that is the card")
    step = 1600 / visitor.bench().stage.bounding_box()["width"]  # picture pixels to a screen pixel
    place = visitor.page.get_by_role("button", name="Place a box")
    place.focus()
    visitor.page.keyboard.press("Enter")
    placed = box_on(visitor)
    for key, times in (("Alt+Shift+ArrowLeft", 12), ("Alt+Shift+ArrowDown", 1), ("ArrowRight", 4)):
        for _ in range(times):
            visitor.page.keyboard.press(key)
    visitor.told(lambda: visitor.page.keyboard.press("ArrowRight"), at_most_ms=600)
    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^Plates nearest to"))
    with demo.studio() as studio:
        region = studio.targets()[-1].reading.region
    assert region is not None
    left, top, right, bottom = placed
    wanted = (left - 115 * step, top + 10 * step, right - 120 * step, bottom + 10 * step)
    assert (*region.min(axis=0), *region.max(axis=0)) == pytest.approx(wanted, abs=2 * step)


def box_on(visitor: Visitor) -> tuple[float, float, float, float]:
    """Return left, top, right, bottom of the marked box in picture pixels, as its corners are read out."""
    said = [grip.get_attribute("aria-label") for grip in visitor.page.locator(".grip").all()]
    corners = [tuple(map(float, re.search(r"at (\d+), (\d+) pixels", label or "").groups())) for label in said]  # type: ignore[union-attr]
    xs, ys = zip(*corners, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def test_drawing_does_not_scroll_the_page_and_two_fingers_look_closer(demo: Served, visit: Visit) -> None:
    visitor = visit(demo, phone=True)
    visitor.open("target")
    visitor.press("Upload", role="radio")
    visitor.upload(shipped("demo_images") / "client_reference.jpg")
    visitor.press("Yes, that is the card")
    bench = visitor.bench()
    visitor.page.evaluate(
        """() => { window.tops = [];
             const main = document.querySelector('[data-testid=stMain]');
             for (const kind of ['touchstart', 'touchmove', 'touchend'])
               document.addEventListener(kind, () => window.tops.push(main.scrollTop), true); }"""
    )
    bench.drag((480, 480), (600, 760))
    tops = visitor.page.evaluate("window.tops")
    assert len(tops) > 5
    assert len(set(tops)) == 1, "the page stays where it is while the finger draws"
    box = bench.stage.bounding_box()
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    session = visitor.page.context.new_cdp_session(visitor.page)
    for kind, apart in (("touchStart", 30), ("touchMove", 60), ("touchMove", 90)):
        points = [{"x": middle[0] + way * apart, "y": middle[1], "id": way + 1} for way in (-1, 1)]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    visitor.settle()
    zoomed = visitor.page.locator(".picture").evaluate("e => e.style.transform")
    assert float(re.search(r"scale\(([\d.]+)\)", zoomed).group(1)) == pytest.approx(3.0, rel=0.1)  # type: ignore[union-attr]
    visitor.sees("1 finish marked.")  # the pinch left the mark alone


def test_undo_and_clear_take_marks_away(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("target")
    visitor.press("Upload", role="radio")
    visitor.upload(shipped("demo_images") / "client_reference.jpg")
    visitor.press("Yes, that is the card")
    bench = visitor.bench()
    bench.drag((300, 500), (420, 700))
    bench.drag((500, 500), (620, 700))
    visitor.sees("2 finishes marked.")
    visitor.press("Undo")
    visitor.sees("1 finish marked.")
    visitor.press("Clear")
    visitor.sees("Drag a box over the finish.")
    visitor.press("Undo")
    visitor.sees("1 finish marked.")


def test_an_empty_studio_has_no_dead_end(serve: Callable[[Path], Served], visit: Visit, tmp_path: Path) -> None:
    Studio.open(tmp_path / "new").close()
    visitor = visit(serve(tmp_path / "new"))
    for place in PLACES:
        visitor.open(place)
        assert visitor.page.get_by_role("alert").count() == 0, place
    visitor.open()
    visitor.press("Start from a client's photograph")
    visitor.press("Instrument or Munsell", role="radio")
    for label, value in (("L*", "38"), ("a*", "14"), ("b*", "22")):
        visitor.type_number(label, value)
    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^No plate is logged yet"))
    visitor.press("Plan your first plates")
    visitor.sees(re.compile("^24 plates on silicon bronze"))
    visitor.page.go_back()
    visitor.press("Record a plate")
    visitor.press("Instrument or Munsell", role="radio")
    for label, value in (("L*", "38.5"), ("a*", "14"), ("b*", "22")):
        visitor.type_number(label, value)
    visitor.press("Log this plate")
    visitor.sees("What plate 1 changed")
    visitor.sees("It is the first plate.")
