"""Plates written down or read wrongly: found, counted little, explained; a clean log is left as it is. All invented."""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
from scipy.stats import beta, betabinom, multivariate_normal

from matcher.colour.cielab import D50_WHITE, lab_to_xyz, xyz_to_lab
from matcher.colour.difference import delta_e_2000
from matcher.colour.uncertainty import CHI2_95
from matcher.errors import StudioError
from matcher.process.hand import DriftPoint
from matcher.process.learn import fit_process
from matcher.process.mistakes import MISTAKE_SD, chances_of_mistake, doubts, log_prior
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.studio import Studio as OpenStudio
from matcher.suggest.cross_validation import CrossValidation, LeftOut
from matcher.suggest.outliers import at_odds, contradictions, counting_little
from matcher.suggest.slips import slip_of
from matcher.suggest.suggester import Suggester
from matcher.suggest.validation_wording import drift_in_words
from matcher.trials.facts import facts_of
from matcher.trials.log import CHECKED, DOUBTED
from matcher.trials.trial import Checked, Trial
from tests.benchmarks.invented_processes import CHEMICALS, film, recipe_space
from tests.benchmarks.invented_studios import Mistakes, Studio, messy

CHECKED_AT = datetime(2026, 5, 3, 12, tzinfo=UTC)
EMPTY = CrossValidation(LeftOut(np.zeros(1), 1.0), (), (), (), ())


def clean(seed: int, many: int):
    studio = Studio(film(seed), recipe_space(), many)
    return studio, studio.first(np.random.default_rng([seed, 1]))


@pytest.fixture(scope="module")
def log():
    """40 plates of a film; plate 8 is mislabelled, plate 21 was read in shadow."""
    studio, trials = clean(700, 40)
    rng = np.random.default_rng(3)
    slipped = trials[7].recipe
    others = [name for name in CHEMICALS if name != slipped.coats[0].chemical]
    made = max(
        (replace(slipped, coats=(replace(slipped.coats[0], chemical=name),)) for name in others),
        key=lambda one: float(delta_e_2000(studio.true(one), studio.true(slipped))),
    )
    trials[7] = replace(studio.process.trial(made, rng), recipe=slipped, id=8)
    pale = max(range(10, 30), key=lambda k: trials[k].reading.lab[0])
    dark = xyz_to_lab(0.4 * lab_to_xyz(trials[pale].reading.lab))
    trials[pale] = replace(trials[pale], reading=Reading(dark, trials[pale].reading.covariance))
    return studio, trials, made, pale


# The mixture, against its own definition


def test_the_chance_of_a_mistake_is_that_of_two_normals_mixed():
    rng = np.random.default_rng(1)
    residuals, root = rng.normal(0, 6, (5, 3)), rng.normal(0, 1, (5, 3, 3))
    covariances = root @ np.swapaxes(root, 1, 2) + np.eye(3)
    share = beta(1 + 0, 24 + 5).mean()
    for chance, residual, covariance in zip(
        chances_of_mistake(residuals, covariances), residuals, covariances, strict=True
    ):
        wide = share * multivariate_normal(cov=covariance + np.diag(MISTAKE_SD**2)).pdf(residual)
        whole = wide + (1 - share) * multivariate_normal(cov=covariance).pdf(residual)
        assert chance == pytest.approx(wide / whole if wide / whole >= 0.02 else 0.0, rel=1e-6)


def test_the_prior_of_mistakes_is_the_beta_binomial_of_one_order():
    from math import comb

    for many in (0, 1, 3):
        assert np.exp(log_prior(many, 20)) == pytest.approx(betabinom(20, 1, 24).pmf(many) / comb(20, many))


def test_a_doubted_plate_keeps_the_rest_of_its_precision():
    noise = np.diag([0.25, 0.16, 0.25])[None]
    assert not doubts(np.zeros(1), noise).any()
    left = np.linalg.inv(noise + doubts(np.array([0.5]), noise))
    wide = np.linalg.inv(noise + np.diag(MISTAKE_SD**2))
    assert left == pytest.approx((np.linalg.inv(noise) + wide) / 2)


