"""Two finishes in one photograph, grey scales, and how often intervals hold: simulated from published tables.

Sensors, lights and chart: colour-science; patinas invented. See ``tests.simulation``.
"""

from functools import lru_cache

import numpy as np
import pytest
from scipy.stats import binom

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000
from matcher.colour.uncertainty import CHI2_95
from matcher.reading.comparison import delta_e_interval, difference_covariance
from matcher.reading.finish import read_finish
from tests.benchmarks.bench_coverage import covered
from tests.example_counts import draws
from tests.scenes import box
from tests.simulation import CARD, Shop, card_near, chart_photo, patinas, photo_of, truth

NOMINAL = [49.496, 0, 0]
FIRST, SECOND = box(100, 0, 160, 60), box(160, 0, 220, 60)


def similar_pairs(count, seed):
    """Return reflectances (count, 2, 36): a patina, and one that departs a little from it, up to some 6 ΔE00."""
    rng = np.random.default_rng(seed)
    first, other = patinas(count, rng), patinas(count, rng)
    share = rng.uniform(0.05, 0.35, (count, 1))
    return np.stack([first, first ** (1 - share) * other**share], axis=1)


def bench_photo(shop, finishes, rng, card=None, exposure=0.8):
    """A photo of a grey card, a gap, and finishes (n, 36) side by side."""
    row = np.array([np.full(36, 0.18) if card is None else card, np.full(36, 0.35), *finishes])
    codes = shop.codes(row, exposure, 0.0, 0.004, rng)
    return photo_of(np.concatenate([codes[:, :100], codes[:, 120:]], axis=1), shop.linear)


@lru_cache(maxsize=8)
def pairs_read(light):
    """Return what 60 pairs (30 in `ci`) of similar patinas read with the card alone: absolute errors, errors of the
    difference, in one photo and in two, widths of both intervals, and whether each holds the true difference."""
    shop, rows = Shop("A", light), []
    grey = load_cards()["grey card"].patches[0]
    rng = np.random.default_rng(9)
    for finishes in similar_pairs(draws(60, ci=30), 4):
        card = card_near(grey.lab, grey.tolerance, rng)
        labs = truth(finishes)
        true_delta = float(delta_e_2000(*labs))
        one = bench_photo(shop, finishes, rng, card)
        calibration = calibrate(one, find_card(one, corners=CARD))
        together = [read_finish(one, calibration, place) for place in (FIRST, SECOND)]
        apart = []
        for finish in finishes:
            photo = bench_photo(shop, [finish], rng, card)
            apart.append(read_finish(photo, calibrate(photo, find_card(photo, corners=CARD)), FIRST))
        low, high = delta_e_interval(*together)
        low_2, high_2 = delta_e_interval(*apart)
        shift = (together[0].lab - together[1].lab) - (labs[0] - labs[1])
        rows.append(
            {
                "absolute": float(np.mean([delta_e_2000(r.lab, lab) for r, lab in zip(together, labs, strict=True)])),
                "difference": abs(float(delta_e_2000(together[0].lab, together[1].lab)) - true_delta),
                "width": high - low,
                "width apart": high_2 - low_2,
                "held": low <= true_delta <= high,
                "sigmas": float(shift @ np.linalg.solve(difference_covariance(*together), shift)),
            }
        )
    return {key: np.array([row[key] for row in rows]) for key in rows[0]}


def within_binomial(hits, count, low, high):
    """Whether hits of count are possible (99.9 %) for a coverage anywhere in low to high."""
    return binom.ppf(0.0005, count, low) <= hits <= binom.ppf(0.9995, count, high)


@pytest.mark.parametrize("light", ["FL2", "LED-B3"])
def test_the_difference_of_two_finishes_in_one_photo_errs_a_third_as_much(light):
    """Simulated, median over pairs of similar patinas, card alone, camera A."""
    read = pairs_read(light)
    assert np.median(read["difference"]) <= np.median(read["absolute"]) / 3
    assert np.median(read["absolute"]) > 1.0, "too good for a card alone under this light: no test of the cancelling"


