"""Light that falls off over the picture: corrected from a flat field or a second card, covered with one card.

Invented scenes, exact camera, exposed so that nothing clips; bars: 1.0 ΔE00 at 2:1 across the picture.
"""

from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from matcher.calibration.calibrate import calibrate
from matcher.calibration.illumination import LightField
from matcher.calibration.white_balance import middle_grey
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000
from matcher.colour.uncertainty import CHI2_95
from matcher.errors import CardError
from matcher.photo.photo import open_photo
from matcher.reading.finish import read_finish
from tests.example_counts import draws
from tests.scenes import BROWN, GREY, Scene, box, png

CARD, SECOND, PLATE = box(40, 220, 200, 340), box(610, 220, 770, 340), box(260, 150, 560, 450)
INNER = box(280, 170, 540, 430)
TWO_TO_ONE = float(np.log(2))


def bench(gradient=0.0, second=False, texture=0.0, seed=1, cast=(1, 1, 1), **how):
    scene = Scene(seed=seed).lay(PLATE, BROWN, texture=texture).lay(CARD, GREY)
    if second:
        scene.lay(SECOND, GREY)
    return scene.photo(gradient=gradient, cast=cast, **how)


def flat(gradient=0.0, width=800, height=600, lab=(75, 0, 1), shadow=None, exposure=1.0, dust=None):
    """A photo of a sheet of paper; shadow: a box in half the light; dust: a small box of something dark."""
    scene = Scene(width, height)
    scene.light = np.zeros_like(scene.light)
    scene.lay(box(-5, -5, width + 5, height + 5), lab)
    if shadow is not None:
        (left, top), (right, bottom) = shadow[0].astype(int), shadow[2].astype(int)
        scene.light[top:bottom, left:right] *= 0.5
    if dust is not None:
        scene.lay(dust, (15, 0, 0))
    return scene.photo(gradient=gradient, exposure=exposure)


def read(photo, field=None):
    return read_finish(photo, calibrate(photo, find_card(photo, corners=CARD), light="daylight", field=field), INNER)


def error(reading):
    return float(delta_e_2000(reading.lab, BROWN))


@pytest.mark.parametrize("gradient", [-TWO_TO_ONE, TWO_TO_ONE])
def test_two_to_one_reads_within_one_with_a_flat_field(gradient):
    photo = bench(gradient)
    field = LightField.from_flat_field(flat(gradient), find_card(photo, corners=CARD), photo)
    assert error(read(photo)) > 2.5
    assert error(read(photo, field)) <= 1.0
    assert field.found_by == "flat field"


@pytest.mark.parametrize("gradient", [-TWO_TO_ONE, TWO_TO_ONE])
def test_two_to_one_reads_within_one_with_two_cards(gradient):
    photo = bench(gradient, second=True)
    field = LightField.from_two_cards(find_card(photo, corners=CARD), find_card(photo, corners=SECOND))
    assert error(read(photo, field)) <= 1.0
    assert field.found_by == "two cards"


@pytest.mark.parametrize("gradient", [-TWO_TO_ONE, TWO_TO_ONE])
def test_with_one_card_the_interval_grows_to_cover_two_to_one(gradient):
    reading, even = read(bench(gradient)), read(bench(0.0))
    away = reading.lab - BROWN
    assert away @ np.linalg.solve(reading.covariance, away) <= CHI2_95
    assert reading.covariance[0, 0] > 2 * even.covariance[0, 0], "uneven light moves lightness, which a card holds"


@pytest.mark.parametrize("how", ["flat field", "two cards"])
def test_a_correction_leaves_a_narrower_interval_that_still_holds_the_truth(how):
    """Invented: 24 gradients (12 in `ci`) up to 2:1 with noise; the 95 % ellipsoid holds the truth 7 times in 8."""
    rng, held = np.random.default_rng(6), 0
    gradients = draws(24, ci=12)
    for seed in range(gradients):
        gradient = float(rng.uniform(-TWO_TO_ONE, TWO_TO_ONE))
        photo = bench(gradient, second=True, seed=seed)
        card = find_card(photo, corners=CARD)
        field = (
            LightField.from_flat_field(flat(gradient), card, photo)
            if how == "flat field"
            else LightField.from_two_cards(card, find_card(photo, corners=SECOND))
        )
        reading = read(photo, field)
        away = reading.lab - BROWN
        held += bool(away @ np.linalg.solve(reading.covariance, away) <= CHI2_95)
        if abs(gradient) > 0.35:
            assert np.trace(reading.covariance) < np.trace(read(photo).covariance)
    assert held >= 7 / 8 * gradients


