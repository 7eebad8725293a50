"""Whether plates change, told from sightings: false alarms and power by simulation, both sides; everything invented."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import cache
from typing import Any

import numpy as np
import pytest

from matcher.calibration.references.reference import cause_of_own, own_root
from matcher.colour.difference import delta_e_2000
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import CHI2_95, NORMAL_95, BudgetTerm, slimmed, squared_distance, sum_of
from matcher.reading.comparison import common_covariance, difference_covariance, joint_covariance
from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.tags.ageing.known import known_colour
from matcher.tags.ageing.mean import mean_of
from matcher.tags.ageing.told import Ageing, ageing
from matcher.tags.sightings import KeptSighting
from matcher.tags.wording import ageing_in_words
from matcher.trials.trial import StageReading
from tests.example_counts import draws
from tests.plates import MADE_AT, a_trial

TRUTH = np.array([38.0, 14.0, 22.0])
CORNERS = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]])
OWN_SIGMA = 1.5 / NORMAL_95
"""Of a reading of ± 1.5 in L*, a*, b*."""
PROFILE_SIGMA = 1.0
YEAR = 365.0


@cache
def a_change(delta_e00: float) -> Floats:
    """Return a step from TRUTH, darker and a little warmer, of so much ΔE00."""
    way = np.array([-1.0, 0.5, 0.5])
    size = delta_e00
    for _ in range(30):
        size *= delta_e00 / float(delta_e_2000(TRUTH, TRUTH + size * way))
    return size * way


def a_life(
    rng: np.random.Generator, days: Floats, at: Callable[[float], Floats], own: float = OWN_SIGMA
) -> tuple[Reading, list[KeptSighting]]:
    """Return a plate's logged reading and its sightings, all by one camera profile whose error they share."""
    of_profile = rng.normal(0, PROFILE_SIGMA, 3)

    def read(lab: Floats) -> Reading:
        budget = (
            BudgetTerm("region", own * np.eye(3)),
            BudgetTerm("profile", PROFILE_SIGMA * np.eye(3), shared="shop tubes"),
        )
        covariance = (own**2 + PROFILE_SIGMA**2) * np.eye(3)
        return Reading(lab + of_profile + rng.normal(0, own, 3), covariance, "photograph", budget=budget)

    logged = read(TRUTH)
    seen = [a_sighting(float(day), read(TRUTH + at(float(day)))) for day in days]
    return logged, seen


def a_sighting(day: float, reading: Reading | None, **changed: Any) -> KeptSighting:
    return KeptSighting("K7QX2-88", CORNERS, 1, MADE_AT + timedelta(days=day), reading=reading, uid=f"{day}", **changed)


def steady(_: float) -> Floats:
    return np.zeros(3)


def slowly(day: float) -> Floats:
    return a_change(3.0) * day / YEAR


def test_of_steady_plates_seen_twenty_times_hardly_any_is_ever_said_to_change() -> None:
    """At most 5 % at any of 20 looks, by Ville's inequality. That it can speak the tests of its power show."""
    rng = np.random.default_rng(11)
    lives = draws(80, 40)
    alarms, distances, wide = 0, [], 0
    for _ in range(lives):
        logged, seen = a_life(rng, np.sort(rng.uniform(1, 700, 20)), steady)
        looks = [ageing(logged, MADE_AT, seen[:count]) for count in range(1, 21)]
        alarms += any(look.changed for look in looks)
        wide += looks[-1].interval[0] > 0
        best = known_colour(logged, MADE_AT, seen)
        distances.append(float(squared_distance(best.lab - TRUTH, best.covariance)))
    # measured over 400 lives: some 1 %
    assert alarms / lives <= 0.05
    assert wide / lives <= 0.1
    held = np.mean(np.array(distances) <= CHI2_95)
    assert held >= 0.88  # 95 % regions of the combined colour
    assert 2.2 < np.mean(distances) < 4.0  # from both sides: chi-squared with 3 degrees of freedom has the mean 3


