"""What is glare and what is the finish: invented mottles and lamps, on pixels of balanced linear RGB.

Glare adds the lamp's own colour to the body's: Shafer 1985, Color Res. Appl. 10(4). A bloom adds neutral light too,
so that one photograph can't tell the two.
"""

from __future__ import annotations

import numpy as np
import pytest

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000
from matcher.colour.sources import Source
from matcher.colour.uncertainty import sum_of
from matcher.photo.region import Pixels, block_means
from matcher.reading.advice import what_would_help
from matcher.reading.comparison import delta_e_interval
from matcher.reading.finish import read_finish
from matcher.reading.glare import find_glare, room_mirrored, wide_glare
from matcher.reading.reading import Reading
from matcher.reading.texture import read_texture
from tests.mottles import BODIES, LAMPS, MOTTLES, SENSOR_CLIPS, lab_of, mottled, photographed, places
from tests.scenes import GREY, Scene, box

COLOURED = [name for name, mottle in MOTTLES.items() if not mottle.neutral]
NEUTRAL = [name for name, mottle in MOTTLES.items() if mottle.neutral]
SHARES = (0.05, 0.07, 0.15, 0.30, 0.45)


def read(light):
    """Return CIELAB with what is taken for glare left out, and with and without what may be either."""
    pixels = photographed(np.random.default_rng(5), light).reshape(-1, 3)
    glare = find_glare(places(), pixels, pixels.max(axis=1) >= SENSOR_CLIPS)
    ways = [pixels[~glare.left_out(way)].mean(axis=0) for way in ("unknown", "finish", "glare")]
    return tuple(lab_of(way) for way in ways)


@pytest.mark.parametrize("name", COLOURED)
@pytest.mark.parametrize("share", SHARES)
def test_mottle_of_another_colour_is_the_finish(name, share):
    mottle = MOTTLES[name]
    finish = mottled(np.random.default_rng(11), mottle.body, mottle.spots, share)
    truth = lab_of(finish.reshape(-1, 3).mean(axis=0))
    best, as_finish, as_glare = read(finish)
    assert delta_e_2000(best, truth) < 1.5
    assert delta_e_2000(as_finish, as_glare) < 2, "and nearly nothing of it is in doubt"


@pytest.mark.parametrize("name", NEUTRAL)
@pytest.mark.parametrize("share", SHARES)
def test_a_bloom_may_be_glare_and_the_difference_is_known(name, share):
    mottle = MOTTLES[name]
    finish = mottled(np.random.default_rng(11), mottle.body, mottle.spots, share)
    truth = lab_of(finish.reshape(-1, 3).mean(axis=0))
    best, as_finish, as_glare = read(finish)
    difference = np.linalg.norm(as_finish - as_glare)
    assert np.linalg.norm(best - truth) <= 1.96 * difference, "the interval holds the truth"
    assert share < 0.15 or difference > 2, "it is not silent"


@pytest.mark.parametrize("body", BODIES)
@pytest.mark.parametrize("lamp", [name for name in LAMPS if name != "a window"])
def test_a_mirrored_lamp_is_left_out(body, lamp):
    rng = np.random.default_rng(3)
    finish = mottled(rng, BODIES[body], BODIES[body], 0.0)
    truth = lab_of(finish.reshape(-1, 3).mean(axis=0))
    raw = delta_e_2000(lab_of((finish + LAMPS[lamp](rng)).clip(0, SENSOR_CLIPS).reshape(-1, 3).mean(axis=0)), truth)
    best, _, as_glare = read(finish + LAMPS[lamp](np.random.default_rng(4)))
    assert delta_e_2000(best, truth) < 1.5 < raw
    assert delta_e_2000(as_glare, truth) < 1.5


@pytest.mark.parametrize("body", BODIES)
def test_a_window_mirrored_all_over_is_seen_with_about_its_size(body):
    rng = np.random.default_rng(3)
    finish = mottled(rng, BODIES[body], BODIES[body], 0.0)
    window = LAMPS["a window"](rng)
    added = _wide(photographed(rng, finish + window))
    assert 0.6 * (window.mean() - window.min()) < added < 1.2 * window.mean()


@pytest.mark.parametrize("name", MOTTLES)
@pytest.mark.parametrize("size_px", [5.0, 14.0])
def test_no_mottle_is_taken_for_a_window(name, size_px):
    mottle = MOTTLES[name]
    for share in (0.0, 0.15, 0.45):
        rng = np.random.default_rng(8)
        assert _wide(photographed(rng, mottled(rng, mottle.body, mottle.spots, share, size_px))) == 0.0


