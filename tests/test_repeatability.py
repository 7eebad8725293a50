"""Repeatability: what it claims holds in simulation, and it says what it cannot know."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from matcher.colour.difference import delta_e_2000
from matcher.colour.metric import delta_e_metric
from matcher.errors import Caveat, ReadingError
from matcher.reading.reading import Reading
from matcher.reading.repeatability import repeatability, to_mind_of_each
from tests.example_counts import examples

BROWN = np.array([38.0, 14.0, 22.0])
SCATTERS = {
    "round": np.diag([0.3, 0.3, 0.3]),
    "all in lightness": np.diag([0.8, 0.02, 0.02]),
    "askew": np.array([[0.3, 0.1, 0.0], [0.1, 0.4, 0.3], [0.0, 0.3, 0.6]]),
}


def drawn(root, count, rng):
    return BROWN + rng.normal(size=(count, 3)) @ root.T


def judged(labs):
    return repeatability([Reading(lab=lab) for lab in labs])


@pytest.mark.parametrize("count", [3, 6, 15])
@pytest.mark.parametrize("scatter", SCATTERS)
def test_the_interval_and_the_smallest_difference_hold_as_often_as_claimed(scatter, count):
    """250 invented set-ups: 95 % of intervals hold the true mean distance; 95 % of pairs stay below the smallest."""
    rng, root = np.random.default_rng(17), SCATTERS[scatter]
    true = delta_e_2000(drawn(root, 20_000, rng), BROWN).mean()
    held, below = [], []
    for _ in range(250):
        found = judged(drawn(root, count, rng))
        held.append(found.mean_delta_e00_interval[0] <= true <= found.mean_delta_e00_interval[1])
        below.append(delta_e_2000(drawn(root, 40, rng), drawn(root, 40, rng)) <= found.smallest_delta_e00)
    assert 0.91 <= np.mean(held) <= 0.99
    assert 0.93 <= np.mean(below) <= 0.975


def test_the_covariance_is_the_textbook_one():
    """Four readings worked by hand: deviations ±1 and ±3, n − 1 = 3 (JCGM 100, 4.2.2)."""
    found = judged([BROWN + [d, 0, 0] for d in (-3, -1, 1, 3)])
    assert found.standard_deviation == pytest.approx([np.sqrt(20 / 3), 0, 0])
    assert found.lab == pytest.approx(BROWN)
    assert found.count == 4


def test_a_difference_beyond_the_smallest_is_told_and_half_of_it_is_not():
    rng, root = np.random.default_rng(4), SCATTERS["round"]
    found = judged(drawn(root, 40, rng))
    for share, least, most in ((2.0, 0.9, 1.0), (0.5, 0.0, 0.5)):
        other = BROWN + found.worst_direction * found.smallest_delta_e00 * share
        apart = delta_e_2000(drawn(root, 500, rng), other + drawn(root, 500, rng) - BROWN)
        assert least <= np.mean(apart > found.smallest_delta_e00) <= most


def test_the_worst_direction_is_named():
    rng = np.random.default_rng(6)
    assert judged(drawn(SCATTERS["all in lightness"], 10, rng)).worst_axis == "lightness"
    yellow = judged(drawn(np.diag([0.1, 0.1, 1.5]), 10, rng))
    assert yellow.worst_axis == "yellow to blue"
    assert yellow.best_delta_e00 < 0.4 * yellow.worst_delta_e00
    step = delta_e_2000(BROWN, BROWN + 0.1 * yellow.worst_direction)
    assert step == pytest.approx(0.1, rel=0.03)


def test_few_readings_ask_for_more_and_many_do_not():
    rng, root = np.random.default_rng(7), SCATTERS["round"]
    few, many = judged(drawn(root, 3, rng)), judged(drawn(root, 40, rng))
    assert few.more_readings >= 3 and few.smallest_with_more < few.smallest_delta_e00
    assert many.more_readings == 0 and many.smallest_with_more == many.smallest_delta_e00
    assert "more readings would bring that" in few.words
    assert many.smallest_between_means(4) == pytest.approx(many.smallest_delta_e00 / 2)


def test_a_tolerance_asks_for_as_many_readings_as_their_means_need():
    rng = np.random.default_rng(8)
    found = judged(drawn(SCATTERS["round"], 12, rng))
    assert found.readings_for(1.01 * found.smallest_delta_e00) == 1
    assert "one photograph a plate is enough" in found.for_tolerance(1.01 * found.smallest_delta_e00)
    for each in (2, 4):
        tolerance = found.smallest_between_means(each) * 1.001
        assert found.readings_for(tolerance) == each
        assert f"Take {each} of each plate" in found.for_tolerance(tolerance)
    assert "beyond this set-up" in found.for_tolerance(found.smallest_delta_e00 / 3)
    for bad in (0.0, -1.0, float("nan")):
        with pytest.raises(ReadingError, match="above 0"):
            found.for_tolerance(bad)


def test_what_cannot_show_scatter_is_refused():
    with pytest.raises(ReadingError, match="at least 3"):
        judged([BROWN, BROWN + 1])
    one = Reading(lab=BROWN, photo="a" * 64)
    with pytest.raises(ReadingError, match="afresh"):
        repeatability([one, one, Reading(lab=BROWN + 1)])


def test_identical_and_unlike_readings_are_noticed():
    assert [caveat.code for caveat in judged([BROWN] * 3).caveats] == ["readings-identical"]
    assert judged([BROWN] * 3).smallest_delta_e00 == 0
    unlike = judged([BROWN, BROWN + 0.2, BROWN - 0.2, BROWN + [20, 0, 0]])
    assert "readings-unlike" in [caveat.code for caveat in unlike.caveats]


@examples(60)
@given(
    st.lists(
        st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120)).map(np.array), min_size=3, max_size=8
    )
)
@example([np.zeros(3), np.zeros(3), np.array([0.0, 0.0, 4.5e-145])])  # the square of their spread is nothing
def test_any_readings_give_finite_figures(labs):
    found = judged(labs)
    assert np.isfinite([found.smallest_delta_e00, *found.mean_delta_e00_interval, found.worst_delta_e00]).all()
    assert found.mean_delta_e00_interval[0] <= found.mean_delta_e00_interval[1]
    assert isinstance(found.as_dict()["words"], str)


@pytest.mark.parametrize("lab", [(38, 14, 22), (60, -20, 8), (25, 2, -15), (50, 0.3, 0)])
def test_the_metric_follows_ciede2000_close_by(lab):
    """Source: ISO/CIE 11664-6 as in colour-science; 200 random differences of about ΔE00 0.05."""
    differences = 0.1 * np.random.default_rng(9).normal(size=(200, 3))
    exact = delta_e_2000(np.array(lab), lab + differences)
    quadratic = np.sqrt(np.einsum("ni,ij,nj->n", differences, delta_e_metric(lab), differences))
    assert np.median(np.abs(quadratic / exact - 1)) < 0.03


def test_what_is_amiss_in_one_photograph_is_told_of_that_one_and_what_holds_for_all_is_not():
    glare, camera = Caveat("region-glare", "Glare."), Caveat("profile-none-fits", "No profile.")
    dark = Caveat("card-dark", "The card is dark.")
    readings = [Reading(BROWN, caveats=caveats) for caveats in ((camera,), (camera, glare), (camera, dark))]
    assert to_mind_of_each(readings) == [(1, glare), (2, dark)]
    assert to_mind_of_each([Reading(BROWN, caveats=(glare,))] * 3) == [(0, glare), (1, glare), (2, glare)]