def test_evidence_of_steady_plates_stays_one_on_the_mean() -> None:
    """What Ville's inequality stands on. Its tail is too long for a plain mean, so differences are drawn half as they
    are and half from a wide normal distribution, and weighed by what that did (importance sampling)."""
    rng = np.random.default_rng(5)
    sigma, wide = np.sqrt(2) * OWN_SIGMA, 7.0
    logged, found = Reading(TRUTH, OWN_SIGMA**2 * np.eye(3)), []
    for number in range(draws(1000, 600)):
        apart = rng.normal(0, wide if number % 2 else sigma, 3)
        told = ageing(logged, MADE_AT, [a_sighting(30.0, Reading(TRUTH + apart, OWN_SIGMA**2 * np.eye(3)))])
        likely, drawn = (np.exp(-apart @ apart / (2 * each**2)) / each**3 for each in (sigma, wide))
        found.append(told.evidence * likely / (0.5 * likely + 0.5 * drawn))
    assert np.mean(found) == pytest.approx(1.0, abs=0.08)


@pytest.mark.parametrize(("count", "power"), [(6, 0.6), (12, 0.9)])
def test_a_change_of_3_in_a_year_is_found_in_most_cases_and_its_interval_holds_it(count: int, power: float) -> None:
    """Measured over 150 lives: 23 % with 2 sightings in the year, 63 % with 4, 75 % with 6, 97 % with 12."""
    rng = np.random.default_rng(12)
    lives = draws(200, 80)
    found, held, now, then = 0, 0, 0, 0
    for _ in range(lives):
        logged, seen = a_life(rng, np.linspace(YEAR / count, YEAR, count), slowly)
        told = ageing(logged, MADE_AT, seen)
        found += told.changed
        held += told.interval[0] <= 3.0 <= told.interval[1]
        off = told.now.lab - (TRUTH + a_change(3.0))
        now += float(squared_distance(off, told.now.covariance)) <= CHI2_95
        then += float(squared_distance(told.then.lab - TRUTH, told.then.covariance)) <= CHI2_95
    assert found / lives >= power
    assert 0.86 <= then / lives <= 0.995
    assert 0.86 <= held / lives <= 0.995
    assert 0.86 <= now / lives <= 0.995


def test_a_change_at_once_is_found_and_dated() -> None:
    rng = np.random.default_rng(13)
    days = np.arange(30.0, 391.0, 30.0)
    for _ in range(10):
        logged, seen = a_life(rng, days, lambda day: a_change(6.0) * (day > 200))
        told = ageing(logged, MADE_AT, seen)
        assert told.changed and told.since is not None and told.since_between is not None
        early, late = ((moment - MADE_AT).days for moment in told.since_between)
        assert early <= 215 and late >= 150 and 90 < (told.since - MADE_AT).days < 260


def test_what_all_readings_share_is_not_averaged_away_and_what_is_their_own_is() -> None:
    rng = np.random.default_rng(14)
    logged, seen = a_life(rng, np.arange(1.0, 61.0), steady)
    best = known_colour(logged, MADE_AT, seen)
    variance = np.diag(best.covariance)
    expected = PROFILE_SIGMA**2 + OWN_SIGMA**2 / 61
    assert variance == pytest.approx(np.full(3, expected), rel=1e-6)
    # another plate by the same profile: only their own parts are left in the difference
    other, _ = a_life(rng, np.zeros(0), steady)
    apart = np.diag(difference_covariance(best, other))
    assert apart == pytest.approx(np.full(3, OWN_SIGMA**2 * (1 + 1 / 61)), rel=1e-6)


