"""Tagged plates in a picture, from the command line: found, read by, told, left out, seen again, kept. Invented."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import cv2
import numpy as np
import pytest
import sqlalchemy as sa

from matcher import plates_in_picture
from matcher.calibration.references.reference import cause_of_own
from matcher.colour.difference import delta_e_2000
from matcher.errors import StudioError
from matcher.photo.camera import CameraInfo
from matcher.photo.photo import open_photo
from matcher.plates_in_picture import LoggedPlate, plates_in, seen_in_words, serving
from matcher.reading.reading import Reading
from matcher.reading.wording import known_by_in_words
from matcher.recipe.recipe import Coat, Recipe
from matcher.storage.schema import PhotoRow
from matcher.studio import Studio
from matcher.tags.code import TagCode
from matcher.tags.search import find_plates
from matcher.trials.trial import Trial
from matcher.typed_in.values import outline_as_typed
from tests.command_line import refused, run, told  # noqa: F401  # fixtures
from tests.tagged_plates import CARD, LAMPS, bench_with
from ui.recipe.read_again import begun_from

BROWNS = {"one": (40, 13, 22), "two": (52, 8, 26), "three": (30, 6, 10), "four": (46, -6, 12)}
TARGET = (42, 12, 20)
RECIPE = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 6, 105.0, "fine mist"),))
MADE_AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def read_options(bench, *names):
    finishes = [part for name in names for part in ("--finish", outline_as_typed(bench.finishes[name]))]
    return ["--card-corners", outline_as_typed(CARD), *finishes]


def studio_of_plates(place, sigma):
    """Make a studio of four tagged plates, each known to within ``sigma``, and return their tags."""
    with Studio.open(place) as studio:
        tags = {name: TagCode(studio.tag_signs, 88 + k) for k, name in enumerate(BROWNS)}
        true = bench_with(BROWNS, tags)
        corners = {one.tag: one.corners for one in find_plates(open_photo(true.data))}
        for name, lab in BROWNS.items():
            reading = Reading(lab, sigma**2 * np.eye(3), region=true.finishes[name])
            studio.record(Trial(RECIPE, reading, MADE_AT), "", str(tags[name]), corners[str(tags[name])])
    return tags


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A studio of plates that were measured, and what a phone shows of them under lamps."""
    folder = tmp_path_factory.mktemp("plates")
    tags = studio_of_plates(folder / "studio", 0.5)
    lamps = bench_with({**BROWNS, "target": TARGET}, tags, LAMPS, seed=2)
    return folder, tags, lamps


@pytest.fixture
def shelf(made, tmp_path):
    folder, tags, lamps = made
    place = shutil.copytree(folder / "studio", tmp_path / "studio")
    photo = tmp_path / "lamps.png"
    photo.write_bytes(lamps.data)
    return place, tags, photo, lamps


def test_a_picture_is_read_by_the_plates_in_it_without_being_asked(shelf, told, run):  # noqa: F811
    place, tags, photo, lamps = shelf
    plain, surer = (
        told("read", photo, *read_options(lamps, "target"), "--studio", place, *more) for more in (["--no-plates"], [])
    )
    (before,), (after,) = plain["finishes"], surer["finishes"]
    assert plain["plates"] == []
    assert [(one["tag"], one["plate"], one["used"]) for one in surer["plates"]] == [
        (str(tag), number, True) for number, tag in enumerate(tags.values(), 1)
    ]
    off = [float(delta_e_2000(np.array(one["lab"]), np.array(TARGET, float))) for one in (before, after)]
    assert off[0] > 3 and off[1] < 1.5
    assert after["within_delta_e00"] < 0.6 * before["within_delta_e00"]
    assert all(one["delta_e00_interval"][0] < 1.0 for one in surer["plates"])
    _, out, _ = run("read", photo, *read_options(lamps, "target"), "--studio", place)
    assert "Read by plate 1 (as logged, as far as the others can tell: ΔE00" in out


