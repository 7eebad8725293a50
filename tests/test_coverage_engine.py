"""What process, plan and bench say of their own doubt is what it is: closed forms, or draws with both bounds.

Processes, plates and seals invented. Quantiles: SciPy's distributions.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from matcher.bench.seal import (
    LEFT_OVER_SD,
    PLATE_SD,
    PRIOR,
    PRIOR_SD,
    SCALE_SD,
    SealEffect,
    learn_seal_shift,
    sealed_lab,
    unsealed_lab,
)
from matcher.colour.cielab import D50_WHITE, lab_to_xyz, xyz_to_lab
from matcher.colour.difference import delta_e_2000
from matcher.colour.uncertainty import CHI2_95, BudgetTerm, squared_distance, sum_of
from matcher.plan.outlook import draws_of
from matcher.plan.prediction import readable, with_errors
from matcher.process.learn import fit_process
from matcher.process.model import PRIOR_RESIDUALS, optimism
from matcher.reading.comparison import chance_within, delta_e_interval
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Seal
from matcher.suggest.plates import AsRead, Plates
from matcher.suggest.suggester import Suggester
from matcher.trials.trial import StageReading, Trial
from tests.benchmarks.bench_advice import outcomes_of
from tests.benchmarks.invented_processes import film, noisy, recipe_space
from tests.example_counts import draws, examples
from tests.rendering.process import invented_process, plate_variation

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


def test_the_more_plates_were_left_out_the_less_caution_their_scatter_asks_for():
    """None says less than what it found; what few plates add falls as one over their number, from 24 on."""
    of_very_many = optimism(1e9)
    assert 1.0 < of_very_many < 1.2
    assert optimism(0) == optimism(6) == optimism(24) < 1.4
    for many in (24, 48, 240):
        assert optimism(2 * many) - of_very_many == pytest.approx((optimism(many) - of_very_many) / 2, rel=1e-6)
    assert optimism(24) > 1.1 * of_very_many


def test_the_caution_is_what_the_left_out_plates_ask_for(model):
    """Root mean square of standardised residuals, drawn towards 1 as by ``PRIOR_RESIDUALS`` exact ones."""
    residuals, covariances = model.cross_validated
    square = sum(r @ np.linalg.solve(c, r) for r, c in zip(residuals, covariances, strict=True))
    count = residuals.size
    expected = optimism(len(model.trials)) * np.sqrt((square + PRIOR_RESIDUALS) / (count + PRIOR_RESIDUALS))
    assert model.inflation == pytest.approx(expected)
    assert square / count > 0.2, "plates left out are missed by about what is said of them"


def test_plates_differ_by_the_learned_scatter(model, plates):
    """Against the curve's own derivatives by central differences: what a hand varies moves a plate as far as it can."""
    recipes = [plates[2][k] for k in (100, 4_000, 15_000)]
    columns, scatter = model.columns(recipes), model.plate_scatter
    expected = np.tile(np.diag(np.square(scatter.alike)), (3, 1, 1))
    for size, name in zip(scatter.by_hand, ("strength", "base_strength", "burnish"), strict=True):
        value, step = getattr(columns, name), 1e-3
        by = value * step if name != "burnish" else step * (value > 0)
        ends = [model.curve.lab(model.parameters, replace(columns, **{name: value + way * by})) for way in (-1, 1)]
        slope = (ends[1] - ends[0]) / (2 * step)
        expected += size**2 * np.einsum("ni,nj->nij", slope, slope)
    assert model.plate_covariances(recipes) == pytest.approx(expected, rel=0.12, abs=1e-3)
    assert model.plate_covariance(recipes[1]) == pytest.approx(model.plate_covariances(recipes)[1])


def test_plates_scatter_most_where_a_hand_shows_most():
    """Plates of an invented studio without a steady hand, drawn again and again: what they scatter is what is said."""
    process, rng, space = noisy(601), np.random.default_rng(2), recipe_space()
    model = fit_process([process.trial(space[k], rng) for k in rng.choice(len(space), 150, replace=False)])
    recipes = [space[k] for k in rng.choice(len(space), 60, replace=False)]
    drawn = np.array([np.cov([process.plate(recipe, rng) for _ in range(80)], rowvar=False) for recipe in recipes])
    said = np.trace(model.plate_covariances(recipes), axis1=1, axis2=2)
    really = np.trace(drawn, axis1=1, axis2=2)
    order = np.argsort(really)
    for rows in np.array_split(order, 3):
        assert 0.5 < np.sqrt(said[rows].mean() / really[rows].mean()) < 1.6
    assert np.sqrt(really[order[-20:]].mean() / really[order[:20]].mean()) > 2, "or there is nothing to tell apart"


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


