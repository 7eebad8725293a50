"""Photographs read again on the page: one plate's from the log, and all that a new camera profile fits."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.photo.photo import open_photo
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.tags.code import TagCode
from matcher.tags.search import find_plates
from matcher.trials.trial import Trial
from tests.app_pages import open_page, said_on
from tests.plates import a_recipe
from tests.scenes import BROWN, GREY, Scene, box, draw_card, png
from tests.tagged_plates import CARD, LAMPS, bench_with

APP = Path(__file__).parents[1] / "ui" / "app.py"
Open = Callable[..., AppTest]


@pytest.fixture
def studio(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Studio]:
    """A studio with one plate, read as of an unknown light by a card that was found."""
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    picture = png(Scene().lay(box(380, 150, 680, 450), BROWN).lay(box(80, 200, 260, 340), GREY).codes())
    photo = open_photo(picture)
    reading = read_finish(photo, calibrate(photo, find_card(photo)), box(400, 170, 660, 430))
    with Studio.open(tmp_path / "studio") as opened:
        opened.record(Trial(a_recipe(), reading, photos=(opened.keep_photo(picture, "plate.png"),)))
        yield opened


@pytest.fixture
def page(studio: Studio) -> Open:
    return open_page


def press(app: AppTest, label: str) -> AppTest:
    assert not app.exception
    return next(button for button in app.button if button.label == label).click().run()


def kept_button(app: AppTest) -> str:
    """Return how the button that keeps a reading is dressed."""
    return str(next(button for button in app.button if button.label == "Keep this reading").proto.type)


def test_a_plate_is_read_again_from_the_log(page: Open, studio: Studio) -> None:
    before = studio.trial(1).reading
    app = press(page("log", plate="1"), "Read its photograph again")
    assert not app.exception and "Nothing changed" in said_on(app) and kept_button(app) == "secondary"
    next(toggle for toggle in app.toggle if toggle.label == "Taken in daylight").set_value(True).run()
    app = page("log", plate="1")
    assert next(toggle for toggle in app.toggle if toggle.label == "Taken in daylight").value, "kept over a reload"
    assert "Nothing changed" not in said_on(app) and kept_button(app) == "primary"
    app = press(app, "Keep this reading")
    assert "reason" in said_on(app), "a reason is asked for, and nothing is lost"
    assert studio.trial(1).reading.as_dict() == before.as_dict()
    next(field for field in app.text_input if field.label == "Why is it read again?").input("it was daylight").run()
    app = press(app, "Keep this reading")
    assert not app.exception
    after = studio.trial(1).reading
    assert after.conditions is not None and after.conditions.in_daylight
    assert np.trace(after.covariance) < np.trace(before.covariance)
    (earlier,) = studio.readings.earlier("plate", 1)
    assert earlier.reading.as_dict() == before.as_dict()
    assert "Earlier readings (1)" in [item.label for item in app.expander]


def test_it_can_be_left_as_it_was(page: Open, studio: Studio) -> None:
    before = studio.trial(1).reading.as_dict()
    app = press(press(page("log", plate="1"), "Read its photograph again"), "Leave it as it was")
    assert "Read its photograph again" in [button.label for button in app.button]
    assert studio.trial(1).reading.as_dict() == before and studio.readings.earlier("plate", 1) == []


def test_all_that_a_profile_fits_is_shown_before_it_is_kept(page: Open, studio: Studio) -> None:
    chart = Scene(lab=(70, 2, 8)).lay_picture(box(200, 130, 600, 400), draw_card(load_cards()["24-patch chart"], 240))
    photo = chart.photo()
    studio.save_profile(profile_from_chart(photo, find_card(photo, "24-patch chart"), "bench"))
    before = studio.trial(1).reading
    app = page("camera")
    next(radio for radio in app.radio if "this profile's light" in radio.label).set_value("Yes, all of them").run()
    app = press(app, "Read again what this profile fits")
    assert studio.trial(1).reading.as_dict() == before.as_dict(), "nothing is kept unasked"
    app = press(app, "Keep 1 new reading")
    assert not app.exception
    after = studio.trial(1).reading
    assert after.conditions is not None and after.conditions.profile == "bench"
    assert np.trace(after.covariance) < np.trace(before.covariance) / 2
    app = press(page("camera"), "Read again what this profile fits")
    assert "left to read again" in said_on(app)


@pytest.fixture
def beside_a_plate(studio: Studio) -> Studio:
    """The same with a tagged plate in the photograph of another."""
    tag = TagCode(studio.tag_signs, 7)
    shown = bench_with({"known": (40, 13, 22), "new": (33, 9, 9)}, {"known": tag}, LAMPS)
    photo = open_photo(shown.data)
    (seen,) = find_plates(photo)
    measured = Reading((40, 13, 22), 0.25 * np.eye(3), region=shown.finishes["known"])
    studio.record(Trial(a_recipe(), measured), "", str(tag), seen.corners)
    reading = read_finish(photo, calibrate(photo, find_card(photo, corners=CARD)), shown.finishes["new"])
    studio.record(Trial(a_recipe(), reading, photos=(studio.keep_photo(shown.data, "both.png"),)))
    assert studio.sightings().total == 0
    return studio


def test_what_a_plates_photograph_shows_is_a_sighting_once_it_is_read_again(page: Open, beside_a_plate: Studio) -> None:
    studio = beside_a_plate
    app = press(page("log", plate="3"), "Read its photograph again")
    next(field for field in app.text_input if field.label == "Why is it read again?").input("tagged since").run()
    assert not press(app, "Keep this reading").exception
    (seen,) = studio.sightings().sightings
    assert (seen.trial_id, seen.photo, seen.served) == (2, studio.trial(3).reading.photo, True)


def test_so_it_is_where_a_profile_reads_all_that_it_fits(page: Open, beside_a_plate: Studio) -> None:
    studio = beside_a_plate
    chart = Scene(lab=(70, 2, 8)).lay_picture(box(200, 130, 600, 400), draw_card(load_cards()["24-patch chart"], 240))
    photo = chart.photo()
    studio.save_profile(profile_from_chart(photo, find_card(photo, "24-patch chart"), "bench"))
    app = page("camera")
    next(radio for radio in app.radio if "this profile's light" in radio.label).set_value("Yes, all of them").run()
    app = press(press(app, "Read again what this profile fits"), "Keep 2 new readings")
    assert not app.exception
    assert [one.trial_id for one in studio.sightings().sightings] == [2]
