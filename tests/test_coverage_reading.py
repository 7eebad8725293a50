"""What a reading, a comparison and a repeated reading say of their doubt: closed forms, or draws with both bounds.

Readings and scatter invented. Quantiles: SciPy's distributions; ISO 5725-6 for the repeatability limit.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000, reach_delta_e00
from matcher.colour.sources import Source
from matcher.colour.uncertainty import BudgetTerm, sum_of
from matcher.errors import Caveat
from matcher.instrument.measured import lab_reading
from matcher.instrument.munsell import EYE_SIGMA, munsell_reading
from matcher.reading.advice import budget_table, reach_of, trust_sentence, what_would_help
from matcher.reading.comparison import draws_to_target, side_by_side, ties
from matcher.reading.exposures import merge_exposures, without_glare
from matcher.reading.exposures import read_frames as read_exposures
from matcher.reading.reading import Conditions, Reading
from matcher.reading.repeatability import repeatability
from tests.scenes import BROWN, Scene, box
from tests.scenes import GREY as SCENE_GREY

GREY = np.array([50.0, 0.0, 0.0])
CARD, PLATE, INNER = box(80, 200, 260, 340), box(380, 150, 680, 450), box(400, 170, 660, 430)


def reading_of(lab, *terms, **told):
    return Reading(lab, sum_of(terms), budget=tuple(terms), **told)


def along(name, lightness=0.0, a=0.0, b=0.0, shared=None):
    return BudgetTerm(name, np.diag([lightness, a, b]), "do something", shared)


# Contributions and what would shrink them


def test_a_contribution_is_its_share_of_the_reach_in_squares():
    """Along one axis parts of 0.3 and 0.4 make 0.5: of a reach of 1.96 × 0.5 they are six and eight tenths."""
    parts = budget_table(reading_of(GREY, along(Source.REGION, 0.3), along(Source.TONE_CURVE, 0.4)))
    assert [part.name for part in parts] == ["tone curve", "region"]
    assert [part.delta_e00 for part in parts] == pytest.approx([1.96 * 0.4, 1.96 * 0.3], rel=0.01)


@pytest.mark.parametrize(
    ("source", "usual"),
    [
        (Source.CARD_TOLERANCE, 0.6),
        (Source.NO_CARD, 2.4),
        (Source.LIGHT_HAS_MOVED, 0.2),
        (Source.UNEVEN_LIGHT, 0.35),
    ],
)
def test_an_action_leaves_what_it_usually_leaves_of_its_own_and_the_rest_as_it_is(source, usual):
    reading = reading_of(GREY, along(source, 3.0), along(Source.STRAY_LIGHT, 0.4))
    best = min(what_would_help(reading, most=9), key=lambda item: item.then_delta_e00)
    assert best.then_delta_e00 == pytest.approx(np.hypot(usual, 1.96 * 0.4), rel=0.02)
    assert best.now_delta_e00 == pytest.approx(1.96 * np.hypot(3.0, 0.4), rel=0.03)


def test_what_helps_by_less_than_a_twentieth_is_not_named():
    def named(share):
        rest = np.sqrt(1 - share**2)
        return what_would_help(reading_of(GREY, along(Source.REGION, share), along(Source.STRAY_LIGHT, rest)))

    limit = np.sqrt((1 - 0.95**2) / 0.75)  # halving a share s of the whole leaves √(1 − 0.75 s²) of it
    assert named(limit * 1.05) and not named(limit * 0.95)


def test_daylight_leaves_six_tenths_and_raw_three_tenths_of_a_delta_e():
    taken = Conditions("sRGB", "unknown")
    reading = reading_of(GREY, along(Source.CAMERA_AND_LIGHT, 2.0), along(Source.TONE_CURVE, 1.0), conditions=taken)
    then = {item.does: item.then_delta_e00 for item in what_would_help(reading, most=9)}
    assert then["say that it was daylight, if it was"] == pytest.approx(1.96 * np.hypot(0.6 * 2.0, 1.0), rel=0.01)
    assert then["save camera raw instead of a JPEG"] == pytest.approx(np.hypot(1.96 * 2.0, 0.3), rel=0.02)
    daylight = replace(reading, conditions=Conditions("sRGB", "daylight"))
    then = {item.does: item.then_delta_e00 for item in what_would_help(daylight, most=9)}
    assert then["save camera raw instead of a JPEG"] == pytest.approx(1.7, rel=0.02)
    assert not any("daylight" in does for does in then)


@pytest.mark.parametrize(
    ("reach", "words"),
    [
        (0.95, "a close match:|to judge a close match\\."),
        (1.05, "to choose a recipe"),
        (1.95, "to choose a recipe"),
        (2.05, "which way to go"),
        (4.8, "which way to go"),
        (5.2, "a rough guide"),
    ],
)
def test_a_reading_is_good_for_what_its_reach_allows(reach, words):
    reading = reading_of(GREY, along(Source.TONE_CURVE, reach / 1.96))
    assert reach_of(reading) == pytest.approx(reach, rel=0.02)
    assert re.search(words, trust_sentence(reading))


def test_a_region_too_dark_is_said_to_be_a_guess():
    dark = replace(reading_of(GREY, along("region", 0.1)), caveats=(Caveat("region-dark", "invented"),))
    assert "a guess, and no more" in trust_sentence(dark)


# Two finishes


def in_one_photo(lab, centre, *terms, size=100.0):
    x, y = centre
    return reading_of(lab, *terms, region=box(x - size / 2, y - 20, x + size / 2, y + 20), photo="0" * 64)


@pytest.mark.parametrize("away", [0.0, 2.0, 4.0, 40.0])
def test_uneven_light_between_two_marks_adds_a_twentieth_of_its_light_for_every_width(away):
    """And half a hundredth at either place; light stronger by s moves L*, a*, b* by s (L* + 16, a*, b*) / 3."""
    lab = np.array([40.0, 10.0, 20.0])
    pair = [in_one_photo(lab, (200 + 100 * k * away, 50), along(Source.REGION, 1e-3)) for k in (0, 1)]
    sigma = min(np.hypot(0.05 * away, np.sqrt(2) * 0.005), 0.8)
    step = (np.cbrt(np.exp(sigma)) - 1) * (lab + [16, 0, 0])
    assert side_by_side(*pair).covariance == pytest.approx(np.outer(step, step) + 2e-6 * np.diag([1, 0, 0]), rel=1e-4)
    known = [replace(item, budget=(along(Source.UNEVEN_LIGHT, 0.3),)) for item in pair]
    assert side_by_side(*known).covariance == pytest.approx(2e-6 * np.diag([1, 0, 0]), abs=1e-9)


def test_the_chance_of_a_match_is_that_of_the_normal_distribution_and_a_verdict_takes_the_whole_interval():
    def beside(sigma):
        first = in_one_photo(GREY, (100, 50), along(Source.UNEVEN_LIGHT, 1e-4))
        return side_by_side(first, in_one_photo(GREY, (100, 50), along(Source.REGION, sigma)))

    assert beside(1.0).chance_within(1.5) == pytest.approx(2 * stats.norm.cdf(1.5) - 1, abs=0.01)
    # two of one colour: all of the 5 % lies at the far end, 1.96 standard deviations off along one line
    assert beside(1.0 / 2.02).verdict(1.0).startswith("They match within ΔE00 1:")
    assert beside(1.0 / 1.90).verdict(1.0).startswith("It cannot be told")
    assert beside(1.0 / 1.90).verdict(1.0).endswith("the chance that they do is 94 %."), "2 Φ(1.9) − 1"
    assert beside(0.1).verdict(1.0).endswith("over 99 % sure."), "nothing is sure beyond that"
    unknown = beside(1.0 / 0.045)
    assert unknown.chance_within(1.0) < 0.05 and unknown.verdict(1.0).startswith("It cannot be told")


def test_what_one_photograph_brings_is_said_when_it_is_a_twentieth_or_more():
    def pair(shared):
        common, own = (
            along(Source.TONE_CURVE, shared, shared, shared, shared="one"),
            along(Source.UNEVEN_LIGHT, 1, 1, 1),
        )
        return side_by_side(
            in_one_photo(GREY, (100, 50), common, own), in_one_photo(GREY + [20, 0, 0], (100, 50), common, own)
        )

    assert "hardly wider" in pair(0.1).gain_in_words and "cancels" in pair(0.6).gain_in_words


def test_draws_to_one_target_have_each_plates_doubt_and_what_all_share():
    """To either side of L* 50 CIEDE2000's weight is 1 and flat, so ΔE00 is the step: covariances in closed form."""
    low, high = GREY - [5, 0, 0], GREY + [5, 0, 0]
    target = reading_of(low, along("camera", 0.6, shared="one"), along("own", 0.3))
    plates = [
        reading_of(high, along("camera", 0.6, shared="one"), along("own", 0.4)),
        reading_of(high, along("own", 0.5)),
    ]
    draws = draws_to_target(target, plates)
    expected = np.array([[0.3**2 + 0.4**2, 0.3**2], [0.3**2, 0.3**2 + 0.6**2 + 0.5**2]])
    assert np.cov(draws) == pytest.approx(expected, rel=0.1, abs=0.015)
    assert draws.mean(axis=1) == pytest.approx(10.0, abs=0.05)


