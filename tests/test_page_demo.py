"""What the page does on the demo studio, without a browser: the marks lie in its drafts, as if they had been drawn.

The ways there that need a hand on the picture are walked in Chromium (`test_page_path.py`, `test_page_forms.py`).
"""

from __future__ import annotations

import html
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from matcher.bench.work import Piece
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000
from matcher.demo import walk_through
from matcher.photo.photo import open_photo
from matcher.reading.advice import reach_of
from matcher.recipe.recipe import Coat, Recipe
from matcher.shipped import shipped
from matcher.studio import Studio
from matcher.trials.trial import Target
from tests.app_pages import plain
from tests.demo_making.tagged import BESIDE_A_BOARD, UNDER_A_LAMP, UNDER_TUBES, WITH_A_CHART
from ui.bench.waited import form_for_photograph
from ui.photograph.intake import take_kept
from ui.recipe.recipe_form import fields_of
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.target.half_read import half_read

APP = Path(__file__).parents[1] / "ui" / "app.py"
DEMO = shipped("demo_images")
TRUTH = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))["pictures"]
CLIENT = DEMO / "client_reference.jpg"
FINISH = [(340.0, 510.0), (620.0, 510.0), (620.0, 720.0), (340.0, 720.0)]  # well inside the client's piece
LATE = {"kept": True, "sha256": "f" * 64, "name": "late.jpg"}

Open = Callable[[str], AppTest]


