"""Palette, mottle and the map of differences, on invented finishes whose parts are known."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000
from matcher.errors import MatcherError, ReadingError
from matcher.reading.difference_map import delta_e_map, flat_lab, map_size, region_corners
from matcher.reading.texture import PEAK_GAIN, PEAK_SIGMA, _band_variance, _blurred, mottle, palette, read_texture
from tests.example_counts import examples
from tests.scenes import BROWN, GREY, Scene, box

DARK, METAL = np.array([28.0, 8.0, 10.0]), np.array([55.0, 10.0, 26.0])


def noisy(colour, count, sigma, rng):
    return np.asarray(colour) + rng.normal(0, sigma, (count, 3))


def rng():
    return np.random.default_rng(12)


def test_a_photographs_texture_is_that_of_the_plate():
    """An invented plate: a brown field and, on a quarter of it, a dark one in 40-pixel squares; glare is left out."""
    scene = Scene().lay(box(60, 150, 300, 330), GREY).lay(box(400, 100, 720, 420), BROWN)
    for left in range(400, 720, 80):
        for top in range(100, 420, 80):
            scene.lay(box(left, top, left + 40, top + 40), DARK)
    scene.lay(box(500, 200, 510, 210), (97.0, 0.0, 0.0))
    photo = scene.photo()
    calibration = calibrate(photo, find_card(photo, corners=box(60, 150, 300, 330)))
    found = read_texture(photo, calibration, box(404, 104, 716, 416), rng())
    assert [colour.share for colour in found.palette] == pytest.approx([0.75, 0.25], abs=0.03)
    assert delta_e_2000(found.palette[0].lab, BROWN) < 1.0 and delta_e_2000(found.palette[1].lab, DARK) < 1.0
    assert found.mottle.strongest is not None and 20 < found.mottle.strongest.size_px < 80
    plain = found.as_dict()
    assert set(plain) == {"palette", "mottle"} and len(plain["mottle"]["scales"]) >= 3
    with pytest.raises(ReadingError):
        read_texture(photo, calibration, box(500, 200, 504, 204), rng())


@pytest.mark.parametrize("sigma", [0.05, 1.0, (5.0, 1.0, 2.0)])
def test_noise_however_wide_is_one_colour(sigma):
    found = palette(noisy(BROWN, 8000, sigma, rng()), rng())
    assert len(found) == 1
    assert found[0].share == 1.0
    assert delta_e_2000(found[0].lab, BROWN) < 0.6  # a mean in linear light is a little lighter than that of L*


def test_the_palettes_colours_and_shares_are_the_finishs():
    draw = rng()
    labs = np.vstack([noisy(BROWN, 6000, 1, draw), noisy(DARK, 3000, 1.2, draw), noisy(METAL, 1000, 2, draw)])
    found = palette(labs, rng())
    assert [colour.share for colour in found] == pytest.approx([0.6, 0.3, 0.1], abs=0.02)
    for colour, truth in zip(found, (BROWN, DARK, METAL), strict=True):
        assert delta_e_2000(colour.lab, truth) < 0.5


def test_colours_too_near_to_tell_are_one():
    """Two colours ΔE00 1.3 apart, each even: told by the pixels, not by the eye."""
    near = np.array(BROWN) + [1.5, 0, 0]
    assert delta_e_2000(near, BROWN) < 2
    labs = np.vstack([noisy(BROWN, 3000, 0.2, rng()), noisy(near, 3000, 0.2, rng())])
    assert len(palette(labs, rng())) == 1
    assert len(palette(labs, rng(), apart_delta_e00=0.5)) == 2


def test_the_same_generator_gives_the_same_palette():
    labs = np.vstack([noisy(BROWN, 30_000, 1, rng()), noisy(DARK, 9_000, 1, rng())])
    assert palette(labs, np.random.default_rng(1)) == palette(labs, np.random.default_rng(1))


def test_a_palette_of_nothing_is_refused():
    with pytest.raises(ReadingError, match="larger region"):
        palette(np.full((20, 3), np.nan), rng())


@examples(40)
@given(st.integers(1, 300), st.integers(0, 99), st.sampled_from([0.0, 1e-6, 1.0, 30.0]))
def test_any_pixels_give_shares_that_add_up(count, seed, sigma):
    draw = np.random.default_rng(seed)
    labs = np.clip(noisy([draw.uniform(0, 100), *draw.uniform(-60, 60, 2)], count, sigma, draw), -100, 100)
    found = palette(labs, draw)
    assert 1 <= len(found) <= 5
    assert sum(colour.share for colour in found) == pytest.approx(1)
    assert all(np.isfinite(colour.lab).all() for colour in found)


def grid(side, step=1):
    y, x = np.mgrid[0:side, 0:side]
    return np.stack([x.ravel(), y.ravel()], axis=-1) * step


@pytest.mark.parametrize(("waves", "share"), [(32, 1 / 64), (16, 1 / 32), (8, 1 / 16), (4, 1 / 8)])
def test_a_wave_shows_at_its_own_size_with_its_own_spread(waves, share):
    """A wave of amplitude 5 has a standard deviation of 3.54; its size is half its length."""
    places = grid(400)
    labs = np.tile(np.array(BROWN), (len(places), 1))
    labs[:, 0] += 5 * np.sin(2 * np.pi * waves * places[:, 0] / 400 + 0.4)
    found = mottle(places, labs)
    assert found.strongest.share == share
    assert found.strongest.lightness == pytest.approx(5 / np.sqrt(2), rel=0.12)
    assert found.strongest.colour < 0.1


def test_a_wave_is_seen_best_by_the_band_of_its_own_size():
    """A wave of half length L through two Gaussian blurs, their response exp(−2π²σ²f²): the band keeps PEAK_GAIN of it,
    and one that is a sixth finer or coarser keeps less.
    """
    half, side = 16.0, 640
    wave = np.sin(np.pi / half * np.arange(side))[None, :, None] * np.ones((side, 1, 3))
    inner = np.zeros((side, side), np.float32)
    inner[100:-100, 100:-100] = 1

    def kept(wide):
        f = 1 / (2 * half)
        response = [np.exp(-2 * np.pi**2 * f**2 * sigma**2) for sigma in (wide / np.sqrt(2), wide * np.sqrt(2))]
        spread = np.sqrt(_band_variance(wave.astype(np.float32), inner * 0 + 1, wide / np.sqrt(2), wide * np.sqrt(2)))
        assert spread * np.sqrt(2) == pytest.approx(response[0] - response[1], rel=0.04)
        return response[0] - response[1]

    best = kept(PEAK_SIGMA * half)
    assert best == pytest.approx(PEAK_GAIN, rel=1e-9)
    assert max(kept(PEAK_SIGMA * half * 5 / 6), kept(PEAK_SIGMA * half * 7 / 6)) < best


@pytest.mark.parametrize("sigma", [2.0, 30.0])
def test_a_blur_leaves_an_even_finish_even_up_to_its_edge_and_round_holes(sigma):
    """A weighted mean of one value is that value, whatever the weights."""
    weight = np.ones((200, 160), np.float32)
    weight[60:90, 40:100] = 0
    soft = _blurred(np.full((200, 160, 3), 7.0, np.float32), weight, sigma)
    assert soft[weight > 0] == pytest.approx(7.0, rel=0.01)


@pytest.mark.parametrize("grain_px", [3, 8, 24])
def test_pixel_noise_is_told_from_mottle(grain_px):
    """Noise of 2 on L* and 1 on a*, b* over cloudy mottle: the noise is found, and taken off at every size."""
    draw, places = rng(), grid(300)
    cloud = cv2.GaussianBlur(draw.normal(size=(300, 300)), (0, 0), grain_px)
    labs = np.tile(np.array(BROWN), (len(places), 1))
    labs[:, 0] += 3 * (cloud / cloud.std()).ravel()
    clean = mottle(places, labs)
    seen = mottle(places, labs + draw.normal(size=labs.shape) * [2, 1, 1])
    assert seen.noise_lightness == pytest.approx(2, rel=0.05)
    assert seen.noise_colour == pytest.approx(np.sqrt(2), rel=0.05)
    for with_noise, without in zip(seen.scales, clean.scales, strict=True):
        assert with_noise.lightness == pytest.approx(without.lightness, abs=0.25)
        assert with_noise.colour < 0.15


def test_noise_alone_is_no_mottle():
    places = grid(256)
    found = mottle(places, noisy(BROWN, len(places), 3.0, rng()))
    assert max(scale.lightness for scale in found.scales) < 0.3


def test_holes_where_glare_was_do_not_show_as_mottle():
    places = grid(240)
    hole = np.hypot(places[:, 0] - 90, places[:, 1] - 100) < 50
    labs = noisy(BROWN, len(places), 0.5, rng())
    found = mottle(places[~hole], labs[~hole])
    assert max(scale.lightness for scale in found.scales) < 0.15


def test_mottle_sizes_are_in_pixels_of_the_photograph():
    labs = noisy(BROWN, 100 * 100, 1, rng())
    assert mottle(grid(100, step=3), labs).scales[-1].size_px == pytest.approx(75)
    with pytest.raises(ReadingError, match="larger region"):
        mottle(grid(7), labs[:49])
    with pytest.raises(ReadingError, match="regular grid"):
        mottle(rng().uniform(0, 3000, (500, 2)), labs[:500])


CARD, PLATE = box(80, 200, 260, 340), box(380, 150, 680, 450)


def half_and_half(right, glare=False):
    """A plate brown on the left, another colour on the right half."""
    drawn = Scene().lay(PLATE, BROWN, texture=0.1).lay(box(530, 150, 680, 450), right, texture=0.1).lay(CARD, GREY)
    if glare:
        drawn.lay(box(380, 150, 440, 450), (99, 0, 1))
    photo = drawn.photo()
    return photo, calibrate(photo, find_card(photo, corners=CARD), light="daylight")


INNER = box(390, 160, 670, 440)


def test_the_map_shows_where_two_finishes_differ_and_by_how_much():
    map_ = delta_e_map(*half_and_half(BROWN), INNER, *half_and_half(DARK), INNER, size=(40, 60))
    assert map_.shape == (40, 60)
    assert np.median(map_[:, :27]) < 0.6
    assert np.median(map_[:, 33:]) == pytest.approx(delta_e_2000(BROWN, DARK), abs=0.6)


def test_glare_is_left_out_of_the_map():
    map_ = delta_e_map(*half_and_half(DARK), INNER, *half_and_half(DARK, glare=True), INNER, size=(40, 56))
    assert np.isnan(map_[:, :9]).all()
    assert np.isfinite(map_[:, 11:]).all()
    assert np.nanmax(map_) < 4


def test_the_caller_chooses_how_the_second_region_is_turned():
    first, second = half_and_half(DARK), half_and_half(DARK)
    same = delta_e_map(*first, INNER, *second, INNER, size=(32, 32))
    turned = delta_e_map(*first, INNER, *second, INNER, size=(32, 32), quarter_turns=2)
    assert np.median(same) < 0.8
    assert np.median(turned) > 6
    marked_from_below = np.roll(INNER, 2, axis=0)
    assert np.median(delta_e_map(*first, INNER, *second, marked_from_below, (32, 32), 2)) < 0.8


def test_an_outline_of_many_points_is_laid_by_its_smallest_rectangle():
    turned = cv2.boxPoints(((530, 300), (260, 120), 25.0))
    drawn = np.vstack([turned, turned.mean(axis=0) + [0, -90]])
    corners = region_corners(np.insert(turned, 1, turned[:2].mean(axis=0), axis=0))
    assert np.sort(corners, axis=0) == pytest.approx(np.sort(turned, axis=0), abs=0.5)
    flat = flat_lab(*half_and_half(BROWN), drawn[:4][[0, 1, 2, 3]], (20, 30))
    assert np.nanmedian(delta_e_2000(flat, BROWN)) < 1.5


@pytest.mark.parametrize(
    "region",
    [[[1, 1], [2, 2]], [[400, 200]] * 4, [[400, 200], [600, 400], [600, 200], [400, 400]], box(900, 9, 950, 50)],
)
def test_a_region_without_area_is_refused(region):
    with pytest.raises(MatcherError, match=r"Mark"):
        delta_e_map(*half_and_half(BROWN), region, *half_and_half(BROWN), INNER)


@examples(80)
@given(
    region=st.lists(st.tuples(st.floats(-200, 1000), st.floats(-200, 800)), max_size=7),
    size=st.tuples(st.integers(-1, 40), st.integers(-1, 40)),
    turns=st.integers(-5, 5),
)
def test_any_region_gives_a_map_or_raises_our_own_error(region, size, turns):
    photo, calibration = _PLATE
    try:
        map_ = delta_e_map(photo, calibration, INNER, photo, calibration, region, size, turns)
    except MatcherError as error:
        assert str(error).endswith(".")
    else:
        assert map_.shape == size
        assert np.isfinite(map_).any()


_PLATE = half_and_half(DARK)


def test_a_map_has_square_cells_and_its_longer_side_as_long_as_asked():
    for width, height, expected in ((200, 100, (10, 20)), (100, 200, (20, 10)), (400, 10, (1, 20)), (80, 80, (20, 20))):
        assert map_size(box(30, 40, 30 + width, 40 + height), 20) == expected
    trapezium = [(0, 0), (200, 0), (150, 100), (50, 100)]  # its sides 200 and 100 long, and twice 111.8: 150 by 111.8
    assert map_size(trapezium, 30) == (22, 30)