@pytest.fixture
def logged_by_phone(shelf, told):  # noqa: F811
    """The same shelf; the phone read its plates for the log, all but the first, under those very lamps."""
    place, _, photo, _ = shelf
    for number, name in list(enumerate(BROWNS, 1))[1:]:
        then = photo.with_name(f"{name}.png")
        then.write_bytes(bench_with({name: BROWNS[name]}, {}, LAMPS, seed=number).data)
        at = bench_with({name: BROWNS[name]}, {}).finishes[name]
        told(
            *("trials", "add-reading", str(number), then, "--stage", "waxed", "--card-corners", outline_as_typed(CARD)),
            *("--finish", outline_as_typed(at), "--studio", place),
        )
    return shelf


def test_plates_that_are_of_no_help_are_not_said_to_be_what_a_picture_is_read_by(logged_by_phone, told, run):  # noqa: F811
    """Known by a camera as unknown as the picture's: beside one that was measured, and by themselves."""
    place, _, photo, lamps = logged_by_phone
    options = ["read", photo, *read_options(lamps, "target"), "--studio", place]
    found = told(*options)
    assert [(one["used"], one["as_unknown"], one["left_out"]) for one in found["plates"]] == [
        (True, False, None),
        *[(False, True, None)] * 3,
    ]
    assert [one["name"] for one in found["finishes"][0]["conditions"]["references"]] == ["plate 1"]
    said = run(*options)[1]
    assert "Read by plate 1." in said and said.count("Read by plate") == 1
    assert "of no help here for its colours: plate 2, plate 3 and plate 4." in said
    alone, plain = told(*options, "--leave-out", "1"), told(*options, "--no-plates")
    assert alone["finishes"][0]["lab"] == plain["finishes"][0]["lab"]
    assert alone["finishes"][0]["conditions"]["references"] == []
    said = run(*options, "--leave-out", "1")[1]
    assert "Read by" not in said and "of no help here for its colours: plate 2, plate 3 and plate 4." in said


def test_a_target_beside_plates_of_no_help_is_compared_as_one_read_by_a_card_alone(logged_by_phone, told, run):  # noqa: F811
    """It is the same reading; neither does its record say that it was read by them, nor reading it again use them."""
    place, _, photo, lamps = logged_by_phone
    options = [*read_options(lamps, "target"), "--studio", place]
    out = [part for name in ("1", "3", "4") for part in ("--leave-out", name)]
    told("targets", photo, *options, "--add", "beside", *out)
    told("targets", photo, *options, "--add", "alone", "--no-plates")
    with Studio.open(place) as studio:
        beside, alone = (target.reading for target in studio.targets())
        assert beside.lab.tolist() == alone.lab.tolist()
        assert "Read by" not in known_by_in_words(beside)
        assert studio.suggester(beside) is studio.suggester(alone)
    (again,) = told("read-again", "--target", "1", "--studio", place)["readings"]
    assert again["after"]["lab"] == again["before"]["lab"]


def test_a_plate_is_left_out_by_hand(shelf, told, refused):  # noqa: F811
    place, tags, photo, lamps = shelf
    options = ["read", photo, *read_options(lamps, "target"), "--studio", place]
    found = told(*options, "--leave-out", "2", "--leave-out", str(tags["three"]).lower())
    assert [one["used"] for one in found["plates"]] == [True, False, False, True]
    assert found["plates"][1]["left_out"]["code"] == "by-hand"
    assert "plate 1, plate 2, plate 3 and plate 4" in refused(*options, "--leave-out", "77")


def test_a_plate_that_was_left_out_by_hand_stays_out_when_its_photograph_is_read_again(shelf, told, run):  # noqa: F811
    place, tags, photo, lamps = shelf
    told("targets", photo, *read_options(lamps, "target"), "--leave-out", "2", "--add", "client", "--studio", place)
    (found,) = told("read-again", "--target", "1", "--keep", "to see", "--studio", place)["readings"]
    for taken in (found["before"]["conditions"], found["after"]["conditions"]):
        assert [one["name"] for one in taken["references"]] == ["plate 1", "plate 3", "plate 4"]
        assert taken["left_out"] == [{"tag": str(tags["two"]), "name": "plate 2"}]
    with Studio.open(place) as studio:
        reading = studio.target(1).reading
        assert known_by_in_words(reading).endswith("Left out by hand: plate 2.")
        assert begun_from(studio, reading)["plates_out"] == [str(tags["two"])], "on the page too"
    assert run("read-again", "--target", "1", "--studio", place)[1].count("Left out by hand: plate 2.") == 2


