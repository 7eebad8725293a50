"""The commands on tags and sightings, run in this process; everything invented."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.tags.sightings import KeptSighting
from tests.plates import MADE_AT, a_trial

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
    assert out.startswith("Not seen in a photograph since it was logged")


def test_a_plate_is_logged_with_its_tag(told: Any, refused: Any, folder: Path) -> None:
    recipe = ("--alloy", "silicon bronze", "--coat", "ferric nitrate,0.5,6,105")
    command = ("record", "--lab", "40,12,20", *recipe, "--studio", folder)
    assert "is on plate 1" in refused(*command, "--tag", TAG)
    assert told(*command, "--tag", "m3nb9-41")["tag"] == OTHER
    assert told("tags", "whose", OTHER, "--studio", folder)["trial"]["id"] == 4
    assert told(*command)["tag"] is None


def test_an_empty_studio_says_how_to_begin(run: Any, tmp_path: Path) -> None:
    Studio.open(tmp_path / "new").close()
    _, out, _ = run("tags", "--studio", tmp_path / "new")
    assert out.startswith("No plate carries a tag yet")
