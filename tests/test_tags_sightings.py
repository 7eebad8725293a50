"""Where tags were seen and where finishes lie by them, kept and carried; everything invented."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card
from matcher.commissions.read_again import Owner, read_again
from matcher.dates import now
from matcher.errors import Caveat, MatcherError, StudioError
from matcher.photo.camera import CameraInfo
from matcher.photo.photo import open_photo
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
from matcher.storage.damaged import Damaged
from matcher.storage.database import DATABASE_NAME
from matcher.storage.schema import PhotoRow
from matcher.studio import Studio
from matcher.tags.code import TagCode, carried, typed_tag
from matcher.tags.outlines import outline_in_picture, outline_in_tag
from matcher.tags.search import find_plates
from matcher.tags.sightings import NO_PLATE, KeptSighting
from matcher.trials.trial import Target, Trial
from tests.example_counts import examples
from tests.plates import MADE_AT, a_photograph, a_reading, a_recipe, a_trial
from tests.tag_scenes import Scene, Taken, scene
from tests.tagged_plates import CARD, LAMPS, bench_with

TAG, OTHER = "K7QX2-88", "M3NB9-41"
DAY = timedelta(days=1)
CORNERS = np.array([[100.0, 100.0], [180.0, 104.0], [176.0, 183.0], [98.0, 178.0]])
FINISH = np.array([[220.0, 90.0], [420.0, 100.0], [400.0, 300.0], [215.0, 280.0]])

numbers = st.floats(-30, 30, allow_nan=False)
points = st.lists(st.tuples(numbers, numbers), min_size=3, max_size=12).map(np.array)


def a_sighting(tag: str = TAG, **changed: Any) -> KeptSighting:
    told: dict[str, Any] = {"seen_at": MADE_AT + 30 * DAY, "outline": FINISH, "reading": a_reading(39.0)}
    return KeptSighting(tag, CORNERS, **{**told, **changed})


# Where a finish lies by its tag


def seen(tilt: tuple[float, float], turn: float, size: float, away: tuple[float, float], at: Any) -> Any:
    """Return points (n, 2) of a plate as a pinhole camera sees them: the truth, without a homography of OpenCV's."""
    flat = (np.asarray(at, float) - 0.5) * [np.cos(turn), 1.0]
    flat = np.column_stack([flat[:, 0], flat[:, 1] + np.sin(turn) * (np.asarray(at, float)[:, 0] - 0.5)])
    depth = 80.0 + flat @ np.asarray(tilt)
    return size * 80.0 * flat / depth[:, None] + np.asarray(away)


@examples(60)
@given(
    points,
    st.tuples(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0)),
    st.floats(-0.8, 0.8),
    st.floats(20, 400),
    st.tuples(st.floats(0, 4000), st.floats(0, 4000)),
)
def test_an_outline_goes_into_the_tag_and_out_into_another_photograph(
    outline: Any, tilt: tuple[float, float], turn: float, size: float, away: tuple[float, float]
) -> None:
    square = [[0, 0], [1, 0], [1, 1], [0, 1]]
    corners, region = seen(tilt, turn, size, away, square), seen(tilt, turn, size, away, outline)
    # a corner is known to some 1e-7 of a picture's width in single precision, and a plate lies up to 30 sides away
    assert np.allclose(outline_in_tag(corners, region), outline, atol=0.05)
    assert np.allclose(outline_in_picture(corners, outline), region, atol=0.05 * size)
    again = outline_in_picture(corners, outline_in_tag(corners, region))
    assert np.allclose(again, region, atol=1e-3)


@pytest.mark.parametrize(
    "corners",
    [
        CORNERS[:3],
        CORNERS[[0, 2, 1, 3]],
        [[0, 0], [1, 0], [2, 0], [3, 0]],
        [[0, 0], [1, np.nan], [1, 1], [0, 1]],
        "corners",
        [[0, 0]] * 4,
    ],
)
def test_corners_that_are_no_square_are_refused(corners: Any) -> None:
    with pytest.raises(StudioError):
        outline_in_tag(corners, FINISH)


def test_what_lies_behind_the_camera_is_no_part_of_the_plate() -> None:
    steep = np.array([[0.0, 0.0], [100.0, 20.0], [100.0, 80.0], [0.0, 100.0]])  # its horizon stands at x = 250
    assert outline_in_tag(steep, [[150, 40], [200, 45], [200, 55]])[:, 0].min() > 1
    with pytest.raises(StudioError, match="does not lie on the tag's plane"):
        outline_in_tag(steep, [[150, 40], [300, 45], [200, 55]])