def test_an_even_light_is_left_as_it_is():
    photo = bench(0.0, second=True)
    card = find_card(photo, corners=CARD)
    places = np.array([[120.0, 280], [400, 300], [690, 280], [400, 20]])
    for field in (
        LightField.from_flat_field(flat(), card, photo),
        LightField.from_two_cards(card, find_card(photo, corners=SECOND)),
    ):
        assert field.relative(places) == pytest.approx(np.ones(4), abs=0.03)
    assert LightField.from_card_face(card).relative(places) == pytest.approx(np.ones(4))


def test_the_light_is_one_where_the_card_lies():
    photo = bench(0.6, second=True)
    card = find_card(photo, corners=CARD)
    field = LightField.from_flat_field(flat(0.6), card, photo)
    assert field.relative(CARD.mean(axis=0)[None]) == pytest.approx([1.0], abs=0.01)
    expected = np.exp(0.6 * (INNER.mean(axis=0)[0] - CARD.mean(axis=0)[0]) / 800)
    assert field.relative(INNER.mean(axis=0)[None]) == pytest.approx([expected], rel=0.02)


def test_a_smaller_copy_of_the_flat_field_serves_as_well():
    photo = bench(TWO_TO_ONE)
    small = open_photo(png(cv2.resize(flat(TWO_TO_ONE).preview(800), (400, 300), interpolation=cv2.INTER_AREA)))
    assert error(read(photo, LightField.from_flat_field(small, find_card(photo, corners=CARD), photo))) <= 1.0


def test_dust_on_the_paper_does_no_harm():
    photo = bench(TWO_TO_ONE)
    field = LightField.from_flat_field(
        flat(TWO_TO_ONE, dust=box(300, 200, 360, 260)), find_card(photo, corners=CARD), photo
    )
    assert error(read(photo, field)) <= 1.0


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"shadow": box(0, 0, 350, 600)}, "shadow"),
        ({"shadow": box(300, 200, 800, 400)}, "shadow"),
        ({"dust": box(100, 100, 500, 300)}, "something on it"),
        ({"width": 600, "height": 800}, "another shape"),
        ({"exposure": 4.0}, "over- or underexposed"),
        ({"exposure": 0.01}, "underexposed"),
    ],
)
def test_a_flat_field_that_is_none_is_refused(how, words):
    photo = bench()
    with pytest.raises(CardError, match=words):
        LightField.from_flat_field(flat(**how), find_card(photo, corners=CARD), photo)


def test_two_cards_under_lamps_of_two_colours_are_refused():
    scene = Scene().lay(CARD, GREY).lay(SECOND, GREY)
    scene.light[:, 400:] *= [1.15, 1.0, 0.85]
    photo = scene.photo()
    with pytest.raises(CardError, match="one kind of lamp"):
        LightField.from_two_cards(find_card(photo, corners=CARD), find_card(photo, corners=SECOND))


def test_one_card_marked_twice_is_refused():
    photo = bench()
    card = find_card(photo, corners=CARD)
    with pytest.raises(CardError, match="apart"):
        LightField.from_two_cards(card, find_card(photo, corners=CARD + 6))


@pytest.mark.parametrize(("apart_px", "kept"), [(90, False), (160, True)])
def test_two_cards_lie_apart_by_most_of_the_longer_side_of_one(apart_px, kept):
    """The slope is told over the length of a card, of whose inner part 0.8 are asked for: more than its height here."""
    wide, other = box(40, 100, 260, 170), box(40, 100 + apart_px, 260, 170 + apart_px)
    photo = Scene().lay(wide, GREY).lay(other, GREY).photo()
    card, second = find_card(photo, corners=wide), find_card(photo, corners=other)
    if kept:
        assert LightField.from_two_cards(card, second).found_by == "two cards"
        return
    with pytest.raises(CardError, match="apart"):
        LightField.from_two_cards(card, second)


def test_cards_of_other_lightness_still_tell_the_slope():
    """The second card is a darker grey of known CIELAB: its own reflectance is not taken for a shadow."""
    scene = Scene().lay(PLATE, BROWN).lay(CARD, GREY).lay(SECOND, (35.0, 0.0, 0.0))
    photo = scene.photo(gradient=TWO_TO_ONE)
    second = find_card(photo, corners=SECOND, lab=[35.0, 0, 0])
    field = LightField.from_two_cards(find_card(photo, corners=CARD), second)
    assert error(read(photo, field)) <= 1.0


def test_of_a_cards_greys_the_middle_one_is_nearest_to_l_50():
    greys = [SimpleNamespace(patch=SimpleNamespace(lab=np.array([lightness, 0.0, 0.0]))) for lightness in (96, 20, 44)]
    assert middle_grey(SimpleNamespace(neutrals=tuple(greys))) is greys[2]
    with pytest.raises(CardError, match="over- or underexposed"):
        middle_grey(SimpleNamespace(neutrals=()))