# A clean log


@pytest.mark.parametrize(("seed", "many"), [(701, 8), (703, 24), (705, 60), (707, 120)])
def test_no_plate_of_a_clean_log_is_doubted(seed, many):
    _, trials = clean(seed, many)
    model = fit_process(trials)
    assert not model.mistaken.any() and model.drifted == ()


# A log with mistakes


def test_mistakes_count_little_and_sound_plates_in_full(log):
    _, trials, _, pale = log
    model = fit_process(trials)
    assert set(np.flatnonzero(model.mistaken > 0.5)) == {7, pale}
    assert np.delete(model.mistaken, [7, pale]).max() < 0.5


def test_the_slip_that_explains_a_plate_is_named(log):
    _, trials, made, pale = log
    model = fit_process(trials)
    slip, shadow = slip_of(model, 7), slip_of(model, pale)
    assert slip is not None and (slip.kind, slip.made) == ("chemical", made.coats[0].chemical)
    assert slip.recipe is not None and slip.recipe.coats == made.coats
    assert shadow is not None and shadow.kind == "shadow" and shadow.recipe is None
    said = {one.trial.id: one for one in contradictions(model)}
    assert f"as if made with {made.coats[0].chemical} and not {trials[7].recipe.coats[0].chemical}" in said[8].sentence
    assert said[8].counts < 0.5 and "counts little" in said[8].sentence


@dataclass
class Told:
    """A process that is known: each undercoat darkens by its strength, nothing else matters; plates scatter by 1."""

    trials: list
    mistaken: np.ndarray

    def plate_covariances(self, recipes):
        return np.broadcast_to(np.eye(3), (len(recipes), 3, 3))

    def columns(self, recipes):
        return recipes

    def predict(self, recipes):
        dark = [0.0 if one.undercoat is None else 30.0 * one.undercoat.strength for one in recipes]
        labs = np.array([[60.0 - by, 8.0, 16.0] for by in dark])
        return labs, np.broadcast_to(0.5 * np.eye(3), (len(labs), 3, 3))

    def scatter(self, readings):
        return np.zeros((len(readings), 3, 3))


def plate(lab, undercoat=None, number=None, passes=2, sigma=0.5):
    recipe = Recipe("silicon bronze", undercoat, (Coat("ferric nitrate", 0.5, passes, 105.0),))
    return Trial(recipe, Reading(np.asarray(lab, float), sigma**2 * np.eye(3)), id=number)


def test_a_forgotten_undercoat_is_taken_at_full_strength_and_is_as_likely_as_bayes_rule_says():
    """Against SciPy's normal densities: each kind of slip the mean of its ways, beside a mistake of any other kind."""
    seen, alone = np.array([31.0, 8.0, 16.0]), np.array([60.0, 8.0, 16.0])
    darker = plate([30, 8, 16], Undercoat("liver of sulphur", 1.0), 2, passes=3)
    slip = slip_of(Told([plate(seen, number=1), darker], np.zeros(2)), 0)
    assert slip is not None and slip.kind == "undercoat"
    assert slip.recipe.undercoat == Undercoat("liver of sulphur", 1.0)
    normal, xyz = multivariate_normal(cov=1.5 * np.eye(3)), lab_to_xyz(alone)
    shadows = [xyz_to_lab(xyz * share) for share in np.linspace(0.25, 0.8, 12)]
    glares = [xyz_to_lab((1 - share) * xyz + share * D50_WHITE) for share in np.linspace(0.03, 0.4, 12)]
    explained = normal.pdf(seen - [30.0, 8, 16])
    others = [
        normal.pdf(seen - alone),  # one or three passes: nothing changes
        np.mean([normal.pdf(seen - lab) for lab in shadows]),
        np.mean([normal.pdf(seen - lab) for lab in glares]),
        multivariate_normal(cov=1.5 * np.eye(3) + np.diag(MISTAKE_SD**2)).pdf(seen - alone),
    ]
    assert slip.likely == pytest.approx(explained / (explained + sum(others)), rel=1e-6)