@pytest.mark.parametrize("light", ["D50", "FL2", "LED-B3"])
def test_the_interval_of_two_finishes_in_one_photo_is_the_smaller_and_holds(light):
    """Simulated: narrower than that from two photographs, and it holds the true ΔE00 in 90 to 99 % of pairs."""
    read = pairs_read(light)
    assert np.median(read["width"] / read["width apart"]) < 0.9
    assert (read["width"] <= read["width apart"] * 1.02).mean() > 0.9
    assert within_binomial(read["held"].sum(), len(read["held"]), 0.90, 0.99)


# Grey scales


def test_one_step_of_a_grey_scale_is_not_read_as_all_three():
    """Simulated: marked so that the rows of one even step could pass for three; noise has a trend in 1 of 20 or so."""
    for seed in range(40):
        photo = scale_photo(Shop("A", "D50", curve=0.8), np.full(36, 0.1), np.random.default_rng(seed))
        steps = find_card(photo, "grey scale", corners=box(0, 0, 180, 60)).patches
        assert steps[0].rgb.mean() > 2 * steps[1].rgb.mean() > 4 * steps[2].rgb.mean()


def scale_photo(shop, finish, rng):
    """A photo of a three-step grey scale of nominal values (on 0 to 180) and a finish (on 240 to 300)."""
    steps = [card_near(patch.lab, 0.0, rng) for patch in load_cards()["grey scale"].patches]
    codes = shop.codes(np.array([*steps, np.full(36, 0.35), finish]), 0.8, 0.0, 0.004, rng)
    return photo_of(codes, shop.linear)


@pytest.mark.parametrize("curve", [0.4, 0.8])
def test_a_grey_scale_repairs_a_bent_tone_curve(curve):
    """Simulated, D50, camera A: the mean error with three steps is under two thirds of that with the grey alone,
    the tone's part of the uncertainty under 0.7, and the 95 % ellipsoid holds 27 or more of 30 truths."""
    rng = np.random.default_rng(12)
    spectra = patinas(30, rng)
    one, three, widths, held = [], [], [], []
    for spectrum, lab in zip(spectra, truth(spectra), strict=True):
        photo = scale_photo(Shop("A", "D50", curve=curve), spectrum, rng)
        readings = [
            read_finish(photo, calibrate(photo, card, light="daylight"), box(240, 0, 300, 60))
            for card in (
                find_card(photo, corners=box(60, 0, 120, 60), lab=NOMINAL),
                find_card(photo, "grey scale", corners=box(0, 0, 180, 60)),
            )
        ]
        one.append(float(delta_e_2000(readings[0].lab, lab)))
        three.append(float(delta_e_2000(readings[1].lab, lab)))
        bends = [next(term for term in reading.budget if term.name == "tone curve") for reading in readings]
        widths.append(np.sqrt(np.trace(bends[1].covariance) / np.trace(bends[0].covariance)))
        away = readings[1].lab - lab
        held.append(away @ np.linalg.solve(readings[1].covariance, away) <= CHI2_95)
    assert np.mean(three) < 2 / 3 * np.mean(one)
    assert np.median(widths) < 0.7
    assert sum(held) >= 27


# Coverage


@pytest.mark.parametrize("with_profile", [True, False])
def test_95_per_cent_intervals_hold_the_truth_as_often_as_they_say(with_profile):
    """Simulated: 144 readings (`ci`: 72) over lights, cameras, exposures, gradients, noise: a small coverage benchmark.

    Within each light the benchmark's own bar is 90 to 99 %; here that range, widened by what so many draws leave open.
    """
    rng = np.random.default_rng(77)
    held = []
    for light in ("D50", "D65", "A", "FL2", "FL11", "LED-B3"):
        for shop in (Shop("A", light), Shop("B", light, honesty=0.8), Shop("A", light, curve=0.5)):
            profile = profile_from_chart(*chart_photo(shop, rng), light) if with_profile else None
            held += covered(shop, profile, draws(8, ci=4), rng)
    assert within_binomial(sum(held), len(held), 0.92, 0.98)
