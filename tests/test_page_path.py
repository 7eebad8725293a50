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

from matcher.demo.studio import walk_through
from matcher.plan.inventory import one_alloy
from matcher.plan.limits import Limits
from matcher.recipe.recipe import describe
from matcher.shipped import shipped
from tests.browser import Served, Visitor

Visit = Callable[..., Visitor]
TRUTH = json.loads((shipped("demo_images") / "truth.json").read_text(encoding="utf-8"))["pictures"]
MOST_INTERACTIONS = 8
FINISH = (340.0, 510.0), (620.0, 720.0)  # well inside the client's piece
NEXT_FINISH = (0.3, 0.7)  # the middle of a finish, as shares of its outline


def picture(name: str) -> Path:
    return shipped("demo_images") / name


def start_from_photograph(visitor: Visitor, file: Path) -> None:
    visitor.open()
    visitor.press(re.compile("^Start from"))
    visitor.press("Upload", role="radio")
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
        ranked = studio.suggester(limits=Limits(alloy=alloy)).suggest(studio.target(target_id).reading, 5)
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
    visitor.page.locator(".js-plotly-plot").first.wait_for()
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

    visitor.press("Make this plate")
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


def test_without_a_card_the_list_still_comes_and_says_that_it_is_less_sure(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    start_from_photograph(visitor, picture("plate_no_card.jpg"))
    visitor.sees(re.compile("^No card found for certain"))
    visitor.press("Nothing", role="radio")
    visitor.sees(re.compile("Without a card the light's colour and strength are guessed"))
    visitor.press("Continue without a card")
    visitor.bench().drag(*inside("plate_no_card.jpg"))
    visitor.sees(re.compile("no card in this photo", re.IGNORECASE))
    visitor.shot("no-card")
    visitor.press("Save and rank the plates")
    assert visitor.interactions <= MOST_INTERACTIONS
    visitor.sees(re.compile("^Warnings about this reading"))
    with demo.studio() as studio:
        with_card, without = studio.targets()
        assert "no-card" in {caveat.code for caveat in without.reading.caveats}
        lightness_alone = without.reading.covariance[0, 0], with_card.reading.covariance[0, 0]
        assert lightness_alone[0] > 2 * lightness_alone[1], "without a card the exposure is a guess"


def test_something_neutral_can_stand_in_for_the_card(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    start_from_photograph(visitor, picture("client_reference.jpg"))
    visitor.press("Neutral spot", role="radio")
    corners = np.array(TRUTH["client_reference.jpg"]["cards"][0]["corners"])
    middle = corners.mean(axis=0)
    visitor.bench().drag(tuple(middle - 120), tuple(middle + 120))
    visitor.press("Use this spot")
    visitor.bench().drag(*FINISH)
    visitor.sees("Save and rank the plates")
    visitor.sees(re.compile("only a spot taken as neutral"))


def test_a_typed_instrument_reading_becomes_a_target_and_a_plate(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open()
    visitor.press(re.compile("^Start from"))
    visitor.press("Instrument or Munsell", role="radio")
    for label, value in (("L*", "35.2"), ("a*", "17.4"), ("b*", "30.1")):
        visitor.type_number(label, value)
    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^Plates nearest to"))
    assert visitor.interactions <= MOST_INTERACTIONS
    visitor.press("Make this plate")
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


def test_the_card_can_be_marked_by_its_four_corners_in_any_order(demo: Served, visit: Visit) -> None:
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
    visitor.bench().drag(*FINISH)
    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^Plates nearest to"))
    with demo.studio() as studio:
        found, by_hand = studio.targets()
        assert np.abs(found.reading.lab - by_hand.reading.lab).max() < 2.0, "both are readings of one finish"


def test_of_two_plates_side_by_side_the_person_says_which_is_meant(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    start_from_photograph(visitor, picture("two_plates.jpg"))
    visitor.press("Yes, that is the card")
    bench = visitor.bench()
    for finish in TRUTH["two_plates.jpg"]["finishes"]:
        outline = np.array(finish["polygon"])
        low, high = outline.min(axis=0), outline.max(axis=0)
        bench.drag(tuple(low + 0.3 * (high - low)), tuple(low + 0.7 * (high - low)))
    visitor.sees("Which mark should be used?")
    visitor.page.get_by_text(re.compile("^1: L")).click()
    visitor.settle()
    visitor.shot("two-plates")
    visitor.press("Save and rank the plates")
    first = np.array(TRUTH["two_plates.jpg"]["finishes"][0]["polygon"])
    with demo.studio() as studio:
        region = np.array(studio.targets()[-1].reading.region)
    assert (region.min(axis=0) >= first.min(axis=0)).all() and (region.max(axis=0) <= first.max(axis=0)).all()


def test_an_outline_drawn_in_one_stroke_marks_the_finish(demo: Served, visit: Visit) -> None:
    visitor = visit(demo, phone=True)
    start_from_photograph(visitor, picture("client_reference.jpg"))
    visitor.press("Yes, that is the card")
    visitor.press("Outline")
    around = np.linspace(0, 2 * np.pi, 40)
    visitor.bench().stroke([(480 + 130 * float(np.cos(t)), 615 + 100 * float(np.sin(t))) for t in around])
    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^Plates nearest to"))
    with demo.studio() as studio:
        region = np.array(studio.targets()[-1].reading.region)
    assert 8 <= len(region) <= 28
    radius = np.hypot((region[:, 0] - 480) / 130, (region[:, 1] - 615) / 100)
    assert np.abs(radius - 1).max() < 0.15


def test_the_walk_through_of_the_demo_lands_nearer_than_any_plate_before(demo: Served, visit: Visit) -> None:
    """The demo's own story: its next plate is the one that comes closest."""
    story = walk_through()
    visitor = visit(demo)
    visitor.open("record")
    visitor.press("Upload", role="radio")
    visitor.upload(story.next_photo)
    visitor.press("Yes, that is the card")
    low, high = np.array(story.next_region).min(axis=0), np.array(story.next_region).max(axis=0)
    visitor.bench().drag(tuple(low + 0.15 * (high - low)), tuple(low + 0.85 * (high - low)))
    visitor.press("Log this plate")
    visitor.sees(re.compile("nearer than any plate before"))