def test_a_plate_without_a_tag_is_marked(shelf, told, refused):  # noqa: F811
    place, _, photo, lamps = shelf
    plain = ["read", photo, *read_options(lamps, "target"), "--studio", place, "--no-plates"]
    known = f"1:{outline_as_typed(lamps.finishes['one'])}"
    before, after = (told(*plain, *more)["finishes"][0] for more in ([], ["--known", known]))
    assert after["within_delta_e00"] < 0.8 * before["within_delta_e00"]
    assert [one["name"] for one in after["conditions"]["references"]] == ["plate 1"]
    assert "its outline" in refused(*plain, "--known", "one")


def test_what_was_read_for_keeps_is_a_sighting(shelf, told):  # noqa: F811
    place, tags, photo, lamps = shelf
    told("targets", photo, *read_options(lamps, "target"), "--add", "client", "--studio", place)
    with Studio.open(place) as studio:
        (again, *_) = studio.sightings(1).sightings
        assert again.tag == str(tags["one"]) and again.served
        assert float(delta_e_2000(again.reading.lab, np.array(BROWNS["one"], float))) < 1.5
        logged, known = studio.trial(1).reading, studio.known_colour(1)
        assert np.trace(known.covariance) < np.trace(logged.covariance)


def test_a_photograph_of_a_later_stage_tells_of_the_plates_beside_it_and_not_of_the_plate_itself(shelf, told):  # noqa: F811
    place, _, photo, lamps = shelf
    later = ("trials", "add-reading", "1", photo, "--stage", "waxed", *read_options(lamps, "one"), "--studio", place)
    assert [one["plate"] for one in told(*later)["plates"]] == [1, 2, 3, 4]
    with Studio.open(place) as studio:
        assert [studio.sightings(number).total for number in (1, 2, 3, 4)] == [0, 1, 1, 1]
        (seen,) = studio.sightings(2).sightings
        assert seen.served and seen.reading is not None and seen.photo == studio.trial(1).stages[0].reading.photo


def test_a_wrong_tag_is_named_and_does_no_harm(shelf, told, run):  # noqa: F811
    """Two plates whose tags were swapped: the log's colours and the picture's contradict each other."""
    place, tags, photo, _ = shelf
    swapped = {**tags, "two": tags["three"], "three": tags["two"]}
    wrong = bench_with({**BROWNS, "target": TARGET}, swapped, LAMPS, seed=3)
    photo.write_bytes(wrong.data)
    found = told("read", photo, *read_options(wrong, "target"), "--studio", place)
    used = {one["plate"]: one["used"] for one in found["plates"]}
    assert used == {1: True, 2: False, 3: False, 4: True}
    _, out, _ = run("read", photo, *read_options(wrong, "target"), "--studio", place)
    assert out.count("Left out, because") == 1, "why is said once, how far of each"
    for number in (2, 3):
        low, high = next(one["delta_e00_interval"] for one in found["plates"] if one["plate"] == number)
        said = f"Plate {number} is left out. By the others ΔE00 {low:.1f} to {high:.1f} from what is logged."
        assert said in out and low > 2


def test_tags_that_tell_of_no_plate_say_why(shelf, tmp_path):
    place, tags, _, _ = shelf
    other, unknown = TagCode("ZZZZ9", 5), TagCode(tags["one"].studio, 4000)
    shown = bench_with(
        {**BROWNS, "again": BROWNS["one"], "strange": (60, 2, 3), "new": (33, 9, 9)},
        {**tags, "again": tags["one"], "strange": other, "new": unknown},
    )
    with Studio.open(place) as studio:
        studio.set_aside(2, "scratched")
        found = studio.plates_in(open_photo(shown.data))
    why = {}
    for one in found:
        why.setdefault(one.sighting.tag, []).append(None if one.why_not is None else one.why_not.code)
    assert why == {
        str(tags["one"]): ["tag-twice", "tag-twice"],
        str(tags["two"]): ["set-aside"],
        str(tags["three"]): [None],
        str(tags["four"]): [None],
        str(other): ["other-studio"],
        str(unknown): ["no-plate"],
    }
    assert all(one.why_not is None or one.why_not.message.endswith(".") for one in found)


