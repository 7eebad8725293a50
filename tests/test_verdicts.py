"""What is said in words of a match or a difference never contradicts the figures that stand beside it.

The figures are made up: two colours, what is not known of each, a tolerance. Interval and chance are worked out from
them as everywhere else, and each sentence is held against them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.bench.path import BenchPath
from matcher.colour.difference import delta_e_2000, delta_e_draws, interval_of
from matcher.colour.verdict import standing, telling
from matcher.colour.wording import UNSEEN, difference_in_words
from matcher.plan.advice import advise
from matcher.plan.reach import Reach
from matcher.process.learn import fit_process
from matcher.reading.comparison import side_by_side
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe
from matcher.trials.trial import Trial
from tests.example_counts import examples

AWAY = st.tuples(*[st.floats(-8, 8).map(lambda value: round(value, 2))] * 3)
SIGMA = st.floats(0.02, 6.0)
TOLERANCE = st.floats(0.5, 6.0)
TARGET = np.array([38.0, 14.0, 22.0])
PHOTO = "0" * 64
RECIPE = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 4, 105.0),))


def read(lab, sigma):
    return Reading(np.asarray(lab, float), np.eye(3) * sigma**2, photo=PHOTO)


def holds_of_difference(words, interval):
    """The words of a difference claim no more than its interval."""
    low, high = interval
    if UNSEEN in words:
        assert high <= 1.0
    elif not words.startswith(("perhaps ", "no difference that can be told")):
        assert low > 0
    if words.startswith(("clearly ", "much ")):
        assert low >= 1.0


@examples(120)
@given(st.floats(0, 9), st.floats(0, 9), st.floats(0, 1), TOLERANCE)
def test_a_standing_contradicts_neither_interval_nor_chance(one, other, chance, tolerance):
    """Whatever the three figures are, even when they disagree among themselves."""
    interval = min(one, other), max(one, other)
    stands = standing(interval, chance, tolerance)
    assert (interval[1] <= tolerance and chance >= 0.95) or stands != "within"
    assert (interval[0] > tolerance and chance <= 0.05) or stands != "outside"
    assert (interval[0] <= tolerance and chance >= 0.5) or stands != "likely"
    assert telling(interval) == ("unseen" if interval[1] <= 1 else "told" if interval[0] > 0 else "untold")


@examples(60)
@given(AWAY, SIGMA, SIGMA, TOLERANCE)
def test_two_finishes_are_said_to_match_or_differ_only_as_their_figures_do(away, sigma, other, tolerance):
    found = side_by_side(read(TARGET, sigma), read(TARGET + away, other))
    chance, (low, high), said = found.chance_within(tolerance), found.interval, found.verdict(tolerance)
    holds_of_difference(found.words, found.interval)
    assert not said.startswith("They match") or (high <= tolerance and chance >= 0.95)
    assert not said.startswith("They do not") or (low > tolerance and chance <= 0.05)


@pytest.fixture(scope="module")
def model():
    """Of a few invented plates, so that the advice has something to learn from."""
    rng = np.random.default_rng(4)
    plates = [
        Trial(
            replace(RECIPE, coats=(replace(RECIPE.coats[0], passes=passes),)),
            Reading([62.0 - 4 * passes, 8 + passes, 24.0 - passes / 2] + rng.normal(0, 0.5, 3)),
        )
        for passes in range(1, 9)
    ]
    return fit_process(plates)


@examples(30)
@given(AWAY, SIGMA, SIGMA, TOLERANCE)
def test_advice_says_to_stop_only_where_a_match_is_likely(model, away, sigma, other, tolerance):
    target, plate = read(TARGET, sigma), read(TARGET + away, other)
    advice = advise(model, Trial(RECIPE, replace(plate, photo=None)), target, tolerance)
    low, high = advice.interval
    holds_of_difference(advice.difference, advice.interval)
    assert low <= advice.delta_e00 <= high
    assert "Stop here" not in advice.sentence or (advice.chance >= 0.5 and low <= tolerance)
    assert "within the tolerance of" not in advice.sentence or f"({low:.1f} to {high:.1f})" in advice.sentence
    if ": within" in advice.sentence:
        assert high <= tolerance
    if "start again" in advice.sentence:
        assert away[0] < -2 * np.hypot(sigma, other), "a piece is begun again only when it is surely too dark"
    if low <= tolerance < high:
        assert "can't be told" in advice.sentence or "likely within" in advice.sentence


@examples(60)
@given(AWAY, SIGMA, st.floats(0.02, 3.0), TOLERANCE, st.integers(0, 1), st.booleans())
def test_the_bench_says_stop_here_only_where_a_match_is_likely(away, sigma, other, tolerance, more, seen):
    goal, lab = read(TARGET, sigma), TARGET + away
    covariance = np.eye(3) * (sigma**2 + other**2)
    path = BenchPath(
        passes=np.arange(3),
        labs=np.tile(lab, (3, 1)),
        covariances=np.tile(np.eye(3) * other**2, (3, 1, 1)),
        expected=np.tile(delta_e_2000(TARGET, lab), 3),
        interval=np.tile(interval_of(TARGET, lab, covariance), (3, 1)),
        done=1,
        stop_at=1 + more,
        sentence="",
        goal=goal,
        risk=0.0,
        draws=np.tile(delta_e_draws(TARGET, lab, covariance), (3, 1)),
        unlike=False,
        readings_delta_e00={1: 0.0} if seen else {},
        tolerance=tolerance,
    )
    said, chance = path.instruction, path.chance_within(tolerance)
    if said == "Stop here" or said.endswith("then stop"):
        assert chance >= 0.5
    if "past the target" in said:
        assert away[0] < -2 * np.hypot(sigma, other) and away[0] < -1
    if said.startswith("Lay no more"):
        assert (": read it" in said) is not seen


@examples(60)
@given(AWAY, SIGMA, st.floats(0, 1), TOLERANCE)
def test_a_target_is_out_of_reach_only_when_the_whole_interval_of_the_nearest_recipe_is(away, sigma, chance, tolerance):
    lab = TARGET + away
    low, high = interval_of(TARGET, lab, np.eye(3) * sigma**2)
    interval = float(low), float(high)
    words = difference_in_words(TARGET, lab, interval=interval)
    holds_of_difference(words, interval)
    found = Reach(chance, RECIPE, lab, float(delta_e_2000(TARGET, lab)), interval, words, (), tolerance, "…", 24)
    assert found.standing != "out of reach" or (low > tolerance and chance <= 0.05)
    assert found.standing != "within reach" or chance >= 0.5


@pytest.mark.parametrize(
    ("away", "interval", "said"),
    [
        ((0.2, 0, 0), (0.0, 0.9), UNSEEN),
        ((0.2, 0, 0), (0.0, 6.0), "no difference that can be told"),
        ((-3.0, 0, 0), (0.0, 6.0), "perhaps darker than the target"),
        ((-4.0, 0, 0), (0.4, 6.0), "darker than the target"),
        ((-4.0, 0, 0), (1.4, 6.0), "clearly darker than the target"),
        ((-0.7, 0, 0), (0.3, 1.2), "a touch darker than the target"),
    ],
)
def test_a_difference_is_said_as_surely_as_it_is_known(away, interval, said):
    assert difference_in_words(TARGET, TARGET + away, interval=interval) == said