def test_a_mean_shares_with_what_was_read_by_its_first_reading_as_a_reference() -> None:
    logged = Reading(TRUTH, np.eye(3))
    mean = mean_of([logged, Reading(TRUTH, np.eye(3))])
    by_it = BudgetTerm(Source.REFERENCES, np.eye(3), shared=cause_of_own(logged))
    beside = Reading(TRUTH, 2 * np.eye(3), budget=(by_it, BudgetTerm("region", np.eye(3))))
    # half of the mean's error is the logged reading's, which the other took over whole
    assert common_covariance(mean, beside) == pytest.approx(0.5 * np.eye(3), abs=1e-6)
    assert common_covariance(mean, logged) == pytest.approx(0.5 * np.eye(3), abs=1e-6)
    assert mean.covariance == pytest.approx(0.5 * np.eye(3), abs=1e-6)


def test_the_mean_is_that_of_generalised_least_squares() -> None:
    """Two independent readings: the mean by their inverse variances, (y1/s1² + y2/s2²) / (1/s1² + 1/s2²)."""
    one = Reading((40.0, 10.0, 20.0), np.diag([1.0, 4.0, 1.0]))
    two = Reading((44.0, 12.0, 20.0), np.diag([3.0, 4.0, 9.0]))
    mean = mean_of([one, two])
    assert mean.lab == pytest.approx([41.0, 11.0, 20.0], rel=1e-6)
    assert np.diag(mean.covariance) == pytest.approx([0.75, 2.0, 0.9], rel=1e-6)
    assert mean_of([one]).lab == pytest.approx(one.lab)


def test_a_budget_at_odds_with_itself_still_has_a_joint_covariance() -> None:
    cause = BudgetTerm("profile", 2 * np.eye(3), shared="p")
    odd = [Reading(TRUTH, np.eye(3) * size, budget=(cause,)) for size in (0.5, 0.5, 0.1)]
    assert np.linalg.eigvalsh(joint_covariance(odd)).min() > 0


def test_nothing_is_said_of_a_plate_that_was_not_seen_or_not_read() -> None:
    logged = Reading(TRUTH)
    told = ageing(logged, MADE_AT, [a_sighting(5, None), a_sighting(-40, Reading((90.0, 0, 0)))])
    assert (told.seen, told.changed, told.since) == (0, False, None)
    assert known_colour(logged, MADE_AT, []) is logged
    assert "No photograph has read its colour" in ageing_in_words(told)


def test_one_photograph_alone_makes_no_change_and_is_named() -> None:
    rng = np.random.default_rng(15)
    logged, seen = a_life(rng, np.arange(30.0, 331.0, 30.0), lambda day: a_change(9.0) * (day == 180))
    told = ageing(logged, MADE_AT, [one for one in seen if one.seen_at <= MADE_AT + timedelta(days=180)])
    assert not told.changed and told.since is None and told.odd_on == MADE_AT + timedelta(days=180)
    said = ageing_in_words(told)
    assert said.startswith("The photograph of 27 September 2025 alone, of 6 sightings, shows another colour")
    best = known_colour(logged, MADE_AT, seen)  # the others outvote it, and it is passed over
    assert np.diag(best.covariance) == pytest.approx(np.full(3, PROFILE_SIGMA**2 + OWN_SIGMA**2 / 11), rel=1e-6)
    only = ageing(logged, MADE_AT, [a_sighting(30.0, Reading(TRUTH + a_change(20.0)))])
    assert not only.changed and only.odd_on is not None


def test_of_steady_plates_with_blunders_among_their_sightings_hardly_more_are_said_to_change() -> None:
    """One sighting in twenty is off by ± 12 in L*, a*, b*. Over 210 lives some 5 % are ever said to change in 20 looks,
    31 % were before sightings that both sides contradict were left out."""
    rng = np.random.default_rng(12)
    lives, alarms = draws(60, 30), 0
    for _ in range(lives):
        logged, seen = a_life(rng, np.sort(rng.uniform(1, 700, 20)), steady)
        seen = [a_blunder(one, rng) if rng.uniform() < 0.05 else one for one in seen]
        alarms += any(ageing(logged, MADE_AT, seen[:count]).changed for count in range(4, 21))
    assert alarms / lives <= 0.15


