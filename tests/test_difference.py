"""CIEDE2000 against its published pairs; intervals and words against what they claim."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.colour.difference import alike, chance_of, delta_e_2000, interval_of
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, sum_of
from matcher.colour.wording import difference_in_words
from matcher.reading.comparison import chance_within, delta_e_interval, draws_to_target
from matcher.reading.reading import Reading
from tests.example_counts import examples

# Source: Sharma, Wu and Dalal 2005, Color Research and Application 30(1), table 1: two CIELAB and their ΔE00.
SHARMA = """
50.0000 2.6772 -79.7751 50.0000 0.0000 -82.7485 2.0425
50.0000 3.1571 -77.2803 50.0000 0.0000 -82.7485 2.8615
50.0000 2.8361 -74.0200 50.0000 0.0000 -82.7485 3.4412
50.0000 -1.3802 -84.2814 50.0000 0.0000 -82.7485 1.0000
50.0000 -1.1848 -84.8006 50.0000 0.0000 -82.7485 1.0000
50.0000 -0.9009 -85.5211 50.0000 0.0000 -82.7485 1.0000
50.0000 0.0000 0.0000 50.0000 -1.0000 2.0000 2.3669
50.0000 -1.0000 2.0000 50.0000 0.0000 0.0000 2.3669
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0009 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0010 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0011 7.2195
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0012 7.2195
50.0000 -0.0010 2.4900 50.0000 0.0009 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0010 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0011 -2.4900 4.7461
50.0000 2.5000 0.0000 50.0000 0.0000 -2.5000 4.3065
50.0000 2.5000 0.0000 73.0000 25.0000 -18.0000 27.1492
50.0000 2.5000 0.0000 61.0000 -5.0000 29.0000 22.8977
50.0000 2.5000 0.0000 56.0000 -27.0000 -3.0000 31.9030
50.0000 2.5000 0.0000 58.0000 24.0000 15.0000 19.4535
50.0000 2.5000 0.0000 50.0000 3.1736 0.5854 1.0000
50.0000 2.5000 0.0000 50.0000 3.2972 0.0000 1.0000
50.0000 2.5000 0.0000 50.0000 1.8634 0.5757 1.0000
50.0000 2.5000 0.0000 50.0000 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""
labs = st.tuples(st.floats(5, 95), st.floats(-50, 50), st.floats(-50, 50))


@pytest.mark.parametrize("row", SHARMA.split("\n")[1:-1])
def test_ciede2000_gives_the_published_pairs(row):
    values = [float(value) for value in row.split()]
    assert round(float(delta_e_2000(values[:3], values[3:6])), 4) == values[6]


@given(labs, labs)
def test_ciede2000_is_symmetric_and_zero_only_at_home(first, second):
    assert delta_e_2000(first, second) == pytest.approx(delta_e_2000(second, first), abs=1e-9)
    assert delta_e_2000(first, first) == pytest.approx(0, abs=1e-9)


def reading(lab, sigma):
    return Reading(lab=lab, covariance=np.eye(3) * sigma**2)


def test_an_interval_holds_the_true_difference_as_often_as_it_says():
    """95 % of 400 invented pairs of readings, binomial three-sigma limits 92 to 98 %."""
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(400):
        truth = rng.uniform([20, 0, 5], [65, 20, 35])
        other = truth + rng.normal(0, 4, 3)
        sigmas = rng.uniform(0.2, 1.5, 2)
        seen = [reading(lab + rng.normal(0, s, 3), s) for lab, s in zip((truth, other), sigmas, strict=True)]
        low, high = delta_e_interval(*seen)
        hits += low <= float(delta_e_2000(truth, other)) <= high
    assert 0.92 <= hits / 400 <= 0.99


def test_readings_that_cannot_be_told_apart_have_an_interval_down_to_zero():
    low, high = delta_e_interval(reading([40, 12, 20], 1.0), reading([40.5, 12, 20.5], 1.0))
    assert low == 0.0
    assert high > 2
    assert alike([40, 12, 20], [40.5, 12, 20.5], 2 * np.eye(3))