def test_an_interval_holds_95_of_100_draws_wherever_it_begins():
    rng = np.random.default_rng(3)
    target, near, far = (normal_reading(GREY + [step, 0, 0], 0.5) for step in (0.0, 0.3, 12.0))
    for plate in (near, far):
        draws = delta_e_2000(target.lab, plate.lab + rng.normal(0, np.sqrt(0.5), (40_000, 3)))
        low, high = delta_e_interval(target, plate, draws)
        assert np.mean((draws >= low) & (draws <= high)) == pytest.approx(0.95, abs=0.002)
        assert (low == 0.0) == (plate is near)
        if plate is far:
            assert np.mean(draws < low) == pytest.approx(0.025, abs=0.002)
    here = float(delta_e_2000(target.lab, far.lab))
    for beside in (draws + 3, np.maximum(draws - 3, 0)):
        low, high = delta_e_interval(target, far, beside)
        assert low <= here <= high, "the colours as they stand always lie within"


def test_an_expected_colour_is_read_with_what_it_shares_and_within_what_can_be_read():
    common = BudgetTerm("camera", np.diag([1.0, 2.0, 3.0]), shared="one camera")
    seen = with_errors(np.array([104.0, 3.0, -201.0]), np.eye(3), [common])
    assert seen.lab.tolist() == [100.0, 3.0, -200.0] == readable(np.array([104.0, 3.0, -201.0])).tolist()
    assert seen.covariance == pytest.approx(np.diag([2.0, 5.0, 10.0]))


def test_an_expected_colour_errs_as_the_plates_do_that_it_was_learned_from(plates):
    """One plate that was read otherwise does not part it from all the others, nor do a few that share a cause join it
    to them; half of them, equally sure, are half of it."""
    camera, other = (BudgetTerm("camera", np.diag([1.5, 3.0, 4.0]), shared=name) for name in ("one", "another"))
    lone = BudgetTerm("camera", np.diag([3.0, 7.0, 12.0]), shared="of one photograph")
    here = plates[1][0].reading.lab

    def share(*causes):
        by_nearness = sorted(plates[1], key=lambda trial: float(delta_e_2000(here, trial.reading.lab)))
        read = [
            replace(
                trial,
                reading=normal_reading(trial.reading.lab, 0.3, *([term] if (term := causes[k % len(causes)]) else [])),
            )
            for k, trial in enumerate(by_nearness)
        ]
        named = {term.shared: term for term in AsRead(Plates.of(read))(here, np.eye(3)).budget}
        assert "of one photograph" not in named
        return [named[name].effect[2, 2] / 4.0 if name in named else 0.0 for name in ("one", "another")]

    assert share(camera) == pytest.approx([1.0, 0.0])
    assert share(lone, *[camera] * 23) == pytest.approx([1.0, 0.0], abs=0.05)
    assert share(camera, other) == pytest.approx([0.5, 0.5])
    sure, unsure = 3 * 0.3**2 + 3.0, 3 * 0.3**2 + 3.0 + 1.5**2 + 3.0**2 + 4.0**2  # variances of what each tells
    assert share(camera, None)[0] == pytest.approx(sure / (sure + unsure)), "half of them, but the less sure half"
    assert share(camera, *[None] * 11)[0] < 0.1, "though the nearest has it"


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


# Bench: what a seal does


def read_before_and_after(before, after, sigma, budget=()):
    """A plate read after its last pass and once waxed."""
    recipe = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 4, 105.0),), Seal("wax"))
    own = np.eye(3) * sigma**2 + sum_of(budget)
    first, second = (Reading(lab, own, budget=budget) for lab in (before, after))
    return Trial(recipe, second, stages=(StageReading("pass 4", first),))


def sealed_plates(seed, count, sigma=0.3):
    """Return (before, after, trial) of plates of one invented studio: all alloys, bare and coated, wax of its own.

    The surface, what the wax fills of it and what light it holds are drawn for each studio, and how thick it goes on
    for each plate; the light is taken wavelength by wavelength, recesses and high points by themselves.
    """
    rng = np.random.default_rng([seed, 79])
    process = replace(
        invented_process(rng),
        surface_reflection=0.019 * np.exp(rng.normal(0, 0.3)),
        haze_filled=rng.uniform(0.2, 0.85),
        held_inside=rng.uniform(0.03, 0.3),
    )
    uneven = 0.15 * np.exp(rng.normal(0, 0.5))
    space, plates = recipe_space(), []
    for k in rng.choice(len(space), count):
        recipe = replace(space[k], alloy=str(rng.choice(sorted(process.alloys))))
        bare = rng.random()
        recipe = replace(recipe, coats=()) if bare < 0.1 else recipe
        recipe = replace(recipe, undercoat=None) if 0.1 < bare < 0.3 else recipe
        made = replace(plate_variation(rng), seal=np.exp(rng.normal(0, uneven)))
        before, after = (process.true_lab(replace(recipe, seal=seal), made) for seal in (None, Seal("wax", 3)))
        read = np.array([before, after]) + rng.normal(0, sigma, (2, 3))
        plates.append((before, after, read_before_and_after(*read, sigma)))
    return plates