@pytest.fixture
def folder(master_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A demo studio of the test's own, which the page opens."""
    copied = Path(shutil.copytree(master_demo, tmp_path / "demo"))
    monkeypatch.setenv("MATCHER_STUDIO", str(copied))
    return copied


def opened(screen: str, **query: str) -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    app.switch_page(f"screens/{screen}.py")
    for name, value in query.items():
        app.query_params[name] = value
    return app.run()


def said(app: AppTest) -> str:
    assert not app.exception
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", plain(element.proto.body)) for element in app.get("html")))


def alerts(app: AppTest) -> list[str]:
    bodies = [plain(element.proto.body) for element in app.get("html")]
    return [html.unescape(words) for body in bodies for words in re.findall(r'role="alert">([^<]*)', body)]


def labelled(widgets: Any, label: str) -> Any:
    return next(widget for widget in widgets if widget.label == label)


def press(app: AppTest, label: str) -> AppTest:
    return labelled(app.button, label).click().run()


def upload(app: AppTest, name: str, content: bytes) -> AppTest:
    files: list[Any] = list(app.get("file_uploader"))
    return files[0].set_value((name, content, "image/jpeg")).run()


def keep_draft(folder: Path, form: str, file: Path, **fields: Any) -> str:
    with Studio.open(folder) as studio:
        sha256 = studio.keep_photo(file)
        studio.save_draft(form, {"photo": sha256, "photo_name": file.name, **fields})
    return sha256


def marked(*outlines: Any) -> list[dict[str, Any]]:
    return [{"kind": "outline", "points": np.asarray(points, float).tolist()} for points in outlines]


def inside(name: str, least: float = 0.3, most: float = 0.7) -> list[tuple[float, float]]:
    """Return a box well inside the first finish of a demo picture."""
    outline = np.array(TRUTH[name]["finishes"][0]["polygon"])
    low, high = outline.min(axis=0), outline.max(axis=0)
    (left, top), (right, bottom) = (low + share * (high - low) for share in (least, most))
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


def targets(folder: Path) -> list[Target]:
    with Studio.open(folder) as studio:
        return studio.targets()


def test_without_a_card_the_list_still_comes_and_says_that_it_is_less_sure(folder: Path) -> None:
    """Seven things to do with the mark, as long as the way with a card."""
    picture = DEMO / "plate_no_card.jpg"
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    next(button for button in app.button if button.label.startswith("Start from")).click().run()
    labelled(app.get("button_group"), "Where does the colour come from?").set_value("upload").run()
    shown = said(upload(app, picture.name, picture.read_bytes()))
    assert "No card found for certain" in shown
    for way_on in ("Tap its four corners", "“Neutral spot”", "“Nothing”", "another photograph"):
        assert way_on in shown
    assert "Use another photograph" in [button.label for button in app.button]
    with Studio.open(folder) as studio:
        (begun,) = half_read(studio)
        studio.save_draft(begun.form, {**begun.body, "finishes": marked(inside(picture.name))})
    app = opened("target")
    labelled(app.get("button_group"), "What tells the light's colour?").set_value("none").run()
    assert "Without a card the light's colour and strength are guessed" in said(app)
    press(app, "Continue without a card")
    assert re.search("no card in this photo", said(app), re.IGNORECASE)
    app.button(key="target.save").click().run()
    assert "Warnings about this reading (1)" in [item.label for item in app.expander]
    with_card, without = targets(folder)
    assert "no-card" in {caveat.code for caveat in without.reading.caveats}
    lightness_alone = without.reading.covariance[0, 0], with_card.reading.covariance[0, 0]
    assert lightness_alone[0] > 2 * lightness_alone[1], "without a card the exposure is a guess"


def test_a_second_photograph_pushes_out_no_first_and_both_are_found_again_on_any_device(folder: Path) -> None:
    other = DEMO / "plate_no_card.jpg"
    front = AppTest.from_file(str(APP), default_timeout=120).run()
    assert "Is the outline around it?" in said(upload(front, CLIENT.name, CLIENT.read_bytes()))
    with Studio.open(folder) as studio:
        (first,) = half_read(studio)
    assert first.body["photo_name"] == CLIENT.name
    front = AppTest.from_file(str(APP), default_timeout=120).run()
    assert "Half read" in said(front) and f"Photograph {CLIENT.name}" in said(front)
    assert "No card found for certain" in said(upload(front, other.name, other.read_bytes()))
    with Studio.open(folder) as studio:
        second, still = half_read(studio)
    assert (still.form, still.body) == (first.form, first.body), "what was begun first stays as it was"
    assert second.body["photo_name"] == other.name and second.body["photo"] != first.body["photo"]
    again = AppTest.from_file(str(APP), default_timeout=120).run()  # a reload, or another device
    shown = said(again)
    assert f"Photograph {CLIENT.name}" in shown and f"Photograph {other.name}" in shown
    there = again.button(key=f"start.target.{first.form}").click().run()
    assert "Is the outline around it?" in said(there)
    assert "1 other target is half read, and kept until saved" in [item.label for item in there.expander]
    assert "No card found for certain" in said(there.button(key=f"target.open.{second.form}").click().run())


def test_a_target_is_put_by_for_another_and_thrown_away_only_by_the_person(folder: Path) -> None:
    keep_draft(folder, "target", CLIENT, finishes=marked(FINISH))
    app = opened("target")
    app.button(key="target.another-form").click().run()
    labelled(app.get("button_group"), "Where does the colour come from?").set_value("typed").run()
    labelled(app.number_input, "L*").set_value(41.0).run()
    with Studio.open(folder) as studio:
        typed, photographed = half_read(studio)
    assert typed.body["lab_l"] == 41.0 and "photo" not in typed.body
    assert photographed.form == "target" and photographed.body["photo_name"] == CLIENT.name
    there = opened("target", form=typed.form)
    assert labelled(there.number_input, "L*").value == 41.0
    there.button(key="target.away.target").click().run()
    with Studio.open(folder) as studio:
        assert [kept.form for kept in half_read(studio)] == [typed.form]


def test_what_is_read_for_an_area_is_no_part_of_what_was_begun_before(folder: Path) -> None:
    keep_draft(folder, "target", CLIENT, finishes=marked(FINISH))
    with Studio.open(folder) as studio:
        area = studio.commissions.commissions()[0].areas[0]
    app = opened("target", area=str(area.id))
    assert f"For {area.name} of" in said(app)
    assert not [button for button in app.button if button.key == "target.save"], "nothing is read for the area yet"
    with Studio.open(folder) as studio:
        assert "area" not in (studio.draft("target") or {})


@pytest.mark.parametrize("named", ["9999", "-1", "9" * 4400, "herons", "²"])
def test_an_address_that_names_no_area_is_no_fault(folder: Path, named: str) -> None:
    app = opened("target", area=named)
    assert "Where does the colour come from?" in [item.label for item in app.get("button_group")]
    assert ("There is no area" in said(app)) == (named in ("9999", "-1"))


@pytest.mark.parametrize("form", ["target", "plate"])
def test_a_photograph_that_waited_in_a_phone_replaces_none_that_came_before_it(folder: Path, form: str) -> None:
    st.session_state.clear()
    mine = keep_draft(folder, form, CLIENT)
    with Studio.open(folder) as studio:
        assert form_for_photograph(studio, form, mine) == form, "told twice, it is the same"
        own = form_for_photograph(studio, form, LATE["sha256"])
        assert own not in (form, "")
        take_kept(Draft(studio, own), LATE)
        assert form_for_photograph(studio, form, LATE["sha256"]) == own
        assert (studio.draft(form) or {})["photo"] == mine and (studio.draft(own) or {})["photo"] == LATE["sha256"]
        assert "This form holds another one by now" in (Draft(studio, form).said() or "")


def test_a_photograph_taken_anew_while_the_first_waited_replaces_it_until_that_is_marked(folder: Path) -> None:
    st.session_state.clear()
    with Studio.open(folder) as studio:
        take_kept(Draft(studio, "plate"), LATE)
        assert form_for_photograph(studio, "plate", "e" * 64) == "plate"
        Draft(studio, "plate").set(finishes=marked(FINISH))
        assert form_for_photograph(studio, "plate", "e" * 64) != "plate"
        assert form_for_photograph(studio, "bench 0123456789ab", "e" * 64) == "bench 0123456789ab"


def test_the_front_page_lists_what_waits_each_with_the_way_to_it(folder: Path) -> None:
    recipe = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0),))
    with Studio.open(folder) as studio:
        piece = studio.shelf.put(Piece("piece1", recipe, name="heron head"))
        studio.save_draft("plate", {**fields_of(recipe), "piece": "H-9"})
        studio.save_draft("plate 0123456789ab", {**fields_of(recipe), "from_plate": "Plate 104"})
        commission = studio.commissions.commissions()[0]
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    waiting = said(app)
    for what in (
        "Today",
        "On the bench",
        "heron head",
        "Half recorded",
        "H-9",
        "A new plate like plate 104",
        commission.title,
    ):
        assert what in waiting, what
    for key, shows in (
        (f"start.bench.{piece.uid}", "heron head"),
        ("start.record.plate", "Record a plate"),
        (f"start.commissions.{commission.id}", commission.title),
    ):
        there = AppTest.from_file(str(APP), default_timeout=120).run()
        assert shows in said(there.button(key=key).click().run()), key


