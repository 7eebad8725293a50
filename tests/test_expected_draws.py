"""Draws of colours that a fitted process expects: Student's t against SciPy's own, and what was read left as it was."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2, multivariate_t

from matcher.colour.difference import DEGREES_OF_DOUBT, delta_e_2000, doubt_stretch, normal_draws, stretch_of_doubt
from matcher.colour.types import Floats
from matcher.colour.uncertainty import CHI2_95, BudgetTerm, sum_of
from matcher.plan.outlook import outlook_on
from matcher.plan.reach import _chances
from matcher.process.learn import fit_process
from matcher.reading.comparison import draws_to_target
from matcher.reading.reading import Reading
from matcher.suggest.suggester import Suggester
from tests.benchmarks.invented_processes import film, recipe_space

EXACT = Reading([50.0, 10.0, 20.0], np.eye(3) * 1e-8)


def squares(draws: Floats) -> Floats:
    return np.asarray(np.sum(np.square(draws), axis=-1))


def test_the_95_percent_region_is_that_of_the_covariance_and_its_middle_holds_more() -> None:
    drawn = squares(normal_draws() * doubt_stretch()[:, None])
    assert np.mean(drawn <= CHI2_95) == pytest.approx(0.95, abs=0.006)
    assert np.median(drawn) / chi2.ppf(0.5, 3) == pytest.approx(0.47, abs=0.04)
    assert np.quantile(drawn, 0.99) / chi2.ppf(0.99, 3) == pytest.approx(1.75, abs=0.3)


def test_they_are_scipys_multivariate_t() -> None:
    rng = np.random.default_rng(3)
    many = 40_000
    scale = stretch_of_doubt([0.5])[0] / np.sqrt(DEGREES_OF_DOUBT / chi2.ppf(0.5, DEGREES_OF_DOUBT))
    ours = squares(rng.standard_normal((many, 3)) * stretch_of_doubt(rng.uniform(size=many))[:, None])
    theirs = multivariate_t(np.zeros(3), np.eye(3) * scale**2, df=DEGREES_OF_DOUBT, seed=5).rvs(many)
    shares = [0.1, 0.5, 0.9, 0.95, 0.99]
    assert np.quantile(ours, shares) == pytest.approx(np.quantile(squares(theirs), shares), rel=0.06)


def test_what_was_read_is_drawn_alike_whatever_is_expected_beside_it() -> None:
    """A camera that all plates share, and the target does not, ties them together."""
    camera = BudgetTerm("camera", np.array([[1.5], [0], [0]]), shared="one camera")
    own = BudgetTerm("region", 0.3 * np.eye(3))
    plate = Reading([52.0, 10, 20], sum_of((camera, own)), budget=(camera, own))
    doubted = Reading(plate.lab, plate.covariance + np.eye(3), budget=plate.budget)
    alone, shares = draws_to_target(EXACT, [plate])[0], [0.1, 0.5, 0.9]
    assert draws_to_target(EXACT, [plate, doubted], [False, True])[0] == pytest.approx(alone, abs=1e-9)
    beside = draws_to_target(EXACT, [doubted, plate, doubted], [True, False, True])
    assert np.quantile(beside[1], shares) == pytest.approx(np.quantile(alone, shares), rel=0.05)
    # the camera's error is no doubt of the process: an expected colour without one is drawn as a plate so read
    sure = draws_to_target(EXACT, [plate], [True])[0]
    assert np.quantile(sure, shares) == pytest.approx(np.quantile(alone, shares), rel=0.05)
    no_one = draws_to_target(EXACT, [plate, plate])
    assert np.array_equal(no_one, draws_to_target(EXACT, [plate, plate], [False, False]))


def test_an_expected_colour_has_the_better_chance_of_two_as_far_away_as_they_are_unsure() -> None:
    read = draws_to_target(EXACT, [Reading([50.0, 10, 20], np.eye(3) * 4.0)])[0]
    expected = draws_to_target(EXACT, [Reading([50.0, 10, 20], np.eye(3) * 4.0)], [True])[0]
    assert np.mean(expected <= 2.0) > np.mean(read <= 2.0) + 0.15
    assert np.quantile(expected, 0.95) == pytest.approx(np.quantile(read, 0.95), rel=0.06)


def test_chances_told_of_predicted_recipes_come_true_about_as_often_as_said() -> None:
    """Eight invented studios of 24 plates, pinned from both sides: normal draws say 11 in 100 too little, and in
    the median only a fifth of them lie nearer than the recipe truly does."""
    said: list[float] = []
    came: list[bool] = []
    nearer: list[float] = []
    held: list[bool] = []
    space = recipe_space()
    for seed in range(811, 827, 2):
        process, rng = film(seed), np.random.default_rng([seed, 4])
        trials = [process.trial(space[k], rng) for k in rng.choice(len(space), 24, replace=False)]
        suggester = Suggester(trials)
        for k in rng.choice(len(space), 6, replace=False):
            target = process.true(space[k])
            for item in suggester.suggest(target, count=5):
                if item.basis == "predicted":
                    truly = float(delta_e_2000(target, process.true(item.recipe)))
                    low, high = item.delta_e00_interval
                    said.append(item.chance_within(2.0))
                    came.append(truly <= 2.0)
                    nearer.append(float(np.mean(item.draws <= truly)))
                    held.append(low <= truly <= high)
    assert -0.1 < np.mean(came) - np.mean(said) < 0.1
    assert 0.28 < np.median(nearer) < 0.6
    assert np.mean(held) > 0.92


@pytest.mark.parametrize("apart", [1.0, 2.0, 3.0])
def test_the_reach_of_one_recipe_is_the_chance_that_the_list_says_of_it(apart: float) -> None:
    space, process, rng = recipe_space(), film(604), np.random.default_rng(8)
    trials = [process.trial(space[k], rng) for k in rng.choice(len(space), 12, replace=False)]
    model, recipe = fit_process(trials), space[1234]
    plate = Reading(*(each[0] for each in model.predict(model.columns([recipe]))))
    target = Reading(plate.lab + [apart, 0, 0], EXACT.covariance)
    outlook = outlook_on(model, [recipe], target.lab)
    any_one, alone = _chances(model, outlook, target, plate, np.zeros(1), 2.0, np.random.default_rng(2))
    listed = np.mean(draws_to_target(target, [plate], [True])[0] <= 2.0)
    assert any_one == alone == pytest.approx(listed, abs=0.03)