@pytest.fixture(scope="module")
def sealed_studios():
    return [sealed_plates(seed, 20) for seed in range(100, 100 + draws(80, 48))]


@pytest.mark.parametrize("count", [2, 6, 12])
def test_a_next_piece_lies_in_the_seals_95_percent_region_in_95_of_100_cases(sealed_studios, count):
    """Forward at the piece's colour, and back from the sealed colour to what the piece must read unsealed."""
    forward, back = [], []
    for plates in sealed_studios:
        learned = learn_seal_shift([trial for _, _, trial in plates[:count]])
        for before, after, _ in plates[12:]:
            here = learned.at(before)
            forward.append(squared_distance(after - before - here.shift, here.covariance))
            goal = learned.before_sealing(normal_reading(after, 1e-4))
            back.append(squared_distance(goal.lab - before, goal.covariance))
    for distance in (forward, back):
        assert 0.92 <= np.mean(np.array(distance) <= CHI2_95) <= 0.98


def test_six_pairs_tell_the_sealed_colour_far_nearer_than_one_shift_for_all_colours(sealed_studios):
    guess = learn_seal_shift([])
    errors, of_one_shift, of_the_guess = [], [], []
    for plates in sealed_studios:
        learned = learn_seal_shift([trial for _, _, trial in plates[:6]])
        shift = np.mean([trial.reading.lab - trial.stages[0].reading.lab for _, _, trial in plates[:6]], axis=0)
        before, after = (np.array([plate[k] for plate in plates[12:]]) for k in (0, 1))
        errors.append(delta_e_2000(learned.sealed(before), after))
        of_the_guess.append(delta_e_2000(guess.sealed(before), after))
        of_one_shift.append(delta_e_2000(before + shift, after))
    assert np.mean(errors) < 0.75 * np.mean(of_one_shift) and np.mean(errors) < 0.8
    assert np.mean(errors) < 0.6 * np.mean(of_the_guess)


def test_a_seal_takes_haze_away_and_holds_light_inside_as_saunderson_has_it():
    """J. L. Saunderson (1942), J. Opt. Soc. Am. 32, 727-736: R = k1 + (1 - k1)(1 - k2) R' / (1 - k2 R')."""
    haze, held, body = 0.012, 0.15, np.linspace(0.04, 0.9, 30)[:, None]
    before = haze + (1 - haze) * body
    after = (1 - held) * body / (1 - held * body)
    sealed = sealed_lab(xyz_to_lab(before * D50_WHITE), np.array([haze, np.log(1 - held), 0.0, 0.0]))
    assert lab_to_xyz(sealed) / D50_WHITE == pytest.approx(np.broadcast_to(after, (30, 3)), abs=1e-4)


@examples(60)
@given(
    *(st.floats(low, high) for low, high in ((12, 97), (-30, 30), (-20, 40))),
    st.tuples(*(st.floats(-2.5, 2.5) for _ in PRIOR)),
)
def test_what_sealing_does_is_taken_back_before_sealing(lightness, a, b, steps):
    lab, parameters = np.array([lightness, a, b]), PRIOR + np.array(steps) * PRIOR_SD
    light = lab_to_xyz(lab) / D50_WHITE
    assume(light.min() > parameters[0] and light.max() < 0.98)
    assert unsealed_lab(sealed_lab(lab, parameters), parameters) == pytest.approx(lab, abs=1e-6)


def test_no_pair_leaves_the_guess_and_how_plates_differ():
    guess = learn_seal_shift([])
    assert guess.parameters == pytest.approx(PRIOR) and guess.pairs == 0
    own = np.exp(2 * SCALE_SD**2)  # of a squared lognormal; its few values reach a little less far
    assert np.diag(guess.covariance) == pytest.approx(PRIOR_SD**2 + own * PLATE_SD**2, rel=0.05)
    assert guess.left_over == pytest.approx(LEFT_OVER_SD * np.sqrt(own), rel=0.1)
    dark, light = guess.at([25.0, 8, 10]), guess.at([65.0, 8, 20])
    assert dark.shift[0] < light.shift[0] - 1 and -7 < dark.shift[0] < -2, "2 to 7, darks more: common practice"
    assert dark.sentence.startswith("Wax is expected to change this dark greyish warm brown by L* −4.0 ± ")
    assert "(a guess: no plate was read before and after); one 10 L* darker by about L* −" in dark.sentence