@pytest.mark.parametrize(("share_nearer", "tied"), [(0.02, False), (0.04, True), (0.96, True), (0.98, False)])
def test_two_plates_are_not_to_be_told_apart_where_either_may_be_the_nearer_in_95_of_100(share_nearer, tied):
    steady = np.full(1000, 2.0)
    other = 2.0 + np.linspace(-share_nearer, 1 - share_nearer, 1000)
    assert ties(np.stack([steady, other])) == ([(2,), (1,)] if tied else [(), ()])


# Repeated readings


@pytest.mark.parametrize("count", [4, 8])
@pytest.mark.parametrize("scatter", [(0.5, 0.02, 0.02), (0.3, 0.3, 0.3)])
def test_two_readings_of_one_plate_differ_by_less_than_the_smallest_difference_in_95_of_100(scatter, count):
    rng = np.random.default_rng(12)
    told, held = [], []
    for _ in range(400):
        labs = GREY + rng.normal(size=(count + 2, 3)) * scatter
        judged = repeatability([Reading(lab) for lab in labs[:count]])
        told.append(float(delta_e_2000(labs[-2], labs[-1])) <= judged.smallest_delta_e00)
        true_mean = float(delta_e_2000(GREY, GREY + rng.normal(size=(500, 3)) * scatter).mean())
        held.append(judged.mean_delta_e00_interval[0] <= true_mean <= judged.mean_delta_e00_interval[1])
    assert 0.92 <= np.mean(told) <= 0.98
    assert 0.91 <= np.mean(held) <= 0.985


