"""Reading a finish: colour, what is left out, covariance, budget and caveats, on small invented scenes."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card, neutral_patch
from matcher.colour.difference import delta_e_2000
from matcher.errors import CardError, MatcherError, ReadingError
from matcher.photo.photo import open_photo
from matcher.reading.advice import trust_sentence
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
from tests.example_counts import examples
from tests.scenes import BROWN, GREY, Scene, box, png

CARD, PLATE = box(80, 200, 260, 340), box(380, 150, 680, 450)
INNER = box(400, 170, 660, 430)


def scene(texture=0.0, seed=1):
    return Scene(seed=seed).lay(PLATE, BROWN, texture=texture).lay(CARD, GREY)


def read(photo, region=INNER, corners=CARD, light="daylight"):
    return read_finish(photo, calibrate(photo, find_card(photo, corners=corners), light=light), region)


def codes(reading):
    return [caveat.code for caveat in reading.caveats]


@pytest.mark.parametrize("exposure", [0.4, 1.0, 1.8])
@pytest.mark.parametrize("cast", [(1, 1, 1), (1.3, 1, 0.6), (0.8, 1, 1.3)])
def test_exposure_and_tint_of_the_light_do_not_move_the_reading(exposure, cast):
    """The camera here is exact, so only coding (8 bits) and noise remain: ΔE00 below 0.5."""
    reading = read(scene().photo(exposure=exposure, cast=cast))
    assert delta_e_2000(reading.lab, BROWN) < 0.5


def test_glare_is_left_out():
    """30 % of the region white: a plain mean would be off by more than 4, the reading by less than 1."""
    shiny = scene(texture=0.1).lay(box(400, 170, 478, 430), (97, 0, 1))
    photo = shiny.photo()
    plain = photo.linear(tuple(INNER[[0, 2]].ravel())).reshape(-1, 3).mean(axis=0)
    reading = read(photo)
    calibration = calibrate(photo, find_card(photo, corners=CARD))
    assert delta_e_2000(calibration.lab(plain), BROWN) > 4
    assert delta_e_2000(reading.lab, BROWN) < 1
    assert reading.left_out_share == pytest.approx(0.3, abs=0.03)


def test_burnished_high_points_are_not_glare():
    """Half the region in bright bare metal, which keeps its colour: the reading is their mean in linear light."""
    from matcher.colour.cielab import XYZ_D50_TO_SRGB, xyz_to_lab
    from tests.scenes import linear_of

    metal = (58.0, 8.0, 26.0)
    mixed = scene(texture=0.05).lay(box(400, 170, 530, 430), metal)
    expected = xyz_to_lab(np.linalg.inv(XYZ_D50_TO_SRGB) @ (0.5 * linear_of(metal) + 0.5 * linear_of(BROWN)))
    reading = read(mixed.photo())
    assert delta_e_2000(reading.lab, expected) < 1.2
    assert reading.left_out_share < 0.05
    assert delta_e_2000(reading.lights, metal) < 2
    assert delta_e_2000(reading.darks, BROWN) < 2


def test_the_budget_is_the_covariance():
    reading = read(scene(texture=0.2).photo())
    assert np.sum([term.covariance for term in reading.budget], axis=0) == pytest.approx(reading.covariance)
    names = [term.name for term in reading.budget]
    assert {"region", "card reading", "card tolerance", "uneven light", "camera and light", "tone curve"} <= set(names)
    assert all(term.remedy for term in reading.budget)


def test_without_a_card_the_reading_is_less_certain_and_says_so():
    photo = scene().photo()
    with_card, without = read(photo), read_finish(photo, calibrate(photo, None, light="daylight"), INNER)
    assert without.covariance[0, 0] > 4 * with_card.covariance[0, 0], "the exposure, which only a card tells"
    assert np.trace(without.covariance) > 2 * np.trace(with_card.covariance)
    assert codes(without)[0] == "no-card"


def test_light_that_is_not_known_to_be_daylight_widens_the_interval():
    photo = scene().photo()
    assert np.trace(read(photo, light="unknown").covariance) > 2 * np.trace(read(photo).covariance)
    with pytest.raises(MatcherError, match="unknown, daylight or profile"):
        read(photo, light="candle")


def test_noise_and_texture_raise_the_regions_own_uncertainty():
    def region_sigma(texture):
        return np.sqrt(np.trace(read(scene(texture=texture).photo()).budget[0].covariance))

    assert region_sigma(0.4) > 3 * region_sigma(0.02)


def test_light_that_falls_off_over_the_card_widens_the_interval():
    even, uneven = read(scene().photo()), read(scene().photo(gradient=0.5))
    assert uneven.covariance[0, 0] > 2 * even.covariance[0, 0], "uneven light moves lightness; the tint stays"


def test_the_uneven_light_is_covered_by_the_interval():
    """A falloff of 2:1 across the picture with one card: the error lies within two standard uncertainties."""
    for gradient in (-0.7, 0.7):
        reading = read(scene().photo(gradient=gradient))
        assert abs(reading.lab[0] - BROWN[0]) < 2 * np.sqrt(reading.covariance[0, 0])


@pytest.mark.parametrize("with_card", [True, False])
def test_black_says_too_dark_to_read_and_is_known_in_no_direction_for_sure(with_card):
    """One step of an 8-bit file near black is 1/255/12.92 of white (IEC 61966-2-1), which is a* 1.2 in X alone."""
    picture = scene().codes()
    picture[150:450, 380:680] = 0
    photo = open_photo(png(picture))
    card = find_card(photo, corners=CARD) if with_card else None
    reading = read_finish(photo, calibrate(photo, card), INNER)
    assert "region-dark" in codes(reading)
    assert np.sqrt(np.linalg.eigvalsh(reading.covariance).min()) > 0.2
    assert "too dark to read" in trust_sentence(reading)
    assert "region-dark" not in codes(read(Scene().lay(PLATE, (6, 1, 2)).lay(CARD, GREY).photo()))


def test_corners_on_a_mottled_plate_are_refused_as_a_card():
    rng = np.random.default_rng(4)
    mottled = scene()
    for x, y in rng.uniform([380, 150], [640, 410], (40, 2)):
        mottled.lay(box(x, y, x + 40, y + 40), BROWN + rng.normal(0, 8, 3))
    with pytest.raises(CardError, match="mottled, as a finish is"):
        find_card(mottled.photo(), corners=INNER)


def test_corners_on_something_even_and_coloured_are_doubted_and_widen_the_interval():
    photo = scene().photo()
    right, wrong = read(photo, INNER), read(photo, INNER, corners=INNER)
    assert "card-doubtful" not in codes(right)
    assert "card-doubtful" in codes(wrong)
    away = wrong.lab - BROWN
    assert away @ np.linalg.solve(wrong.covariance, away) < 7.8, "within what 95 of 100 are: chi-square, 3 degrees"
    assert np.trace(wrong.covariance) > 5 * np.trace(right.covariance)


@pytest.mark.parametrize("cast", [(1, 1, 1), (1.6, 1, 0.5), (0.6, 1, 1.6)])
@pytest.mark.parametrize("gradient", [0.0, 1.0])
def test_a_grey_card_in_coloured_and_uneven_light_is_not_doubted(cast, gradient):
    assert "card-doubtful" not in codes(read(scene().photo(cast=cast, gradient=gradient, exposure=0.6)))


@pytest.mark.parametrize(
    ("lab", "words"), [((0, 0, 0), "black shows no light"), ((50, 40, 40), "L* 50, a* 40, b* 40 is not neutral")]
)
def test_a_measured_card_that_is_no_grey_is_refused_for_the_right_reason(lab, words):
    with pytest.raises(CardError, match=re.escape(words)):
        find_card(scene().photo(), corners=CARD, lab=lab)
    with pytest.raises(CardError, match=re.escape(words)):
        neutral_patch(scene().photo(), CARD, lab=lab)


@pytest.mark.parametrize("lightness", [20, 95])
def test_a_measured_card_far_from_its_kind_says_so(lightness):
    card = find_card(scene().photo(), corners=CARD, lab=(lightness, 0, 0))
    (said,) = [caveat.message for caveat in card.caveats if caveat.code == "card-lab-far"]
    assert f"{lightness}, 0, 0 is far from the 49.5" in said
    assert not find_card(scene().photo(), corners=CARD, lab=(51, 0, 0)).caveats


def test_caveats_name_what_is_wrong():
    assert codes(read(scene().photo())) == []
    assert codes(read(scene().photo(), box(500, 300, 512, 312))) == ["region-tiny"]
    assert codes(read(scene().photo(cast=(1.6, 1, 0.5)))) == ["strong-cast"]
    shiny = scene(texture=0.1).lay(box(400, 170, 500, 430), (97, 0, 1))
    assert codes(read(shiny.photo())) == ["region-glare", "region-mirrors-room"]
    dark = Scene().lay(PLATE, (12, 1, 2)).lay(CARD, GREY)
    assert "card-far-in-brightness" in codes(read(dark.photo()))


@pytest.mark.parametrize(
    ("region", "words"),
    [
        ([[1, 1], [2, 2]], "at least three points"),
        (box(900, 700, 950, 750), "inside the picture"),
        (box(500, 300, 501, 301), "larger region"),
        ([[np.nan, 1], [2, 2], [3, 3]], "at least three points"),
        ("everywhere", "at least three points"),
        ([[1e300, 1], [2, 3], [4, 5]], "inside the picture"),
        (box(700, 500, 1200, 1100), "outside the picture, which is 800 by 600"),
        (INNER[[0, 2, 1, 3]], "crosses itself"),
    ],
)
def test_a_region_that_is_none_says_what_to_do(region, words):
    with pytest.raises(ReadingError, match=words):
        read(scene().photo(), region)


def test_a_region_that_holds_more_than_a_finish_says_so():
    photo = scene().photo()
    assert "region-card" in codes(read(photo, CARD))
    assert "region-card" in codes(read(photo, box(200, 200, 500, 340)))
    assert {"region-card", "region-all"} <= set(codes(read(photo, box(0, 0, 800, 600))))
    assert "region-card" not in codes(read(photo, box(262, 150, 680, 450)))
    assert "region-all" not in codes(read(photo, box(0, 0, 800, 500)))


@pytest.mark.parametrize(
    "outline", [np.array([[400, 170], [660, 170], [530, 250], [660, 430], [400, 430]]), INNER[::-1]]
)
def test_a_hollow_outline_and_one_marked_the_other_way_round_are_read(outline):
    assert delta_e_2000(read(scene().photo(), outline).lab, BROWN) < 0.5


def test_a_region_all_of_glare_says_to_move_the_lamp():
    with pytest.raises(ReadingError, match="lamp"):
        read(scene().lay(PLATE, (100, 0, 0)).photo(exposure=1.1))


@examples(80)
@given(
    width=st.integers(1, 70),
    height=st.integers(1, 70),
    region=st.lists(st.tuples(st.floats(-100, 200), st.floats(-100, 200)), min_size=0, max_size=8),
    level=st.integers(0, 255),
    with_card=st.booleans(),
)
def test_any_picture_and_polygon_read_or_raise_our_own_error(width, height, region, level, with_card):
    rng = np.random.default_rng(width * 71 + height)
    photo = open_photo(png(np.clip(rng.normal(level, 20, (height, width, 3)), 0, 255).astype(np.uint8)))
    try:
        card = find_card(photo, corners=box(0, 0, width, height)) if with_card else None
        reading = read_finish(photo, calibrate(photo, card), region)
    except MatcherError as error:
        assert str(error)[0].isupper() or str(error)[0].isdigit()
    else:
        assert np.isfinite(reading.lab).all()
        assert np.linalg.eigvalsh(reading.covariance).min() >= -1e-9


def test_a_reading_survives_json():
    reading = read(scene(texture=0.2).photo())
    back = Reading.from_dict(reading.as_dict())
    assert back.as_dict() == reading.as_dict()
    assert Reading.from_dict({"lab": [38, 14, 22]}).source == "instrument"


@pytest.mark.parametrize(
    "data", [{}, {"lab": [1, 2]}, {"lab": "x"}, {"lab": [38, 14, 22], "covariance": [[-1] * 3] * 3}]
)
def test_a_reading_that_is_none_is_refused(data):
    with pytest.raises(ReadingError, match=r"Check|Give") as refused:
        Reading.from_dict(data)
    assert "Error" not in str(refused.value)
