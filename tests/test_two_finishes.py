"""Two finishes in one photograph: the interval that the common light earns, the verdict, and the map of where they
differ. The demo's picture is rendered, so the truth is known."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000, interval_of
from matcher.demo import two_finishes
from matcher.errors import ReadingError
from matcher.photo.photo import open_photo
from matcher.reading.comparison import delta_e_interval, side_by_side
from matcher.reading.difference_map import (
    BANDS,
    COARSE,
    DifferenceMap,
    delta_e_map,
    difference_map,
    flat_lab,
    in_bands,
    map_size,
)
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
from matcher.reading.wording import where_they_differ_in_words
from matcher.shipped import shipped
from tests.scenes import BROWN, Scene, box

TRUTH = json.loads((shipped("demo_images") / "truth.json").read_text(encoding="utf-8"))["pictures"]["two_plates.jpg"]
LEFT, RIGHT = box(60, 100, 260, 300), box(300, 100, 500, 300)


@lru_cache(maxsize=2)
def readings(with_card: bool) -> tuple[Reading, Reading]:
    photo = open_photo(two_finishes())
    calibration = calibrate(photo, find_card(photo) if with_card else None)
    first, second = (read_finish(photo, calibration, finish["polygon"]) for finish in TRUTH["finishes"])
    return first, second


@pytest.mark.parametrize("with_card", [True, False], ids=["with a card", "without"])
def test_the_interval_holds_the_true_difference_and_is_far_narrower_than_of_two_photographs(with_card: bool) -> None:
    found = side_by_side(*readings(with_card))
    truth = float(delta_e_2000(*(finish["lab"] for finish in TRUTH["finishes"])))
    assert found.interval[0] <= truth <= found.interval[1]
    assert found.interval_apart[1] > 3 * found.interval[1]
    assert f"{found.interval_apart[1]:.1f}" in found.gain_in_words


def test_with_a_card_the_interval_is_that_of_the_readings_themselves() -> None:
    first, second = readings(True)
    assert side_by_side(first, second).interval == pytest.approx(delta_e_interval(first, second, given=True))


def test_without_a_card_light_that_may_be_uneven_widens_the_interval_the_more_the_further_apart() -> None:
    first, second = readings(False)
    assert second.region is not None
    near = side_by_side(first, second)
    far = side_by_side(first, replace(second, region=second.region + [900.0, 0.0]))
    assert delta_e_interval(first, second, given=True)[1] < near.interval[1] < far.interval[1]


@pytest.mark.parametrize("gradient", [0.0, 0.1, 0.2, -0.2])
def test_without_a_card_one_colour_under_uneven_light_is_not_called_two(gradient: float) -> None:
    """Invented scene: two plates of one colour that fill the picture; log light falls off by ``gradient`` over it."""
    photo = Scene(560, 400).lay(LEFT, BROWN).lay(RIGHT, BROWN).photo(gradient=gradient, noise=0.002)
    calibration = calibrate(photo, None)
    found = side_by_side(*(read_finish(photo, calibration, place) for place in (LEFT, RIGHT)))
    assert found.interval[0] == 0.0
    assert found.delta_e00 <= found.interval[1] < 5.0


def measured(lab: tuple[float, float, float]) -> Reading:
    return Reading(lab=np.array(lab), covariance=np.diag([0.01] * 3), photo="0" * 64)


@pytest.mark.parametrize(
    ("away", "says"),
    [(0.3, "They match within ΔE00 2: over 99 % sure"), (2.4, "It cannot be told"), (8.0, "They do not match within")],
)
def test_the_verdict_follows_the_chance(away: float, says: str) -> None:
    uneven = np.diag([1.0, 0.01, 0.01]) if says.startswith("It") else np.diag([0.01] * 3)
    second = replace(measured((50 + away, 0, 0)), covariance=uneven)
    assert side_by_side(measured((50, 0, 0)), second).verdict(2.0).startswith(says)


def test_readings_of_two_photographs_are_not_compared_as_if_of_one() -> None:
    first = measured((40, 10, 20))
    for other in (replace(first, photo="1" * 64), replace(first, photo=None)):
        with pytest.raises(ReadingError, match="into one photograph"):
            side_by_side(first, other)


def test_the_words_tell_the_second_against_the_first() -> None:
    assert side_by_side(measured((40, 10, 20)), measured((47, 10, 20))).words.endswith("lighter than the first")


def test_a_map_shows_a_patch_that_differs_where_it_is_and_nowhere_else() -> None:
    """Invented scene: two even plates, the second with a darker lower right quarter."""
    scene = Scene(560, 400, lab=(50, 0, 0))
    scene.lay(LEFT, (45, 8, 14)).lay(RIGHT, (45, 8, 14)).lay(box(400, 200, 500, 300), (33, 8, 14))
    photo = scene.photo(noise=0.001)
    calibration = calibrate(photo, None)
    bands, shares = in_bands(delta_e_map(photo, calibration, LEFT, photo, calibration, RIGHT, map_size(LEFT, 20)))
    assert bands.shape == (20, 20)
    assert (bands[12:, 12:] == len(BANDS)).all(), "a step of L* 12 is in the last band"
    assert (bands[:8] == 0).all() and (bands[:, :8] == 0).all()
    assert shares[-1] == pytest.approx(0.25, abs=0.06)


def test_a_spot_is_said_to_differ_or_not_only_where_its_interval_says_so() -> None:
    """Invented scene: two plates of one colour but for a darker quarter of L* 4, read ever less surely."""
    scene = Scene(560, 400, lab=(50, 0, 0))
    scene.lay(LEFT, (45, 8, 14)).lay(RIGHT, (45, 8, 14)).lay(box(400, 200, 500, 300), (41, 8, 14))
    photo = scene.photo(noise=0.0005)
    calibration = calibrate(photo, None)
    told = []
    for sigma in (0.1, 1.0, 8.0):
        found = difference_map(photo, calibration, LEFT, RIGHT, np.eye(3) * sigma**2, map_size(LEFT, 20))
        low, high = found.interval[..., 0], found.interval[..., 1]
        assert (low <= found.apart).all() and (found.apart <= high).all()
        told.append(found.shares())
    sure, less, unsure = told
    assert sure == pytest.approx((0.75, 0.0, 0.25), abs=0.08), "what is surely known is said"
    assert less[0] < 0.05 and less[2] == pytest.approx(0.25, abs=0.08), "that they are alike can't be told any more"
    assert unsure == pytest.approx((0.0, 1.0, 0.0)), "nothing is told that the readings don't tell"
    said = where_they_differ_in_words(DifferenceMap(np.array([[0.2, 3.0]]), np.array([[[0.0, 0.4], [0.0, 9.0]]])))
    assert "Surely under: 50 %. Can't be told: 50 %." in said and "metal: 0 % of it" in said


def test_a_spots_interval_is_that_of_two_readings() -> None:
    """Against the draws of ΔE00 itself, over browns and greens some ΔE00 2 to 12 apart."""
    photo = Scene(560, 400, lab=(50, 0, 0)).lay(LEFT, (45, 8, 14)).lay(RIGHT, (39, 12, 18)).photo(noise=0.001)
    calibration = calibrate(photo, None)
    covariance = np.diag([1.5, 0.6, 0.9])
    found = difference_map(photo, calibration, LEFT, RIGHT, covariance, (2, 2))
    one, other = (flat_lab(photo, calibration, place, (2, 2)) for place in (LEFT, RIGHT))
    wanted = interval_of(one, other, covariance, given=True)
    half = np.ptp(wanted, axis=-1)[..., None] / 2
    assert (np.abs(found.interval - wanted) < 0.15 * half).all()


def test_bands_are_counted_over_what_has_a_value() -> None:
    apart = np.array([[0.0, 0.99, 1.0, np.nan], [2.0, 4.0, 7.99, 8.0]])
    bands, shares = in_bands(apart)
    assert bands.tolist() == [[0, 0, 1, -1], [2, 3, 3, 4]]
    assert shares == pytest.approx((2 / 7, 1 / 7, 1 / 7, 2 / 7, 1 / 7))
    assert in_bands(np.full((2, 2), np.nan))[1] == (0.0,) * 5


def test_a_maps_cells_are_about_square() -> None:
    assert map_size(box(0, 0, 400, 100), 40) == (10, 40)
    assert map_size(box(0, 0, 100, 400), COARSE) == (COARSE, COARSE // 4)
