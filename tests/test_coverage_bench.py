"""What is said at the bench of a piece is what its readings make likely: against draws of pieces, or in closed form.

Paths, pieces and readings invented.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import stats

from matcher.bench.path import BenchPath, _risk_of_next, _where_to_go_on, _where_to_stop
from matcher.bench.piece import PredictedPath, corrected
from matcher.colour.difference import delta_e_2000
from matcher.reading.reading import Reading

LABS = np.array([[60.0, 8, 20], [52.0, 11, 24], [46.0, 13, 25], [42.0, 14, 25]])
PLATE = np.diag([0.6, 0.4, 0.4]) ** 2


def predicted(own: float = 0.5) -> PredictedPath:
    """A path whose every colour is as unsure as ``own``, near ones together."""
    near = np.exp(-np.abs(np.subtract.outer(np.arange(4), np.arange(4))) / 3)
    return PredictedPath(LABS, own**2 * np.kron(near, np.eye(3)))


def test_an_unread_piece_departs_as_plates_do_and_keeps_its_departure():
    labs, covariance, unlike = corrected(predicted(), PLATE, {})
    assert labs == pytest.approx(LABS) and not unlike
    assert covariance == pytest.approx(predicted().covariance + np.kron(np.ones((4, 4)), PLATE))


@pytest.mark.parametrize("miss", [(-1.0, 0.3, 0.2), (-5.0, 2.0, 1.0)])
def test_a_reading_corrects_the_path_as_pieces_like_it_would_go(miss):
    """Pieces drawn from all sizes of departure, each weighed by how well it fits the reading after two passes.

    Guesses: departures of 1 to 256 times a plate's variance and uptakes off by 0 to 0.8 in the logarithm of the dose,
    both rare by a normal law of 1.4 and 0.25.
    """
    rng, draws = np.random.default_rng(5), 400_000
    path, noise = predicted(), 0.8
    reading = Reading(LABS[2] + miss, noise**2 * np.eye(3))
    pairs = np.array([(factor, uptake) for factor in (1, 4, 16, 64, 256) for uptake in (0, 0.1, 0.2, 0.4, 0.8)])
    prior = np.exp(-0.5 * (np.square(np.log(pairs[:, 0]) / 1.4) + np.square(pairs[:, 1] / 0.25)))
    factor, uptake = pairs[rng.choice(len(pairs), draws, p=prior / prior.sum())].T
    along = (np.gradient(LABS, axis=0) * np.arange(4)[:, None]).ravel()
    pieces = rng.standard_normal((draws, 12)) @ np.linalg.cholesky(path.covariance).T
    shared = rng.standard_normal((draws, 3)) * np.sqrt(np.diag(PLATE))
    pieces += np.tile(np.sqrt(factor)[:, None] * shared, 4) + (uptake * rng.standard_normal(draws))[:, None] * along
    weight = np.exp(-0.5 * np.square((pieces[:, 6:9] - miss) / noise).sum(axis=1))
    mean = weight @ pieces / weight.sum()
    spread = np.sqrt(weight @ np.square(pieces - mean) / weight.sum())
    labs, covariance, _ = corrected(path, PLATE, {2: reading})
    assert labs.ravel() - LABS.ravel() == pytest.approx(mean, abs=0.12)
    assert np.sqrt(np.diag(covariance)) == pytest.approx(spread, rel=0.08)


@pytest.mark.parametrize(("share", "said"), [(0.98, False), (1.02, True)])
def test_a_piece_is_unlike_plates_when_one_in_a_thousand_lies_so_far_off(share, said):
    whole = predicted().covariance[3:6, 3:6] + PLATE + 0.2**2 * np.eye(3)
    limit = share * np.sqrt(stats.chi2.ppf(0.999, 3) * whole[0, 0])
    reading = Reading(LABS[1] + [limit, 0, 0], 0.2**2 * np.eye(3))
    assert corrected(predicted(), PLATE, {1: reading})[2] is said


def test_no_pass_lightens_a_ferric_coat_from_where_it_stands():
    bent = PredictedPath(LABS + [[0, 0, 0], [0, 0, 0], [0, 0, 0], [6, 0, 0]], predicted().covariance)
    assert corrected(bent, PLATE, {}, 1)[0][:, 0].tolist() == [60.0, 52.0, 46.0, 46.0]
    assert corrected(bent, PLATE, {})[0][3, 0] == 48.0


def path_of(**told: Any) -> BenchPath:
    """A path of four counts, one laid and one to come."""
    known: dict[str, Any] = {
        "passes": np.arange(4),
        "labs": LABS,
        "covariances": np.tile(np.eye(3), (4, 1, 1)),
        "expected": np.array([9.0, 4.0, 1.0, 1.4]),
        "interval": np.zeros((4, 2)),
        "done": 1,
        "stop_at": 2,
        "sentence": "",
        "goal": Reading(LABS[2]),
        "risk": 0.1,
        "draws": np.zeros((4, 8)),
        "unlike": False,
    }
    return BenchPath(**(known | told))


def test_a_pass_is_warned_of_when_it_would_overshoot_by_half_or_is_a_gamble():
    assert path_of().warning is None
    over = np.array([9.0, 4.0, 1.0, 1.6])
    assert path_of(expected=over, overshoot=0.96).warning == "The pass after that would overshoot, to ΔE00 1.6."
    assert path_of(expected=over, overshoot=0.8).warning == (
        "The pass after that may overshoot, to ΔE00 1.6: the chance that it takes the piece away from the target is "
        "80 %."
    )
    assert path_of(expected=np.array([9.0, 4.0, 3.0, 3.4])).warning is None
    assert path_of(risk=0.24).warning is None
    assert "chance that it already takes the piece away from the target is 26" in str(path_of(risk=0.26).warning)


def test_a_piece_is_past_the_target_when_it_is_surely_darker_by_one_and_no_pass_helps():
    """Surely: by two standard uncertainties of the difference, here of 1 for the piece and of 0.75 for the goal."""
    for lightness, sigma, past in ((52.9, 0.1, False), (53.1, 0.1, True), (54.4, 1.0, False), (54.6, 1.0, True)):
        goal = Reading([lightness, 11, 24], np.eye(3) * (0.75 * sigma) ** 2)
        path = path_of(stop_at=1, goal=goal, covariances=np.tile(np.eye(3) * sigma**2, (4, 1, 1)))
        assert path.past is past
        assert ("past the target" in str(path.warning)) is past
    assert not path_of(goal=Reading([70.0, 11, 24])).past, "a pass is still to come"


@pytest.mark.parametrize(("apart", "said"), [(2.9, False), (3.1, True)])
def test_what_does_not_cancel_is_said_from_three_on(apart, said):
    assert (path_of(apart=apart).caveat is not None) is said


@pytest.mark.parametrize(
    ("darker", "doubt", "expected", "stop"),
    [
        (3.0, 0.2, [5.0, 4.0], 0),
        (3.0, 0.2, [5.0, 2.4], 1),
        (0.9, 0.2, [5.0, 4.0], 1),
        (3.0, 1.6, [5.0, 4.0], 1),
        (3.0, 1.4, [5.0, 4.0], 0),
        (1.1, 0.2, [5.0, 4.0], 0),
    ],
)
def test_a_piece_that_is_surely_too_dark_takes_no_pass_unless_it_halves_the_difference(darker, doubt, expected, stop):
    """Surely: by more than ΔE00 1 and by two standard deviations."""
    goal, labs = Reading([50.0, 12, 24]), np.array([[50.0 - darker, 12, 24], [49.0 - darker, 13, 25]])
    doubts = np.tile(doubt**2 * np.eye(3), (2, 1, 1))
    assert _where_to_stop(np.array(expected), labs, doubts, goal, 0, True) == stop
    assert _where_to_stop(np.array(expected), labs, doubts, goal, 0, False) == 1, "only a ferric coat never lightens"


@pytest.mark.parametrize("goal", [45.0, 48.0, 49.0, 50.0, 52.0])
def test_the_chance_that_a_pass_takes_the_piece_away_is_that_of_two_colours_that_vary_together(goal):
    """In closed form: on one axis the next colour is the farther one when the middle of the two is past the goal.

    Lightness 50 now and 48 then, both off by the same error of 2. Taken apart they would give chances nearer to a half.
    """
    labs = np.array([[54.0, 0, 0], [50.0, 0, 0], [48.0, 0, 0]])
    own = np.diag([4.0, 1e-8, 1e-8])
    together = np.kron(np.ones((3, 3)), own)
    chance = stats.norm.cdf((goal - 49.0) / 2.0)
    risk = _risk_of_next(labs, together, 1, np.array([goal, 0.0, 0.0]), np.zeros((3, 3)))
    assert risk == pytest.approx(chance, abs=0.03)
    # what is not known of the goal is one error for both colours, too
    wide = _risk_of_next(labs, np.zeros((9, 9)), 1, np.array([goal, 0.0, 0.0]), own)
    assert wide == pytest.approx(chance, abs=0.03)


def test_the_chance_of_the_next_pass_is_that_of_pieces_drawn_together():
    """By simulation, with draws of its own: colours that go their own way in part; invented."""
    rng = np.random.default_rng(11)
    mixing = rng.normal(0, 1.0, (9, 9))
    joint, doubt = mixing @ mixing.T / 4, np.diag([0.5, 0.2, 0.2])
    goal = LABS[2] - [0.4, 0.0, 0.0]
    pieces = LABS[:3].ravel() + rng.multivariate_normal(np.zeros(9), joint, 100_000)
    goals = goal + rng.multivariate_normal(np.zeros(3), doubt, 100_000)
    now, then = delta_e_2000(goals, pieces[:, 3:6]), delta_e_2000(goals, pieces[:, 6:9])
    assert _risk_of_next(LABS[:3], joint, 1, goal, doubt) == pytest.approx(np.mean(then > now), abs=0.04)


@pytest.mark.parametrize(("expected", "done", "stop"), [
    ([9.0, 3.0, 2.4, 2.0, 2.1], 0, 2),  # the plan, 2, is as good within half
    ([9.0, 3.0, 2.6, 2.0, 2.1], 0, 3),
    ([0.0, 3.0, 2.4, 2.0, 2.1], 0, 2),  # no pass at all would be another recipe
    ([9.0, 3.0, 2.4, 2.0, 2.1], 3, 3),
    ([9.0, 3.0, 2.4, 2.0, 1.0], 3, 4),
])  # fmt: skip
def test_a_coat_below_others_keeps_to_the_plan_unless_another_count_ends_clearly_nearer(expected, done, stop):
    assert _where_to_go_on(np.array(expected), done, 2) == stop
