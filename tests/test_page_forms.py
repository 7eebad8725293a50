"""Nothing typed or uploaded is lost: wrong files, reloads, failures; and the log page's own forms, in Chromium."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from matcher.demo.studio import walk_through
from matcher.shipped import shipped
from matcher.studio import Studio
from tests.browser import Served, Visitor

Visit = Callable[..., Visitor]
Serve = Callable[[Path], Served]


def client_picture() -> Path:
    return shipped("demo_images") / "client_reference.jpg"


@pytest.mark.parametrize(
    ("name", "content"),
    [("plate.jpg", b"this is no picture"), ("plate.png", b""), ("cut.jpg", client_picture().read_bytes()[:20_000])],
    ids=["text", "empty", "cut short"],
)
def test_a_file_that_is_no_photograph_gets_a_sentence_and_keeps_the_rest(
    demo: Served, visit: Visit, name: str, content: bytes
) -> None:
    visitor = visit(demo)
    visitor.open("record")
    visitor.page.get_by_label("Mark on the plate").fill("kept")
    visitor.press("Upload", role="radio")
    visitor.upload({"name": name, "mimeType": "image/jpeg", "buffer": content})
    alert = visitor.page.get_by_role("alert").first
    alert.wait_for()
    assert name in alert.inner_text()
    assert "Traceback" not in visitor.page.content()
    assert visitor.page.get_by_label("Mark on the plate").input_value() == "kept"
    visitor.upload(client_picture())
    visitor.sees("Is the outline around it?")


def test_a_wrong_file_leaves_the_photograph_before_it_as_it_was(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("target")
    visitor.press("Upload", role="radio")
    visitor.upload(client_picture())
    visitor.press("Yes, that is the card")
    visitor.bench().drag((340, 510), (620, 720))
    name = visitor.page.get_by_label("Name of the target")
    visitor.told(lambda: name.fill("Heron's back"), at_most_ms=800)
    visitor.page.reload()
    visitor.page.locator(".stage img.picture").wait_for()
    visitor.settle()
    assert visitor.page.get_by_label("Name of the target").input_value() == "Heron's back"
    visitor.sees("1 finish marked.")
    visitor.press("Save and rank the plates")
    visitor.sees("Plates nearest to Heron's back")
    with demo.studio() as studio:
        region = np.array(studio.targets()[-1].reading.region)
    assert np.allclose([region.min(axis=0), region.max(axis=0)], [(340, 510), (620, 720)], atol=8)


def test_a_reload_brings_back_what_was_typed_even_in_a_field_that_was_never_left(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("record")
    page = visitor.page
    visitor.type_number("Passes", "11")
    page.get_by_label("Mark on the plate").fill("H-7")
    notes = page.get_by_label("Notes")
    notes.focus()  # which leaves the field before it, and tells that one
    visitor.settle()
    visitor.told(lambda: notes.fill("hissed well, a little stre"), at_most_ms=3_000)
    humidity = page.get_by_role("spinbutton", name="Humidity, %", exact=True)
    humidity.focus()
    visitor.settle()
    visitor.told(lambda: humidity.fill("43"), at_most_ms=3_000)  # and the cursor stays in it
    page.reload()
    page.get_by_label("Mark on the plate").wait_for()
    visitor.settle()
    assert page.get_by_role("spinbutton", name="Passes", exact=True).input_value() == "11"
    assert page.get_by_label("Mark on the plate").input_value() == "H-7"
    assert page.get_by_label("Notes").input_value() == "hissed well, a little stre"
    assert page.get_by_role("spinbutton", name="Humidity, %", exact=True).input_value() == "43"
    visitor.open()
    visitor.sees("Continue with the plate you are making")


def test_a_plate_that_cannot_be_logged_says_why_and_keeps_everything(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("record")
    visitor.page.get_by_label("Mark on the plate").fill("H-8")
    visitor.type_number("Surface, °C", "900")
    visitor.press("Instrument or Munsell", role="radio")
    for label, value in (("L*", "36"), ("a*", "14"), ("b*", "24")):
        visitor.type_number(label, value)
    visitor.press("Log this plate")
    visitor.sees(re.compile("The plate was not logged"))
    visitor.sees(re.compile("surface temperature as a number from 0 to 400"))
    assert visitor.page.get_by_label("Mark on the plate").input_value() == "H-8"
    with demo.studio() as studio:
        assert len(studio.trials(include_set_aside=True)) == 103
    visitor.type_number("Surface, °C", "105")
    visitor.press("Log this plate")
    visitor.sees(re.compile(r"^What plate 104 changed"))


def test_a_suggestion_lays_the_half_recorded_plate_by_and_gives_it_back(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("record")
    mark = visitor.page.get_by_label("Mark on the plate")
    visitor.told(lambda: mark.fill("half done"), at_most_ms=800)
    visitor.open("suggestions")
    visitor.press("Make this plate")
    visitor.sees("from the suggestions")
    assert visitor.page.get_by_label("Mark on the plate").input_value() == ""
    visitor.press("Go back to the plate I was recording before")
    assert visitor.page.get_by_label("Mark on the plate").input_value() == "half done"


def test_a_lost_photograph_is_said_and_another_one_can_be_taken(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("target")
    visitor.press("Upload", role="radio")
    story = walk_through()
    visitor.upload(story.next_photo)
    visitor.sees("Is the outline around it?")
    with demo.studio() as studio:
        draft = studio.draft("target")
        assert draft is not None
        studio.photo_path(draft["photo"]).unlink()
    visitor.open("target")
    assert visitor.page.get_by_role("alert").first.inner_text()
    assert "Traceback" not in visitor.page.content()
    visitor.press("Use another photograph")
    visitor.upload(client_picture())
    visitor.sees("Is the outline around it?")


def test_a_plate_is_set_aside_with_a_reason_and_taken_back(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("log")
    visitor.page.get_by_label("Find plates").fill("plate 103")
    visitor.sees("1 of 103 plates")
    visitor.press("Open")
    visitor.page.get_by_text("Set this plate aside").click()
    visitor.press(re.compile("^Set aside$"))
    visitor.page.get_by_role("alert").first.wait_for()  # it asks for a reason
    reason = visitor.page.get_by_label("Reason")
    visitor.told(lambda: reason.fill("overheated at one edge"), at_most_ms=600)
    visitor.press(re.compile("^Set aside$"))
    visitor.sees("Set aside: overheated at one edge")
    with demo.studio() as studio:
        assert studio.trial(103).set_aside == "overheated at one edge"
        assert 103 not in {trial.id for trial in studio.trials()}
    visitor.press(re.compile("^Restore"))
    visitor.sees("Set this plate aside")
    with demo.studio() as studio:
        assert studio.trial(103).set_aside is None


def test_the_studio_is_carried_to_another_one_through_the_page(
    demo: Served, visit: Visit, serve: Serve, tmp_path: Path
) -> None:
    visitor = visit(demo)
    visitor.open("log")
    with visitor.page.expect_download() as waiting:
        visitor.press("Export the studio")
    export = tmp_path / "carried.zip"
    waiting.value.save_as(export)
    with visitor.page.expect_download() as waiting:
        visitor.press("Table of plates")
    table = tmp_path / "plates.csv"
    waiting.value.save_as(table)
    with table.open(encoding="utf-8-sig", newline="") as file:
        assert len(list(csv.DictReader(file))) == 103

    Studio.open(tmp_path / "new").close()
    other = visit(serve(tmp_path / "new"))
    other.open("log")
    other.sees("Nothing is logged yet")
    other.upload(export)
    other.press("Import")
    other.sees(re.compile("^Imported: 103 new plates"))
    with Studio.open(tmp_path / "new") as studio:
        assert len(studio.trials(include_set_aside=True)) == 103


def test_the_studios_own_measured_card_is_kept_and_used(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("target")
    visitor.press("Upload", role="radio")
    visitor.upload(client_picture())
    visitor.page.get_by_text("My grey card has been measured").click()
    name = visitor.page.get_by_label("Name of the card")
    visitor.told(lambda: name.fill("bench card"), at_most_ms=600)
    for label, value in (("L*", "52"), ("a*", "0"), ("b*", "0")):
        visitor.type_number(label, value)
    visitor.press("Save this card")
    visitor.press("Yes, that is the card")
    visitor.bench().drag((340, 510), (620, 720))
    visitor.press("Save and rank the plates")
    visitor.sees(re.compile("^Plates nearest to"))
    with demo.studio() as studio:
        assert [card.name for card in studio.own_cards()] == ["bench card"]
        nominal, measured = studio.targets()
    assert measured.reading.lab[0] > nominal.reading.lab[0] + 1, "a lighter card makes everything lighter"


def plus_minus(visitor: Visitor) -> list[float]:
    """Return the ± of L*, a*, b* beside the picture."""
    said = visitor.page.locator(".pm-lab small").all_inner_texts()
    return [float(text.replace("±", "")) for text in said[:3]]


def test_saying_that_it_was_daylight_makes_the_reading_surer(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("target")
    visitor.press("Upload", role="radio")
    visitor.upload(client_picture())
    visitor.press("Yes, that is the card")
    visitor.bench().drag((340, 510), (620, 720))
    unknown = plus_minus(visitor)
    visitor.page.get_by_text("Taken in daylight").click()
    visitor.settle()
    assert sum(plus_minus(visitor)) < sum(unknown)
