"""What process, plan and bench say of their own doubt is what it is: closed forms, or draws with both bounds.

Processes, plates and seals invented. Quantiles: SciPy's distributions.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from matcher.bench.seal import GUESS_WEIGHT, PLATE_SD, PRIOR_SD, PRIOR_SHIFT, learn_seal_shift
from matcher.colour.difference import delta_e_2000
from matcher.colour.uncertainty import BudgetTerm, sum_of
from matcher.plan.outlook import draws_of
from matcher.plan.prediction import expected_interval, readable, with_errors
from matcher.process.model import OPTIMISM, PRIOR_RESIDUALS, fit_process
from matcher.reading.comparison import chance_within
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Seal
from matcher.suggest.suggester import Suggester
from matcher.trials.trial import StageReading, Trial
from tests.benchmarks.invented_processes import film, recipe_space

GREY = np.array([50.0, 0.0, 0.0])


@pytest.fixture(scope="module")
def plates():
    """24 plates of an invented film process."""
    process, rng, space = film(600), np.random.default_rng(1), recipe_space()
    trials = [process.trial(space[k], rng) for k in rng.choice(len(space), 24, replace=False)]
    return process, [Trial(trial.recipe, trial.reading, id=k + 1) for k, trial in enumerate(trials)], space


@pytest.fixture(scope="module")
def model(plates):
    return fit_process(plates[1])


# Process


def test_every_prediction_carries_the_models_own_caution(model, plates):
    """Standard deviations are the algebra's times one factor, whether recipes are predicted singly or together."""
    recipes = [plates[2][k] for k in (0, 9_000, 17_000)]
    columns = model.columns(recipes)
    bare = model.predict(columns, inflation=1.0)[1]
    assert abs(model.inflation - 1) > 0.02
    assert model.predict(columns)[1] == pytest.approx(model.inflation**2 * bare)
    together = model.predict_together(columns)[1].reshape(3, 3, 3, 3)
    for k in range(3):
        assert together[k, :, k] == pytest.approx(model.inflation**2 * bare[k], rel=1e-6, abs=1e-9)


def test_the_caution_is_what_the_left_out_plates_ask_for(model):
    """Root mean square of standardised residuals, drawn towards 1 as by ``PRIOR_RESIDUALS`` exact ones."""
    residuals, covariances = model.cross_validated
    square = sum(r @ np.linalg.solve(c, r) for r, c in zip(residuals, covariances, strict=True))
    count = residuals.size
    expected = OPTIMISM * np.sqrt((square + PRIOR_RESIDUALS) / (count + PRIOR_RESIDUALS))
    assert model.inflation == pytest.approx(expected)
    assert square / count > 0.2, "plates left out are missed by about what is said of them"


def test_plates_differ_by_the_learned_scatter(model):
    assert model.plate_covariance == pytest.approx(np.diag(np.square(model.hyperparameters.plate_sd)))


def test_predictions_of_recipes_together_are_those_of_each_and_covary_as_a_whole(model, plates):
    recipes = [plates[2][k] for k in (100, 101, 15_000)]
    lab, covariance = model.predict_together(model.columns(recipes))
    assert lab == pytest.approx(model.predict(model.columns(recipes))[0], abs=1e-6)
    assert np.linalg.eigvalsh(covariance).min() > -1e-9
    blocks = covariance.reshape(3, 3, 3, 3)
    near = np.trace(blocks[0, :, 1]) / np.sqrt(np.trace(blocks[0, :, 0]) * np.trace(blocks[1, :, 1]))
    far = np.trace(blocks[0, :, 2]) / np.sqrt(np.trace(blocks[0, :, 0]) * np.trace(blocks[2, :, 2]))
    assert near > 0.8 > abs(far)


# Plan


@pytest.mark.parametrize("heavy", [False, True])
def test_draws_of_an_expected_colour_are_normal_or_of_students_t(heavy):
    """Along L* at 50 ΔE00 is the step itself (ISO/CIE 11664-6), so its quantiles are the distribution's."""
    law = stats.t(4) if heavy else stats.norm()
    found = draws_of(GREY, GREY[None], np.diag([0.3**2, 0, 0])[None], heavy=heavy)[0]
    assert found.shape == (256,)
    for share in (0.5, 0.8, 0.9, 0.95):
        assert np.quantile(found, share) == pytest.approx(0.3 * law.ppf((1 + share) / 2), rel=0.08)


def normal_reading(lab, sigma, *terms):
    own = BudgetTerm("own", sigma * np.eye(3))
    return Reading(lab, sum_of((own, *terms)), budget=(own, *terms))


def test_an_expected_interval_holds_95_of_100_draws_wherever_it_begins():
    rng = np.random.default_rng(3)
    target, near, far = (normal_reading(GREY + [step, 0, 0], 0.5) for step in (0.0, 0.3, 12.0))
    for plate in (near, far):
        draws = delta_e_2000(target.lab, plate.lab + rng.normal(0, np.sqrt(0.5), (40_000, 3)))
        low, high = expected_interval(target, plate, float(delta_e_2000(target.lab, plate.lab)), draws)
        assert np.mean((draws >= low) & (draws <= high)) == pytest.approx(0.95, abs=0.002)
        assert (low == 0.0) == (plate is near)
        if plate is far:
            assert np.mean(draws < low) == pytest.approx(0.025, abs=0.002)
    assert (
        expected_interval(target, far, 40.0, draws)[1] == 40.0 and expected_interval(target, far, 1.0, draws)[0] == 1.0
    )