def test_where_a_finish_lies_is_kept_while_its_plate_carries_the_tag(studio: Studio) -> None:
    plate = studio.record(a_trial(), tag=TAG, tag_corners=CORNERS)
    (kept,) = studio.tag_log.outlines().values()
    assert kept.tag == TAG and plate.reading.region is not None
    assert np.allclose(outline_in_picture(CORNERS, kept.points), plate.reading.region, atol=1e-3)
    marked = studio.tag_log.keep_outline(plate.id or 0, CORNERS, FINISH, "Ben")
    assert np.array_equal(studio.tag_log.outlines()[TAG].points, marked.points)
    studio.take_tag(plate.id or 0, why="came off")
    assert studio.tag_log.outlines() == {}
    studio.give_tag(plate.id or 0, TAG)  # glued on again, not where it was
    assert studio.tag_log.outlines() == {}
    bare = studio.record(a_trial(60.0))
    with pytest.raises(StudioError, match="Give plate 2 its tag first"):
        studio.tag_log.keep_outline(bare.id or 0, CORNERS, FINISH)


def test_a_mark_made_anew_is_put_right_for_older_photographs_and_one_by_a_tag_put_elsewhere_is_not(
    studio: Studio,
) -> None:
    def marked(at: datetime | None = None) -> Any:
        found = studio.tag_log.outlines(at)
        return found[TAG].points.tolist() if TAG in found else None

    plate = studio.record(a_trial(), tag=TAG, tag_corners=CORNERS).id or 0
    badly = marked(MADE_AT + DAY)
    put_right = studio.tag_log.keep_outline(plate, CORNERS, FINISH).points.tolist()
    assert put_right != badly and marked(MADE_AT + DAY) == marked() == put_right
    studio.take_tag(plate, why="came off", at=MADE_AT + 10 * DAY)
    assert marked(MADE_AT + DAY) == put_right, "a photograph of that time is still read"
    assert marked(MADE_AT + 15 * DAY) is None and marked() is None
    studio.give_tag(plate, TAG, at=MADE_AT + 20 * DAY)  # glued on again, elsewhere
    assert marked(MADE_AT + 25 * DAY) is None and marked(MADE_AT + DAY) == put_right
    with pytest.raises(StudioError, match="Mark the finish of plate 1 in a later photograph"):
        studio.tag_log.keep_outline(plate, CORNERS, FINISH + 50, at=MADE_AT + DAY)
    elsewhere = studio.tag_log.keep_outline(plate, CORNERS, FINISH + 50, at=MADE_AT + 25 * DAY).points.tolist()
    assert marked(MADE_AT + 20 * DAY) == marked() == elsewhere != put_right
    assert marked(MADE_AT + DAY) == put_right and marked(MADE_AT + 15 * DAY) is None


def a_photograph_with(*tags: str) -> Scene:
    """A rendered photograph with tags in it."""
    texts = [carried(typed_tag(tag)) for tag in tags]
    return scene(np.random.default_rng(4), texts, 130.0, taken=Taken(tilt=25.0))


def test_a_plate_logged_from_a_photograph_with_its_tag_is_marked_by_it(studio: Studio) -> None:
    taken = a_photograph_with(TAG, OTHER)
    photo = studio.keep_photo(taken.data, "shelf.jpg")
    reading = replace(a_reading(), photo=photo, region=FINISH)
    assert studio.record(a_trial(reading=reading, photos=(photo,)), tag=TAG).id == 1
    (kept,) = studio.tag_log.outlines().values()
    assert kept.tag == TAG and np.allclose(outline_in_picture(taken.corners[0], kept.points), FINISH, atol=2.0)
    studio.record(a_trial(50.0, reading=reading, photos=(photo,)), tag="M3NB9-77")  # not in the picture
    assert set(studio.tag_log.outlines()) == {TAG}


# Sightings


def test_a_sighting_is_kept_whole_and_goes_to_who_carried_the_tag_then(studio: Studio) -> None:
    first = studio.record(a_trial(), tag=TAG).id
    second = studio.record(a_trial(50.0)).id or 0
    studio.give_tag(second, TAG, why="moved", at=MADE_AT + 60 * DAY, move=True)
    photo = studio.keep_photo(a_photograph(5), "shelf.jpg")
    why = Caveat("in-shadow", "It lies in shadow: move it into the light.")
    early, late = studio.keep_sightings(
        [a_sighting(photo=photo, left_out=why), a_sighting(seen_at=MADE_AT + 90 * DAY, uid="late")]
    )
    assert (early.trial_id, late.trial_id) == (first, second)
    (back,) = studio.sightings(photo=photo).sightings
    assert back.as_dict() == early.as_dict() and back.left_out == why and not back.served and late.served
    assert back.reading is not None and back.reading.as_dict() == a_reading(39.0).as_dict()
    assert np.array_equal(back.corners, CORNERS) and back.outline is not None
    assert studio.keep_sightings([a_sighting(uid="late")])[0].id == late.id  # kept once