def test_uneven_light_is_no_window():
    """A finish lit less at one side is darker there in its own colour: nothing was added."""
    rng = np.random.default_rng(2)
    falling = np.linspace(1.0, 0.75, 240)[None, :, None]
    for body in BODIES.values():
        assert _wide(photographed(rng, mottled(rng, body, body, 0.0) * falling)) < 0.004


def shaded_body():
    """Return pixels (n, 3) of one brown, its brightness spread by a tenth, and their places."""
    rng = np.random.default_rng(6)
    return np.array([0.30, 0.18, 0.08]) * np.exp(rng.normal(0, 0.1, (100 * 100, 1))), places()[: 100 * 100]


@pytest.mark.parametrize(
    ("share", "tint", "taken"),
    [(0.05, 0.0, False), (0.3, 0.0, True), (0.6, 0.08, True), (0.6, 0.3, False), (2.0, 0.2, False)],
)
def test_light_counts_as_the_lamps_from_its_size_and_up_to_its_tint(share, tint, taken):
    """share: what is added, of the body's mean; tint: its root mean square about its own mean, relative to it."""
    body, where = shaded_body()
    added = share * body.mean() * (1 + tint * np.array([-1.0, 2.0, -1.0]) / np.sqrt(2))
    body[:900] = body.mean(axis=0) + added
    glare = find_glare(where, body, np.zeros(len(body), dtype=bool))
    assert glare.left_out("glare")[:900].mean() == pytest.approx(float(taken), abs=0.05)
    assert glare.left_out("glare")[900:].mean() < 0.02


@pytest.mark.parametrize(("white", "sure"), [(0.75, False), (0.85, True)])
def test_a_patch_whiter_than_any_bloom_is_glare_for_sure(white, sure):
    body, where = shaded_body()
    body[:900] = white
    glare = find_glare(where, body, np.zeros(len(body), dtype=bool))
    assert glare.sure[:900].mean() == pytest.approx(float(sure), abs=0.05)
    assert glare.doubtful[:900].mean() == pytest.approx(float(not sure), abs=0.05)


@pytest.mark.parametrize(("peak", "sure"), [(0.7, False), (1.0, True)])
def test_a_patch_that_is_anywhere_brighter_than_white_is_a_lamp(peak, sure):
    body, where = shaded_body()
    brown = body.mean(axis=0)
    body[:900] = brown + 0.4
    body[450:455] = brown + peak
    glare = find_glare(where, body, np.zeros(len(body), dtype=bool))
    assert glare.sure[:900].mean() == pytest.approx(float(sure), abs=0.05)


def _wide(light):
    pixels = light.reshape(-1, 3)
    return wide_glare(*block_means(Pixels(places(), pixels, np.zeros(len(pixels), dtype=bool))))


def test_all_clipped_and_few_pixels_are_answered():
    few = np.full((3, 3), 0.2)
    assert not find_glare(places()[:3], few, np.zeros(3, dtype=bool)).left_out().any()
    assert find_glare(places()[:9], np.full((9, 3), 1.6), np.ones(9, dtype=bool)).left_out().all()
    assert wide_glare(places()[:3], few) == 0.0


CARD, PLATE, INNER = box(80, 200, 260, 340), box(380, 150, 680, 450), box(400, 170, 660, 430)


def spotted(name, share=0.15):
    """Return a photograph of a grey card and a mottled finish, and the finish's true CIELAB."""
    mottle = MOTTLES[name]
    finish = mottled(np.random.default_rng(11), mottle.body, mottle.spots, share)
    picture = Scene().lay_picture(PLATE, np.repeat(np.repeat(finish, 2, 0), 2, 1)).lay(CARD, GREY)
    inside = picture.light[170:430, 400:660].reshape(-1, 3).mean(axis=0)
    return picture.photo(), lab_of(inside)


def read_spotted(photo, pale_spots="unknown"):
    calibration = calibrate(photo, find_card(photo, corners=CARD), light="daylight")
    return read_finish(photo, calibration, INNER, pale_spots)


@pytest.mark.parametrize(
    "name", ["brown with verdigris", "black with verdigris", "brown with straw", "black with brass"]
)
def test_a_photograph_of_coloured_mottle_reads_as_the_eye_mixes_it(name):
    photo, truth = spotted(name)
    reading = read_spotted(photo)
    assert delta_e_2000(reading.lab, truth) < 1.5
    assert "region-pale-spots" not in {caveat.code for caveat in reading.caveats}


def test_a_mottled_finish_is_not_told_to_match_a_plain_one():
    """Brown with 15 % of verdigris beside plain brown: they differ by far more than 5, and that is said."""
    photo, truth = spotted("brown with verdigris")
    plain = MOTTLES["brown with verdigris"].body
    low, _ = delta_e_interval(read_spotted(photo), Reading(lab=plain))
    assert delta_e_2000(truth, plain) > 5 and low > 2


