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
from matcher.colour.difference import delta_e_2000
from matcher.demo import two_finishes
from matcher.errors import ReadingError
from matcher.photo.photo import open_photo
from matcher.reading.comparison import delta_e_interval, side_by_side
from matcher.reading.difference_map import BAND_WORDS, BANDS, COARSE, delta_e_map, in_bands, map_size
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
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
    assert side_by_side(first, second).interval == pytest.approx(delta_e_interval(first, second))


def test_without_a_card_light_that_may_be_uneven_widens_the_interval_the_more_the_further_apart() -> None:
    first, second = readings(False)
    assert second.region is not None
    near = side_by_side(first, second)
    far = side_by_side(first, replace(second, region=second.region + [900.0, 0.0]))
    assert delta_e_interval(first, second)[1] < near.interval[1] < far.interval[1]


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


def test_bands_are_counted_over_what_has_a_value() -> None:
    apart = np.array([[0.0, 0.99, 1.0, np.nan], [2.0, 4.0, 7.99, 8.0]])
    bands, shares = in_bands(apart)
    assert bands.tolist() == [[0, 0, 1, -1], [2, 3, 3, 4]]
    assert shares == pytest.approx((2 / 7, 1 / 7, 1 / 7, 2 / 7, 1 / 7))
    assert len(BAND_WORDS) == len(BANDS) + 1
    assert in_bands(np.full((2, 2), np.nan))[1] == (0.0,) * 5


def test_a_maps_cells_are_about_square() -> None:
    assert map_size(box(0, 0, 400, 100), 40) == (10, 40)
    assert map_size(box(0, 0, 100, 400), COARSE) == (COARSE, COARSE // 4)
