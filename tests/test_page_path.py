"""The whole way through the page in Chromium: photograph, card, finish, ranked list, plate, what changed.

On the demo studio, whose pictures are rendered: `truth.json` says where card and finish lie in them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from colour.difference import delta_E_CIE2000

from matcher.plan.inventory import one_alloy
from matcher.plan.limits import Limits
from matcher.recipe.recipe import describe
from matcher.shipped import shipped
from tests.browser import PATIENCE_MS, Served, Visitor

Visit = Callable[..., Visitor]
TRUTH = json.loads((shipped("demo_images") / "truth.json").read_text(encoding="utf-8"))["pictures"]
MOST_INTERACTIONS = 4  # file, card, finish, save
MOST_TYPED = 6  # start, the way in, three figures, save
FINISH = (340.0, 510.0), (620.0, 720.0)  # well inside the client's piece
NEXT_FINISH = (0.3, 0.7)  # the middle of a finish, as shares of its outline


def picture(name: str) -> Path:
    return shipped("demo_images") / name


def start_from_photograph(visitor: Visitor, file: Path) -> None:
    """Choose the file on the front page: the one thing that it takes."""
    visitor.open()
    visitor.upload(file)


def steps_of(words: str) -> list[str]:
    """Return a recipe's steps, however they are set: in one line or in several."""
    return [" ".join(step.casefold().split()) for step in re.split(r"; |\n", words) if step.strip()]