def test_what_pairs_teach_is_what_bayes_rule_says():
    """The same by weighing 60,000 draws of guess and scale by how likely each makes the pairs."""
    rng = np.random.default_rng(5)
    truth = PRIOR + np.array([0.003, -0.06, 0.006, 0.02])
    before = np.array([[52.0, 12, 24], [28.0, 6, 8], [40.0, 14, 20], [63.0, 4, 18]])
    pairs = [(lab, sealed_lab(lab, truth) + rng.normal(0, 0.6, 3)) for lab in before]
    learned = learn_seal_shift([read_before_and_after(*pair, sigma=0.3) for pair in pairs])
    drawn = PRIOR + PRIOR_SD * rng.standard_normal((60_000, 4))
    scales = np.exp(SCALE_SD * rng.standard_normal(len(drawn)))
    logs = np.zeros(len(drawn))
    step = 1e-4
    for lab, after in pairs:
        miss = after - sealed_lab(lab, drawn)
        at, here = learned.parameters, sealed_lab(lab, learned.parameters)
        turn = [(sealed_lab(lab, at + change) - here) / step for change in step * np.eye(4)]
        slope = np.array([(sealed_lab(lab + change, at) - here) / step for change in step * np.eye(3)]).T
        plates = np.einsum("ki,k,kj->ij", turn, PLATE_SD**2, turn) + LEFT_OVER_SD**2 * np.eye(3)
        noise = 0.09 * (np.eye(3) + slope @ slope.T) + scales[:, None, None] ** 2 * plates
        logs -= (np.linalg.slogdet(noise)[1] + squared_distance(miss, noise)) / 2
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    mean = weights @ drawn
    off = drawn - mean
    spread = (weights * off.T) @ off
    plates = float(weights @ scales**2)
    assert learned.parameters == pytest.approx(mean, abs=0.1 * np.sqrt(np.diag(spread)).max() + 1e-3)
    assert (np.abs(learned.parameters - mean) < 0.15 * np.sqrt(np.diag(spread))).all()
    assert np.diag(learned.covariance) == pytest.approx(np.diag(spread) + plates * PLATE_SD**2, rel=0.15)
    assert learned.left_over**2 == pytest.approx(plates * LEFT_OVER_SD**2, rel=0.2)


def test_a_target_before_sealing_is_as_unsure_as_draws_of_seal_and_target():
    effect = SealEffect("wax", PRIOR, np.diag(np.square(PRIOR_SD / 3)), 0.0, 3)
    target = normal_reading(np.array([30.0, 9, 14]), 0.4)
    goal = effect.before_sealing(target)
    assert effect.sealed(goal.lab) == pytest.approx(target.lab, abs=1e-6)
    rng = np.random.default_rng(3)
    sealed = target.lab + 0.4 * rng.standard_normal((4000, 3))
    seals = PRIOR + PRIOR_SD / 3 * rng.standard_normal((4000, 4))
    assert goal.covariance == pytest.approx(np.cov(unsealed_lab(sealed, seals).T), rel=0.15, abs=0.03)
    assert np.linalg.eigvalsh(goal.covariance).min() > 0
    assert effect.at(goal.lab).sentence.count("3 plates") == 1
    assert "1 plate read" in replace(effect, pairs=1).at(goal.lab).sentence


def test_errors_that_both_readings_share_cancel_in_a_pair():
    camera = (BudgetTerm("camera", np.diag([1.5, 1.0, 1.0]), shared="one camera"),)
    alone = (replace(camera[0], shared=None),)
    pair = np.array([[50.0, 13, 24], [46.0, 13.4, 24.2]])
    spread = [
        np.trace(learn_seal_shift([read_before_and_after(*pair, 0.2, budget)] * 4).at(pair[0]).covariance)
        for budget in (camera, alone)
    ]
    assert spread[0] < 0.6 * spread[1]


# Advice


def test_what_advice_promises_is_about_what_comes_of_it() -> None:
    outcomes = outcomes_of("film", 1007, 24, plates=16)["next plate"]
    before, expected, came = (
        np.array([getattr(one, what) for one in outcomes]) for what in ("before", "expected", "came")
    )
    low, high = np.array([one.interval for one in outcomes]).T
    assert len(outcomes) > 10
    assert 0.8 < (before - expected).mean() / (before - came).mean() < 1.25
    assert np.mean((low <= came) & (came <= high)) > 0.85
    off = np.sqrt(np.mean(np.square(came - expected)))
    assert 1.0 < np.mean(high - low) / 2 / off < 4.0, "two standard deviations, were it a normal distribution"
