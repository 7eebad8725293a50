"""Whatever a log holds that a recipe and a reading can be, each question gets a sane answer or one plain sentence."""

import json
import warnings

import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from matcher.bench.seal import learn_seal_shift
from matcher.colour.difference import alike
from matcher.colour.library import colour_library
from matcher.errors import ReadingError, RecipeError, SuggestionError
from matcher.plan.first_plates import starting_set
from matcher.plan.limits import Limits
from matcher.plan.next_plate import steps_between
from matcher.plan.reach import _beyond as changes_beyond
from matcher.plan.recipe_space import space_from
from matcher.process.design import Categories, columns_of
from matcher.process.film import FilmMean
from matcher.process.fit import FARTHEST_SDS, Seen
from matcher.process.residual import features_of, fit_hyperparameters
from matcher.reading.comparison import draws_to_target
from matcher.reading.reading import Reading
from matcher.recipe.recipe import MAX_PASSES, SURFACE_TEMP_RANGE_C, Coat, Recipe, Seal, Undercoat
from matcher.suggest import palettes as palettes_room
from matcher.suggest.suggester import Suggester
from matcher.trials.trial import Trial
from tests.example_counts import examples

COLDEST, HOTTEST = SURFACE_TEMP_RANGE_C
TARGET = Reading([38.0, 14.0, 22.0])
NEEDLE = 1e4 * np.outer([0.4, 0.8, -0.5], [0.4, 0.8, -0.5])
"""A reading of which one direction is hardly known and the others exactly."""

NAMES = st.sampled_from(
    ["ferric nitrate", "Ferric nitrate", "cupric nitrate", "硝酸鉄", "another ferric salt", "{interval}"]
)
STRENGTHS = st.sampled_from([0.5, 1.0, 0.25, 1e-12, 5e-324, 0.99999])
COATS = st.builds(
    Coat,
    NAMES,
    STRENGTHS,
    st.sampled_from([1, 4, 12, MAX_PASSES - 1, MAX_PASSES]),
    st.sampled_from([105.0, COLDEST, HOTTEST, 397.0, 3.0, 95.0]),
    st.sampled_from(["fine mist", "??"]),
)
UNDERCOATS = st.builds(
    Undercoat, st.sampled_from(["liver of sulphur", "硫"]), STRENGTHS, st.sampled_from([0.0, 0.25, 1.0, 5e-324])
)
SEALS = st.builds(Seal, st.sampled_from(["wax", "Wax", "shellac"]), st.sampled_from([1, 20]), st.booleans())
RECIPES = st.builds(
    Recipe,
    st.sampled_from(["silicon bronze", "Silicon Bronze"]),
    st.none() | UNDERCOATS,
    st.lists(COATS, max_size=2).map(tuple),
    st.none() | SEALS,
)
READINGS = st.builds(
    Reading,
    st.tuples(
        st.sampled_from([38.0, 0.0, 100.0, 60.0, 22.5]),
        st.sampled_from([14.0, -200.0, 200.0, 0.0]),
        st.sampled_from([22.0, -200.0, 200.0, 0.0]),
    ),
    st.sampled_from([0.09 * np.eye(3), np.zeros((3, 3)), 1e8 * np.eye(3), NEEDLE, 1e-300 * np.eye(3)]),
)
LIMITS = st.builds(
    Limits,
    max_passes=st.sampled_from([None, 1, MAX_PASSES]),
    surface_temp_c=st.sampled_from([None, (0.0, 400.0), (390.0, 400.0), (100.0, 110.0)]),
    excluded=st.sampled_from([frozenset(), frozenset({"ferric nitrate"})]),
    strengths=st.sampled_from([None, (1e-12,), (0.5, 1.0)]),
)


@pytest.fixture(autouse=True)
def no_warnings():
    """A number out of range fails the test, though NumPy only warns of it."""
    colour_library()
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        yield


