"""The commands on tags and sightings, run in this process; everything invented."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from PIL.ExifTags import IFD, Base

from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.tags.ageing.told import ageing
from matcher.tags.code import TagCode, carried, typed_tag
from matcher.tags.sightings import KeptSighting
from tests.app_pages import open_page, said_on
from tests.plates import MADE_AT, a_trial
from tests.tag_scenes import scene

TAG, OTHER = "K7QX2-88", "M3NB9-41"
CORNERS = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with Studio.open(tmp_path / "studio") as studio:
        for n in range(3):
            studio.record(a_trial(30.0 + n, reading=Reading((30.0 + n, 14, 22))))
        studio.give_tag(1, TAG, who="Ann")
        seen = [
            KeptSighting(TAG, CORNERS, seen_at=MADE_AT + timedelta(days=30.0 * n), reading=Reading((24.0, 14, 22)))
            for n in range(1, 5)
        ]
        studio.keep_sightings(seen)
    return tmp_path / "studio"


def test_the_list_says_how_often_a_plate_was_seen_and_whether_it_changed(told: Any, run: Any, folder: Path) -> None:
    (one,) = told("tags", "--studio", folder)["tags"]
    assert (one["tag"], one["trial"], one["seen"]) == (TAG, 1, 4) and one["last_seen"].startswith("2025-07-29")
    assert one["ageing"]["changed"] and one["ageing"]["delta_e00_interval"][0] > 2
    _, out, _ = run("tags", "list", "--studio", folder)
    assert f"{TAG}  plate 1, seen 4 ×, last on 2025-07-29: changed by ΔE00" in out
    assert "a whole shelf that drifts alike" in out


def test_a_plate_that_changed_is_named_wherever_it_counts(
    told: Any, run: Any, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was logged at L* 30 and seen four times at 24; the other two were never seen."""
    where = ("--studio", folder)
    since = "since it was logged"
    assert since in run("tags", "list", *where)[1]
    ranked = told("suggest", "--lab", "30,14,22", *where)["suggestions"]
    assert {one["trial"]: "itself has changed by ΔE00" in one["because"] for one in ranked if one["trial"]} == {
        1: True, 2: False, 3: False
    }  # fmt: skip
    assert next(one["lab"] for one in ranked if one["trial"] == 1) == [30.0, 14.0, 22.0], "what its recipe gave"
    board = told("tags", "board", "--plates", "1,2", "--keep", *where)
    assert board["changed"] == [1] and told("tags", "board", *where)["changed"] == [1]
    assert "Changed since: plate 1. It serves with the colour" in run("tags", "board", *where)[1]
    monkeypatch.setenv("MATCHER_STUDIO", str(folder))
    body = said_on(open_page("log"))
    assert "<b>Plate 1</b></a>: changed by ΔE00" in body and since in body and "<b>Plate 2</b></a>: changed" not in body
    assert "Changed since: plate 1." in body, "the board says so too"


