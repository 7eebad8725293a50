"""What two readings share of their errors cancels in their difference (JCGM 100, 5.2: correlated input quantities)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.colour.uncertainty import BudgetTerm, shared_covariance, square_root, sum_of
from matcher.errors import ReadingError
from matcher.reading.comparison import delta_e_interval, difference_covariance
from matcher.reading.reading import Reading


def reading(lab, *terms):
    return Reading(lab=lab, covariance=sum_of(terms), budget=tuple(terms))


def term(effect, shared=None):
    return BudgetTerm("part", np.asarray(effect, float), "", shared)


effects = st.integers(1, 4).flatmap(
    lambda p: st.lists(st.floats(-5, 5), min_size=3 * p, max_size=3 * p).map(lambda v: np.reshape(v, (3, p)))
)
budgets = st.lists(st.builds(term, effects, st.sampled_from([None, "card", "light", "profile"])), max_size=6)


def test_a_cause_that_two_readings_share_alike_cancels():
    tone, own = term([[2.0], [0.5], [1.0]], "tone curve of a"), term(0.3 * np.eye(3))
    first, second = reading([40, 10, 20], tone, own), reading([42, 11, 20], tone, own)
    assert difference_covariance(first, second) == pytest.approx(2 * 0.09 * np.eye(3))


def test_a_shared_cause_of_opposite_effect_adds_up():
    up, down = term([[1.0], [0], [0]], "light"), term([[-1.0], [0], [0]], "light")
    covariance = difference_covariance(reading([40, 0, 0], up), reading([40, 0, 0], down))
    assert covariance[0, 0] == pytest.approx(4.0)


def test_causes_of_other_names_or_shapes_do_not_cancel():
    one, other, alone = term(np.eye(3), "card of a"), term(np.eye(3), "card of b"), term(np.eye(3))
    for second in (other, alone, term(np.ones((3, 1)), "card of a")):
        assert shared_covariance([one], [second]) == pytest.approx(np.zeros((3, 3)))
    assert shared_covariance([alone], [alone]) == pytest.approx(np.zeros((3, 3)))


def test_two_readings_that_share_their_errors_have_the_narrower_interval():
    tone, own = [[2.0], [0.5], [1.0]], term(0.3 * np.eye(3))
    labs = ([40, 10, 20], [44, 11, 22])
    together = [reading(lab, term(tone, "a"), own) for lab in labs]
    apart = [reading(lab, term(tone, name), own) for lab, name in zip(labs, "ab", strict=True)]
    assert np.ptp(delta_e_interval(*together)) < 0.5 * np.ptp(delta_e_interval(*apart))


def test_sharing_is_what_it_says_by_simulation():
    """5,000 draws of the causes themselves: the covariance of the difference within 8 %."""
    rng = np.random.default_rng(3)
    first = [
        term(rng.normal(size=(3, 2)), "card"),
        term(rng.normal(size=(3, 3)), "light"),
        term(rng.normal(size=(3, 1))),
    ]
    second = [term(rng.normal(size=(3, 2)), "card"), term(rng.normal(size=(3, 1)), "x")]
    card, light = rng.normal(size=(2, 5000)), rng.normal(size=(3, 5000))
    error = first[0].effect @ card + first[1].effect @ light + first[2].effect @ rng.normal(size=(1, 5000))
    error -= second[0].effect @ card + second[1].effect @ rng.normal(size=(1, 5000))
    found = difference_covariance(reading([40, 0, 0], *first), reading([40, 0, 0], *second))
    assert np.abs(found - np.cov(error)).max() < 0.08 * np.trace(found)


@given(budgets, budgets)
def test_the_covariance_of_a_difference_never_goes_negative(first, second):
    one, other = reading([40, 0, 0], *first), reading([41, 0, 0], *second)
    covariance = difference_covariance(one, other)
    assert covariance == pytest.approx(covariance.T)
    assert np.linalg.eigvalsh(covariance).min() >= -1e-9 * max(1.0, np.trace(one.covariance + other.covariance))
    assert difference_covariance(other, one) == pytest.approx(covariance)


@given(budgets)
def test_a_reading_does_not_differ_from_itself_by_what_is_shared(budget):
    if len({item.shared for item in budget if item.shared}) < sum(item.shared is not None for item in budget):
        return  # one reading has each of its causes once
    itself = reading([40, 0, 0], *budget)
    own = 2 * sum_of([item for item in budget if item.shared is None])
    assert difference_covariance(itself, itself) == pytest.approx(own, abs=1e-9)


@given(effects)
def test_a_square_root_squares_back_and_a_term_survives_json(effect):
    covariance = effect @ effect.T
    root = square_root(covariance)
    assert root @ root.T == pytest.approx(covariance, abs=1e-9 * (1 + np.trace(covariance)))
    back = BudgetTerm.from_dict(term(effect, "card").as_dict())
    assert (back.shared, back.effect.tolist()) == ("card", effect.tolist())


@pytest.mark.parametrize("effect", [np.eye(2), [1, 2, 3], [[np.nan]] * 3, "x", np.ones((3, 121))])
def test_an_effect_that_is_none_is_refused(effect):
    with pytest.raises(ReadingError, match="Check the uncertainty"):
        BudgetTerm("part", effect)