def test_a_tag_without_a_marked_finish_asks_for_it(shelf):
    place, _, photo, _ = shelf
    with Studio.open(place) as studio:
        history = studio.tags()
        found = plates_in(open_photo(photo), studio.tag_signs, history, {}, lambda number: None)
    assert {one.why_not.code for one in found} == {"not-marked"}
    assert seen_in_words([]) == []


def test_what_is_proposed_keeps_clear_of_tags(shelf, told):  # noqa: F811
    place, _, photo, lamps = shelf
    found = told("read", photo, "--card-corners", outline_as_typed(CARD), "--propose", "--studio", place)
    corners = [one.corners for one in find_plates(open_photo(photo))]
    assert len(found["proposed"]) == 5
    for item in found["proposed"]:
        outline = np.array(item["outline"])
        for tag in corners:
            assert cv2.intersectConvexConvex(outline.astype(np.float32), tag.astype(np.float32))[0] == 0
        (inside,) = [
            name
            for name, finish in lamps.finishes.items()
            if (np.abs(outline.mean(axis=0) - finish.mean(axis=0)) < 60).all()
        ]
        assert inside in BROWNS or inside == "target"


def test_a_target_that_was_read_beside_plates_is_compared_with_them_more_surely(tmp_path, told):  # noqa: F811
    """What it shares with the plates that it was read by cancels in ΔE00 against them, as logged and as seen since."""
    place, photo = tmp_path / "studio", tmp_path / "lamps.png"
    lamps = bench_with({**BROWNS, "target": TARGET}, studio_of_plates(place, 3.0), LAMPS, seed=2)
    photo.write_bytes(lamps.data)
    told("targets", photo, *read_options(lamps, "target"), "--add", "client", "--studio", place)
    with Studio.open(place) as studio:
        target = studio.targets()[0].reading
        ranked = {one.trial.id: one for one in studio.suggester().suggest(target, count=4) if one.basis == "logged"}
        apart = Reading(target.lab, target.covariance)
        blind = {one.trial.id: one for one in studio.suggester().suggest(apart, count=4) if one.basis == "logged"}
    low, high = ranked[1].delta_e00_interval
    low_blind, high_blind = blind[1].delta_e00_interval
    assert high - low < 0.8 * (high_blind - low_blind)
    assert low <= float(delta_e_2000(np.array(TARGET, float), np.array(BROWNS["one"], float))) <= high


def test_a_plate_that_was_seen_again_counts_in_suggestions_as_it_is_known_now(shelf, told):  # noqa: F811
    place, _, photo, lamps = shelf
    told("targets", photo, *read_options(lamps, "target"), "--add", "client", "--studio", place)
    with Studio.open(place) as studio:
        (first, *_) = studio.suggester().suggest(np.array(BROWNS["one"], float), count=1)
        assert first.trial.reading.lab.tolist() == studio.known_colour(1).lab.tolist()
        assert np.trace(first.trial.reading.covariance) < np.trace(studio.trial(1).reading.covariance)


def test_a_kept_photograph_is_read_again_by_plates_that_were_tagged_since(shelf, told):  # noqa: F811
    place, _, photo, lamps = shelf
    told("targets", photo, *read_options(lamps, "target"), "--add", "client", "--no-plates", "--studio", place)
    (found,) = told("read-again", "--target", "1", "--studio", place)["readings"]
    before, after = found["before"], found["after"]
    assert len(after["conditions"]["references"]) == 4 and before["conditions"]["references"] == []
    assert np.trace(after["covariance"]) < 0.5 * np.trace(before["covariance"])