def inside(name: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return two corners of a box well inside the first finish of a demo picture."""
    outline = np.array(TRUTH[name]["finishes"][0]["polygon"])
    low, high = outline.min(axis=0), outline.max(axis=0)
    first, second = (low + share * (high - low) for share in NEXT_FINISH)
    return (float(first[0]), float(first[1])), (float(second[0]), float(second[1]))


def ranked_plates(visitor: Visitor) -> list[int | None]:
    """Return the plates in the list on the page once it is whole, in its order; None for a predicted recipe."""
    visitor.page.locator('[class*="st-key-panel-place"]').first.wait_for()
    visitor.settle()
    headings = visitor.page.locator(".pm-rank").all_inner_texts()
    numbers = [re.search(r"Plate (\d+)", heading) for heading in headings]
    return [None if number is None else int(number.group(1)) for number in numbers]


def suggested(served: Served, target_id: int) -> list[int | None]:
    """Return the plates that the library suggests for a target, best first; None for a predicted recipe.

    Within what the page starts from: the alloy of the plates made for the target, where there is one.
    """
    with served.studio() as studio:
        alloy = one_alloy(trial.recipe for trial in studio.trials() if trial.target_id == target_id)
        target = studio.target(target_id).reading
        ranked = studio.suggester(target, limits=Limits(alloy=alloy)).suggest(target, 5)
        return [None if item.trial is None else item.trial.id for item in ranked]


def by_measured_distance(served: Served, target_id: int) -> list[int]:
    """Return all plates by CIEDE2000 from a target, worked out here one by one with colour-science."""
    with served.studio() as studio:
        lab = studio.target(target_id).reading.lab
        return [t.id or 0 for t in sorted(studio.trials(), key=lambda t: delta_E_CIE2000(lab, t.reading.lab))]


@pytest.mark.parametrize("phone", [False, True], ids=["wide with a mouse", "390 px by finger"])
def test_a_newcomer_gets_from_a_photograph_to_a_ranked_list_and_a_plate_re_ranks_it(
    demo: Served, visit: Visit, phone: bool
) -> None:
    visitor = visit(demo, phone=phone)
    start_from_photograph(visitor, picture("client_reference.jpg"))
    visitor.sees("Is the outline around it?")
    visitor.shot("card")
    visitor.press("Yes, that is the card")
    visitor.bench().drag(*FINISH)
    visitor.sees("Save and rank the plates")
    visitor.shot("finish")
    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^Plates nearest to"))
    assert visitor.interactions <= MOST_INTERACTIONS
    visitor.shot("ranked")

    with demo.studio() as studio:
        target = studio.targets()[-1]
        plates_before = len(studio.trials())
    assert target.photo == TRUTH["client_reference.jpg"]["sha256"]
    marked = np.array(target.reading.region)
    assert np.allclose([marked.min(axis=0), marked.max(axis=0)], FINISH, atol=8)  # a screen pixel is 2 to 5 of them
    before = suggested(demo, target.id or 0)
    assert ranked_plates(visitor) == before
    assert [plate for plate in before if plate] == by_measured_distance(demo, target.id or 0)[: 5 - before.count(None)]
    first = visitor.page.locator(".pm-steps").first.inner_text()

    visitor.press("Record it as made")
    visitor.sees("from the suggestions")
    visitor.press("Upload", role="radio")
    visitor.upload(picture("next_plate.jpg"))
    visitor.press("Yes, that is the card")
    visitor.bench().drag(*inside("next_plate.jpg"))
    visitor.shot("record")
    visitor.press("Log this plate")
    visitor.sees(re.compile(r"^What plate \d+ changed"))
    visitor.shot("changed")

    with demo.studio() as studio:
        trial = studio.trials()[-1]
        assert len(studio.trials()) == plates_before + 1
    assert steps_of(describe(trial.recipe)) == steps_of(first), "the suggestion's recipe prefills the form"
    assert trial.photos == (TRUTH["next_plate.jpg"]["sha256"],)
    assert trial.target_id == target.id
    assert ranked_plates(visitor) == suggested(demo, target.id or 0)
    nearest_now = by_measured_distance(demo, target.id or 0)
    changed = visitor.page.locator(".pm-changes tbody tr").all_inner_texts()
    place = nearest_now.index(trial.id or 0) + 1
    assert any(re.match(rf"Plate {trial.id} \(new\)\s+not made\s+{place}\b", row) for row in changed), changed
    for now, plate in enumerate(nearest_now[:5], start=1):
        if plate != trial.id:
            then = now - (now > place)
            assert any(re.match(rf"Plate {plate}\s+{then}\s+{now}\b", row) for row in changed), changed
    assert visitor.foreign == []


def test_a_typed_instrument_reading_becomes_a_target_and_a_plate(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open()
    visitor.press(re.compile("^Start from"))
    visitor.press("Instrument or Munsell", role="radio")
    for label, value in (("L*", "35.2"), ("a*", "17.4"), ("b*", "30.1")):
        visitor.type_number(label, value)
    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^Plates nearest to"))
    assert visitor.interactions <= MOST_TYPED
    visitor.press("Record it as made")
    visitor.sees("from the suggestions")
    visitor.page.go_back()
    visitor.sees(re.compile("^Plates nearest to"))
    visitor.settle()
    visitor.press("Record it as made")
    visitor.press("Instrument or Munsell", role="radio")
    for label, value in (("L*", "35.6"), ("a*", "17.0"), ("b*", "29.8")):
        visitor.type_number(label, value)
    visitor.press("Log this plate")
    visitor.sees(re.compile("nearer than any plate before"))
    with demo.studio() as studio:
        assert np.allclose(studio.targets()[-1].reading.lab, [35.2, 17.4, 30.1])
        trial = studio.trials()[-1]
        assert np.allclose(trial.reading.lab, [35.6, 17.0, 29.8])
        assert trial.reading.source == "instrument"
        assert trial.photos == ()


def test_card_and_finish_can_be_marked_by_hand_undone_and_placed_by_the_keyboard(demo: Served, visit: Visit) -> None:
    """The card by its four corners in any order; then the finish, with the keyboard alone in the end."""
    visitor = visit(demo)
    start_from_photograph(visitor, picture("client_reference.jpg"))
    visitor.sees("Is the outline around it?")
    visitor.press("Clear")
    corners: list[Any] = TRUTH["client_reference.jpg"]["cards"][0]["corners"]
    bench = visitor.bench()
    for k in (2, 0, 3, 1):
        bench.tap(tuple(corners[k]))
    visitor.press("Use this card")
    visitor.sees("marked by its corners")

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
    visitor.press("Clear")

    step = 1600 / visitor.bench().stage.bounding_box()["width"]  # picture pixels to a screen pixel
    visitor.page.get_by_role("button", name="Place a box").focus()
    visitor.page.keyboard.press("Enter")
    left, top, right, bottom = box_on(visitor)
    for key, times in (("Alt+Shift+ArrowLeft", 12), ("Alt+Shift+ArrowDown", 1), ("ArrowRight", 4)):
        for _ in range(times):
            visitor.page.keyboard.press(key)
    visitor.told(lambda: visitor.page.keyboard.press("ArrowRight"), at_most_ms=600)
    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^Plates nearest to"))
    with demo.studio() as studio:
        found, by_hand = studio.targets()
    assert np.abs(found.reading.lab - by_hand.reading.lab).max() < 2.0, "both are readings of one finish"
    region = by_hand.reading.region
    assert region is not None
    wanted = (left - 115 * step, top + 10 * step, right - 120 * step, bottom + 10 * step)
    assert (*region.min(axis=0), *region.max(axis=0)) == pytest.approx(wanted, abs=2 * step)


def box_on(visitor: Visitor) -> tuple[float, float, float, float]:
    """Return left, top, right, bottom of the marked box in picture pixels, as its corners are read out."""
    said = [grip.get_attribute("aria-label") for grip in visitor.page.locator(".grip").all()]
    corners = [tuple(map(float, re.search(r"at (\d+), (\d+) pixels", label or "").groups())) for label in said]  # type: ignore[union-attr]
    xs, ys = zip(*corners, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def test_by_a_neutral_spot_and_of_two_plates_the_person_says_what_is_meant(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    start_from_photograph(visitor, picture("two_plates.jpg"))
    visitor.press("Neutral spot", role="radio")
    middle = np.mean(TRUTH["two_plates.jpg"]["cards"][0]["corners"], axis=0)
    visitor.bench().drag(tuple(middle - 60), tuple(middle + 60))
    visitor.press("Use this spot")
    bench = visitor.bench()
    for finish in TRUTH["two_plates.jpg"]["finishes"]:
        outline = np.array(finish["polygon"])
        low, high = outline.min(axis=0), outline.max(axis=0)
        bench.drag(tuple(low + 0.3 * (high - low)), tuple(low + 0.7 * (high - low)))
    visitor.sees("Which mark should be used?")
    visitor.page.get_by_text(re.compile("^1: L")).click()
    visitor.settle()
    visitor.sees(re.compile("only a spot taken as neutral"))
    visitor.shot("two-plates")
    visitor.press("Save and rank the plates")
    first = np.array(TRUTH["two_plates.jpg"]["finishes"][0]["polygon"])
    with demo.studio() as studio:
        region = np.array(studio.targets()[-1].reading.region)
    assert (region.min(axis=0) >= first.min(axis=0)).all() and (region.max(axis=0) <= first.max(axis=0)).all()


def test_by_finger_drawing_does_not_scroll_two_fingers_look_closer_and_an_outline_marks(
    demo: Served, visit: Visit
) -> None:
    visitor = visit(demo, phone=True)
    start_from_photograph(visitor, picture("client_reference.jpg"))
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
    visitor.press("Clear")
    visitor.press("Outline")
    around = np.linspace(0, 2 * np.pi, 40)
    visitor.bench().stroke([(480 + 130 * float(np.cos(t)), 615 + 100 * float(np.sin(t))) for t in around])

    box = visitor.bench().stage.bounding_box()
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

    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^Plates nearest to"))
    with demo.studio() as studio:
        region = np.array(studio.targets()[-1].reading.region)
    assert 8 <= len(region) <= 28
    radius = np.hypot((region[:, 0] - 480) / 130, (region[:, 1] - 615) / 100)
    assert np.abs(radius - 1).max() < 0.15


def test_a_proposed_outline_is_read_only_once_it_is_confirmed_by_the_keyboard_too(demo: Served, visit: Visit) -> None:
    """Of two plates the second is taken; drawn over, or cleared, the proposals go and come back."""
    from playwright.sync_api import expect

    visitor = visit(demo)
    start_from_photograph(visitor, picture("two_plates.jpg"))
    visitor.press("Yes, that is the card")
    visitor.sees("2 plates found, nothing read yet")
    words = visitor.page.locator(".lines .proposed text")
    expect(words).to_have_text(["Area 1?", "Area 2?"], timeout=PATIENCE_MS)
    assert visitor.page.get_by_role("button", name="Save and rank the plates").count() == 0
    visitor.shot("proposed")
    visitor.bench().drag((300, 500), (400, 650))
    expect(words).to_have_count(0, timeout=PATIENCE_MS)
    visitor.press("Clear")
    expect(words).to_have_count(2, timeout=PATIENCE_MS)
    visitor.page.get_by_role("button", name="Read area 2").focus()
    visitor.told(lambda: visitor.page.keyboard.press("Enter"), at_most_ms=600)
    visitor.sees("1 finish marked.")
    expect(words).to_have_count(0, timeout=PATIENCE_MS)
    visitor.shot("proposed-read")
    visitor.press("Save and rank the plates")
    second = np.array(TRUTH["two_plates.jpg"]["finishes"][1]["polygon"])
    with demo.studio() as studio:
        region = np.array(studio.targets()[-1].reading.region)
    assert second[:, 0].min() - 60 < region[:, 0].min() and region[:, 0].max() < second[:, 0].max() + 60


def test_two_plates_in_one_photograph_are_recorded_with_one_upload_and_one_card(demo: Served, visit: Visit) -> None:
    """The second record takes over photograph and card; what the first was read from is drawn, and not offered."""
    visitor = visit(demo)
    visitor.open("record")
    visitor.sees("Record a plate")
    assert visitor.page.get_by_role("button", name=re.compile("Use it again$")).count() == 0
    visitor.press("Upload", role="radio")
    visitor.upload(picture("two_plates.jpg"))
    visitor.press("Yes, that is the card")
    visitor.press("Read area 1")
    visitor.press("Log this plate")
    visitor.sees(re.compile("^What plate 104 changed|Plate 104"))
    visitor.settle()
    visitor.open("record")
    visitor.press("Does the photograph of plate 104 show it too? Use it again")
    visitor.sees("1 plate found, nothing read yet")
    visitor.shot("once-more")
    assert visitor.page.get_by_role("button", name=re.compile("card$")).all_inner_texts() == ["Change the card"]
    visitor.press("Read this area")
    visitor.press("Log this plate")
    visitor.sees(re.compile("^What plate 105 changed|Plate 105"))
    visitor.settle()
    with demo.studio() as studio:
        first, second = studio.trials()[-2:]
        assert first.reading.photo == second.reading.photo == TRUTH["two_plates.jpg"]["sha256"]
        assert first.reading.conditions.card.corners == second.reading.conditions.card.corners
        regions = [np.array(trial.reading.region) for trial in (first, second)]
    assert np.linalg.norm(regions[0].mean(axis=0) - regions[1].mean(axis=0)) > 100
    visitor.open("record")
    visitor.press("Does the photograph of plate 105 show it too? Use it again")
    visitor.sees(re.compile("No plate is proposed|Draw a box"))
    assert visitor.page.get_by_role("button", name=re.compile("^Read ")).count() == 0
    visitor.press("Use another photograph")
    visitor.sees("Upload")


def test_on_a_phone_a_proposal_and_its_button_stand_in_the_first_screen(demo: Served, visit: Visit) -> None:
    visitor = visit(demo, phone=True)
    start_from_photograph(visitor, picture("client_reference.jpg"))
    visitor.press("Yes, that is the card")
    visitor.sees("1 plate found, nothing read yet")
    visitor.shot("proposed")
    visitor.page.evaluate("document.querySelector('[data-testid=stMain]').scrollTop = 0")
    button, stage = (
        visitor.page.get_by_role("button", name="Read this area").bounding_box(),
        visitor.page.locator(".stage").bounding_box(),
    )
    assert button["height"] >= 44 and button["y"] > 0
    assert max(item["y"] + item["height"] for item in (button, stage)) <= 844
