"""The demo's plates with tags: found in its photographs, read by, seen before. All of it is invented."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000
from matcher.photo.photo import Photo, open_photo
from matcher.plates_beside import board_of
from matcher.plates_in_picture import PlateInPicture, serving
from matcher.reading.advice import reach_of
from matcher.reading.finish import read_finish
from matcher.shipped import shipped
from matcher.studio import Studio
from matcher.tags.code import studio_signs
from matcher.tags.sightings import KeptSighting
from matcher.trials.trial import Trial
from tests.demo_making import ledger
from tests.demo_making.pictures import variation_of
from tests.demo_making.seen import FADING, NOT_KEPT, STEADY, tags_document
from tests.demo_making.tagged import (
    BESIDE_A_BOARD,
    ON_A_BOARD,
    STUDIO_UID,
    TAGGED,
    UNDER_A_LAMP,
    UNDER_TUBES,
    WITH_A_CHART,
    tag_of,
)
from tests.rendering.process import invented_process

DEMO = shipped("demo_images")
TRUTH = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))["pictures"]
LOG = json.loads((DEMO / "studio.json").read_text(encoding="utf-8"))
BESIDE = (UNDER_TUBES, UNDER_A_LAMP, BESIDE_A_BOARD)


@pytest.fixture(scope="module")
def studio(master_demo: Path) -> Iterator[Studio]:
    with Studio.open(master_demo) as opened:
        yield opened


@pytest.fixture(scope="module")
def pictures(studio: Studio) -> dict[str, tuple[Photo, tuple[PlateInPicture, ...]]]:
    photos = {name: open_photo(DEMO / name) for name in (WITH_A_CHART, *BESIDE)}
    return {name: (photo, studio.plates_in(photo)) for name, photo in photos.items()}


def off(lab: Any, true: Any) -> float:
    return float(delta_e_2000(np.asarray(lab, float), np.asarray(true, float)))


def test_the_tags_are_the_demo_studios_own(studio: Studio) -> None:
    assert studio.uid == STUDIO_UID and studio.tag_signs == studio_signs(STUDIO_UID)
    assert {one.trial_id: one.tag for one in studio.tags().in_force()} == {
        number: f"{studio.tag_signs}-{number}" for number in (*TAGGED, FADING)
    }
    assert studio.plate_of("88") == 88


def test_every_tag_in_the_photographs_is_found_where_it_is(pictures: Any) -> None:
    for name, (_, plates) in pictures.items():
        true = {tag["tag"]: np.array(tag["corners"]) for tag in TRUTH[name]["tags"]}
        assert {one.sighting.tag for one in plates} == set(true)
        assert max(np.abs(one.sighting.corners - true[one.sighting.tag]).max() for one in plates) < 1.0
    assert sorted(one.trial_id for one in pictures[BESIDE_A_BOARD][1]) == sorted(ON_A_BOARD)


def test_every_finish_is_found_by_its_tag(pictures: Any) -> None:
    """The far end of a plate lies five sides of its tag away, so that what the corners are off is seen larger there."""
    away = []
    for name, (_, plates) in pictures.items():
        finishes = {finish["label"]: np.array(finish["polygon"]) for finish in TRUTH[name]["finishes"]}
        for one in plates:
            true = finishes[str(one.trial_id)]
            assert one.reference is not None
            away.append(np.abs(one.outline - true).max() / np.linalg.norm(true[3] - true[0]))
    assert np.median(away) < 0.03 and max(away) < 0.17, "17 % is where the plate's edge lies"


@pytest.mark.parametrize(("name", "shrinks_to"), [(UNDER_TUBES, 0.65), (UNDER_A_LAMP, 0.65), (BESIDE_A_BOARD, 0.25)])
def test_the_plates_beside_a_finish_make_its_reading_nearer_and_surer(
    name: str, shrinks_to: float, pictures: Any
) -> None:
    photo, plates = pictures[name]
    finish = TRUTH[name]["finishes"][0]
    card = find_card(photo) if TRUTH[name]["cards"] else None
    plain, by_plates = (
        read_finish(photo, calibrate(photo, card, references=known), finish["polygon"])
        for known in ((), serving(plates))
    )
    errors = [off(reading.lab, finish["lab"]) for reading in (plain, by_plates)]
    assert errors[0] > 3.5 and errors[1] < 0.5 * errors[0]
    assert reach_of(by_plates) < shrinks_to * reach_of(plain)
    assert errors[1] < reach_of(by_plates), "the smaller ± still holds the truth"


def test_the_photograph_beside_the_chart_lets_the_log_know_its_plates_better(studio: Studio) -> None:
    true = {finish["label"]: finish["lab"] for finish in TRUTH[WITH_A_CHART]["finishes"]}
    held = []
    better = [number for number in TAGGED if number not in NOT_KEPT]
    for number in better:
        logged, known = studio.trial(number).reading, studio.known_colour(number)
        assert reach_of(known) < 0.6 * reach_of(logged)
        held.append(off(known.lab, true[str(number)]) < reach_of(known))
    assert sum(held) >= len(held) - 1  # 95 in 100


def test_one_plate_was_seen_often_and_stays_and_one_fades(studio: Studio) -> None:
    steady, fading = studio.ageing(STEADY), studio.ageing(FADING)
    assert steady.seen >= 6 and not steady.changed
    assert fading.seen >= 6 and fading.changed and fading.odd_on is None
    assert fading.interval[0] > 3 and fading.now.lab[0] > fading.then.lab[0]


def test_the_logged_sightings_are_what_this_project_reads() -> None:
    """After a change to the reading: ``python -m tests.demo_making --readings`` brings the log up to date."""
    entries, process = ledger.entries(), invented_process()

    def true_lab(number: int) -> Any:
        entry = entries[number - 1]
        return process.true_lab(entry.recipe, variation_of(entry, 7))

    plates = [Trial.from_dict(item) for item in LOG["trials"]]
    again = tags_document(DEMO, TRUTH[WITH_A_CHART], plates, true_lab, 7)["sightings"]
    kept = {item["uid"]: KeptSighting.from_dict(item) for item in LOG["sightings"]}
    assert [item["uid"] for item in again] == list(kept)
    for one in map(KeptSighting.from_dict, again):
        before = kept[one.uid or ""]
        assert one.reading is not None and before.reading is not None
        assert off(one.reading.lab, before.reading.lab) < 0.2
        assert reach_of(one.reading) == pytest.approx(reach_of(before.reading), rel=0.1)
        assert (one.seen_at, one.trial_id, one.photo) == (before.seen_at, before.trial_id, before.photo)


def test_the_logged_outlines_are_those_of_the_picture_beside_the_chart() -> None:
    corners = {tag["plate"]: tag["corners"] for tag in TRUTH[WITH_A_CHART]["tags"]}
    logged = {one["plate"]: one for one in LOG["tags"]}
    assert set(logged) == {*TAGGED, FADING}
    for number in TAGGED:
        assert logged[number]["tag"] == str(tag_of(number))
        assert np.abs(np.array(logged[number]["corners"]) - corners[str(number)]).max() < 1.0


def test_a_plate_that_has_changed_is_not_put_on_a_board(studio: Studio) -> None:
    """Plate 65 has faded (invented), and may go on fading; as it was logged it would be on it."""
    assert studio.ageing(65).changed
    logged = [(trial.id or 0, trial.reading) for trial in studio.trials()]
    ten = studio.board(10).numbers
    assert 65 in board_of([one for one in logged if one[0] in (65, *ten)], 11).numbers
    assert 65 not in studio.board(12).numbers