def a_blunder(one: KeptSighting, rng: np.random.Generator) -> KeptSighting:
    assert one.reading is not None
    return replace(one, reading=replace(one.reading, lab=one.reading.lab + rng.normal(0, 12, 3)))


def test_two_blunders_alike_are_outvoted_and_a_step_or_a_slow_change_is_no_blunder() -> None:
    def seen(*lightness: float) -> Ageing:
        own = 0.5**2 * np.eye(3)
        return ageing(
            Reading(TRUTH, own),
            MADE_AT,
            [a_sighting(30.0 * n, Reading(TRUTH - [down, 0, 0], own)) for n, down in enumerate(lightness, 1)],
        )

    steady_with_two = seen(0, 0.3, 9, 0, 0.4, 9, 0, -0.3, 0.2)
    assert not steady_with_two.changed and steady_with_two.seen == 7 and steady_with_two.contradicted == 2
    assert "7 sightings, 2 more left out that those before and after contradict" in ageing_in_words(steady_with_two)
    assert seen(0, 0.3, 0, 9, 9.2, 8.8, 9.1).changed, "a step that lasts is a change"
    slow = seen(2, 4, 6, 8, 10, 12)
    assert slow.changed and slow.seen == 6, "whatever lies between its neighbours counts"


def test_a_replaced_sighting_does_not_count() -> None:
    off = a_sighting(5, Reading((90.0, 0, 0)), replaced_at=MADE_AT)
    assert ageing(Reading(TRUTH), MADE_AT, [off]).seen == 0


def test_words_say_how_it_changed_and_since_when_and_only_as_surely_as_the_interval() -> None:
    def told(step: Floats, count: int) -> Ageing:
        seen = [a_sighting(30.0 * n, Reading(TRUTH + step * n / count)) for n in range(1, count + 1)]
        return ageing(Reading(TRUTH), MADE_AT, seen)

    changed = ageing_in_words(told(a_change(6.0), 8))
    assert "darker" in changed and "since it was logged" in changed and "95 %" in changed
    same = ageing_in_words(told(np.zeros(3), 8))
    assert same.startswith("No change that is more than chance in 8 sightings: by now it lies within ΔE00 ")


def test_the_studio_judges_a_plate_from_the_stage_that_was_to_stay(studio: Studio) -> None:
    plate = studio.record(a_trial(reading=Reading(TRUTH), made_at=MADE_AT), tag="K7QX2-88").id or 0
    far = Reading(TRUTH + a_change(8.0))
    studio.keep_sightings([a_sighting(30.0 * n, far) for n in range(1, 5)])
    told = studio.ageing(plate)
    assert told.changed and told.seen == 4
    assert studio.known_colour(plate).lab == pytest.approx(TRUTH)  # it is no longer what was logged
    studio.add_stage(plate, StageReading("waxed", far))
    assert studio.ageing(plate).seen == 0  # those were before it was waxed, as far as the log knows