def test_a_file_that_is_no_photograph_is_answered_in_a_sentence_and_changes_nothing(folder: Path) -> None:
    app = opened("target")
    labelled(app.get("button_group"), "Where does the colour come from?").set_value("upload").run()
    for name, content in (("list.csv", b"a,b\n1,2\n"), ("letter.pdf", b"%PDF-1.4 abc")):
        app = upload(app, name, content)
        assert any(name in said and "give a JPEG" in said for said in alerts(app))
    with Studio.open(folder) as studio:
        assert not half_read(studio)


def test_the_studios_own_measured_card_is_kept_and_used(folder: Path) -> None:
    keep_draft(folder, "target", CLIENT, finishes=marked(FINISH))
    app = opened("target")
    labelled(app.text_input, "Name of the card").set_value("bench card").run()
    for label, value in (("L*", 52.0), ("a*", 0.0), ("b*", 0.0)):
        labelled(app.number_input, label).set_value(value).run()
    labelled(app.number_input, "The measurement is good to (ΔE00)").set_value(0.3).run()
    press(app, "Save this card")
    press(app, "Yes, that is the card")
    app.button(key="target.save").click().run()
    with Studio.open(folder) as studio:
        assert [(card.name, card.tolerance) for card in studio.own_cards()] == [("bench card", 0.3)]
    nominal, measured = targets(folder)
    assert measured.reading.lab[0] > nominal.reading.lab[0] + 1, "a lighter card makes everything lighter"
    taken = measured.reading.conditions
    assert taken is not None and taken.card is not None and taken.card.measured_to == 0.3


def test_a_reading_uses_the_cameras_profile_and_is_surer_for_it(folder: Path) -> None:
    photo = open_photo(DEMO / "chart_daylight.jpg")
    with Studio.open(folder) as studio:
        studio.save_profile(profile_from_chart(photo, find_card(photo, "24-patch chart"), "bench camera", "window"))
    keep_draft(folder, "target", CLIENT, finishes=marked(FINISH))
    app = press(opened("target"), "Yes, that is the card")
    assert "camera profile bench camera" in said(app)
    asked = next(box for box in app.radio if "Was it taken in the light" in box.label)
    assert "window" in asked.label
    assert asked.options == ["The same light", "Another light, or not sure"] and asked.value == ""
    asked.set_value("bench camera").run()
    app.button(key="target.save").click().run()
    without, with_profile = targets(folder)
    assert np.trace(with_profile.reading.covariance) < np.trace(without.reading.covariance)


def test_a_piece_is_read_by_the_tagged_plates_beside_it(folder: Path) -> None:
    app = opened("target")
    offered = [button.label for button in app.button]
    assert {literal(TRUTH[name]["title"]) for name in (WITH_A_CHART, UNDER_TUBES, UNDER_A_LAMP, BESIDE_A_BOARD)} <= set(
        offered
    )
    press(app, TRUTH[UNDER_TUBES]["title"])
    press(app, "Yes, that is the card")
    with Studio.open(folder) as studio:
        outline = marked(TRUTH[UNDER_TUBES]["finishes"][0]["polygon"])
        (begun,) = half_read(studio)
        studio.save_draft(begun.form, {**begun.body, "finishes": outline})
    app = opened("target")
    shown = said(app)
    assert "Read by the plates in the picture" in shown
    for number in (24, 87, 88):
        assert re.search(rf"Plate {number}\W+as logged, as far as the others can tell", shown)
    app.button(key="target.save").click().run()
    reading = targets(folder)[-1].reading
    true = TRUTH[UNDER_TUBES]["finishes"][0]["lab"]
    assert float(delta_e_2000(reading.lab, np.asarray(true))) < 3.0, "a card alone: 6.3"
    assert 2.0 < reach_of(reading) < 12.0, "a card alone: 16"
    with Studio.open(folder) as studio:
        assert {one.trial_id for one in studio.sightings(photo=reading.photo).sightings} == {24, 87, 88}