def test_the_interval_shrinks_with_the_uncertainty():
    wide = delta_e_interval(reading([40, 12, 20], 1.0), reading([46, 12, 20], 1.0))
    tight = delta_e_interval(reading([40, 12, 20], 0.2), reading([46, 12, 20], 0.2))
    assert tight[1] - tight[0] < 0.3 * (wide[1] - wide[0])
    exact = interval_of([40, 12, 20], [46, 12, 20], np.zeros((3, 3)))
    assert exact == pytest.approx([float(delta_e_2000([40, 12, 20], [46, 12, 20]))] * 2, abs=1e-6)


def test_the_chance_within_a_tolerance_grows_with_it():
    pair = reading([40, 12, 20], 0.8), reading([42, 12, 20], 0.8)
    chances = [chance_within(*pair, tolerance) for tolerance in (0.5, 1.5, 3, 10)]
    assert chances == sorted(chances)
    assert chances[-1] == 1.0


def test_plates_that_share_the_targets_error_are_told_apart_better():
    target = reading([40, 12, 20], 2.0)
    near, far = draws_to_target(target, [reading([48.0, 12, 20], 0.1), reading([52.0, 12, 20], 0.1)])
    assert np.std(far - near) < 0.6 * np.hypot(np.std(far), np.std(near))


def test_what_plates_and_target_share_of_their_errors_cancels():
    """Three readings by one camera, wholly wrong together by about 2 in L*: their differences stay sure."""
    shared = BudgetTerm("camera", np.array([[2.0], [0], [0]]), shared="one camera")
    own = BudgetTerm("region", 0.1 * np.eye(3))
    seen = [
        Reading(lab=lab, covariance=sum_of((shared, own)), budget=(shared, own))
        for lab in ([40, 12, 20], [43, 12, 20], [44, 12, 20])
    ]
    draws = draws_to_target(seen[0], seen[1:])
    assert np.std(draws, axis=1).max() < 0.25
    low, high = delta_e_interval(seen[0], seen[1])
    assert high - low < 0.6
    alone = [Reading(lab=item.lab, covariance=item.covariance) for item in seen]
    assert np.std(draws_to_target(alone[0], alone[1:]), axis=1).min() > 1.0


def test_a_long_list_is_drawn_with_the_same_target_throughout():
    target = reading([40, 12, 20], 2.0)
    draws = draws_to_target(target, [reading([50.0, 12, 20], 0.01)] * 60)
    assert np.abs(draws[0] - draws[-1]).max() < 0.2


@pytest.mark.parametrize(
    ("plate", "words"),
    [
        ([36.0, 14, 22], "a little darker than the target"),
        ([38.0, 14, 22.3], "no difference to the eye"),
        ([48.0, 14, 22], "much lighter than the target"),
        ([38.0, 17, 22], "a little redder than the target"),
        ([38.0, 14, 16], "clearly bluer than the target"),
    ],
)
def test_words_name_the_direction_that_the_eye_sees(plate, words):
    assert difference_in_words([38, 14, 22], plate) == words


@examples(50)
@given(labs, labs)
def test_words_turn_round_when_plate_and_target_change_places(target, plate):
    opposite = {"lighter": "darker", "redder": "greener", "yellower": "bluer"}
    opposite |= {value: key for key, value in opposite.items()}
    first, second = difference_in_words(target, plate), difference_in_words(plate, target)
    if "no difference" in first or "no difference" in second:
        return
    named = [word.strip(",") for word in first.split() if word.strip(",") in opposite]
    returned = [word.strip(",") for word in second.split() if word.strip(",") in opposite]
    shared = [word for word in named if opposite[word] in returned]
    assert shared
    assert not any(word in returned for word in named)


AT_ONCE = 1000
BASE = np.array([40.0, 12, 20])


