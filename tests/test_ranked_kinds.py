"""The ranked list shows kinds of recipe, no two that are no choice, and the plate to make next. All invented."""

from dataclasses import replace

import numpy as np
import pytest

from matcher.colour.difference import delta_e_2000
from matcher.plan.limits import Limits
from matcher.plan.next_plate import hopeful, kind_of
from matcher.plan.reach import FEWEST_TO_TELL, expected_delta
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, as_compared
from matcher.suggest.suggester import Suggester, as_target
from matcher.trials.trial import Trial
from tests.benchmarks.invented_processes import film, recipe_space
from tests.benchmarks.invented_studios import Mistakes, Studio, messy, scorch


@pytest.fixture(scope="module")
def lists():
    """Ten targets' lists of ten from 24 plates each of two studios."""
    found = []
    for studio in (Studio(film(730), recipe_space()), scorch(732)):
        rng = np.random.default_rng(4)
        suggester = Suggester(studio.first(rng))
        for row in rng.choice(len(studio.space), 5):
            target = studio.true(studio.space[row])
            found.append((studio, suggester, target, suggester.suggest(target, 10)))
    return found


def test_no_two_predicted_rows_of_a_kind_are_alike(lists):
    for _, _, _, ranked in lists:
        predicted = [item for item in ranked if item.basis == "predicted"]
        for k, item in enumerate(predicted):
            for other in predicted[:k]:
                if kind_of(item.recipe) == kind_of(other.recipe):
                    assert delta_e_2000(item.lab, other.lab) >= 0.5
                    same_heat = item.recipe.coats[0].surface_temp_c == other.recipe.coats[0].surface_temp_c
                    same_ground = item.recipe.undercoat == other.recipe.undercoat
                    assert not (same_heat and same_ground and item.recipe.coats[0].dose == other.recipe.coats[0].dose)


def test_each_kind_that_comes_near_the_best_has_a_row(lists):
    for _, suggester, target, ranked in lists:
        predicted = [item for item in ranked if item.basis == "predicted"]
        fit, outlook = suggester._predictor.outlook(as_target(target))
        expected = expected_delta(fit.model, outlook, target)
        rows = [row for row in np.flatnonzero(expected <= expected.min() + 2.0) if outlook.recipes[row] not in fit.made]
        near = {kind_of(outlook.recipes[row]) for row in rows}
        assert len({kind_of(item.recipe) for item in predicted}) >= min(len(near), len(predicted) - 1)


def test_the_next_plate_is_in_the_list_and_marked_once(lists):
    for _, suggester, target, ranked in lists:
        following = suggester.next_trial(target)
        marked = [item for item in ranked if item.is_next]
        assert len(marked) == 1 and following.is_next
        assert as_compared(marked[0].recipe) == as_compared(following.recipe)
        assert [item.as_dict()["next_plate"] for item in ranked].count(True) == 1


def test_a_recipe_worth_making_again_is_marked_at_its_plate_and_not_listed_twice():
    """Two plates of one recipe that scatter about the target: a third tells most, and the log's own row says so."""
    coat = Coat("ferric nitrate", 0.5, 4, 105.0)
    recipes = [Recipe("silicon bronze", None, (replace(coat, passes=k),)) for k in (1, 2, 3, 4, 5, 6, 7, 8)]
    rng = np.random.default_rng(3)
    labs = {k: np.array([70.0 - 4 * k, 10.0 + k, 30.0 - k]) for k in range(1, 9)}
    trials = [
        Trial(recipe, Reading(labs[recipe.coats[0].passes] + rng.normal(0, 2.5, 3), 0.01 * np.eye(3)), id=k)
        for k, recipe in enumerate([*recipes, *recipes, *recipes], start=1)
    ]
    limits = Limits(strengths=(0.5,), surface_temp_c=(105.0, 105.0), max_passes=8)
    suggester = Suggester(trials, limits)
    following = suggester.next_trial(labs[4])
    assert following.recipe in recipes, "every recipe within these limits was made"
    assert "made before" in following.because
    ranked = suggester.suggest(labs[4], 10)
    marked = [item for item in ranked if item.is_next]
    assert len(marked) == 1 and marked[0].basis == "logged" and marked[0].recipe == following.recipe


def test_a_list_of_one_holds_the_nearest_alone(lists):
    _, suggester, target, ranked = lists[0]
    assert [item.recipe for item in suggester.suggest(target, 1)] == [ranked[0].recipe]


# The best plate, and what is worth making again


