"""Plates in a photograph on the page: told, left out by a tap, marked once, kept as seen; everything invented."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matcher.colour.difference import delta_e_2000
from matcher.colour.sources import Source
from matcher.colour.uncertainty import BudgetTerm
from matcher.studio import Studio
from matcher.tags.code import TagCode
from matcher.trials.trial import StageReading
from tests.app_pages import button, open_page, said_on
from tests.tagged_plates import CARD, LAMPS, bench_with
from tests.test_plates_in_picture import BROWNS, TARGET, studio_of_plates
from ui.draw import Shape


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, TagCode]]:
    place = tmp_path_factory.mktemp("there") / "studio"
    return place, studio_of_plates(place, 0.5)


@pytest.fixture
def studio(made: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    place = shutil.copytree(made[0], tmp_path / "studio")
    monkeypatch.setenv("MATCHER_STUDIO", str(place))
    return Path(place)


def begun(place: Path, form: str, tags: dict[str, TagCode], mark: str = "target", seed: int = 2, **more: Any) -> None:
    """Begin a form with a picture of plates and a finish that is marked."""
    shown = bench_with({**BROWNS, "target": TARGET, "new": (35, 10, 14)}, tags, LAMPS, seed=seed)
    with Studio.open(place) as studio:
        sha256 = studio.keep_photo(shown.data, "lamps.png")
        corners = tuple((float(x), float(y)) for x, y in CARD)
        outline = Shape("outline", tuple((float(x), float(y)) for x, y in shown.finishes[mark]))
        card = {"way": "card", "kind": "grey card", "own": None, "corners": corners, "region": None}
        studio.save_draft(form, {"photo": sha256, "card": card, "finishes": [outline.as_dict()], **more})


def test_the_page_reads_by_the_plates_and_lets_one_be_left_out(studio: Path, made: Any) -> None:
    begun(studio, "target", made[1])
    app = open_page("target")
    assert not app.exception
    assert "Read by the plates in the picture" in said_on(app) and "Plate 4</b>: as logged" in said_on(app)
    pills = next(item for item in app.button_group if "leave it out" in item.label)
    assert len(pills.value) == 4
    pills.set_value(pills.value[1:]).run()
    assert not app.exception and "Plate 1 was left out by hand." in said_on(app)
    button(app, "Save and rank the plates").click().run()
    with Studio.open(studio) as opened:
        (target,) = opened.targets()
        assert [item.name for item in target.reading.conditions.references] == ["plate 2", "plate 3", "plate 4"]
        assert float(delta_e_2000(target.reading.lab, np.array(TARGET, float))) < 3
        assert [item.name for item in target.reading.conditions.left_out] == ["plate 1"]
        assert opened.sightings(2).sightings[0].served
        assert opened.sightings(1).sightings[0].left_out.code == "by-hand"


def test_the_page_says_of_plates_that_are_of_no_help_that_they_are(studio: Path, made: Any) -> None:
    """Known by a camera as unknown as the picture's."""
    then = BudgetTerm(Source.CAMERA_AND_LIGHT, 9 * np.eye(3), shared="camera and light of then", unknown_camera=True)
    with Studio.open(studio) as opened:
        for number in (1, 2, 3, 4):
            before = opened.trial(number).reading
            unsure = replace(before, covariance=then.covariance, budget=(then,))
            opened.add_stage(number, StageReading("waxed", unsure))
    begun(studio, "target", made[1])
    app = open_page("target")
    said = said_on(app)
    assert not app.exception and "Plates in the picture" in said and "Read by the plates" not in said
    assert said.count("of no help here for its colours") == 5, "of each, and once with what to do"


def test_a_plate_whose_finish_was_never_marked_is_marked_once(studio: Path, made: Any) -> None:
    tags = {**made[1], "new": TagCode(made[1]["one"].studio, 500)}
    with Studio.open(studio) as opened:
        opened.give_tag(4, str(tags["new"]), why="the old one fell off")
    begun(studio, "target", tags, mark="new")
    app = open_page("target")
    assert not app.exception
    assert "Mark the finish of plate 4 in this picture once" in " ".join(
        [said_on(app), *(item.value for item in app.markdown)]
    )
    button(app, "The mark is the finish of plate 4").click().run()
    assert not app.exception
    with Studio.open(studio) as opened:
        assert str(tags["new"]) in opened.tag_log.outlines()