def test_a_mirrored_picture_is_told_and_nothing_is_read_by_its_plates(shelf, told, run):  # noqa: F811
    """As a phone's front camera leaves it."""
    place, _, photo, lamps = shelf
    turned = cv2.imdecode(np.frombuffer(lamps.data, np.uint8), cv2.IMREAD_COLOR)[:, ::-1]
    cv2.imwrite(str(photo), turned)
    over = np.array([turned.shape[1] - 1, 0])
    finish, card = (outline_as_typed(np.abs(over - np.asarray(part))) for part in (lamps.finishes["target"], CARD))
    options = [photo, "--card-corners", card, "--finish", finish, "--studio", place]
    found, alone = told("read", *options), told("read", *options, "--no-plates")
    assert [one["used"] for one in found["plates"]] == [False] * 4
    assert {one["left_out"]["code"] for one in found["plates"]} == {"mirrored"}
    assert found["finishes"][0]["lab"] == alone["finishes"][0]["lab"]
    said = run("read", *options)[1]
    assert said.count("This picture is mirrored: plate ") == 1 and "nothing is read by them" in said
    tagged = told("tags", "find", photo, "--studio", place)
    assert tagged["tags"] == [] and [one["code"] for one in tagged["warnings"]] == ["tag_mirrored"]
    assert "No tag found" not in run("tags", "find", photo, "--studio", place)[1]
    told("targets", "--add", "pond (invented)", *options)
    with Studio.open(place) as studio:
        assert studio.sightings(1).total == 0, "nor is it kept as seen"


def test_plates_do_without_a_card_that_is_not_found(shelf, told, refused):  # noqa: F811
    place, tags, photo, _ = shelf
    bare = bench_with({**BROWNS, "target": TARGET}, tags, LAMPS, seed=4, with_card=False)
    photo.write_bytes(bare.data)
    options = ["read", photo, "--finish", outline_as_typed(bare.finishes["target"]), "--studio", place]
    found = told(*options)
    assert found["card"] is None
    assert "card-not-found" in {one["code"] for one in found["warnings"]}
    assert float(delta_e_2000(np.array(found["finishes"][0]["lab"]), np.array(TARGET, float))) < 2
    assert "card" in refused(*options, "--no-plates")


def test_a_plate_is_logged_once_where_its_sightings_cannot_be_kept(shelf, told, monkeypatch):  # noqa: F811
    place, _, photo, lamps = shelf

    def refuse(*_):
        raise StudioError("Check the disk: it is full.")

    monkeypatch.setattr(Studio, "keep_sightings", refuse)
    recipe = ("--alloy", "silicon bronze", "--coat", "ferric nitrate,0.5,6,105,fine mist")
    found = told("record", photo, *read_options(lamps, "target"), *recipe, "--studio", place)
    assert "sightings-not-kept" in {one["code"] for one in found["warnings"]}
    with Studio.open(place) as studio:
        assert len(studio.trials()) == 5


def test_a_photograph_tells_nothing_more_when_it_is_read_again(shelf, told):  # noqa: F811
    """What its own plates were seen as in it, kept meanwhile, is no further knowledge of them."""
    place, _, photo, lamps = shelf
    options = [photo, *read_options(lamps, "target")]
    told("targets", *options, "--add", "client", "--studio", place)
    first = told("targets", *options, "--add", "once more", "--studio", place)
    with Studio.open(place) as studio:
        assert len(studio.sightings(1).sightings) == 1
        before, after = (target.reading for target in studio.targets())
        other = studio.colour_by_now(1, "0" * 64)
        assert np.trace(other.covariance) < np.trace(studio.colour_by_now(1, open_photo(photo).sha256).covariance)
    assert after.lab.tolist() == before.lab.tolist() and after.covariance.tolist() == before.covariance.tolist()
    assert first


def test_what_a_photograph_shows_that_is_read_again_for_keeps_is_a_sighting_once(shelf, told):  # noqa: F811
    """It is of the day when the photograph was kept, not of the day when it was read again."""
    place, tags, photo, lamps = shelf
    told("targets", photo, *read_options(lamps, "target"), "--add", "client", "--no-plates", "--studio", place)
    kept_at = MADE_AT + timedelta(days=30)
    with Studio.open(place) as studio:
        assert studio.sightings().total == 0
        with studio.database.writing() as session:
            session.execute(sa.update(PhotoRow).values(kept_at=kept_at))
    told("read-again", "--target", "1", "--studio", place)
    with Studio.open(place) as studio:
        assert studio.sightings().total == 0, "looked at only"
    told("read-again", "--target", "1", "--keep", "tagged since", "--studio", place)
    with Studio.open(place) as studio:
        (seen,) = studio.sightings(1).sightings
        assert (seen.tag, seen.photo, seen.seen_at) == (str(tags["one"]), studio.target(1).reading.photo, kept_at)
        assert seen.served and float(delta_e_2000(seen.reading.lab, np.array(BROWNS["one"], float))) < 1.5
        known = studio.known_colour(1)
        assert np.trace(known.covariance) < np.trace(studio.trial(1).reading.covariance)
    told("read-again", "--target", "1", "--keep", "once more", "--studio", place)
    with Studio.open(place) as studio:
        assert [studio.sightings(number).total for number in (1, 2, 3, 4)] == [1, 1, 1, 1]
        assert studio.tag_log.sightings(1, replaced=True).total == 2, "the earlier one stays in the log"
        assert studio.known_colour(1).covariance == pytest.approx(known.covariance), "one photograph is one look"
        assert studio.ageing(1).seen == 1 and studio.sightings(1).sightings[0].seen_at == kept_at


