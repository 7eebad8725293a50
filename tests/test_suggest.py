"""Suggestions from logged trials: order, intervals, words, ties, limits. All plates are invented."""

import numpy as np
import pytest

from matcher.colour.difference import delta_e_2000
from matcher.commissions.commission import Commission
from matcher.errors import MatcherError, ReadingError, SuggestionError
from matcher.plan.limits import Limits
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.suggest.suggester import Suggester
from matcher.trials.trial import Target, Trial
from matcher.typed_in import values

TARGET = np.array([38.0, 14.0, 22.0])


def trial(lab, passes=3, alloy="silicon bronze", sigma=0.4, **rest):
    recipe = Recipe(
        alloy=alloy,
        undercoat=Undercoat("liver of sulphur", 0.5, 0.25),
        coats=(Coat("ferric nitrate", 0.5, passes, 105.0),),
    )
    return Trial(recipe=recipe, reading=Reading(lab=lab, covariance=np.eye(3) * sigma**2), **rest)


@pytest.fixture
def trials():
    rng = np.random.default_rng(2)
    return [trial(TARGET + rng.normal(0, 6, 3), passes=1 + k % 9, id=k + 1) for k in range(80)]


def test_the_nearest_plate_comes_first_with_its_own_difference(trials):
    delta = [float(delta_e_2000(TARGET, item.reading.lab)) for item in trials]
    measured = Suggester(trials).suggest(TARGET, count=7, predict=False)
    assert [item.delta_e00 for item in measured] == pytest.approx(sorted(delta)[:7])
    best = measured[0]
    assert best.basis == "logged"
    assert best.trial is trials[int(np.argmin(delta))]
    assert f"Plate {best.trial.id} was measured at ΔE00" in best.because


def test_every_interval_holds_its_own_difference_or_reaches_zero(trials):
    for item in Suggester(trials).suggest(Reading(lab=TARGET, covariance=np.eye(3)), count=20):
        low, high = item.delta_e00_interval
        assert low <= item.delta_e00 <= high


def test_the_chance_to_match_falls_down_the_list(trials):
    ranked = Suggester(trials).suggest(TARGET, count=30)
    assert ranked[0].chance_within(2.0) > ranked[-1].chance_within(2.0)
    assert ranked[-1].chance_within(100.0) == 1.0


def test_plates_that_cannot_be_told_apart_name_each_other():
    suggester = Suggester([trial(TARGET + [3, 0, 0]), trial(TARGET + [3.05, 0, 0]), trial(TARGET + [15, 0, 0])])
    first, second, third = suggester.suggest(TARGET)
    assert first.tied_with == (2,)
    assert second.tied_with == (1,)
    assert third.tied_with == ()


def test_a_plate_set_aside_is_not_suggested():
    near, far = trial(TARGET, set_aside="torch slipped"), trial(TARGET + 5)
    assert [item.trial for item in Suggester([near, far]).suggest(TARGET)] == [far]


def test_a_new_result_is_taken_in_and_the_old_list_stays(trials):
    suggester = Suggester(trials)
    hit = trial(TARGET + [0.05, 0, 0])
    assert suggester.with_trial(hit).suggest(TARGET, count=1)[0].trial is hit
    assert suggester.suggest(TARGET, count=1)[0].trial is not hit


@pytest.mark.parametrize(
    ("limits", "kept"),
    [
        (Limits(alloy="brass"), ["brass"]),
        (Limits(max_passes=4), ["few"]),
        (Limits(surface_temp_c=(90, 120)), ["few", "brass", "many"]),
        (Limits(surface_temp_c=(120, 150)), []),
        (Limits(excluded=frozenset({"ferric nitrate"})), []),
        (Limits(excluded=frozenset({"liver of sulphur"})), []),
    ],
)
def test_recipes_outside_the_limits_are_not_suggested(limits, kept):
    plates = {
        "few": trial(TARGET, passes=2),
        "brass": trial(TARGET + 1, passes=5, alloy="brass"),
        "many": trial(TARGET + 2, passes=9),
    }
    suggester = Suggester(plates.values(), limits=limits)
    if not kept:
        with pytest.raises(SuggestionError, match=r"within today's limits .* would let 3 in again"):
            suggester.suggest(TARGET)
        return
    assert [item.trial for item in suggester.suggest(TARGET)] == [plates[name] for name in kept]


def test_a_suggestion_as_json_says_the_recipe_in_words(trials):
    data = Suggester(trials).suggest(TARGET)[0].as_dict()
    assert "ferric nitrate at half strength" in data["recipe_in_words"]
    assert Recipe.from_dict(data["recipe"]).alloy == "silicon bronze"


@pytest.mark.parametrize("count", [0, -1, 2.5, True, "3", 1001])
def test_a_count_that_is_none_is_refused_with_a_sentence(trials, count):
    with pytest.raises(SuggestionError, match="Ask for 1 to 1000"):
        Suggester(trials).suggest(TARGET, count=count)


@pytest.mark.parametrize("target", [[1, 2], [np.nan, 0, 0], "brown", [40, 900, 0]])
def test_a_target_that_is_no_colour_is_refused(trials, target):
    with pytest.raises(ReadingError, match="Give"):
        Suggester(trials).suggest(target)


