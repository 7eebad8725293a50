"""Nothing typed or uploaded is lost: reloads, refusals, and a studio carried to another one, in Chromium."""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np

from matcher.shipped import shipped
from matcher.studio import Studio
from tests.browser import Served, Visitor

Visit = Callable[..., Visitor]
Serve = Callable[[Path], Served]


def client_picture() -> Path:
    return shipped("demo_images") / "client_reference.jpg"


def test_a_reload_brings_back_photograph_marks_and_name_and_daylight_makes_the_reading_surer(
    demo: Served, visit: Visit
) -> None:
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
    unknown = plus_minus(visitor)
    visitor.page.get_by_text("Taken in daylight").click()
    visitor.settle()
    assert sum(plus_minus(visitor)) < sum(unknown)
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


def test_the_studio_is_carried_to_another_one_through_the_page(
    demo: Served, visit: Visit, serve: Serve, tmp_path: Path
) -> None:
    visitor = visit(demo)
    visitor.open("log")
    visitor.page.get_by_text("Export, import and backup", exact=True).click()
    export = shutil.copy(visitor.download("Export the studio"), tmp_path / "carried.zip")
    table = shutil.copy(visitor.download("Table of plates"), tmp_path / "plates.csv")
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


def plus_minus(visitor: Visitor) -> list[float]:
    """Return the ± of L*, a*, b* beside the picture."""
    said = visitor.page.locator(".pm-lab small").all_inner_texts()
    return [float(text.replace("±", "")) for text in said[:3]]