def test_a_plate_whose_own_photograph_is_read_again_is_no_sighting_and_nothing_is_read_by_it(shelf, told):  # noqa: F811
    place, _, photo, lamps = shelf
    later = ("trials", "add-reading", "1", photo, "--stage", "waxed", *read_options(lamps, "one"), "--studio", place)
    told(*later, "--no-plates")
    told("read-again", "--plate", "1", "--stage", "waxed", "--keep", "tagged since", "--studio", place)
    with Studio.open(place) as studio:
        assert [studio.sightings(number).total for number in (1, 2, 3, 4)] == [0, 1, 1, 1]
        (seen,) = studio.sightings(2).sightings
        by = {term.shared for term in seen.reading.budget}
        known = {number: cause_of_own(studio.trial(number).reading) for number in (1, 3, 4)}
        assert known[3] in by and known[4] in by and known[1] not in by
        assert cause_of_own(studio.trial(1).stages[0].reading) not in by


def test_a_plate_seen_in_the_very_photograph_that_it_was_read_from_was_not_looked_at_again(shelf, told):  # noqa: F811
    place, _, photo, lamps = shelf
    told("targets", photo, *read_options(lamps, "target"), "--add", "client", "--studio", place)
    with Studio.open(place) as studio:
        assert [studio.ageing(number).seen for number in (1, 2)] == [1, 1]
    later = ("trials", "add-reading", "1", photo, "--stage", "waxed", *read_options(lamps, "one"), "--studio", place)
    told(*later)
    with Studio.open(place) as studio:
        assert [studio.ageing(number).seen for number in (1, 2)] == [0, 1]
        waxed = studio.trial(1).stages[0].reading
        assert studio.known_colour(1).covariance == pytest.approx(waxed.covariance)


def test_a_new_reading_is_kept_where_its_sightings_cannot_be(shelf, told, run, monkeypatch):  # noqa: F811
    place, _, photo, lamps = shelf
    told("targets", photo, *read_options(lamps, "target"), "--add", "client", "--no-plates", "--studio", place)

    def refuse(*_):
        raise StudioError("Check the disk: it is full.")

    monkeypatch.setattr(Studio, "keep_sightings", refuse)
    found = told("read-again", "--target", "1", "--keep", "tagged since", "--studio", place)
    assert [one["code"] for one in found["warnings"]] == ["sightings-not-kept"]
    with Studio.open(place) as studio:
        assert len(studio.target(1).reading.conditions.references) == 4
    assert "it is full" in run("read-again", "--target", "1", "--keep", "again", "--studio", place)[1]


def test_a_photograph_older_than_its_tags_says_so(shelf):
    """A camera whose clock was never set: its plates are not passed over in silence, nor called new."""
    place, _, photo, _ = shelf
    shown = open_photo(photo)
    camera = replace(shown.camera or CameraInfo(), taken_at=datetime(2019, 1, 1, tzinfo=UTC))
    with Studio.open(place) as studio:
        found = studio.plates_in(replace(shown, camera=camera))
    assert [one.why_not.code for one in found] == ["tagged-later"] * 4
    assert "Plate 1 is passed over" in found[0].why_not.message and "2019" in found[0].why_not.message