def test_a_lost_photograph_is_said_and_another_one_can_be_taken(folder: Path) -> None:
    sha256 = keep_draft(folder, "target", walk_through().next_photo, way="upload")
    assert "Is the outline around it?" in said(opened("target"))
    with Studio.open(folder) as studio:
        studio.photo_path(sha256).unlink()
    app = opened("target")
    assert alerts(app) and not app.code
    press(app, "Use another photograph")
    assert "Is the outline around it?" in said(upload(app, CLIENT.name, CLIENT.read_bytes()))


@pytest.mark.parametrize(
    ("name", "content"),
    [("plate.jpg", b"this is no picture"), ("plate.png", b""), ("cut.jpg", CLIENT.read_bytes()[:20_000])],
    ids=["text", "empty", "cut short"],
)
def test_a_file_that_is_no_photograph_gets_a_sentence_and_keeps_the_rest(
    folder: Path, name: str, content: bytes
) -> None:
    app = opened("record")
    labelled(app.text_input, "Mark on the plate").set_value("kept").run()
    labelled(app.get("button_group"), "Where does the colour come from?").set_value("upload").run()
    upload(app, name, content)
    assert any(name in words for words in alerts(app)) and not app.code
    assert labelled(app.text_input, "Mark on the plate").value == "kept"
    assert "Is the outline around it?" in said(upload(app, CLIENT.name, CLIENT.read_bytes()))


def test_a_suggestion_is_recorded_beside_the_half_recorded_plate_which_is_opened_again(folder: Path) -> None:
    app = opened("record")
    labelled(app.text_input, "Mark on the plate").set_value("half done").run()
    app.switch_page("screens/suggestions.py").run()
    press(app, "Record it as made")
    assert "from the suggestions" in said(app)
    assert not labelled(app.text_input, "Mark on the plate").value
    app.switch_page("screens/record.py").run()
    press(app, "Open")
    assert labelled(app.text_input, "Mark on the plate").value == "half done"


def test_a_plate_is_set_aside_with_a_reason_and_taken_back(folder: Path) -> None:
    app = opened("log", view="list")
    app.text_input(key="log.words").set_value("plate 103").run()
    assert "1 of 103 plates" in said(app)
    press(app, "Open")
    press(app, "Set aside")
    assert alerts(app), "it asks for a reason"
    labelled(app.text_input, "Reason").set_value("overheated at one edge").run()
    press(app, "Set aside")
    assert "Set aside: overheated at one edge" in said(app)
    with Studio.open(folder) as studio:
        assert studio.trial(103).set_aside == "overheated at one edge"
        assert 103 not in {trial.id for trial in studio.trials()}
    next(button for button in app.button if button.label.startswith("Restore")).click().run()
    assert "Set this plate aside" in [item.label for item in app.expander]
    with Studio.open(folder) as studio:
        assert studio.trial(103).set_aside is None


def test_the_walk_through_of_the_demo_lands_nearer_than_any_plate_before(folder: Path) -> None:
    """The demo's own story: its next plate is the one that comes closest."""
    story = walk_through()
    low, high = np.array(story.next_region).min(axis=0), np.array(story.next_region).max(axis=0)
    (left, top), (right, bottom) = low + 0.15 * (high - low), low + 0.85 * (high - low)
    box = [(left, top), (right, top), (right, bottom), (left, bottom)]
    keep_draft(folder, "plate", story.next_photo, finishes=marked(box))
    app = press(opened("record"), "Yes, that is the card")
    assert "nearer than any plate before" in said(press(app, "Log this plate"))


def test_what_comes_above_the_record_form_moves_none_of_its_fields(folder: Path) -> None:
    """A field that changes its place in the page is put in anew, and what stands in it unsent is lost."""
    app = opened("record")
    before = [type(part).__name__ for part in app.main.children.values()]
    labelled(app.text_input, "Mark on the plate").set_value("H-8").run()
    assert [button for button in app.button if button.label == "Record another plate meanwhile"]
    assert [type(part).__name__ for part in app.main.children.values()] == before