def test_a_tag_put_right_takes_its_sightings_along(studio: Studio) -> None:
    wrong, right = (studio.record(a_trial(30.0 + n)).id or 0 for n in (0, 1))
    (unknown,) = studio.keep_sightings([a_sighting()])
    assert unknown.trial_id is None and unknown.left_out is not None and unknown.left_out.code == NO_PLATE
    studio.give_tag(wrong, TAG)
    assert studio.sightings(wrong).total == 1
    studio.give_tag(right, TAG, why="it was on this one all along", at=MADE_AT, move=True)
    assert (studio.sightings(wrong).total, studio.sightings(right).total) == (0, 1)
    studio.take_tag(right, why="on neither", at=MADE_AT + DAY)
    assert studio.sightings(right).total == 0 and studio.sightings().total == 1


def test_sightings_come_in_pages_the_newest_first(studio: Studio) -> None:
    plate = studio.record(a_trial(), tag=TAG).id
    studio.keep_sightings([a_sighting(seen_at=MADE_AT + n * DAY, uid=f"s{n}") for n in range(7)])
    page = studio.sightings(plate, start=2, count=3)
    assert page.total == 7 and [one.uid for one in page.sightings] == ["s4", "s3", "s2"]
    assert len(studio.sightings(plate, count=None).sightings) == 7
    assert studio.tag_log.last_seen() == {plate: (7, MADE_AT + 6 * DAY)}


def test_a_photograph_read_again_counts_once_and_both_readings_stay(studio: Studio) -> None:
    plate = studio.record(a_trial(), tag=TAG).id
    photo = studio.keep_photo(a_photograph(5))
    studio.keep_sightings([a_sighting(photo=photo, uid="first")])
    studio.keep_sightings([a_sighting(photo=photo, uid="again", reading=a_reading(41.0))])
    assert [one.uid for one in studio.sightings(plate).sightings] == ["again"]
    assert {one.uid for one in studio.tag_log.sightings(plate, replaced=True).sightings} == {"first", "again"}


def test_a_photograph_of_no_date_was_taken_when_it_was_seen_or_kept_first(studio: Studio) -> None:
    photo = open_photo(a_photograph(5))
    assert abs(studio.taken_at(photo) - now()) < timedelta(minutes=1), "kept nowhere yet"
    sha256 = studio.keep_photo(a_photograph(5))
    with studio.database.writing() as session:
        session.execute(sa.update(PhotoRow).values(kept_at=MADE_AT + 2 * DAY))
    assert sha256 == photo.sha256 and studio.taken_at(photo) == MADE_AT + 2 * DAY
    studio.keep_sightings([a_sighting(photo=sha256, seen_at=MADE_AT + DAY)])
    assert studio.taken_at(photo) == MADE_AT + DAY
    dated = replace(photo, camera=CameraInfo(taken_at=MADE_AT))
    assert studio.taken_at(dated) == MADE_AT, "its file knows best"


def test_a_reading_made_anew_keeps_what_its_photograph_shows_once(studio: Studio) -> None:
    code = TagCode(studio.tag_signs, 7)
    shown = bench_with({"known": (40, 13, 22), "new": (33, 9, 9)}, {"known": code}, LAMPS)
    photo = open_photo(shown.data)
    measured = Reading((40, 13, 22), 0.25 * np.eye(3), region=shown.finishes["known"])
    plate = studio.record(Trial(a_recipe(), measured, MADE_AT), "", str(code), find_plates(photo)[0].corners).id
    alone = read_finish(photo, calibrate(photo, find_card(photo, corners=CARD)), shown.finishes["new"])
    target = studio.save_target(Target("client", alone, photo=studio.keep_photo(shown.data)))
    owner = Owner("target", target.id or 0)
    for _ in range(2):
        before = studio.readings.of(owner)
        after = read_again(photo, before, references=studio.known_in(photo, before))
        assert studio.replace_reading(owner, after, before, "tagged since") == ()
    (one,) = studio.sightings(plate).sightings
    assert one.photo == photo.sha256 and one.served and studio.tag_log.sightings(plate, replaced=True).total == 2
    with pytest.raises(StudioError, match="read anew meanwhile"):
        studio.replace_reading(owner, alone, alone, "of another's")
    assert studio.tag_log.sightings(plate, replaced=True).total == 2, "nothing is kept of what was refused"


