"""Which plates to lay beside a finish, and which make the studio's own chart: what is promised is what comes of it.

Pictures: published sensors and lights of colour-science, invented plates.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matcher import plates_beside
from matcher.calibration.calibrate import calibrate
from matcher.calibration.references.reference import Reference
from matcher.colour.difference import reach_delta_e00
from matcher.plates_beside import WORTH, board_of, spread_out, worth_laying
from matcher.reading.advice import reach_of
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
from tests.benchmarks.known_plates import Log, Phone, scene


@pytest.fixture(scope="module")
def shown():
    rng = np.random.default_rng(12)
    log = Log.drawn(rng)
    return log, scene(Phone.phone(), "FL2", log, 8, 3, rng)


def plates_of(log):
    return list(enumerate(log.readings, 1))


def test_what_is_promised_is_about_what_comes_of_it(shown):
    """Of the very plates that lie beside each finish: the reach that is expected, and that which reading gives."""
    log, picture = shown
    promised, got, before = [], [], []
    for outline, near in zip(picture.outlines, picture.beside, strict=True):
        alone = read_finish(picture.photo, calibrate(picture.photo, picture.card), outline, "finish")
        beside = [Reference(at, log.readings[which]) for which, at in near]
        offered = worth_laying(alone, [(which, log.readings[which]) for which, _ in near])
        chosen = [reference for (which, _), reference in zip(near, beside, strict=True) if which in offered.numbers]
        calibration = calibrate(picture.photo, picture.card, references=chosen)
        promised.append(offered.then_delta_e00)
        got.append(reach_of(read_finish(picture.photo, calibration, outline, "finish")))
        before.append(offered.now_delta_e00)
    assert 0.4 < np.mean(got) / np.mean(promised) < 1.4
    assert np.mean(promised) < 0.6 * np.mean(before)


def test_those_near_the_finish_are_named_and_no_more_than_help(shown):
    log, picture = shown
    alone = read_finish(picture.photo, calibrate(picture.photo, picture.card), picture.outlines[0], "finish")
    offered = worth_laying(alone, plates_of(log), frozenset(range(1, 51)))
    assert 1 <= len(offered.numbers) <= 3 and offered.tagged
    away = np.linalg.norm(np.array([reading.lab for reading in log.readings]) - alone.lab, axis=1)
    assert away[offered.numbers[0] - 1] < np.median(away)
    assert offered.then_delta_e00 <= WORTH * offered.now_delta_e00
    assert offered.words.startswith("lay plate")


def test_plates_with_tags_go_first_and_others_are_tagged_first(shown):
    log, picture = shown
    alone = read_finish(picture.photo, calibrate(picture.photo, picture.card), picture.outlines[0], "finish")
    some = frozenset({5, 9, 30})
    assert set(worth_laying(alone, plates_of(log), some).numbers) <= some
    assert worth_laying(alone, plates_of(log)).words.startswith("tag plate")


def test_nothing_is_offered_where_it_would_not_help(shown):
    log, picture = shown
    alone = read_finish(picture.photo, calibrate(picture.photo, picture.card), picture.outlines[0], "finish")
    unsure = [(1, Reading(alone.lab, 400.0 * np.eye(3)))]
    assert worth_laying(alone, unsure) is None
    assert worth_laying(alone, []) is None
    assert worth_laying(Reading((40, 12, 22)), plates_of(log)) is None
    beside = [Reference(at, log.readings[which], f"plate {which + 1}") for which, at in picture.beside[0]]
    sure = read_finish(
        picture.photo, calibrate(picture.photo, picture.card, references=beside), picture.outlines[0], "finish"
    )
    again = worth_laying(sure, [(which + 1, log.readings[which]) for which, _ in picture.beside[0]])
    assert again is None


def test_a_board_is_chosen_by_what_it_gains_over_the_studios_colours():
    log = Log.drawn(np.random.default_rng(5))
    board = board_of(plates_of(log), 10)
    assert len(set(board.numbers)) == 10
    assert all(later < earlier for earlier, later in zip(board.reaches, board.reaches[1:], strict=False))
    assert board.reaches[8] < 0.25 * board.reaches[0]


def test_a_board_is_better_than_plates_taken_by_chance():
    log = Log.drawn(np.random.default_rng(5))
    colours = np.array([reading.lab for reading in log.readings])

    def mean_reach(rows):
        left = plates_beside._chosen(colours, [log.readings[row] for row in rows], len(rows), "unknown")[1][-1]
        return np.mean([reach_delta_e00(lab, one) for lab, one in zip(colours, left, strict=True)])

    ours = mean_reach([number - 1 for number in board_of(plates_of(log), 6).numbers])
    rng = np.random.default_rng(1)
    assert ours < min(mean_reach(rng.choice(50, 6, replace=False)) for _ in range(10))


def test_few_or_no_plates_make_a_small_board():
    assert board_of([]).numbers == ()
    one = board_of([(7, Reading((40, 12, 22)))])
    assert one.numbers == (7,) and len(one.reaches) == 2


def test_spread_out_colours_are_far_apart():
    labs = np.random.default_rng(2).uniform(0, 50, (400, 3))
    rows = spread_out(labs, 20)
    nearest = [np.sort(np.linalg.norm(labs[rows] - labs[row], axis=1))[1] for row in rows]
    assert min(nearest) > 8 and len(set(rows)) == 20


def test_plates_that_the_same_camera_read_for_the_log_are_not_offered(shown):
    """They would tell nothing of it: one camera errs alike in two photographs under one light."""
    log, picture = shown
    alone = read_finish(picture.photo, calibrate(picture.photo, picture.card), picture.outlines[0], "finish")
    then = [replace(term, shared=term.shared and f"{term.shared}, before") for term in alone.budget]
    by_the_camera = [(n, replace(one, covariance=alone.covariance, budget=tuple(then))) for n, one in plates_of(log)]
    assert worth_laying(alone, by_the_camera) is None
    measured = plates_of(log)[0]
    assert worth_laying(alone, [*by_the_camera[1:], measured]) == worth_laying(alone, [measured])


def test_a_board_of_plates_that_a_phone_alone_has_read_promises_nothing():
    """It errs alike in every photograph; a plate that was measured is chosen first."""
    rng = np.random.default_rng(8)
    log = Log.drawn(rng)
    picture = scene(Phone.phone(), "FL2", log, 12, 3, rng)
    plain = calibrate(picture.photo, picture.card)
    by_phone = [(k, read_finish(picture.photo, plain, at, "finish")) for k, (_, at) in enumerate(picture.eight, 1)]
    board = board_of(by_phone, 8)
    assert board.reaches[-1] > 0.97 * board.reaches[0]
    mixed = board_of([*by_phone, (99, log.readings[0])], 8)
    assert mixed.numbers[0] == 99 and mixed.reaches[1] < 0.9 * mixed.reaches[0]
