"""What the invented studio's log says of its tags: which plate carries which, where its finish lies, where it was seen.

The photograph of the tagged plates beside a chart is read by the project's own steps, in a studio that is made for it.
Two plates have earlier sightings besides, drawn as an instrument's readings are: one plate stays as it is, one fades.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card
from matcher.colour.types import Floats
from matcher.photo.photo import open_photo
from matcher.plates_in_picture import kept_sightings, seen_in, serving
from matcher.reading.reading import Reading
from matcher.reading.seen_again import seen_again
from matcher.recipe.recipe import as_compared
from matcher.studio import Studio
from matcher.tags.outlines import outline_in_picture, outline_in_tag
from matcher.tags.search import find_plates
from matcher.tags.sightings import KeptSighting
from matcher.trials.trial import Trial
from tests.demo_making.tagged import GIVEN_ON, STUDIO_UID, TAGGED, WITH_A_CHART, tag_of

WHO = "T.R."
STEADY, FADING = 53, 65
"""The plates with earlier sightings; the second, lacquered, hangs in the yard (invented)."""
NOT_KEPT = (24, 87, 88, 97)
"""Plates whose sightings beside the chart were not kept: those nearest to the client's piece, which was read with the
same camera and card as they were, so that they compare the surer with it as they were logged."""
SEEN_ON = tuple(
    datetime(*day, 11, 20, tzinfo=UTC)
    for day in ((2023, 12, 4), (2024, 3, 6), (2024, 6, 11), (2024, 8, 27), (2024, 11, 5), (2025, 2, 18))
)
FADED_A_YEAR = np.array([3.2, 2.1, 2.6])
"""CIELAB: lacquer that yellows and lets the green grow pale (invented)."""
SIGMA = 0.6
"""CIELAB: how surely an earlier sighting was read."""
DRAWN_TAG = np.array([[300.0, 200.0], [390.0, 200.0], [390.0, 290.0], [300.0, 290.0]])


def tags_document(
    folder: Path, truth: Mapping[str, Any], trials: Sequence[Trial], true_lab: Callable[[int], Floats], seed: int
) -> dict[str, Any]:
    """Return what the log keeps of tags, as plain JSON types.

    folder: of the pictures. truth: of the photograph beside the chart. trials: the plates, in order. true_lab: from a
    plate's number to the CIELAB (3,) that it was made with.
    """
    file = folder / WITH_A_CHART
    photo = open_photo(file)
    corners = {one.tag: one.corners for one in find_plates(photo)}
    regions = {finish["label"]: finish["polygon"] for finish in truth["finishes"]}
    given = [_given(number, corners[str(tag_of(number))], np.array(regions[f"{number}"])) for number in TAGGED]
    like = given[TAGGED.index(STEADY)]  # the tabs sit alike on all plates
    given.append({**like, "plate": FADING, "tag": str(tag_of(FADING))})
    outline = outline_in_tag(like["corners"], like["region"])
    drawn = [
        seen
        for number, a_year in ((STEADY, np.zeros(3)), (FADING, FADED_A_YEAR))
        for seen in _drawn(number, true_lab(number), a_year, outline, seed)
    ]
    with tempfile.TemporaryDirectory() as place, Studio.open(place) as studio:
        studio.uid = STUDIO_UID
        bare = [trials[one["plate"] - 1] for one in given]  # without photographs and bottles: they are not needed
        kept = studio.record_all([replace(one, photos=(), recipe=as_compared(one.recipe)) for one in bare])
        numbers = {trial.id: one["plate"] for trial, one in zip(kept, given, strict=True)}
        for trial, one in zip(kept, given, strict=True):
            trial_id = trial.id or 0
            studio.give_tag(trial_id, one["tag"], WHO)
            studio.tag_log.keep_outline(trial_id, one["corners"], one["region"], WHO)
        plates = studio.plates_in(photo)
        calibration = calibrate(photo, find_card(photo, "24-patch chart"), light="daylight", references=serving(plates))
        sha256 = studio.keep_photo(file)
        seen = kept_sightings(seen_in(plates, seen_again(photo, calibration)), studio.taken_at(photo), sha256)
        named = [
            replace(one, uid=f"demo-sighting-{numbers[one.trial_id]}", trial_id=numbers[one.trial_id], seen_at=GIVEN_ON)
            for one in seen
            if numbers[one.trial_id] not in NOT_KEPT
        ]
    return {"uid": STUDIO_UID, "tagged_photo": WITH_A_CHART, "tags": given,
            "sightings": [one.as_dict() for one in (*drawn, *named)]}  # fmt: skip


def _given(number: int, corners: Floats, region: Floats) -> dict[str, Any]:
    return {"plate": number, "tag": str(tag_of(number)), "who": WHO, "corners": corners.tolist(),
            "region": region.tolist()}  # fmt: skip


def _drawn(number: int, lab: Floats, a_year: Floats, outline: Floats, seed: int) -> list[KeptSighting]:
    """Draw the earlier sightings of a plate that changes so much a year from the first of them on."""
    from tests.demo_making.pictures import generator_for

    rng = generator_for(seed, f"sightings {number}")
    found = []
    for place, day in enumerate(SEEN_ON, start=1):
        years = (day - SEEN_ON[0]).days / 365.25
        read = Reading(
            np.round(lab + years * a_year + rng.normal(0, SIGMA, 3), 2), SIGMA**2 * np.eye(3), source="photograph"
        )
        place_seen = outline_in_picture(DRAWN_TAG, outline)
        uid = f"demo-sighting-{number}-{place}"
        found.append(KeptSighting(str(tag_of(number)), DRAWN_TAG, number, day, None, place_seen, read, uid=uid))
    return found