def test_the_smallest_difference_along_a_line_is_that_of_students_t():
    """Scatter along L* alone: the limit is t(0.975, n − 1) × √2 × the standard deviation (ISO 5725-6)."""
    labs = [GREY + [step, 0, 0] for step in (-0.4, -0.1, 0.0, 0.2, 0.3)]
    judged = repeatability([Reading(lab) for lab in labs])
    deviation = float(np.std([-0.4, -0.1, 0.0, 0.2, 0.3], ddof=1))
    limit = stats.t.ppf(0.975, 4) * np.sqrt(2) * deviation
    assert [judged.smallest_delta_e00, judged.worst_delta_e00] == pytest.approx([limit, limit], rel=0.01)
    assert judged.best_delta_e00 == pytest.approx(0.0, abs=1e-6)
    degrees, share = 4, np.sqrt(2 / np.pi)
    expected = [share * deviation * np.sqrt(degrees / stats.chi2.ppf(p, degrees)) for p in (0.975, 0.025)]
    assert judged.mean_delta_e00_interval == pytest.approx(expected, rel=0.01)
    assert judged.smallest_between_means(4) == pytest.approx(limit / 2, rel=0.01)
    assert judged.readings_for(limit / 2.001) == 5 and judged.readings_for(limit * 1.001) == 1
    more = judged.more_readings
    for extra, enough in ((more, True), (more - 1, False)):
        there = stats.t.ppf(0.975, 4 + extra) * np.sqrt(2) * deviation
        assert bool(there <= 1.1 * 1.959964 * np.sqrt(2) * deviation) is enough
        if enough:
            assert judged.smallest_with_more == pytest.approx(there, rel=0.01)