def test_the_best_plate_is_the_one_nearest_in_truth_more_often_than_the_luckiest_reading():
    """Plates that scatter by 3: what all plates say of a recipe is nearer to its truth than one reading of it."""
    by_reading, by_model = [], []
    for seed in (740, 742):
        studio = messy(seed, Mistakes(0, 0, 3.0, 0.0, 1.0))
        rng = np.random.default_rng(5)
        suggester = Suggester(studio.first(rng))
        for trial in suggester.trials:
            target = studio.true(trial.recipe)
            lucky = min(suggester.trials, key=lambda one: float(delta_e_2000(target, one.reading.lab)))
            for kept, recipe in ((by_reading, lucky.recipe), (by_model, suggester.best_plate(target).recipe)):
                kept.append(float(delta_e_2000(target, studio.true(recipe))))
    assert np.mean(by_model) < 0.8 * np.mean(by_reading)


def test_no_plate_is_proposed_that_is_surely_far_off():
    """After a stall the search looks elsewhere, but not at what is sure to be hopeless."""
    studio = messy(744)
    rng = np.random.default_rng(6)
    trials = studio.first(rng)
    target = studio.true(studio.space[11])
    for _ in range(6):
        suggester = Suggester(trials)
        following = suggester.next_trial(target)
        best = suggester.best_plate(target)
        near = float(following.draws.mean()) <= float(best.draws.mean()) + 2 * suggester.tolerance
        assert near or following.chance_within(suggester.tolerance) >= 0.02
        trials.append(studio.trial(following.recipe, rng))


def test_what_is_hopeful_is_near_or_may_match(lists):
    _, suggester, target, _ = lists[0]
    _, outlook = suggester._predictor.outlook(as_target(target))
    kept = hopeful(outlook, 3.0, 2.0)
    far = outlook.draws.mean(axis=1) > 7.0
    assert not (kept & far & (np.mean(outlook.draws <= 2.0, axis=1) < 0.05)).any()
    assert kept[outlook.draws.mean(axis=1) <= 7.0].all()


# Reach


@pytest.mark.parametrize("plates", [1, 3, FEWEST_TO_TELL - 1])
def test_few_plates_cannot_tell_what_is_out_of_reach(plates):
    studio = Studio(film(750), recipe_space(), plates)
    reach = Suggester(studio.first(np.random.default_rng(7))).reach((95.0, -60.0, 60.0))
    assert reach.standing == "can't tell yet" and not reach.out_of_reach
    assert "too few to predict" in reach.sentence


def test_out_of_reach_is_never_said_of_an_interval_that_holds_the_tolerance():
    said = []
    for seed in range(760, 766):
        studio = messy(seed)
        rng = np.random.default_rng(8)
        suggester = Suggester(studio.first(rng))
        for row in rng.choice(len(studio.space), 4):
            reach = suggester.reach(studio.true(studio.space[row]))
            said.append(reach.standing)
            if reach.standing == "out of reach":
                assert reach.interval[0] > suggester.tolerance and reach.chance <= 0.05
    assert set(said) <= {"within reach", "can't tell yet", "out of reach"}
    assert said.count("out of reach") <= 0.1 * len(said), "every target here is some recipe's own colour"
    assert (
        Suggester(Studio(film(750), recipe_space()).first(np.random.default_rng(9))).reach((95, -60, 60)).out_of_reach
    )


# Advice that does not run dry


def test_advice_names_another_kind_where_no_change_of_this_one_comes_near(lists):
    """For the plate farthest from each target; where nothing of its own kind helps, the next plate's kind is named."""
    named = 0
    for _, suggester, target, _ in lists:
        far = max(suggester.trials, key=lambda one: float(delta_e_2000(target, one.reading.lab)))
        advice, following = suggester.advice(target, far), suggester.next_trial(target)
        own = [one for one in advice.on_the_next if kind_of(one.recipe) == kind_of(far.recipe)]
        others = [one for one in advice.on_the_next if kind_of(one.recipe) != kind_of(far.recipe)]
        near = min([advice.delta_e00, *(one.delta_e00 for one in (*advice.on_this_piece, *own))])
        better = kind_of(following.recipe) != kind_of(far.recipe) and following.delta_e00 <= near - 0.3
        assert len(others) == int(near > suggester.tolerance and better)
        if others:
            named += 1
            assert others[0].recipe == following.recipe and not others[0].same_piece
            assert "Another kind of recipe is expected nearer" in advice.sentence
    assert named >= 3