def test_a_log_that_grows_leaves_what_was_asked_before_and_beside_it_as_it_was(trials):
    first = Suggester(trials).with_trial(trial(TARGET + 30, id=900))
    left = first.with_trial(trial(TARGET + [0.1, 0, 0], id=901))
    right = first.with_trial(trial(TARGET + [0, 0.1, 0], id=902))
    longer = left.with_trial(trial(TARGET + [0, 0, 0.1], id=903))
    numbers = {suggester: [one.id for one in suggester.trials[-3:]] for suggester in (first, left, right, longer)}
    assert numbers[first] == [79, 80, 900]
    assert (numbers[left], numbers[right]) == ([80, 900, 901], [80, 900, 902])
    assert numbers[longer] == [900, 901, 903]
    for suggester, nearest in ((left, 901), (right, 902)):
        assert suggester.suggest(TARGET, 1, predict=False)[0].trial.id == nearest
    assert [one.id for one in longer.trials] == [*range(1, 81), 900, 901, 903]
    with pytest.raises(IndexError):
        first.trials[81]


@pytest.fixture(scope="module")
def a_few_tin_bronzes():
    """1,000 plates on silicon bronze, and four on tin bronze, far from the target and from each other."""
    rng = np.random.default_rng(4)
    many = [trial(TARGET + rng.normal(0, 4, 3), passes=1 + k % 9, id=k + 1) for k in range(1000)]
    far = ([20, 2, 3], [55, -6, 12], [65, 20, 35], [28, 25, 20])
    return [*many, *(trial(lab, passes=2 + k, alloy="tin bronze", id=1001 + k) for k, lab in enumerate(far))]


@pytest.mark.parametrize(
    "limits", [Limits(alloy="tin bronze"), Limits(alloy="tin bronze", max_passes=3), Limits(strengths=(0.5,))]
)
def test_plates_within_the_limits_are_learned_from_in_a_log_of_any_length(a_few_tin_bronzes, limits):
    suggester = Suggester(a_few_tin_bronzes, limits)
    listed = suggester.suggest(TARGET, 6)
    proposed = [*listed, suggester.next_trial(TARGET), *suggester.batch(TARGET, 2)]
    assert all(limits.allow(item.recipe) for item in proposed)
    within = {one.id for one in suggester.trials}
    learned = {one.id for one in suggester.model(TARGET).trials}
    assert within <= learned if len(within) < 10 else len(within & learned) > 100
    assert len(learned) <= 320
    grown = suggester.with_trial(trial(TARGET, alloy="tin bronze", id=2000))
    assert grown.suggest(TARGET, 1, predict=False)[0].trial.id == 2000
    assert 2000 in {one.id for one in grown.model(TARGET).trials}


def test_no_model_is_fitted_for_a_list_of_too_few_plates_to_predict_from(trials):
    few = Suggester(trials[:5])
    assert {item.basis for item in few.suggest(TARGET, 5)} == {"logged"}
    assert not few._predictor._fits
    assert few.next_trial(TARGET).basis == "predicted", "asked for, it is fitted"


def test_plates_of_one_recipe_at_odds_are_pointed_out_among_few(trials):
    apart = Suggester([trial(TARGET, id=1), trial(TARGET + [25, 0, 0], id=2)]).suggest(TARGET, 2)
    assert all("Plates of one recipe differ by ΔE00" in item.because for item in apart)


def test_a_match_is_the_same_wherever_no_tolerance_is_given():
    """ΔE00 2, a close match side by side: common practice, no source."""
    given = (Suggester([]), Target("bust", Reading(TARGET, np.eye(3))), Commission("Gate", "silicon bronze"))
    assert {one.tolerance for one in given} == {values.TOLERANCE} == {2.0}


def test_an_empty_log_says_what_to_do():
    with pytest.raises(MatcherError, match="log a plate first"):
        Suggester([]).suggest(TARGET)


def test_limits_are_named_as_the_reason_only_where_there_are_some(trials):
    with pytest.raises(SuggestionError, match=r"^No plate is logged yet: log a plate first\.$"):
        Suggester([], Limits(max_passes=1)).suggest(TARGET)
    with pytest.raises(
        SuggestionError, match=r"within today's limits \(yellow gold\)\. Any alloy would let 80 in again"
    ):
        Suggester(trials, Limits(alloy="yellow gold")).suggest(TARGET)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"trials": [None]}, "with its recipe and its reading"),
        ({"trials": 5}, "list of logged trials"),
        ({"trials": [Trial(None, 5)]}, "with its recipe and its reading"),
        ({"limits": "one pass"}, "limits"),
        ({"rng": 5}, "numpy.random.Generator"),
    ],
)
def test_what_is_no_trial_limit_or_generator_is_refused_with_a_sentence(trials, wrong, words):
    with pytest.raises(SuggestionError, match=words):
        Suggester(**{"trials": trials, **wrong})
    if wrong.get("trials") == [None]:
        with pytest.raises(SuggestionError, match=words):
            Suggester(trials).with_trial(None)


@pytest.mark.parametrize("tolerance", [0, -1, float("nan"), "2", True, None])
def test_a_tolerance_that_is_none_is_refused(trials, tolerance):
    with pytest.raises(SuggestionError, match="tolerance"):
        Suggester(trials, tolerance=tolerance)
