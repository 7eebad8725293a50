"""The index must give the same list as comparing with every plate, always."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.colour.difference import delta_e_2000, near_uniform
from matcher.suggest.nearest import TAIL_LIMIT, PlateIndex, least_difference
from tests.example_counts import examples

labs = st.tuples(st.floats(0, 100), st.floats(-90, 90), st.floats(-90, 90))


def brute_force(target, plates, count):
    delta = delta_e_2000(target, plates)
    rows = np.argsort(delta, kind="stable")[:count]
    return rows, delta[rows]


@pytest.fixture(scope="module")
def patinas():
    """100,000 invented plates, spread as a studio's are; and their index."""
    rng = np.random.default_rng(5)
    plates = np.stack([rng.uniform(12, 75, 100_000), rng.normal(10, 12, 100_000), rng.normal(16, 14, 100_000)], 1)
    return plates, PlateIndex.build(plates)


@examples(150)
@given(target=labs, count=st.integers(1, 40))
def test_the_list_equals_brute_force_for_any_target(patinas, target, count):
    plates, index = patinas
    rows, delta = index.nearest(target, count)
    expected_rows, expected = brute_force(target, plates, count)
    assert delta.tolist() == expected.tolist()
    assert rows.tolist() == expected_rows.tolist()


@examples(30)
@given(target=labs, seed=st.integers(0, 1000))
def test_the_list_equals_brute_force_among_near_duplicates_and_ties(target, seed):
    """Plates crowd round a few colours, many of them exactly alike: ties come in the order of logging."""
    rng = np.random.default_rng(seed)
    homes = rng.uniform([10, -60, -60], [90, 60, 60], (20, 3))
    plates = homes[rng.integers(20, size=6000)] + rng.choice([0.0, 1e-9, 1e-3, 0.1], (6000, 1)) * rng.normal(
        size=(6000, 3)
    )
    for goal in (target, homes[0]):
        rows, delta = PlateIndex.build(plates).nearest(goal, 25)
        expected_rows, expected = brute_force(goal, plates, 25)
        assert np.allclose(delta, expected, rtol=0, atol=1e-12)
        assert rows.tolist() == expected_rows.tolist()


@examples(400)
@given(target=labs, seed=st.integers(0, 10_000), size=st.sampled_from([0.0, 0.1, 2.0, 15.0, 60.0]))
def test_no_colour_in_a_box_is_nearer_than_the_box_is_said_to_be(target, seed, size):
    rng = np.random.default_rng(seed)
    middles = rng.uniform([0, -90, -90], [100, 90, 90], (30, 3))
    middles[:10] = np.add(target, rng.normal(0, 8, (10, 3)))
    half = size * rng.uniform(0, 1, (30, 3))
    inside = middles[:, None] + half[:, None] * np.concatenate(
        [rng.uniform(-1, 1, (30, 60, 3)), np.sign(rng.normal(size=(30, 20, 3)))], axis=1
    )
    delta = delta_e_2000(target, inside).min(axis=1)
    assert (least_difference(target, middles - half, middles + half) <= delta).all()


@pytest.mark.parametrize("target", [(90, 0, 0), (0, 0, 0), (60, -50, 40), (50, 60, 60), (95, 5, 95), (50, 0, -60)])
def test_a_far_target_is_compared_with_few_plates(patinas, target):
    """A target far from every patina makes the index open at most a tenth of its blocks."""
    _, index = patinas
    best = index.nearest(target, 5)[1][-1]
    assert np.mean(least_difference(target, index.low, index.high) <= best) < 0.1


def test_distance_in_the_near_uniform_space_follows_ciede2000():
    """Among 5,000 invented pairs of brown patinas within ΔE00 10, the two correlate at least 0.95."""
    rng = np.random.default_rng(6)
    first = rng.uniform([20, 0, 5], [65, 22, 38], (5000, 3))
    second = first + rng.normal(0, 4, (5000, 3))
    delta = delta_e_2000(first, second)
    close = delta < 10
    distance = np.linalg.norm(near_uniform(first) - near_uniform(second), axis=1)
    assert np.corrcoef(delta[close], distance[close])[0, 1] > 0.95


def test_plates_added_later_are_found_and_the_blocks_that_stand_are_kept(patinas):
    plates, index = patinas
    target = np.array([41.0, 11.0, 19.0])
    grown = index.with_plates([target + [0.01, 0, 0]])
    assert grown.low is index.low
    assert grown.nearest(target, 1)[0].tolist() == [len(plates)]
    assert index.nearest(target, 1)[0].tolist() != [len(plates)]
    much_grown = index.with_plates(np.repeat(target[None], TAIL_LIMIT + 1, axis=0))
    assert np.array_equal(much_grown.low[: len(index.low)], index.low)
    assert len(much_grown.low) > len(index.low)


@pytest.mark.parametrize("plates", [0, 1, 3])
def test_few_plates_give_a_short_list(plates):
    index = PlateIndex.build(np.full((plates, 3), 40.0))
    assert len(index.nearest([40, 0, 0], 5)[0]) == plates