def test_what_cannot_be_kept_is_refused_and_nothing_is(studio: Studio) -> None:
    for wrong in (
        a_sighting(photo="ab" * 32),
        a_sighting(trial_id=99),
        a_sighting("no code!"),
        KeptSighting(TAG, CORNERS[:3]),
        a_sighting(outline=[[0, 0], [1, np.inf], [2, 2]]),
    ):
        with pytest.raises(MatcherError):
            studio.keep_sightings([a_sighting(), wrong])
    assert studio.sightings().total == 0
    ahead = a_sighting(seen_at=datetime.now(UTC) + 400 * DAY)  # a camera's clock
    assert studio.keep_sightings([ahead])[0].seen_at <= datetime.now(UTC)


def test_a_damaged_sighting_is_named_and_the_others_are_read(tmp_path: Path) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        plate = studio.record(a_trial(), tag=TAG, tag_corners=CORNERS).id
        studio.keep_sightings([a_sighting(uid="one"), a_sighting(uid="two")])
    with closing(sqlite3.connect(tmp_path / "studio" / DATABASE_NAME)) as connection:
        connection.execute("UPDATE sightings SET whole = '{}' WHERE id = 1")
        connection.execute("UPDATE finish_outlines SET body = '[1' WHERE id = 1")
        connection.commit()
    with Studio.open(tmp_path / "studio") as studio:
        assert [one.uid for one in studio.sightings(plate).sightings] == ["two"]
        assert studio.tag_log.outlines() == {}
        assert set(studio.damaged()) == {Damaged("sighting", 1), Damaged("outline by a tag", 1)}


# Carried to another studio


def filled(folder: Path) -> Studio:
    studio = Studio.open(folder)
    photo = studio.keep_photo(a_photograph(5), "shelf.jpg")
    studio.record(a_trial(uid="one"), who="Ann", tag=TAG, tag_corners=CORNERS)
    studio.record(a_trial(50.0, uid="two"))
    studio.keep_sightings([a_sighting(photo=photo, uid="seen"), a_sighting(OTHER, uid="whose")])
    return studio


def told(studio: Studio) -> tuple[Any, ...]:
    """What a studio says of its tags, plates by uid."""
    uids = {trial.id: trial.uid for trial in studio.trials(include_set_aside=True)}
    history = studio.tags()
    seen = [{**one.as_dict(), "trial": uids.get(one.trial_id)} for one in studio.sightings(count=None).sightings]
    return (
        [(one.tag, uids[one.trial_id], one.since, one.until) for one in history.in_force()],
        [(change.uid, change.who, change.why, uids[change.trial_id]) for change in history.changes],
        sorted(seen, key=lambda one: str(one["uid"])),
        {tag: (uids[one.trial_id], one.points.tolist()) for tag, one in studio.tag_log.outlines().items()},
    )


def test_tags_and_sightings_arrive_once(studio: Studio, tmp_path: Path) -> None:
    studio.record(a_trial(20.0))  # other numbers than there
    with filled(tmp_path / "there") as there:
        there.export(tmp_path / "out.zip")
        brought = studio.import_file(tmp_path / "out.zip")
        kinds = {one.kind: one.new for one in brought.besides}
        found = [kinds[kind] for kind in ("line about a tag", "outline by a tag", "sighting")]
        assert found == [1, 1, 2] and brought.problems == ()
        assert told(studio) == told(there)
        before = told(studio)
        again = studio.import_file(tmp_path / "out.zip")
        assert {(one.new, one.differing) for one in again.besides} == {(0, 0)} and told(studio) == before
        there.backup(tmp_path / "backup.zip")
        with Studio.restore(tmp_path / "backup.zip", tmp_path / "again") as restored:
            assert restored.restored_with == () and told(restored) == told(there)


def test_studios_that_put_a_tag_on_two_plates_keep_the_newest_word_and_tell(studio: Studio, tmp_path: Path) -> None:
    with filled(tmp_path / "there") as there:
        there.export(tmp_path / "out.zip")
        studio.import_file(tmp_path / "out.zip")
        two = next(trial.id for trial in studio.trials() if trial.uid == "two") or 0
        studio.give_tag(two, TAG, why="glued on this one", move=True)
        there.give_tag(1, OTHER, why="a better print")
        there.give_tag(2, TAG, why="for this one")
        there.take_tag(2, why="came off")
        there.give_tag(1, TAG, why="back again")  # the newest word
        there.export(tmp_path / "later.zip")
        brought = studio.import_file(tmp_path / "later.zip")
        assert studio.plate_of(TAG) == 1 and studio.tag_of(two) is None and studio.plate_of(OTHER) is None
        assert any("K7QX2-88 was on plate 2 here and is on plate 1 in the file" in line for line in brought.problems)
        assert studio.import_file(tmp_path / "later.zip").problems == ()
        studio.export(tmp_path / "back.zip")
        there.import_file(tmp_path / "back.zip")
        assert told(there) == told(studio)  # both have heard the same, so both say the same