def test_a_tag_that_was_put_elsewhere_has_its_finish_marked_anew(studio: Path, made: Any) -> None:
    """The outline goes with the tag, and is wrong from then on: a person sees it lie there, and puts it right."""
    tag = str(made[1]["two"])
    with Studio.open(studio) as opened:
        before = opened.tag_log.outlines()[tag].points
    begun(studio, "target", made[1], mark="two")
    app = open_page("target")
    assert "needs the finish marked once more" in said_on(app)
    button(app, "The mark is the finish of plate 2").click().run()
    assert not app.exception
    with Studio.open(studio) as opened:
        after = opened.tag_log.outlines()[tag]
        assert after.trial_id == 2 and not np.array_equal(after.points, before)
        assert np.abs(after.points - before).max() < 0.1, "the tag lies where it lay: the mark says the same"


def test_a_tag_on_no_plate_is_told_of_where_the_form_does_not_ask_for_one(studio: Path, made: Any) -> None:
    tags = {**made[1], "new": TagCode(made[1]["one"].studio, 502)}
    with Studio.open(studio) as opened:
        opened.take_tag(1, why="came off")
    begun(studio, "target", tags)
    said = said_on(open_page("target"))
    assert f"Give {tags['new']} to its plate: nobody has said" in said
    assert f"Give {tags['one']} to its plate, if it is on one again: it left plate 1 on " in said


def test_a_plate_that_lies_there_already_is_not_to_be_laid_there(studio: Path, made: Any) -> None:
    with Studio.open(studio) as opened:
        for number in (2, 3, 4):
            opened.set_aside(number, "lent")
    begun(studio, "target", made[1], plates_out=[str(made[1]["one"])])
    app = open_page("target")
    said = said_on(app)
    assert said.count("Plate 1 was left out by hand.") == 1 and "Plate 1</b>" not in said
    assert "photograph them together" not in said, "none is left but the one that was just left out"
    button(app, "Save and rank the plates").click().run()
    with Studio.open(studio) as opened:
        assert opened.worth_laying(opened.target(1).reading) is None
        assert opened.worth_laying(replace(opened.target(1).reading, photo="f" * 64)) is not None


def test_a_tag_in_the_picture_that_is_on_no_plate_is_offered_for_the_one_that_is_recorded(
    studio: Path, made: Any
) -> None:
    tags = {**made[1], "new": TagCode(made[1]["one"].studio, 501)}
    from tests.plates import a_recipe
    from ui.recipe.recipe_form import fields_of

    begun(studio, "plate", tags, mark="new", **fields_of(a_recipe()))
    app = open_page("record")
    assert not app.exception and f"Tag {tags['new']} lies in the picture" in said_on(app)
    assert f"Give {tags['new']}" not in said_on(app), "it is asked once"
    button(app, "Yes, take it").click().run()
    button(app, "Log this plate").click().run()
    assert not app.exception
    with Studio.open(studio) as opened:
        assert opened.plate_of(str(tags["new"])) == 5
        assert str(tags["new"]) in opened.tag_log.outlines()
        assert opened.sightings(5).total == 0 and opened.sightings(1).total == 1


def test_photographs_at_the_bench_and_of_later_stages_tell_of_the_plates_in_them(studio: Path, made: Any) -> None:
    from matcher.bench.work import Piece
    from tests.plates import a_recipe
    from ui.recipe.piece import READING

    with Studio.open(studio) as opened:
        piece = opened.shelf.put(Piece("p1", a_recipe()))
    begun(studio, READING + piece.uid, made[1], reading_open=True, after="0.0")
    app = open_page("bench")
    assert not app.exception
    button(app, "Save this reading").click().run()
    assert not app.exception
    with Studio.open(studio) as opened:
        assert len(opened.shelf.piece("p1").readings) == 1
        assert [opened.sightings(number).total for number in (1, 2, 3, 4)] == [1, 1, 1, 1]
    begun(studio, "reading of plate 1", made[1], mark="one", seed=3, stage="waxed")
    app = open_page("log", plate="1")
    button(app, "Add this reading").click().run()
    assert not app.exception
    with Studio.open(studio) as opened:
        assert [step.stage for step in opened.trial(1).stages] == ["waxed"]
        photo = opened.trial(1).stages[0].reading.photo
        assert {one.trial_id for one in opened.sightings(photo=photo).sightings} == {2, 3, 4}, "not of itself"