def test_an_expected_colour_is_read_with_what_it_shares_and_within_what_can_be_read():
    common = BudgetTerm("camera", np.diag([1.0, 2.0, 3.0]), shared="one camera")
    seen = with_errors(np.array([104.0, 3.0, -201.0]), np.eye(3), [common])
    assert seen.lab.tolist() == [100.0, 3.0, -200.0] == readable(np.array([104.0, 3.0, -201.0])).tolist()
    assert seen.covariance == pytest.approx(np.diag([2.0, 5.0, 10.0]))


def test_a_logged_plate_within_tolerance_makes_a_target_within_reach(plates):
    """A colour that no recipe is expected to give, and one plate all the same read there: it can be made again."""
    _, trials, _ = plates
    strange = np.array([60.0, -40.0, -40.0])
    assert Suggester(trials).reach(strange).chance < 0.05
    plate = Trial(trials[0].recipe, normal_reading(strange + [0.5, 0, 0], 0.2), id=99)
    answer = Suggester([*trials, plate]).reach(
        strange,
    )
    measured = chance_within(Reading(strange), plate.reading, answer.tolerance)
    assert measured > 0.9
    assert answer.chance >= measured - 0.02 and answer.standing == "within reach"


@pytest.mark.parametrize("tolerance", [0.5, 1.0, 2.0])
def test_the_chance_within_a_tolerance_is_that_of_the_normal_distribution(tolerance):
    pair = normal_reading(GREY, 1e-3), Reading(GREY, np.diag([0.6**2, 1e-8, 1e-8]))
    expected = 2 * stats.norm.cdf(tolerance / 0.6) - 1
    assert chance_within(*pair, tolerance) == pytest.approx(expected, abs=0.01)


# Bench


def sealed_plate(before, step, sigma=0.0):
    """A plate read after its last pass and, waxed, as ``step`` further on."""
    recipe = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 4, 105.0),), Seal("wax"))
    first, second = (Reading(lab, np.eye(3) * sigma**2) for lab in (before, np.asarray(before) + step))
    return Trial(recipe, second, stages=(StageReading("pass 4", first),))


def expected_shift(steps, own, noise):
    """A mean of differences, each weighed by its variance, drawn to the guess by the guess's own (Bayes' rule)."""
    precision = 1 / PRIOR_SD**2 + len(steps) / (own + noise)
    shift = (PRIOR_SHIFT / PRIOR_SD**2 + np.sum(steps, axis=0) / (own + noise)) / precision
    return shift, np.diag(1 / precision + own)


def test_no_pair_leaves_the_guess_and_how_plates_differ():
    guess = learn_seal_shift([])
    assert guess.shift.tolist() == PRIOR_SHIFT.tolist()
    assert guess.covariance == pytest.approx(np.diag(PRIOR_SD**2 + PLATE_SD**2))
    assert np.sqrt(np.diag(guess.covariance)) == pytest.approx([2.154, 1.616, 1.616], abs=1e-3)


def test_one_pair_is_weighed_against_the_guess_by_how_plates_differ():
    step = np.array([-4.0, 1.0, 2.0])
    learned = learn_seal_shift([sealed_plate((50, 13, 24), step, sigma=0.3)])
    shift, covariance = expected_shift([step], PLATE_SD**2, 2 * 0.3**2)
    assert learned.shift == pytest.approx(shift) and learned.covariance == pytest.approx(covariance)


@pytest.mark.parametrize("count", [2, 6, 24])
def test_how_plates_differ_is_learned_against_a_guess_that_is_worth_four_plates(count):
    """Pooled variance (ISO 3534-1): the guess with 4 degrees of freedom, the pairs with n − 1."""
    steps = np.array([-3.0, 1.0, 1.0]) + 1.7 * np.random.default_rng(count).normal(size=(count, 3))
    learned = learn_seal_shift([sealed_plate((50, 13, 24), step, sigma=0.2) for step in steps])
    seen = np.maximum(steps.var(axis=0, ddof=1) - 2 * 0.2**2, 0)
    own = (4 * PLATE_SD**2 + (count - 1) * seen) / (4 + count - 1)
    assert GUESS_WEIGHT == 4
    shift, covariance = expected_shift(steps, own, 2 * 0.2**2)
    assert learned.shift == pytest.approx(shift) and learned.covariance == pytest.approx(covariance)


def test_the_next_piece_lies_where_the_seals_shift_says_in_95_of_100_cases():
    """Seals and plates that differ as the guess says: three pairs, then one more piece."""
    rng, inside = np.random.default_rng(9), []
    for _ in range(600):
        truth = rng.normal(PRIOR_SHIFT, PRIOR_SD)
        steps = rng.normal(truth, PLATE_SD, (4, 3))
        learned = learn_seal_shift([sealed_plate((50, 13, 24), step, sigma=0.1) for step in steps[:3]])
        off = steps[3] - learned.shift
        inside.append(np.abs(off) <= 1.96 * np.sqrt(np.diag(learned.covariance)))
    assert 0.93 <= np.mean(inside) <= 0.97


def test_a_target_before_sealing_is_less_sure_by_the_seal():
    learned = learn_seal_shift([sealed_plate((50, 13, 24), (-4.0, 1.0, 2.0))])
    target = normal_reading(np.array([40.0, 14, 22]), 0.5)
    goal = learned.before_sealing(target)
    assert goal.lab == pytest.approx(target.lab - learned.shift)
    assert goal.covariance == pytest.approx(target.covariance + learned.covariance)
    assert replace(learned, pairs=2).sentence.count("2 plates") == 1 and "1 plate read" in learned.sentence