def test_a_plate_counts_little_below_half_of_its_weight():
    trials = [plate([60, 8, 16], number=number) for number in (1, 2, 3)]
    model = Told(trials, np.array([0.0, 0.45, 0.55]))
    assert [one.id for one in counting_little(model, trials)] == [3]


def test_plates_of_one_recipe_that_differ_most_come_first():
    pairs = [(1, 2, 4.0), (3, 4, 40.0), (5, 6, 20.0), (7, 8, 60.0)]  # how far apart in L*
    trials = [
        plate([50 + side * apart / 2, 8, 16], None, number, passes=one)
        for one, other, apart in pairs
        for number, side in ((one, -1), (other, 1))
    ]
    found = at_odds(trials)
    assert [sorted((one.trial.id, one.against.id)) for one in found] == [[7, 8], [3, 4], [5, 6]]
    assert found[0].surprise > found[1].surprise > 16.27


def test_one_plate_contradicts_nothing():
    assert Suggester([plate([50, 8, 16], number=1)]).contradictions() == []


def test_corrected_plates_have_their_weight_back(log):
    _, trials, made, pale = log
    mended = [replace(trial, recipe=made) if trial.id == 8 else trial for trial in trials if trial.id != pale + 1]
    assert not fit_process(mended).mistaken.any()


def test_a_plate_that_another_bears_out_has_its_weight_back(log):
    """The same recipe made again with the same colour: the recipe is odd then, and not the plate."""
    _, trials, _, pale = log
    others = [trial for trial in trials if trial.id != pale + 1]
    again = [
        replace(trials[7], id=100 + k, reading=Reading(trials[7].reading.lab + 0.2 * k, np.eye(3) * 0.09))
        for k in (1, 2)
    ]
    model = fit_process([*others, *again])
    assert model.mistaken[[trial.id in (8, 101, 102) for trial in model.trials]].max() < 0.5


def test_a_prediction_says_which_of_its_plates_count_little(log):
    studio, trials, _, _ = log
    suggester = Suggester(trials)
    said = [item.because for item in suggester.suggest(studio.true(trials[7].recipe), 12) if item.basis == "predicted"]
    assert any(
        "Plate 8 counts little" in because or ("Plates" in because and "count little" in because) for because in said
    )


def test_errors_fall_and_intervals_hold_in_a_messy_studio():
    """One plate in ten a mistake: the truth of unseen recipes lies inside, and regions are not blown up."""
    inside, errors = [], {24: [], 120: []}
    for seed in (710, 712):
        for many, kept in errors.items():
            studio = messy(seed, Mistakes(scatter=1.0, drift=0.0))
            studio.logged_first, studio.habit = many, None
            rng = np.random.default_rng([seed, 2])
            trials = studio.first(rng)
            unseen = [studio.space[k] for k in rng.choice(len(studio.space), 100)]
            model = fit_process(trials)
            lab, covariance = model.predict(model.columns(unseen))
            truth = np.array([studio.true(recipe) for recipe in unseen])
            kept.append(np.median(delta_e_2000(lab, truth)))
            off = truth - lab
            inside.append(np.einsum("ni,nij,nj->n", off, np.linalg.inv(covariance), off) <= CHI2_95)
    assert 0.88 <= np.mean(inside) <= 0.995
    assert np.mean(errors[120]) < 0.6 * np.mean(errors[24])
    assert np.mean(errors[120]) < 1.5


# A hand that changes