# Glare and several exposures


def exposures_of(log_levels):
    """Photographs of one bench, the plate's light stronger by so much in each and the card's the same."""
    photos = []
    for number, level in enumerate(log_levels):
        scene = Scene(seed=3).lay(PLATE, BROWN, texture=0.1).lay(CARD, SCENE_GREY)
        (left, top), (right, bottom) = PLATE[0].astype(int), PLATE[2].astype(int)
        scene.light[top:bottom, left:right] *= np.exp(level)
        scene.rng = np.random.default_rng(number)
        photos.append(scene.photo())
    return photos, [calibrate(photo, find_card(photo, corners=CARD), light="daylight") for photo in photos]


def test_the_spread_over_lamp_positions_is_a_standard_error_of_brightness():
    """Light stronger by s moves L*, a*, b* by s (L* + 16, a*, b*) / 3; of n exposures s is their spread over √n."""
    levels = np.array([0.0, 0.06, -0.03])
    photos, calibrations = exposures_of(levels)
    reading = read_exposures(photos, calibrations, INNER)
    (part,) = [term for term in reading.budget if term.name == Source.LAMP_POSITIONS]
    size = levels.std(ddof=1) / np.sqrt(3)
    assert part.effect[:, 0] == pytest.approx(size * (reading.lab + [16, 0, 0]) / 3, rel=0.15)
    assert reading.covariance == pytest.approx(sum_of(reading.budget))
    assert merge_exposures(photos, calibrations, INNER).log_gains == pytest.approx(levels - levels.mean(), abs=0.01)
    assert delta_e_2000(reading.lab, BROWN) < 1.0


def test_exposures_that_agree_are_averaged_and_glare_is_left_out():
    rng = np.random.default_rng(4)
    lights = np.exp(rng.normal(0, 0.05, (5, 40, 40, 1))).astype(np.float32) * np.float32([0.3, 0.2, 0.1])
    seen = np.ones((5, 40, 40), bool)
    for number in range(5):
        lights[number, 8 * number : 8 * number + 8] += 0.5
    merged, hidden = without_glare(lights, seen)
    off = np.log(merged.mean(axis=-1) / 0.2)
    assert not hidden.any() and abs(off.mean()) < 0.006
    assert off.std() == pytest.approx(0.05 / np.sqrt(4), rel=0.2), "four exposures are left everywhere"
    seen[:, :5] = False
    assert without_glare(lights, seen)[1][:5].all()


# Instruments and the eye


def test_an_instruments_reading_is_as_sure_as_instruments_are_or_as_it_says():
    assert lab_reading((38, 14, 22)).covariance == pytest.approx(0.09 * np.eye(3))
    assert lab_reading((38, 14, 22), sigma=(0.1, 0.2, 0.4)).covariance == pytest.approx(np.diag([0.01, 0.04, 0.16]))


def test_a_match_by_eye_is_a_step_of_hue_half_a_chroma_and_a_seventh_of_a_value_off():
    """One standard deviation of each, by the renotation itself to both sides."""
    assert EYE_SIGMA == (1.0, 0.15, 0.5)
    (eye,) = [term for term in munsell_reading("5YR 4/4").budget if term.name == Source.MATCH_BY_EYE]
    for column, sides in enumerate((("6YR 4/4", "4YR 4/4"), ("5YR 4.15/4", "5YR 3.85/4"), ("5YR 4/4.5", "5YR 4/3.5"))):
        high, low = (munsell_reading(side).lab for side in sides)
        assert eye.effect[:, column] == pytest.approx((high - low) / 2, rel=0.1, abs=0.1)


def test_the_reach_of_a_whole_reading_is_that_of_its_covariance():
    reading = reading_of(GREY, along("region", 0.5))
    assert reach_of(reading) == pytest.approx(float(reach_delta_e00(GREY, np.diag([0.25, 0, 0]))))