@examples(8, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(
    st.lists(st.builds(Trial, RECIPES, READINGS), min_size=1, max_size=7),
    READINGS,
    st.none() | LIMITS,
    st.sampled_from([2.0, 5e-324, 1e308]),
)
def test_any_log_gets_sane_answers_within_its_limits(trials, target, limits, tolerance):
    suggester = Suggester(trials, limits, tolerance)
    allow = (limits or Limits()).allow
    try:
        listed = [*suggester.suggest(target, 3), suggester.next_trial(target), *suggester.batch(target, 2)]
        reach = suggester.reach(target)
    except SuggestionError as nothing:
        assert str(nothing).endswith(".")
        return
    for item in listed:
        assert_sane(item.delta_e00_interval, item.chance_within(tolerance), item.as_dict())
        assert allow(item.recipe)
    assert_sane(reach.interval, reach.chance, reach.as_dict())
    advice = suggester.advice(target, trials[-1])
    assert_sane((0.0, advice.delta_e00), 1.0, advice.as_dict())
    assert all(allow(change.recipe) for change in (*advice.on_this_piece, *advice.on_the_next))
    for recipe in {trial.recipe for trial in trials if trial.recipe.coats}:
        seal = learn_seal_shift(trials, "wax")
        path = suggester.bench_path(target, recipe, {recipe.coats[-1].passes: trials[0].reading}, seal)
        assert_sane(path.interval[path.stop_at], path.risk, path.as_dict())
        break


def assert_sane(interval, chance, document):
    low, high = interval
    assert 0 <= low <= high < np.inf
    assert 0 <= chance <= 1
    json.dumps(document, allow_nan=False)


def hot(passes=6, temp_c=105.0, chemical="ferric nitrate", strength=0.5):
    return Recipe("silicon bronze", None, (Coat(chemical, strength, passes, temp_c),))


@pytest.mark.parametrize("passes", [1, MAX_PASSES])
@pytest.mark.parametrize("temp_c", [COLDEST, 3.0, 397.0, HOTTEST])
def test_no_step_from_a_recipe_at_the_edge_leads_beyond_it(passes, temp_c):
    for near in steps_between(hot(passes, temp_c)):
        assert Recipe.from_dict(near.as_dict()) == near
    trials = [Trial(hot(passes, temp_c), Reading([60.0 - k, 14, 22])) for k in range(3)]
    far = [5.0, 60.0, -60.0]
    assert Suggester(trials).next_trial(far).recipe.coats[0].passes <= MAX_PASSES
    assert Suggester(trials).reach(far).sentence


def test_the_weakest_undercoat_that_can_be_is_not_thinned_to_none():
    under = Undercoat("liver of sulphur", 5e-324, 0.5)
    trials = [Trial(Recipe("silicon bronze", under, (Coat("ferric nitrate", 0.5, 2, 105.0),)), TARGET)]
    assert Suggester(trials).reach([90.0, 0.0, 0.0]).sentence


@pytest.mark.parametrize("laid", [1, 60, 150, MAX_PASSES])
def test_more_passes_are_named_as_many_as_can_be_laid(laid):
    named = {what: recipe.coats[0].passes for what, recipe in changes_beyond(hot(laid)) if what.endswith("passes")}
    assert all(what == f"{passes} passes" and laid < passes <= MAX_PASSES for what, passes in named.items())
    assert bool(named) == (laid < MAX_PASSES)


def test_two_coats_of_the_most_passes_open_recipes_near_them():
    stack = (Coat("ferric nitrate", 0.5, MAX_PASSES, 105.0), Coat("cupric nitrate", 0.5, MAX_PASSES, 105.0))
    space = space_from([Recipe("silicon bronze", None, stack)], Limits(), np.random.default_rng(0))
    assert stack in space.stacks
    assert max(coat.passes for near in space.stacks for coat in near) == MAX_PASSES


@pytest.mark.parametrize("many", [3, 4, 6, 30])
def test_a_stack_of_many_coats_is_among_those_near_it_and_they_are_few(many):
    stack = tuple(Coat("ferric nitrate", 0.5, 4 + k % 3, 105.0) for k in range(many))
    space = space_from([Recipe("silicon bronze", None, stack)], Limits(), np.random.default_rng(0))
    near = [other for other in space.stacks if len(other) == many]
    assert stack in near
    assert 2 * many < len(near) < 500


def test_heat_limits_beyond_what_metal_can_have_are_kept_as_far_as_it_can():
    trials = [Trial(hot(passes), Reading([60.0 - passes, 14, 22])) for passes in range(1, 8)]
    fits = space_from(
        [trial.recipe for trial in trials], Limits(surface_temp_c=(390.0, 900.0)), np.random.default_rng(0)
    )
    assert {coat.surface_temp_c for stack in fits.stacks for coat in stack} == {390.0, 395.0, HOTTEST}
    with pytest.raises(SuggestionError, match="widen"):
        space_from([trial.recipe for trial in trials], Limits(surface_temp_c=(500.0, 900.0)), np.random.default_rng(0))


def test_the_curve_holds_for_the_hottest_metal_wherever_its_unknowns_are_looked_for():
    recipes = [hot(MAX_PASSES, temp, name, 1.0) for temp in (COLDEST, HOTTEST) for name in ("ferric nitrate", "cupric")]
    categories = Categories.of(recipes)
    curve, columns = FilmMean(categories), columns_of(recipes, categories)
    with np.errstate(all="raise", under="ignore"):
        for sds in (-FARTHEST_SDS, 0.0, FARTHEST_SDS):
            lab, jacobian = curve.linearised(curve.prior_mean + sds * curve.prior_sd, columns)
            assert np.isfinite(lab).all() and np.isfinite(jacobian).all()


def test_readings_known_in_some_directions_only_are_learned_from():
    trials = [Trial(hot(1 + k), Reading([60.0 - 5 * k, 14, 22 - k], 10.0**k * NEEDLE)) for k in range(6)]
    np.linalg.cholesky(Seen.of(FilmMean(Categories.of(trial.recipe for trial in trials)), trials).noise())
    trials += [Trial(hot(k), Reading([40.0 - k, 10, 12], np.zeros((3, 3)))) for k in range(1, 6)]
    figures = Suggester(trials).cross_validation()
    assert 0 <= figures.left_out.coverage <= 1 and np.isfinite(figures.left_out.errors).all()


def test_sizes_are_learned_within_what_numbers_hold():
    recipes = [hot(1 + k) for k in range(6)]
    categories = Categories.of(recipes)
    features = features_of(columns_of(recipes, categories), np.zeros((6, 3)), categories)
    for miss in (0.0, 1e6):
        spread = fit_hyperparameters(features, np.full((6, 3), miss), np.zeros((18, 18)))
        assert np.all(spread.plate_sd > 1e-3) and np.all(spread.residual_sd < 1e3)


@pytest.mark.parametrize("scale", [1.0, 1e3, 1e6, 1e9])
def test_a_reading_known_exactly_but_in_one_direction_is_compared(scale):
    seen = Reading([38.0, 14.0, 22.0], scale * NEEDLE)
    along = np.array([0.4, 0.8, -0.5])
    exact = np.zeros((3, 3))
    assert alike(seen.lab, seen.lab + along, seen.covariance)
    assert not alike(seen.lab, seen.lab + [0.0, 5.0, 8.0], NEEDLE)
    plates = [seen, Reading([50.0, 0.0, 0.0], scale * NEEDLE), Reading([50.0, 0.0, 0.0], exact)]
    assert np.isfinite(draws_to_target(seen, plates)).all()


def test_a_reading_of_absurd_uncertainty_is_refused_and_one_of_huge_is_compared():
    with pytest.raises(ReadingError, match="more than a colour has"):
        Reading([38.0, 14.0, 22.0], 1e100 * np.eye(3))
    wide = Reading([38.0, 14.0, 22.0], 1e29 * np.eye(3))
    assert np.isfinite(draws_to_target(wide, [wide, TARGET])).all()


def test_a_target_at_the_edge_of_colour_can_be_sealed():
    shift = learn_seal_shift([], "shellac")
    for lab in ([0.0, -200.0, 200.0], [100.0, 200.0, -200.0]):
        assert np.abs(shift.before_sealing(Reading(lab)).lab).max() <= 200.0


def test_steps_named_twice_give_no_plate_twice():
    plates = starting_set(
        12, alloy="silicon bronze", chemicals=["ferric nitrate"] * 2, strengths=[0.5, 0.5], passes=[2, 2, 4]
    )
    assert len(plates) == len(set(plates)) == 6
    with pytest.raises(RecipeError, match="passes"):
        starting_set(4, alloy="silicon bronze", chemicals=["ferric nitrate"], passes=[MAX_PASSES + 1])


def test_a_chemical_may_have_any_name():
    trials = [Trial(hot(passes, chemical="{interval}"), Reading([60.0 - passes, 14, 22])) for passes in (1, 3)]
    trials += [Trial(hot(passes), Reading([50.0 - passes, 10, 12])) for passes in range(1, 6)]
    listed = [item for item in Suggester(trials).suggest([59.0, 14, 22], 8) if item.recipe.coats[0].chemical[0] == "{"]
    assert any("{interval} was seen on 2 plates" in item.because for item in listed)


def test_screening_stacks_by_the_curve_finds_the_same_mottled_recipe(monkeypatch):
    under = Undercoat("liver of sulphur", 0.5, 0.25)
    trials = [
        Trial(Recipe("silicon bronze", under, hot(k).coats), Reading([50.0 - 2 * k, 12, 14])) for k in range(1, 9)
    ]
    target = Reading([38.0, 14.0, 22.0], lights=np.array([46.0, 14.0, 24.0]), darks=np.array([28.0, 8.0, 8.0]))
    whole = Suggester(trials).mottled(target)[0]
    monkeypatch.setattr(palettes_room, "SCREENED", 5)
    screened = Suggester(trials).mottled(target)[0]
    assert screened.distance == pytest.approx(whole.distance, abs=0.5)
    np.testing.assert_allclose(screened.darks, whole.darks, atol=1.0)