def test_a_drift_is_found_with_its_size_and_an_honest_interval():
    studio = messy(720, Mistakes(mislabelled=0, misread=0, scatter=0.5, drift=0.35))
    studio.logged_first, studio.habit = 100, None
    model = fit_process(studio.first(np.random.default_rng(2)))
    assert len(model.drifted) == 6
    made = np.linspace(0, 99, 7)[:-1] + 1
    truth = [studio.mistakes.drifted(k) / studio.mistakes.drifted(100) for k in made]
    held = [point.interval[0] <= share <= point.interval[1] for point, share in zip(model.drifted, truth, strict=True)]
    assert sum(held) >= 5
    assert np.mean([point.interval[1] / point.interval[0] for point in model.drifted]) < 1.6
    assert np.corrcoef(np.log(truth), np.log([point.share for point in model.drifted]))[0, 1] > 0.8


def test_what_is_said_of_a_drift_is_borne_out_by_its_interval():
    point = DriftPoint(date(2026, 3, 2), 1.25, (1.1, 1.4))
    few, steady, open_yet, less = (
        drift_in_words(replace(EMPTY, drift=drift, days=days))
        for drift, days in (((), 2), ((), 30), ((replace(point, interval=(0.9, 1.4)),), 30), ((point,), 30))
    )
    assert "made on 2 days: whether the hand changes over time can be told from 5 on" in few
    assert "No change over the days shows" in steady and "may have changed" in open_yet
    assert "lays down 20 % (9 % to 29 %) less today than around" in less and "2026" in less


@pytest.mark.parametrize("seed", [722, 724])
def test_a_steady_hand_is_not_said_to_drift(seed):
    studio = messy(seed, Mistakes(mislabelled=0, misread=0, scatter=0.5, drift=0.0))
    studio.logged_first, studio.habit = 60, None
    assert fit_process(studio.first(np.random.default_rng(2))).drifted == ()


# A person's word


def test_an_odd_plate_that_was_checked_counts_in_full_until_it_is_doubted_again(log):
    _, trials, _, pale = log
    doubted = fit_process(trials)
    vouched = [
        replace(trial, checked=Checked(CHECKED_AT, "Ann")) if k == pale else trial for k, trial in enumerate(trials)
    ]
    model = fit_process(vouched)
    assert doubted.mistaken[pale] > 0.9 and model.mistaken[pale] == 0.0
    assert model.mistaken[7] > 0.9, "another plate is doubted as before"
    (row,) = [one for one in contradictions(model) if one.trial is model.trials[pale]]
    assert row.sentence.endswith("it was checked by Ann on 3 May 2026 and is right, so it counts in full.")
    assert row.counts == 1.0 and row.slip is None and row.as_dict()["checked"]["who"] == "Ann"
    near = model.columns([trials[pale].recipe])
    moved = delta_e_2000(trials[pale].reading.lab, model.mean_lab(near)) - delta_e_2000(
        trials[pale].reading.lab, doubted.mean_lab(near)
    )
    assert moved < -1, "what it shows is believed"


def test_a_person_says_that_a_plate_is_right_and_takes_it_back(tmp_path, log):
    _, trials, _, pale = log
    with OpenStudio.open(tmp_path / "studio") as studio:
        studio.record_all([replace(trial, id=None, uid=None) for trial in trials])
        number = pale + 1
        seen = studio.trial(number)
        studio.check_right(number, "Ann", seen)
        assert studio.check_right(number, "Ben") and studio.log.checked([number])[number].who == "Ann", "once is enough"
        assert studio.suggester().model(seen.reading).mistaken[pale] == 0.0
        studio.doubt_again(number, "Ben")
        assert studio.log.checked([number]) == {} and studio.suggester().model(seen.reading).mistaken[pale] > 0.9
        studio.check_right(number, "Ann")
        told = [(line.what, line.who) for line in studio.history("trial", number)][1:]
        assert told == [(CHECKED, "Ann"), (DOUBTED, "Ben"), (CHECKED, "Ann")]
        was = facts_of(seen)
        studio.correct(number, replace(was, notes="read in the shade"), instead_of=was)
        assert studio.log.checked([number]) == {}, "what is logged by now nobody has checked"
        with pytest.raises(StudioError, match=f"Look at plate {number} again first"):
            studio.check_right(number, "Ann", seen)