def test_a_photograph_is_read_where_the_finish_lay_by_its_tag_when_it_was_taken(shelf):
    """A tag that came off and was glued on elsewhere: its earlier mark is that of earlier photographs."""
    place, tags, photo, lamps = shelf
    shown, tag = open_photo(photo), str(tags["one"])
    early, late = MADE_AT + timedelta(days=1), MADE_AT + timedelta(days=30)

    def outline(taken):
        (found,) = (one for one in studio.plates_in(shown, taken) if one.trial_id == 1)
        return found.outline if found.why_not is None else found.why_not.code

    with Studio.open(place) as studio:
        corners = next(one.corners for one in find_plates(shown) if one.tag == tag)
        studio.take_tag(1, why="came off", at=MADE_AT + timedelta(days=10))
        studio.give_tag(1, tag, at=MADE_AT + timedelta(days=20))
        assert outline(early) == pytest.approx(lamps.finishes["one"], abs=2.0)
        assert outline(late) == "not-marked"
        studio.tag_log.keep_outline(1, corners, lamps.finishes["one"] + [20.0, 10.0])
        assert outline(late) == pytest.approx(lamps.finishes["one"] + [20.0, 10.0], abs=2.0)
        assert outline(early) == pytest.approx(lamps.finishes["one"], abs=2.0)
        assert [one.trial_id for one in studio.plates_in(shown, late)] == [1, 2, 3, 4]


def test_a_finish_is_not_asked_for_by_a_tag_as_it_was_on_the_plate_before(shelf):
    """What is marked in such a photograph would be taken for where the finish lies by the tag now."""
    place, tags, photo, _ = shelf
    corner = str(tags["one"])
    with Studio.open(place) as studio:
        plain = studio.record(Trial(RECIPE, Reading((33, 9, 9)), MADE_AT), "", "500")
        studio.take_tag(1, why="lost", at=MADE_AT + timedelta(days=2))
        studio.take_tag(plain.id, why="lost", at=MADE_AT + timedelta(days=2))
        studio.give_tag(plain.id, corner, at=MADE_AT + timedelta(days=5))
        studio.take_tag(plain.id, why="came off", at=MADE_AT + timedelta(days=10))
        studio.give_tag(plain.id, corner, at=MADE_AT + timedelta(days=20))
        then, by_now = (studio.plates_in(open_photo(photo), MADE_AT + timedelta(days=k))[0] for k in (7, 25))
    assert (then.trial_id, then.why_not.code) == (5, "tag-put-elsewhere")
    assert "taken off or given again after" in then.why_not.message
    assert (by_now.trial_id, by_now.why_not.code) == (5, "not-marked")


def test_of_more_plates_than_can_serve_the_surest_do(shelf, monkeypatch):
    place, _, photo, _ = shelf
    monkeypatch.setattr(plates_in_picture, "MOST_REFERENCES", 3)
    sure = {1: 0.5, 2: 2.0, 3: 0.4, 4: 1.0}
    with Studio.open(place) as studio:
        found = plates_in(
            open_photo(photo),
            studio.tag_signs,
            studio.tags(),
            studio.tag_log.outlines(),
            lambda number: LoggedPlate(None, Reading(TARGET, sure[number] * np.eye(3))),
        )
    assert [(one.trial_id, one.why_not and one.why_not.code) for one in found] == [
        (1, None), (2, "too-many-plates"), (3, None), (4, None),
    ]  # fmt: skip
    assert len(serving(found)) == 3


def test_a_target_that_was_read_by_a_card_alone_is_compared_with_plates_as_they_were_logged(shelf, told):  # noqa: F811
    """What both share, being read alike, cancels; a plate's better reading since shares nothing of it."""
    place, _, photo, lamps = shelf
    told("targets", photo, *read_options(lamps, "target"), "--add", "client", "--studio", place)
    told("targets", photo, *read_options(lamps, "target"), "--add", "alone", "--no-plates", "--studio", place)
    with Studio.open(place) as studio:
        by_plates, alone = (target.reading for target in studio.targets())
        logged, known = studio.trial(1).reading, studio.known_colour(1)
        for target, wanted in ((alone, logged), (by_plates, known), (Reading(TARGET), known)):
            found = {one.trial.id: one for one in studio.suggester(target).suggest(target, count=4) if one.trial}
            assert found[1].trial.reading.covariance == pytest.approx(wanted.covariance)
