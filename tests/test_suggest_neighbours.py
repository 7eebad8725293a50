"""The nearest plates must be those of comparing with every plate, always."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.colour.difference import delta_e_2000, near_uniform
from matcher.ranking import nearest as search
from matcher.ranking.nearest import least_difference, nearest
from tests.example_counts import examples

labs = st.tuples(st.floats(0, 100), st.floats(-90, 90), st.floats(-90, 90))
any_labs = st.tuples(st.floats(0, 100), st.floats(-200, 200), st.floats(-200, 200))


def brute_force(target, plates, count):
    delta = delta_e_2000(target, plates)
    rows = np.argsort(delta, kind="stable")[:count]
    return rows, delta[rows]


def same_list(target, plates, count):
    rows, delta = nearest(target, plates, count)
    expected_rows, expected = brute_force(target, plates, count)
    assert delta.tolist() == expected.tolist()
    assert rows.tolist() == expected_rows.tolist()


@pytest.fixture(scope="module")
def patinas():
    """100,000 invented plates, spread as a studio's are."""
    rng = np.random.default_rng(5)
    return np.stack([rng.uniform(12, 75, 100_000), rng.normal(10, 12, 100_000), rng.normal(16, 14, 100_000)], 1)


@examples(100)
@given(target=any_labs, count=st.integers(1, 400))
def test_the_list_equals_brute_force_for_any_target(patinas, target, count):
    same_list(target, patinas, count)


@examples(60)
@given(target=labs, seed=st.integers(0, 1000))
def test_the_list_equals_brute_force_among_near_duplicates_and_ties(target, seed):
    """Plates crowd round a few colours, many of them exactly alike: ties come in the order of logging."""
    rng = np.random.default_rng(seed)
    homes = rng.uniform([10, -60, -60], [90, 60, 60], (20, 3))
    plates = homes[rng.integers(20, size=6000)] + rng.choice([0.0, 1e-9, 1e-3, 0.1], (6000, 1)) * rng.normal(
        size=(6000, 3)
    )
    for goal in (target, homes[0]):
        same_list(goal, plates, 25)


@examples(40)
@given(target=st.tuples(st.integers(0, 100), st.integers(-60, 60), st.integers(-60, 60)), seed=st.integers(0, 1000))
def test_the_list_equals_brute_force_on_a_grid_with_greys_and_opposite_hues(target, seed):
    """Whole numbers: many ties, hues exactly opposite to the target's, colours without chroma."""
    rng = np.random.default_rng(seed)
    plates = rng.integers([0, -60, -60], [101, 61, 61], (5000, 3)).astype(float)
    plates[:600] = [*zip(rng.integers(0, 101, 600), np.zeros(600), np.zeros(600), strict=True)]
    plates[600:900] = np.multiply(target, [1, -1, -1]) + np.outer(rng.integers(-3, 4, 300), [1, 0, 0])
    same_list(np.array(target, float), plates, 30)


@examples(400)
@given(target=any_labs, seed=st.integers(0, 10_000), size=st.sampled_from([0.0, 1e-9, 1e-3, 0.1, 2.0, 15.0, 60.0]))
def test_no_plate_is_nearer_than_it_is_said_to_be_at_least(target, seed, size):
    rng = np.random.default_rng(seed)
    plates = np.clip(np.add(target, size * rng.normal(size=(400, 3))), [0, -200, -200], [100, 200, 200])
    plates[:50, 1:] *= -1
    assert (least_difference(np.asarray(target), plates) <= delta_e_2000(target, plates)).all()


@pytest.mark.parametrize("target", [(40, 10, 20), (25, 30, 5), (60, -20, 10), (45, 5, -15)])
def test_a_surface_colour_is_compared_with_few_plates(patinas, target):
    """The bound is worth its time: by it, fewer than one plate in a hundred may be among the five nearest."""
    target = np.array(target, float)
    best = nearest(target, patinas, 5)[1][-1]
    assert np.mean(least_difference(target, patinas) <= best) < 0.01


def test_distance_in_the_near_uniform_space_follows_ciede2000():
    """Among 5,000 invented pairs of brown patinas within ΔE00 10, the two correlate at least 0.95."""
    rng = np.random.default_rng(6)
    first = rng.uniform([20, 0, 5], [65, 22, 38], (5000, 3))
    second = first + rng.normal(0, 4, (5000, 3))
    delta = delta_e_2000(first, second)
    close = delta < 10
    distance = np.linalg.norm(near_uniform(first) - near_uniform(second), axis=1)
    assert np.corrcoef(delta[close], distance[close])[0, 1] > 0.95


@pytest.mark.parametrize("plates", [0, 1, 3, search.FIRST + search.FIRST_EACH * 5, search.AT_ONCE + 1])
def test_a_list_is_as_long_as_asked_for_or_as_there_are_plates(plates):
    rows, delta = nearest([40, 0, 0], np.full((plates, 3), 40.0), 5)
    assert rows.tolist() == [*range(min(5, plates))] and len(delta) == len(rows)