def test_how_a_plate_aged_is_worked_out_once_until_it_is_seen_again(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Suggestions, the board and what is worth laying beside a finish all ask for it, after every logged plate."""
    worked_out: list[int] = []

    def counted(reading: Reading, since: datetime, sightings: Sequence[KeptSighting]) -> Any:
        worked_out.append(len(sightings))
        return ageing(reading, since, sightings)

    monkeypatch.setattr("matcher.tags.ageing.told.ageing", counted)
    with Studio.open(folder) as studio:
        assert studio.ageing(1).changed and list(studio.changed_plates()) == [1] and studio.board(8).numbers == (2, 3)
        studio.record(a_trial(50.0))
        assert studio.ageing(1).changed and worked_out == [4]
        studio.keep_sightings(
            [KeptSighting(TAG, CORNERS, seen_at=MADE_AT + timedelta(days=200), reading=Reading((24.0, 14, 22)))]
        )
        assert studio.ageing(1).seen == 5 and worked_out == [4, 5]


def test_a_plate_that_changed_is_offered_no_plates_to_be_read_better_by(folder: Path) -> None:
    """Photographed today it would be read as another colour than the one that is to be known better."""
    wide = Reading((30.0, 14, 22), 25.0 * np.eye(3), photo="a" * 64)
    with Studio.open(folder) as studio:
        for n in range(4):
            studio.record(a_trial(reading=Reading((28.0 + 2 * n, 13, 21), 0.1 * np.eye(3))))
        assert studio.worth_laying(wide, 2) is not None and studio.worth_laying(wide, 1) is None


def test_a_tag_is_given_moved_and_taken_and_its_history_told(told: Any, run: Any, refused: Any, folder: Path) -> None:
    assert "is on plate 1" in refused("tags", "give", 2, TAG, "--studio", folder)
    moved = told("tags", "move", TAG, 2, "glued on this one", "--by", "Ben", "--studio", folder)
    assert moved["now"]["trial"] == 2 and [one["how_ended"] for one in moved["ended"]] == ["given to another plate"]
    assert "carries K7QX2-88, which is taken back" in refused("tags", "give", 2, OTHER, "--studio", folder)
    _, out, _ = run("tags", "give", 2, OTHER, "--why", "a better print", "--studio", folder)
    assert "M3NB9-41 is on plate 2" in out and f"{TAG} was taken back from plate 2" in out
    _, out, _ = run("tags", "take", 2, "came off", "--studio", folder)
    assert out == f"{OTHER} was taken from plate 2.\n"
    assert "no tag to take" in refused("tags", "take", 2, "again", "--studio", folder)
    times = told("tags", "history", "--tag", TAG, "--studio", folder)["history"]
    assert [one["trial"] for one in times] == [1, 2]
    assert [one["tag"] for one in told("tags", "history", "--plate", 2, "--studio", folder)["history"]] == [TAG, OTHER]
    _, out, _ = run("tags", "history", "--plate", 3, "--studio", folder)
    assert out == "Plate 3 never had a tag.\n"
    assert told("tags", "whose", TAG, "--at", "2025-05-01", "--studio", folder)["trial"]["id"] == 1
    assert told("tags", "whose", TAG, "--studio", folder)["trial"] is None


def test_sightings_come_in_pages_with_what_they_tell(told: Any, run: Any, folder: Path) -> None:
    found = told("tags", "sightings", 1, "--count", 3, "--studio", folder)
    assert found["total"] == 4 and len(found["sightings"]) == 3
    assert found["sightings"][0]["seen_at"] > found["sightings"][2]["seen_at"]
    _, out, _ = run("tags", "sightings", 1, "--count", 3, "--studio", folder)
    assert "Its colour has changed" in out and "1 more: go on with --start 3." in out
    _, out, _ = run("tags", "sightings", 2, "--studio", folder)
    assert out.startswith("No photograph has read its colour since it was logged")


def test_a_steady_plate_is_known_the_better_the_oftener_it_is_seen(told: Any, run: Any, folder: Path) -> None:
    with Studio.open(folder) as studio:
        studio.give_tag(2, OTHER)
        seen = [
            KeptSighting(OTHER, CORNERS, 2, MADE_AT + timedelta(days=n), reading=Reading((31, 14, 22))) for n in (1, 2)
        ]
        studio.keep_sightings(seen)
    known = told("tags", "sightings", 2, "--studio", folder)["known"]
    assert known["lab"] == pytest.approx([31, 14, 22])
    assert known["covariance"][0][0] == pytest.approx(0.3**2 / 3, rel=1e-6)  # an instrument's, three times
    assert "all sightings together: L* 31.0 ± 0.3" in run("tags", "sightings", 2, "--studio", folder)[1]


def test_a_plate_is_logged_with_its_tag(told: Any, refused: Any, folder: Path) -> None:
    recipe = ("--alloy", "silicon bronze", "--coat", "ferric nitrate,0.5,6,105")
    command = ("record", "--lab", "40,12,20", *recipe, "--studio", folder)
    assert "is on plate 1" in refused(*command, "--tag", TAG)
    assert told(*command, "--tag", "m3nb9-41")["tag"] == OTHER
    assert told("tags", "whose", OTHER, "--studio", folder)["trial"]["id"] == 4
    assert told(*command)["tag"] is None


def test_a_plate_is_found_by_its_tag(told: Any, run: Any, folder: Path) -> None:
    at = ("trials", "list", "--studio", folder, "--find")
    with Studio.open(folder) as studio:
        signs, given = studio.tag_signs, studio.tags().in_force()[0]
    assert [trial["id"] for trial in told(*at, given.tag.lower())["trials"]] == [given.trial_id]
    assert run(*at, f"tag {given.tag}")[1].startswith(f"Tag {given.tag} is on plate {given.trial_id}.")
    assert told(*at, f"{signs}-990")["trials"] == []
    assert f"Tag {signs}-990 is on no plate yet" in run(*at, f"{signs}-990")[1]


def test_an_empty_studio_says_how_to_begin(run: Any, tmp_path: Path) -> None:
    Studio.open(tmp_path / "new").close()
    _, out, _ = run("tags", "--studio", tmp_path / "new")
    assert out.startswith("No plate carries a tag yet")


def test_a_sheet_is_printed_for_new_tags_and_for_logged_plates(told: Any, run: Any, refused: Any, folder: Path) -> None:
    sheet = folder.parent / "tags.pdf"
    printed = told("tags", "print", "--out", sheet, "--first", 85, "--count", 3, "--size", 15, "--studio", folder)
    assert [one["number"] for one in printed["tags"]] == [85, 86, 87] and sheet.read_bytes().startswith(b"%PDF")
    assert "is there already" in refused("tags", "print", "--out", sheet, "--studio", folder)
    for_plates = ("tags", "print", "--out", sheet, "--overwrite", "--studio", folder, "--plates")
    assert "plate 99" in refused(*for_plates, "1,99").lower()
    assert "5,6,12" in refused(*for_plates, "one")
    assert "--plates" in refused("tags", "print", "--out", sheet, "--overwrite", "--give", "--studio", folder)
    _, out, _ = run(*for_plates, "1,2")
    assert "plate 2" in out and "tags give" in out and "plate 1 " not in out
    with Studio.open(folder) as studio:
        signs = studio.tag_signs
    assert f"2 tags, {TAG} and {signs}-88. Print" in out, "no range: what lies between them is not printed"
    assert "needs the finish marked once more" in out
    assert f"1 tag, {signs}-88. Print" in run(*for_plates, "2")[1]
    assert f"2 tags, {signs}-7 to {signs}-8. Print" in run(*for_plates[:-1], "--count", 2, "--first", 7)[1]
    given = told(*for_plates, "1,2,3", "--give", "--by", "Ann")["tags"]
    assert [(one["name"], one["number"]) for one in given] == [("Plate 1", 88), ("Plate 2", 88), ("Plate 3", 89)]
    now = {one["trial"]: one["tag"] for one in told("tags", "--studio", folder)["tags"]}
    assert now == {number: one["tag"] for number, one in enumerate(given, start=1)}
    assert [one["number"] for one in told(*for_plates[:-1], "--count", 1)["tags"]] == [90], "beyond all that lie ready"


def test_no_number_is_printed_twice_for_plates_to_come(told: Any, run: Any, folder: Path) -> None:
    """A drawer of printed tags lies between two sheets; the first begins beyond the plates' own numbers."""
    command = ("tags", "print", "--out", folder.parent / "more.pdf", "--overwrite", "--studio", folder, "--count", 5)
    first, second = ([one["number"] for one in told(*command)["tags"]] for _ in range(2))
    assert (first, second) == ([4, 5, 6, 7, 8], [9, 10, 11, 12, 13])
    assert "None of them is printed again: the next sheet begins beyond " in run(*command)[1]
    assert told(*command[:-2], "--plates", 2)["tags"][0]["number"] == 19, "nor for a logged plate"
    told(*command, "--first", 9_999_995)
    assert "Number the tags from 1 to" in run(*command)[2]


def test_tags_are_found_in_a_photograph_and_their_plates_told(told: Any, run: Any, refused: Any, folder: Path) -> None:
    rng = np.random.default_rng(1)
    with Studio.open(folder) as studio:
        own = TagCode(studio.tag_signs, 5)
        studio.give_tag(2, str(own))
    theirs, ours = carried(TagCode("M3NB9", 41)), carried(own)
    there = [ours, carried(TagCode(own.studio, 6)), theirs, theirs]
    picture = folder.parent / "bench.jpg"
    picture.write_bytes(scene(rng, there, 120, (900, 700)).data)
    seen = told("tags", "find", picture, "--studio", folder)
    about = {one["tag"]: (one["ours"], one["trial"]) for one in seen["tags"]}
    assert about == {str(own): (True, 2), f"{own.studio}-6": (True, None), OTHER: (False, None)}
    assert len(seen["tags"]) == 4 and np.shape(seen["tags"][0]["corners"]) == (4, 2)
    assert [one["code"] for one in seen["warnings"]] == ["tag_twice"]
    _, out, _ = run("tags", "find", picture, "--studio", folder)
    assert f"{own}  plate 2, at" in out and "a tag of another studio" in out and "is there 2 times" in out
    assert {one["trial"] for one in told("tags", "find", picture)["tags"]} == {None}  # no studio: the codes alone
    picture.write_bytes(scene(rng, [], 0, (300, 200)).data)
    _, out, _ = run("tags", "find", picture)
    assert out.startswith("No tag found: take the photograph nearer")
    assert "none.jpg is not there" in refused("tags", "find", folder / "none.jpg")


def test_a_finish_is_marked_by_its_tag_in_a_photograph(told: Any, refused: Any, folder: Path, tmp_path: Path) -> None:
    taken = scene(np.random.default_rng(4), [carried(typed_tag(TAG))], 130.0)
    (tmp_path / "shelf.jpg").write_bytes(taken.data)
    command = ("tags", "mark", 1, tmp_path / "shelf.jpg", "--finish", "300,200 420,200 420,320", "--studio", folder)
    kept = told(*command)
    assert kept["tag"] == TAG and len(kept["outline"]) == 3
    assert told("tags", "--studio", folder)["tags"][0]["outline"] == kept["outline"]
    covering = [list(taken.corners[0].mean(axis=0) + step) for step in ((-90, -90), (90, -90), (90, 90), (-90, 90))]
    over = " ".join(f"{x:.0f},{y:.0f}" for x, y in covering)
    for outline, said in ((over, "covers the tag"), ("9000,1 9100,2 9050,90", "inside the picture")):
        assert said in refused(*command[:5], outline, *command[6:])
    assert told("tags", "--studio", folder)["tags"][0]["outline"] == kept["outline"]
    assert "Give plate 2 its tag first" in refused(*command[:2], 2, *command[3:])
    with Studio.open(folder) as studio:
        studio.give_tag(2, OTHER)
    assert "M3NB9-41 in it once" in refused(*command[:2], 2, *command[3:])


def test_a_finish_is_not_marked_in_a_photograph_from_before_its_tag_was_put_there(
    told: Any, refused: Any, folder: Path, tmp_path: Path
) -> None:
    taken = scene(np.random.default_rng(4), [carried(typed_tag(TAG))], 130.0)
    command = ("tags", "mark", 1, tmp_path / "shelf.jpg", "--finish", "300,200 420,200 420,320", "--studio", folder)
    with Studio.open(folder) as studio:
        (since,) = (one.since for one in studio.tag_log.history().in_force())
    for days in (-1, 1):
        exif = Image.Exif()
        exif.get_ifd(IFD.Exif)[Base.DateTimeOriginal] = f"{since + timedelta(days=days):%Y:%m:%d %H:%M:%S}"
        Image.open(io.BytesIO(taken.data)).save(tmp_path / "shelf.jpg", exif=exif, quality=95)
        if days < 0:
            assert f"Mark the finish of plate 1 in a later photograph: {TAG} has been where" in refused(*command)
            assert told("tags", "--studio", folder)["tags"][0]["outline"] is None
    assert told(*command)["tag"] == TAG
