"""What is said to hold in 95 of 100 cases does, and is no wider: by draws, with both bounds, or in closed form.

Quantiles: SciPy's distributions. CIEDE2000's weights: ISO/CIE 11664-6. Colours and covariances invented.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from matcher.colour.cielab import checked_lab, lab_jacobian, lab_to_xyz, xyz_to_lab
from matcher.colour.difference import (
    alike,
    delta_e_2000,
    delta_e_draws,
    interval_of,
    lightness_weight,
    near_uniform,
    reach_delta_e00,
)
from matcher.colour.metric import delta_e_metric
from matcher.colour.uncertainty import (
    CHI2_95,
    CHI_95_PLANE,
    MOST_CAUSES,
    NORMAL_95,
    BudgetTerm,
    ellipse_95,
    plus_minus_95,
    square_root,
    squared_distance,
)
from matcher.colour.wording import difference_in_words, how_much
from matcher.errors import ReadingError

BROWN = np.array([38.0, 14.0, 22.0])
COLOURS = (BROWN, np.array([22.0, 3.0, 4.0]), np.array([55.0, -18.0, 6.0]), np.array([50.0, 0.0, 0.0]))
SPREADS = (
    np.diag([0.25, 0.25, 0.25]),
    np.array([[1.0, 0.5, -0.3], [0.5, 0.8, 0.2], [-0.3, 0.2, 2.0]]),
    np.diag([4.0, 0.01, 0.5]),
)
DRAWN = 40_000
THREE_SIGMA = 3 * np.sqrt(0.95 * 0.05 / DRAWN)


def draws(covariance, seed=5):
    """Normal draws (n, 3) of another generator than the one within."""
    return np.random.default_rng(seed).multivariate_normal(np.zeros(3), covariance, DRAWN)


def test_the_95_per_cent_factors_are_those_of_their_distributions():
    assert pytest.approx(stats.norm.ppf(0.975), rel=1e-6) == NORMAL_95
    assert pytest.approx(np.sqrt(stats.chi2.ppf(0.95, 2)), rel=1e-6) == CHI_95_PLANE
    assert pytest.approx(stats.chi2.ppf(0.95, 3), rel=1e-4) == CHI2_95


@pytest.mark.parametrize("covariance", SPREADS)
def test_two_readings_of_one_colour_are_called_alike_in_95_of_100_cases(covariance):
    told = alike(BROWN + draws(covariance), BROWN, covariance)
    assert abs(told.mean() - 0.95) < THREE_SIGMA + 0.001


def test_readings_just_inside_and_just_outside_the_ellipsoid():
    covariance = SPREADS[1]
    for direction in np.random.default_rng(2).normal(size=(20, 3)):
        edge = direction * np.sqrt(stats.chi2.ppf(0.95, 3) / (direction @ np.linalg.inv(covariance) @ direction))
        assert alike(BROWN + 0.99 * edge, BROWN, covariance) and not alike(BROWN + 1.01 * edge, BROWN, covariance)
        assert squared_distance(edge, covariance) == pytest.approx(stats.chi2.ppf(0.95, 3), rel=1e-6)


@pytest.mark.parametrize("lab", COLOURS)
@pytest.mark.parametrize("covariance", SPREADS)
def test_the_truth_lies_within_the_reach_in_95_of_100_cases(lab, covariance):
    apart = delta_e_2000(lab, lab + draws(covariance))
    assert abs(np.mean(apart <= reach_delta_e00(lab, covariance)) - 0.95) < THREE_SIGMA + 0.003


@pytest.mark.parametrize("covariance", SPREADS)
def test_an_interval_leaves_out_one_case_in_forty_on_either_side(covariance):
    """Far enough apart that they can be told apart."""
    other = BROWN + [14.0, 3.0, -6.0]
    apart = delta_e_2000(BROWN, other + draws(covariance))
    low, high = interval_of(BROWN, other, covariance)
    assert abs(np.mean(apart < low) - 0.025) < 0.004 and abs(np.mean(apart > high) - 0.025) < 0.004


def test_an_interval_is_worked_out_in_closed_form_along_lightness():
    """From L* 50 to 50 ± d along a grey, ΔE00 is d / S_L at the mean lightness (ISO/CIE 11664-6)."""
    low, high = interval_of((50, 0, 0), (60, 0, 0), np.diag([0.5**2, 0, 0]))
    ends = 10 + NORMAL_95 * np.array([-0.5, 0.5])
    expected = ends / lightness_weight(50 + ends / 2)
    assert [low, high] == pytest.approx(expected, rel=0.003)


def test_draws_have_the_covariance_that_they_are_of():
    """Along one axis of a grey ΔE00 is that of the step itself: their mean square is the variance over S_L²."""
    found = delta_e_draws((50, 0, 0), (50, 0, 0), np.diag([0.2**2, 0, 0]))
    assert np.mean(np.square(found)) == pytest.approx(0.04, rel=0.01)
    assert found.shape == (2048,)


@pytest.mark.parametrize("covariance", SPREADS)
def test_plus_minus_and_ellipse_hold_95_of_100_and_stand_about_the_colour(covariance):
    off = draws(covariance)
    inside = np.abs(off) <= plus_minus_95(covariance)
    assert np.abs(inside.mean(axis=0) - 0.95).max() < THREE_SIGMA + 0.001
    outline = ellipse_95(BROWN, covariance)
    away = outline - BROWN[1:]
    within = np.linalg.inv(covariance[1:, 1:])
    assert np.einsum("ni,ij,nj->n", away, within, away) == pytest.approx(stats.chi2.ppf(0.95, 2), rel=1e-5)
    assert outline[0] == pytest.approx(outline[-1]) and outline.shape == (96, 2)
    assert outline[:-1].mean(axis=0) == pytest.approx(BROWN[1:], abs=1e-9)
    held = np.einsum("ni,ij,nj->n", off[:, 1:], within, off[:, 1:]) <= stats.chi2.ppf(0.95, 2)
    assert abs(held.mean() - 0.95) < THREE_SIGMA + 0.001


@pytest.mark.parametrize("lab", COLOURS)
def test_the_metric_is_ciede2000_squared_close_by_in_every_direction(lab):
    metric = delta_e_metric(lab)
    steps = np.random.default_rng(3).normal(size=(60, 3))
    steps *= 0.1 / np.linalg.norm(steps, axis=1)[:, None]
    formula = delta_e_2000(lab - steps / 2, lab + steps / 2)
    assert np.sqrt(np.einsum("ni,ij,nj->n", steps, metric, steps)) == pytest.approx(formula, rel=0.02)
    assert metric == pytest.approx(metric.T)


def test_the_nearly_uniform_space_stretches_by_the_standards_own_weights():
    """d/dL* is 1 / S_L, d/dC* is 1 / S_C with S_C = 1 + 0.045 C* (ISO/CIE 11664-6); hue angles stay."""
    lightness = np.linspace(5, 95, 19)
    step = np.array([0.5, 0, 0])
    grey = np.stack([lightness, 0 * lightness, 0 * lightness], axis=-1)
    slope = near_uniform(grey + step)[:, 0] - near_uniform(grey - step)[:, 0]
    assert slope == pytest.approx(1 / lightness_weight(lightness), rel=0.005)
    assert float(lightness_weight(50)) == 1.0
    assert float(lightness_weight(90)) == pytest.approx(1 + 0.015 * 40**2 / np.sqrt(20 + 40**2))
    for hue in np.radians([20.0, 110.0, 250.0]):
        direction = np.array([0.0, np.cos(hue), np.sin(hue)])
        for chroma in (5.0, 30.0, 60.0):
            here, there = near_uniform((chroma - 0.5) * direction), near_uniform((chroma + 0.5) * direction)
            assert np.linalg.norm(there - here) == pytest.approx(1 / (1 + 0.045 * chroma), rel=0.002)
            assert np.arctan2(here[2], here[1]) == pytest.approx(np.arctan2(*direction[[2, 1]]))
    assert near_uniform((40.0, 0.0, 0.0))[1:] == pytest.approx([0.0, 0.0])


def test_a_direction_that_is_exactly_known_counts_as_known_to_within_rounding():
    flat = np.diag([1.0, 0.0, 0.0])
    assert squared_distance([2.0, 0, 0], flat) == pytest.approx(4.0)
    assert squared_distance([0, 1e-3, 0], flat) == pytest.approx(1e-6 / 2e-12, rel=1e-6)
    assert square_root(np.diag([4.0, -1e-12, 0.0])) @ np.array([0, 0, 1.0]) == pytest.approx([2.0, 0, 0])


@pytest.mark.parametrize(
    "lab", [(-1.5, 0, 0), (110.5, 0, 0), (50, 200.5, 0), (50, 0, -200.5), (50, np.nan, 0), (50, 0)]
)
def test_a_colour_out_of_range_in_any_one_value_is_refused(lab):
    with pytest.raises(ReadingError):
        checked_lab(lab)


def test_a_colour_at_the_ends_of_the_range_is_taken():
    for lab in ((-1, 200, -200), (110, -200, 200)):
        assert checked_lab(lab).tolist() == list(lab)


@pytest.mark.parametrize("lab", [*COLOURS, (3.0, 1.0, -2.0)])
def test_the_slopes_of_cielab_are_its_differences(lab):
    xyz = lab_to_xyz(lab)
    steps = 1e-5 * np.eye(3)
    differences = (xyz_to_lab(xyz + steps) - xyz_to_lab(xyz - steps)).T / 2e-5
    assert lab_jacobian(xyz) == pytest.approx(differences, rel=1e-4, abs=1e-6)


def test_a_budget_takes_as_many_causes_as_it_says_and_no_more():
    assert BudgetTerm("part", np.ones((3, MOST_CAUSES))).covariance == pytest.approx(MOST_CAUSES * np.ones((3, 3)))
    for effect in (np.ones((3, MOST_CAUSES + 1)), np.ones((2, 3)), [[np.nan, 0], [0, 0], [0, 0]]):
        with pytest.raises(ReadingError):
            BudgetTerm("part", np.asarray(effect))
    old = {"name": "part", "covariance": np.diag([4.0, 1.0, 0.25]).tolist()}
    assert BudgetTerm.from_dict(old).covariance == pytest.approx(np.diag([4.0, 1.0, 0.25]))


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (0.99, "a touch "),
        (1.01, "a little "),
        (2.49, "a little "),
        (2.51, "clearly "),
        (4.99, "clearly "),
        (5.01, "much "),
    ],
)
def test_how_much_a_difference_is_said_to_be(part, words):
    assert how_much(part) == words


def along_axes(d_lightness, d_yellow):
    """From a grey of L* 50 ΔE00 along L* alone is d / S_L; along b* close to 0 it is d / S_C."""
    return difference_in_words((50, 0, 0), (50 + d_lightness, 0, d_yellow))


def test_an_axis_is_named_when_it_makes_a_third_of_the_largest_and_is_to_be_seen():
    assert along_axes(4.0, 1.3) == "clearly lighter than the target"
    assert along_axes(4.0, 1.7) == "clearly lighter and yellower than the target"
    assert along_axes(0.8, 0.35) == "a touch lighter than the target"
    assert along_axes(0.8, 0.45) == "a touch lighter and yellower than the target"
    assert along_axes(0.45, 0.0) == "no difference to the eye"
    assert along_axes(-0.55, 0.0) == "a touch darker than the target"
    assert difference_in_words((50, 0, 0), (53, 3, 3)) == "clearly redder, lighter and yellower than the target"
