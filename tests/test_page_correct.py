"""Correcting what was typed of a logged plate, on the log's page: without a browser, then once in Chromium.

Plates are invented.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.studio import Studio
from matcher.trials.facts import facts_of
from matcher.trials.trial import StageReading, Target, Trial
from tests.app_pages import plain
from tests.browser import Served, Visitor
from ui.recipe.recipe_form import fields_of

APP = Path(__file__).parents[1] / "ui" / "app.py"
Open = Callable[[], AppTest]

RECIPE = Recipe(
    "silicon bronze",
    Undercoat("liver of sulphur", 0.5, 0.25),
    (Coat("ferric nitrate", 0.35, 6, 105.5, "stipple", "Fe-1"), Coat("cupric nitrate", 0.25, 2, 98.0)),
    Seal("shellac", 2, hot=True),
    "sandblasted",
)


@pytest.fixture
def studio(tmp_path: Path) -> Any:
    """A studio with one plate in which everything is filled in, made for a target that is set aside by now."""
    with Studio.open(tmp_path / "studio") as opened:
        opened.save_stock("Fe-1", "Ferric nitrate", 400.0)
        opened.save_target(Target("Heron", Reading(lab=np.array([38.0, 14.0, 22.0]))))
        opened.save_target(Target("Railing", Reading(lab=np.array([30.0, 12.0, 15.0]))))
        opened.set_target_aside(2)
        stages = (StageReading("bare", Reading(lab=np.array([70.0, 4.0, 18.0]))),)
        plate = Trial(RECIPE, Reading(lab=np.array([38.0, 14.0, 22.0])), made_by="Ann", piece="H-7", target_id=2)
        opened.record(replace(plate, stages=stages, notes="even", ambient_temp_c=18.5, ambient_humidity_percent=60.0))
        yield opened


@pytest.fixture
def page(monkeypatch: pytest.MonkeyPatch, studio: Studio) -> Open:
    """Open plate 1 in the log; again for what a reload, or another screen, shows."""
    monkeypatch.setenv("MATCHER_STUDIO", studio.name)

    def open_page() -> AppTest:
        app = AppTest.from_file(str(APP), default_timeout=60).run()
        app.query_params["plate"] = "1"
        return app.switch_page("screens/log.py").run()

    return open_page


def said(app: AppTest) -> str:
    """Return all HTML of the page, without tags."""
    assert not app.exception
    return html.unescape(re.sub(r"<[^>]+>", " ", " ".join(plain(element.proto.body) for element in app.get("html"))))


def press(app: AppTest, key: str) -> AppTest:
    return app.button(key=key).click().run()


def begun(app: AppTest) -> AppTest:
    return press(app, "correct.1")


def number(app: AppTest, label: str) -> Any:
    return next(widget for widget in app.number_input if widget.label == label)


def test_the_form_is_filled_with_what_is_logged_and_changes_nothing_by_itself(page: Open, studio: Studio) -> None:
    app = begun(page())
    assert "Nothing yet: it matches the log." in said(app)
    assert "Nothing differs from what is logged" in said(press(app, "correct.save.1"))
    assert studio.corrections(1) == []


def test_a_correction_says_what_it_changes_saves_it_and_is_listed_with_what_was_before(
    page: Open, studio: Studio
) -> None:
    before = studio.trial(1)
    app = begun(page())
    number(app, "Passes").set_value(8).run()
    assert "Coat 1, passes: 8, was 6" in said(app)
    assert studio.trial(1).as_dict() == before.as_dict(), "not before it is saved"
    app = press(app, "correct.save.1")
    assert "Plate 1 is corrected. Coat 1, passes: 8, was 6." in said(app)
    coats = (replace(RECIPE.coats[0], passes=8), RECIPE.coats[1])
    assert facts_of(studio.trial(1)) == replace(facts_of(before), recipe=replace(RECIPE, coats=coats))
    again = page()
    assert [expander.label for expander in again.expander if "orrected" in expander.label] == ["Corrected once"]
    assert "6 passes as stipple at 106" in said(again)
    assert studio.draft("correction of plate 1") is None


def test_a_half_typed_correction_comes_back_and_can_be_left(page: Open, studio: Studio) -> None:
    number(begun(page()), "Passes").set_value(8).run()
    again = page()
    assert number(again, "Passes").value == 8
    left = press(again, "correct.leave.1")
    assert left.button(key="correct.1") is not None
    assert studio.trial(1).recipe == RECIPE and studio.draft("correction of plate 1") is None


def test_what_cannot_be_is_said_and_nothing_typed_is_lost(page: Open, studio: Studio) -> None:
    app = begun(page())
    number(app, "Strength (1 is stock)").set_value(5.0).run()
    app = press(app, "correct.save.1")
    assert "The correction was not made. Undercoat: give the undercoat's strength as a number from 0 to 1" in said(app)
    assert number(app, "Strength (1 is stock)").value == 5.0
    number(app, "Strength (1 is stock)").set_value(0.5).run()
    made_on = next(field for field in app.text_input if field.label == "Made on")
    assert "Give the day as 2025-03-31: 'spring' is not one." in said(made_on.set_value("spring").run())
    assert studio.corrections(1) == []


def test_what_is_corrected_elsewhere_meanwhile_is_told_and_neither_correction_is_lost(
    page: Open, studio: Studio
) -> None:
    app = begun(page())
    number(app, "Passes").set_value(8).run()
    logged = facts_of(studio.trial(1))
    studio.correct(1, replace(logged, notes="streaky"), instead_of=logged)
    app = press(app, "correct.save.1")
    assert "Plate 1 was corrected elsewhere meanwhile (Notes: streaky, was even)" in said(app)
    assert studio.trial(1).recipe == RECIPE, "it is not saved before it was looked at"
    press(app, "correct.save.1")
    assert (studio.trial(1).notes, studio.trial(1).recipe.coats[0].passes) == ("streaky", 8)
    assert len(studio.corrections(1)) == 2


def test_typing_on_after_another_screen_has_saved_begins_from_what_is_logged_now(page: Open, studio: Studio) -> None:
    one = begun(page())
    other = page()
    number(one, "Passes").set_value(8).run()
    press(one, "correct.save.1")
    number(other, "Humidity, %").set_value(55.0).run()
    assert number(other, "Passes").value == 8
    assert "Humidity: 55 %, was 60 %" in said(other) and "Coat 1, passes" not in said(other)
    press(other, "correct.save.1")
    assert (studio.trial(1).ambient_humidity_percent, studio.trial(1).recipe.coats[0].passes) == (55.0, 8)


def test_what_another_screen_typed_is_looked_at_here_before_it_is_saved(page: Open, studio: Studio) -> None:
    one = begun(page())
    number(one, "Passes").set_value(4).run()
    other = page()
    number(other, "Passes").set_value(5).run()
    one = press(one, "correct.save.1")
    assert "Not saved: this form was changed on another screen." in said(one)
    assert number(one, "Passes").value == 5 and "Coat 1, passes: 5, was 6" in said(one)
    assert studio.corrections(1) == [], "the 4 that this screen showed was not what would have been saved"
    press(one, "correct.save.1")
    assert studio.trial(1).recipe.coats[0].passes == 5


def test_an_import_names_the_plates_whose_copy_says_something_else(page: Open, studio: Studio, tmp_path: Path) -> None:
    studio.export(tmp_path / "before.zip")
    was = facts_of(studio.trial(1))
    studio.correct(1, replace(was, notes="streaky"), instead_of=was)
    app = AppTest.from_file(str(APP), default_timeout=60).run().switch_page("screens/log.py").run()
    files: list[Any] = list(app.get("file_uploader"))
    files[0].set_value(("before.zip", (tmp_path / "before.zip").read_bytes(), "application/zip")).run()
    assert "Plate 1 differs from the file's copy and stays as it is here" in said(press(app, "log.take"))
    assert studio.trial(1).notes == "streaky"


def test_a_draft_that_makes_no_sense_does_no_harm(page: Open, studio: Studio) -> None:
    studio.save_draft("correction of plate 1", {**fields_of(RECIPE), "before": {"recipe": "none"}, "notes": "new"})
    app = page()
    assert "Notes: new, was even" in said(app)


def test_on_a_phone_a_plate_is_corrected_from_the_log(demo: Served, visit: Callable[..., Visitor]) -> None:
    visitor = visit(demo, phone=True)
    visitor.open("log?plate=7")
    visitor.press("Correct this entry")
    visitor.type_number("Surface, °C", "112")
    visitor.sees("Coat, surface temperature: 112 °C, was 105 °C")
    visitor.shot("correct")
    visitor.press("Save the correction")
    visitor.sees(re.compile("Plate 7 is corrected"))
    visitor.shot("corrected")
    with demo.studio() as studio:
        assert studio.trial(7).recipe.coats[0].surface_temp_c == 112
        assert studio.corrections(7)[0].recipe.coats[0].surface_temp_c == 105