def test_a_bloom_is_in_doubt_until_a_person_says_what_it_is():
    photo, truth = spotted("brown with white bloom")
    unsure, glare, finish = (read_spotted(photo, way) for way in ("unknown", "glare", "finish"))
    term = next(term for term in unsure.budget if term.name == Source.PALE_SPOTS)
    assert np.allclose(term.effect[:, 0], finish.lab - glare.lab), "the whole difference that it makes"
    assert "region-pale-spots" in {caveat.code for caveat in unsure.caveats}
    for said in (glare, finish):
        assert Source.PALE_SPOTS not in {term.name for term in said.budget}
        without_room = sum_of([term for term in said.budget if term.name != Source.ROOM_MIRRORED])
        assert np.trace(without_room) < np.trace(unsure.covariance) / 4
    assert mirrored_effect(finish) is None and mirrored_effect(glare) is not None, "what glares, shines"
    assert delta_e_2000(finish.lab, truth) < 1.5
    assert finish.left_out_share < 0.01 < glare.left_out_share
    step = unsure.lab - truth
    assert step @ np.linalg.solve(unsure.covariance, step) < 7.815, "unsure, the interval holds the truth"
    assert "say whether the pale spots" in what_would_help(unsure)[0].does


def test_the_mottle_is_read_with_what_was_said_of_its_pale_spots():
    photo, _ = spotted("brown with white bloom", 0.3)
    calibration = calibrate(photo, find_card(photo, corners=CARD), light="daylight")
    lightest = [
        max(colour.lab[0] for colour in read_texture(photo, calibration, INNER, np.random.default_rng(1), way).palette)
        for way in ("finish", "glare")
    ]
    assert lightest[0] > 70 and lightest[1] < 50


def shining(added, mirrored=2.0, body=(20, 10, 12), seed=3):
    """Return a reading of a dark finish that mirrors a lamp of so much light in a corner, and the room evenly."""
    rng = np.random.default_rng(seed)
    finish = mottled(rng, body, body, 0.3)
    truth = lab_of(finish.reshape(-1, 3).mean(axis=0))
    rows, columns = np.mgrid[: finish.shape[0], : finish.shape[1]]
    lamp = mirrored * np.exp(-((rows - 60) ** 2 + (columns - 60) ** 2) / (2 * 14.0**2))
    light = np.repeat(np.repeat(finish + (lamp + added)[..., None], 2, 0), 2, 1)
    photo = Scene(seed=seed).lay_picture(PLATE, light).lay(CARD, GREY).photo()
    return read_spotted(photo, "glare"), truth


def mirrored_effect(reading):
    return next((term.effect[:, 0] for term in reading.budget if term.name == Source.ROOM_MIRRORED), None)


def test_what_a_shining_finish_mirrors_of_the_room_is_as_large_as_its_part_of_the_budget():
    """Fresnel's 4 to 5 % of walls that are 0.08 to 0.32 as bright as white (EN 12464-1, from memory), in darks of all
    kinds: the part of the budget is neither too small nor too large for what that does to the reading."""
    rng = np.random.default_rng(12)
    ratios = []
    for number in range(12):
        body = (rng.uniform(16, 32), rng.uniform(0, 14), rng.uniform(0, 18))
        added = rng.uniform(0.04, 0.05) * rng.uniform(0.08, 0.32)
        (seen, _), (plain, _) = shining(added, body=body, seed=number), shining(0.0, body=body, seed=number)
        ratios.append((seen.lab[0] - plain.lab[0]) / mirrored_effect(seen)[0])
    assert 0.75 < np.sqrt(np.mean(np.square(ratios))) < 1.25


def test_a_dark_finish_that_shines_is_said_to_mirror_the_room_and_one_without_glare_is_not():
    seen, truth = shining(0.012)
    assert "region-mirrors-room" in {caveat.code for caveat in seen.caveats}
    step = seen.lab - truth
    assert seen.lab[0] - truth[0] > 3, "the scene shows what it is for"
    assert step @ np.linalg.solve(seen.covariance, step) < 7.815
    matte, _ = shining(0.0, mirrored=0.0)
    assert mirrored_effect(matte) is None
    assert "region-mirrors-room" not in {caveat.code for caveat in matte.caveats}


def test_no_more_is_mirrored_than_the_darkest_part_of_a_finish_shows():
    """Between nothing and that, all is as likely: the standard deviation of a rectangle (JCGM 100, 4.3.7)."""
    blocks = np.full((20, 3), 0.05)
    assert room_mirrored(blocks) == 0.01
    blocks[7] = 0.006
    assert room_mirrored(blocks) == pytest.approx(0.006 / np.sqrt(3))
    assert room_mirrored(-blocks) == 0.0