def a_shelf(rng: np.random.Generator, plates: int, photographs: int) -> list[tuple[Floats, Reading, int]]:
    """Return truth, known colour and longest stored reading of plates that are read by each other again and again.

    Every photograph has an error of its own, common to all in it, which the others' known colours take out; linear, so
    that what each reading takes over of the others' errors is known exactly. Logged readings: sigma 1, on their own.
    """
    truth = rng.normal([35, 12, 20], [6, 3, 4], (plates, 3))
    own = BudgetTerm("region", np.eye(3))
    logged = [Reading(lab + rng.normal(0, 1, 3), np.eye(3), budget=(own,), region=_place(0, lab)) for lab in truth]
    seen: list[list[KeptSighting]] = [[] for _ in range(plates)]
    longest = 0
    for number in range(1, photographs + 1):
        known = [known_colour(first, MADE_AT, so_far) for first, so_far in zip(logged, seen, strict=True)]
        shown = truth + rng.normal(0, 3.0, 3) + rng.normal(0, 0.4, (plates, 3))
        for plate in range(plates):
            others = [other for other in range(plates) if other != plate]
            share = 1 / len(others)
            causes: dict[str, Floats] = {}
            for other in others:
                for term in known[other].budget:
                    if term.shared is not None:
                        causes[term.shared] = causes.get(term.shared, np.zeros((3, 3))) + share * term.effect
                causes[cause_of_own(known[other])] = share * own_root(known[other])
            taken_over = [BudgetTerm(Source.REFERENCES, effect, shared=cause) for cause, effect in causes.items()]
            seen_here = BudgetTerm(Source.REFERENCES, 0.4 * np.sqrt(share) * np.eye(3))
            budget = slimmed((BudgetTerm("region", 0.4 * np.eye(3)), seen_here, *taken_over))
            lab = shown[plate] - share * sum(shown[other] - known[other].lab for other in others)
            read = Reading(lab, sum_of(budget), budget=budget, region=_place(number, truth[plate]))
            longest = max(longest, len(json.dumps(read.as_dict())))
            seen[plate].append(a_sighting(float(number), read))
    best = [known_colour(first, MADE_AT, so_far) for first, so_far in zip(logged, seen, strict=True)]
    return [(lab, one, longest) for lab, one in zip(truth, best, strict=True)]


def _place(number: int, lab: Floats) -> Floats:
    return np.array([[number, lab[0]], [1.0, 0.0], [1.0, 1.0]])


def test_plates_that_are_read_by_each_other_for_ever_do_not_talk_each_other_into_certainty() -> None:
    """Of n plates the shelf knows at best the mean of n logged errors: sigma 1 / root n, however often it is seen."""
    rng = np.random.default_rng(16)
    found = [one for _ in range(draws(16, 8)) for one in a_shelf(rng, 4, 8)]
    distances = [float(squared_distance(best.lab - lab, best.covariance)) for lab, best, _ in found]
    assert 2.0 < np.mean(distances) < 4.2  # chi-squared with 3 degrees of freedom; four plates of a shelf go together
    sigma = float(np.mean([np.sqrt(np.trace(best.covariance) / 3) for _, best, _ in found]))
    assert 0.49 < sigma < 0.58
    assert max(longest for _, _, longest in found) < 12_000  # characters: what is stored does not grow with each look


def test_a_slimmed_budget_keeps_the_sum_and_the_causes_that_matter_most() -> None:
    terms = [BudgetTerm("profile", (n + 1) * np.eye(3), shared=f"cause {n}") for n in range(40)]
    slim = slimmed(terms)
    assert sum_of(slim) == pytest.approx(sum_of(terms))
    assert {term.shared for term in slim} == {None, *(f"cause {n}" for n in range(16, 40))}
    assert slimmed(terms[:5]) == tuple(terms[:5])


def test_photographs_by_a_camera_that_no_chart_has_shown_do_not_average_its_error_away() -> None:
    """It may be one camera in one light, which errs alike each time; what is a photograph's own is averaged away."""

    def read(number: int, sigma: float = 4.0) -> Reading:
        camera = BudgetTerm(
            Source.CAMERA_AND_LIGHT,
            sigma * np.eye(3),
            shared=f"camera and light of photo {number}",
            unknown_camera=True,
        )
        return Reading(TRUTH, sigma**2 * np.eye(3) + np.eye(3), budget=(camera, BudgetTerm("region", np.eye(3))))

    by_one = mean_of([read(number) for number in range(20)])
    assert np.diag(by_one.covariance) == pytest.approx(16 + 1 / 20, rel=1e-6)
    assert by_one.covariance == pytest.approx(sum_of(by_one.budget))
    again = mean_of([by_one, mean_of([read(number) for number in range(30, 40)])])
    assert np.diag(again.covariance).min() > 16
    sightings = [a_sighting(float(day), read(day + 1, 6.0)) for day in range(1, 9)]
    assert known_colour(read(0), MADE_AT, sightings).covariance[0, 0] <= 17.0
