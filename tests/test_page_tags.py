"""Tags on the page: given, moved and taken in the log, typed with a plate that is recorded; everything invented."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher.errors import Caveat
from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.tags.sightings import KeptSighting
from tests.app_pages import open_page, said_on
from tests.plates import MADE_AT, a_recipe, a_trial
from ui.recipe.recipe_form import fields_of

APP = Path(__file__).parents[1] / "ui" / "app.py"
Open = Callable[..., AppTest]
TAG, OTHER = "K7QX2-88", "M3NB9-41"
CORNERS = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]])


@pytest.fixture
def studio(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Studio]:
    """Two plates; the first carries a tag, was seen six times, and has darkened."""
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    with Studio.open(tmp_path / "studio") as opened:
        for n in range(2):
            opened.record(a_trial(38.0 + n, reading=Reading((38.0 + n, 14, 22))))
        opened.give_tag(1, TAG, who="Ann")
        shadow = Caveat("in-shadow", "It lies in shadow: move it into the light.")
        seen = [
            KeptSighting(
                TAG,
                CORNERS,
                seen_at=MADE_AT + timedelta(days=60 * n),
                reading=None if n == 6 else Reading((38.0 - n, 14, 22)),
                left_out=shadow if n == 5 else None,
            )
            for n in range(1, 7)
        ]
        opened.keep_sightings(seen)
        yield opened


@pytest.fixture
def page(studio: Studio) -> Open:
    return open_page


def press(app: AppTest, key: str) -> AppTest:
    assert not app.exception
    return next(button for button in app.button if button.key == key).click().run()


def typed(app: AppTest, label: str) -> Any:
    return next(field for field in app.text_input if field.label == label)


def test_a_plate_shows_its_tag_where_it_was_seen_and_how_it_changed(page: Open) -> None:
    app = page("log", plate="1")
    said = said_on(app)
    assert not app.exception and f"Tag {TAG}" in said and "(Ann)" in said
    assert "Its colour has changed since it was logged" in said and "When it was logged" in said and "By now" in said
    assert "its colour was not read" in said and "move it into the light" in said
    assert "a whole shelf that drifts alike" in said
    app = press(app, "tag.more.1")
    assert said_on(app).count('<div class="pm-read">') == 5 + 2  # the plate's two readings on the way
    assert not any(button.key == "tag.more.1" for button in app.button)


def test_a_tag_that_is_elsewhere_is_moved_only_when_it_is_said(page: Open, studio: Studio) -> None:
    app = page("log", plate="2")
    assert "Seen since" not in [header.value for header in app.header]
    typed(app, "Code of the tag").input("k7qx2-88").run()
    assert "move the tag: K7QX2-88 is on plate 1" in said_on(app)
    button = next(button for button in app.button if button.key == "tag.give.2")
    assert button.label == "Move it here from plate 1"
    app = press(app, "tag.give.2")
    assert "Say why K7QX2-88 goes from plate 1 to plate 2" in said_on(app) and studio.plate_of(TAG) == 1
    typed(app, "Why").input("glued on this one").run()
    app = press(app, "tag.give.2")
    assert "K7QX2-88 left plate 1, and is on plate 2 now." in said_on(app) and studio.plate_of(TAG) == 2
    app = page("log", plate="1")
    assert "then on plate 2" in said_on(app)


def test_a_tag_moved_since_a_day_that_has_been_takes_its_sightings_along(page: Open, studio: Studio) -> None:
    """It was noticed late: what was seen from that day on was the other plate."""
    app = page("log", plate="2")
    typed(app, "Code of the tag").input(TAG).run()
    typed(app, "Why").input("glued on this one in spring").run()
    typed(app, "Since when").input("in spring").run()
    app = press(app, "tag.give.2")
    assert "Give the date as 2025-03-31" in said_on(app) and studio.plate_of(TAG) == 1
    typed(app, "Since when").input(f"{MADE_AT + timedelta(days=200):%Y-%m-%d}").run()
    app = press(app, "tag.give.2")
    assert not app.exception and studio.plate_of(TAG) == 2
    assert [studio.sightings(number).total for number in (1, 2)] == [3, 3]


def test_a_tag_is_taken_with_a_reason_and_stays_in_the_history(page: Open, studio: Studio) -> None:
    app = press(page("log", plate="1"), "tag.take.1")
    assert "Say why K7QX2-88 is taken" in said_on(app)
    typed(app, "Why").input("came off <b>here</b>").run()
    typed(app, "Who").input("Ben").run()
    app = press(app, "tag.take.1")
    assert studio.tag_of(1) is None and "taken off, Ben, came off &lt;b&gt;here&lt;/b&gt;" in said_on(app)


def test_what_is_half_typed_of_a_tag_is_kept(page: Open) -> None:
    typed(page("log", plate="2"), "Code of the tag").input("m3nb/").run()
    app = page("log", plate="2")
    assert typed(app, "Code of the tag").value == "m3nb/"
    assert "K7QX2-88: &#x27;m3nb/&#x27; is" in said_on(press(app, "tag.give.2"))


def test_a_plate_is_recorded_with_its_tag_and_a_tag_of_another_plate_is_refused(page: Open, studio: Studio) -> None:
    colour = {"way": "typed", "lab_l": 40.0, "lab_a": 12.0, "lab_b": 20.0}
    studio.save_draft("plate", {**fields_of(a_recipe()), **colour})
    typed(page("record"), "Tag on the plate").input(TAG).run()
    assert (studio.draft("plate") or {})["tag"] == TAG  # a plate that is only planned holds it until it is logged
    studio.save_draft("plate 0123456789ab", {**fields_of(a_recipe()), "tag": "k7qx2 88"})
    studio.save_draft("plate", studio.draft("plate") or {})
    app = page("record")
    assert "K7QX2-88 is on plate 1" in said_on(app) and "stands in another half-filled form too" in said_on(app)
    studio.drop_draft("plate 0123456789ab")
    app = press(page("record"), "plate.log")
    assert "K7QX2-88 is on plate 1" in said_on(app) and len(studio.trials()) == 2 and studio.draft("plate")
    typed(app, "Tag on the plate").input(OTHER).run()
    press(app, "plate.log")
    assert studio.plate_of(OTHER) == 3 and not studio.draft("plate")


def test_a_steady_plate_shows_what_all_its_readings_come_to(page: Open, studio: Studio) -> None:
    studio.give_tag(2, OTHER)
    studio.keep_sightings([KeptSighting(OTHER, CORNERS, seen_at=MADE_AT, reading=Reading((39.0, 14, 22)))])
    said = said_on(page("log", plate="2"))
    assert "No change that is more than chance in 1 sighting" in said and "all sightings together" in said
    assert "<b>L*</b> 39.0 <small>± 0.4</small>" in said  # two readings of ± 0.6


@pytest.mark.parametrize("typed", [TAG, "k7qx2 88", "TAG K7QX2-88.54", "HTTPS://192.168.1.4:8501/TAG/K7QX2-88.54"])
def test_the_wall_finds_a_plate_by_its_tag_as_typed_or_scanned(studio: Studio, typed: str) -> None:
    studio.set_aside(1, "cracked")
    app = open_page("log", words=typed)
    assert not app.exception
    assert f"Tag {TAG} is on plate 1." in said_on(app) and "1 of 2 plates" in said_on(app)
    app.button(key="log.by-tag").click().run()
    assert not app.exception and app.query_params["plate"] == "1"


def test_a_number_alone_is_looked_for_as_words_too_and_words_are_no_tag(studio: Studio) -> None:
    studio.give_tag(2, f"{studio.tag_signs}-38")
    said = said_on(open_page("log", words="38"))
    assert f"Tag {studio.tag_signs}-38 is on plate 2." in said and "1 of 2 plates" not in said
    assert "Tag " not in said_on(open_page("log", words="brown 12"))
    free = f"{studio.tag_signs}-9"
    app = open_page("log", words=free)
    assert f"Tag {free} is on no plate yet" in said_on(app)