def at_distance(away: float, rng: np.random.Generator) -> Floats:
    """Return colours (n, 3) whose ΔE00 from BASE is ``away``, in directions drawn evenly."""
    directions = rng.normal(size=(AT_ONCE, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    near, far = np.zeros(AT_ONCE), np.full(AT_ONCE, 80.0)
    for _ in range(40):
        middle = (near + far) / 2
        short = delta_e_2000(BASE + middle[:, None] * directions, BASE) < away
        near, far = np.where(short, middle, near), np.where(short, far, middle)
    return BASE + near[:, None] * directions


def held(interval: Floats, truth: float) -> float:
    return float(np.mean((interval[:, 0] <= truth + 1e-6) & (truth <= interval[:, 1] + 1e-6)))


@pytest.mark.parametrize("away", [0.0, 0.25, 0.5, 0.75, 1.0, 2.0, 4.0])
@pytest.mark.parametrize(
    "sigmas", [(1, 1, 1), (5, 11, 16), (3, 0.5, 0.5), (3, 0.01, 0.01)], ids=["even", "a card", "lightness", "a line"]
)
def test_the_interval_between_two_given_finishes_holds_each_true_difference(sigmas, away):
    """At a true ΔE00 of ``away`` times the noise's own, over all directions, by simulation."""
    rng = np.random.default_rng(17)
    covariance = np.diag(np.square(np.array(sigmas) / 2))
    noise = rng.normal(size=(AT_ONCE, 3)) * np.array(sigmas) / 2
    truth = away * float(np.sqrt(np.mean(np.square(delta_e_2000(BASE + noise, BASE)))))
    interval = interval_of(at_distance(truth, rng) + noise, BASE, covariance, given=True)
    assert 0.90 <= held(interval, truth) <= 0.99


@pytest.mark.parametrize(("away", "share"), [(0.0, 0.9), (1.0, 0.93), (4.0, 1.05)])
def test_the_interval_between_two_given_finishes_is_narrower_than_that_of_one_picked_if_they_are_near(away, share):
    noise = np.random.default_rng(19).normal(size=(AT_ONCE // 2, 3))
    seen = BASE + (away, 0, 0) + noise
    given_pair, picked = (np.ptp(interval_of(seen, BASE, np.eye(3), given=how), axis=1) for how in (True, False))
    assert given_pair.mean() <= share * picked.mean()


def test_the_interval_of_one_picked_from_a_list_for_being_near_holds_as_often_as_it_says():
    """The nearest of 2,000 plates about a target: 95 % with every draw counting alike, far fewer if taken as given."""
    rng = np.random.default_rng(18)
    covariance = np.diag([2.0, 2.0, 2.0])
    counted = {True: 0, False: 0}
    for _ in range(AT_ONCE):
        plates = BASE + rng.uniform(-15, 15, size=(2000, 3))
        seen = BASE + rng.normal(size=3) * np.sqrt(2)
        nearest = plates[np.argmin(delta_e_2000(seen, plates))]
        truth = float(delta_e_2000(BASE, nearest))
        for given_pair in counted:
            counted[given_pair] += held(interval_of(seen, nearest, covariance, given=given_pair)[None], truth)
    assert 0.925 <= counted[False] / AT_ONCE <= 0.975
    assert counted[True] / AT_ONCE < 0.9


@pytest.mark.parametrize("given_pair", [True, False])
@given(labs, st.floats(0.1, 8), st.floats(0.2, 4))
def test_an_interval_that_begins_at_nothing_ends_where_the_chance_is_95_percent(given_pair, other, tolerance, sigma):
    covariance = np.eye(3) * sigma**2
    low, high = interval_of(BASE, other, covariance, given=given_pair)
    chance = float(chance_of(tolerance, BASE, other, covariance, given=given_pair))
    if low == 0 and high > float(delta_e_2000(BASE, other)):
        assert (chance >= 0.95) == (high <= tolerance) or chance == pytest.approx(0.95, abs=0.002)
