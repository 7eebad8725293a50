"""What suggestions are worked out from in a long log: the ranked list must be that of the whole, and nothing unsaid."""

from __future__ import annotations

import numpy as np
import pytest

from matcher.plan.limits import Limits
from matcher.ranking import long_log, part_of_log
from matcher.ranking.part_of_log import PartOfLog
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe
from matcher.studio import Studio
from matcher.suggest.suggester import Suggester
from matcher.suggest.wording import worked_out_from
from matcher.trials.trial import Trial
from tests.test_ranking_in_log import invented_labs, invented_trials

RARE = Trial(Recipe("nickel silver", coats=(Coat("stannous chloride", 0.5, 3, 90.0),)), Reading((91.0, -2.0, 3.0)))
GOAL = Reading((40.0, 10.0, 20.0))


@pytest.fixture
def long(studio: Studio, monkeypatch: pytest.MonkeyPatch) -> Studio:
    """300 plates, of which few are taken into a part."""
    for name, value in {"NEAREST": 40, "ENOUGH_WITHIN": 6, "LATEST": 5, "SAMPLE": 10, "OF_EACH": 3}.items():
        monkeypatch.setattr(part_of_log, name, value)
    monkeypatch.setattr(long_log, "READ_WHOLE", 100)
    trials = [RARE, *invented_trials(invented_labs(np.random.default_rng(5), 299))]
    for trial in studio.record_all(trials)[10::17]:
        studio.set_aside(trial.id or 0, "burnt")
    return studio


def test_a_ranked_list_is_that_of_the_whole_log(long):
    part = long.part_of_log(GOAL)
    assert not part.is_whole and part.nearest == 40 and part.of == len(long.trials()) and len(part.trials) < 90
    whole = Suggester(long.trials()).suggest(GOAL, 40, predict=False)
    found = long.suggester(GOAL).suggest(GOAL, 40, predict=False)
    assert [one.trial.id for one in found] == [one.trial.id for one in whole]
    assert [one.delta_e00 for one in found] == [one.delta_e00 for one in whole]
    elsewhere = Reading((75.0, -5.0, 30.0))
    best = Suggester(long.trials()).suggest(elsewhere, 1, predict=False)[0]
    assert long.suggester(elsewhere).suggest(elsewhere, 1, predict=False)[0].trial.id == best.trial.id
    assert long.suggester(GOAL) is long.suggester(GOAL) is not long.suggester(elsewhere)


@pytest.mark.parametrize("limits", [Limits(max_passes=1), Limits(alloy="brass", excluded=frozenset({"iron nitrate"}))])
def test_within_limits_it_is_that_of_the_whole_log_too_as_far_as_is_promised(long, limits):
    part = long.part_of_log(GOAL, limits)
    within = [trial for trial in long.trials() if limits.allow(trial.recipe)]
    assert part.nearest is not None and min(6, len(within)) <= part.nearest
    whole = Suggester(within).suggest(GOAL, part.nearest, predict=False)
    found = long.suggester(GOAL, limits=limits).suggest(GOAL, part.nearest, predict=False)
    assert [one.trial.id for one in found] == [one.trial.id for one in whole]


def test_it_holds_the_latest_some_of_everything_and_plates_of_all_times(long):
    trials, part = long.trials(), long.part_of_log()
    numbers = [trial.id for trial in part.trials]
    assert numbers == sorted(numbers) and part.nearest is None and not part.is_whole
    assert {trial.id for trial in trials[-4:]} <= set(numbers)
    assert {trial.recipe.alloy for trial in part.trials} == {trial.recipe.alloy for trial in trials}
    assert 1 in numbers, "the only plate of its kind"
    apart = np.diff([0, *numbers, 300])
    assert apart.max() <= 2 * 300 // 10
    assert all(trial.set_aside is None for trial in part.trials)


def test_a_change_of_the_log_changes_the_part(long):
    before = long.part_of_log(GOAL)
    assert long.part_of_log(GOAL) is before
    plate = long.record(Trial(RARE.recipe, GOAL))
    after = long.part_of_log(GOAL)
    assert plate.id in [trial.id for trial in after.trials] and after.of == before.of + 1


def test_a_kept_board_has_its_plates_though_they_are_not_in_the_part(long):
    part = {trial.id for trial in long.part_of_log().trials}
    chosen = [trial.id for trial in long.trials() if trial.id not in part][3:60:7]
    long.keep_board(chosen)
    board = long.kept_board()
    assert board is not None and list(board.numbers) == chosen and board.left_out == ()
    assert list(long.board_with(chosen).numbers) == chosen


def test_a_short_log_is_worked_with_whole_and_nothing_is_said(studio):
    assert studio.part_of_log().is_whole and worked_out_from(studio.part_of_log()) == ""
    studio.record_all(invented_trials(invented_labs(np.random.default_rng(1), 12)))
    part = studio.part_of_log(GOAL, Limits(max_passes=2))
    assert part.is_whole and len(part.trials) == 12 and worked_out_from(part) == ""


def test_it_is_said_from_which_plates():
    part = PartOfLog(tuple(Trial(RARE.recipe, GOAL, id=number) for number in range(1, 2001)), 1_000_000, 1500)
    assert worked_out_from(part).startswith(
        "This log is long: what is here is worked out from 2,000 of its 1,000,000 plates: the 1,500 plates nearest to "
        "the target, the latest,"
    )


def test_the_last_plate_of_a_recipe_is_found_however_it_is_written(long):
    trials = long.trials()
    for trial in (trials[0], trials[7], trials[-1]):
        recipe = trial.recipe
        same = [one.id for one in trials if one.recipe == recipe]
        respelt = Recipe(recipe.alloy.upper(), coats=recipe.coats)
        assert long.made_as(recipe) == long.made_as(respelt) == same[-1]
    assert long.made_as(Recipe("silicon bronze")) is None
    bare = long.record(Trial(Recipe("silicon bronze"), GOAL))
    assert long.made_as(Recipe("Silicon Bronze")) == bare.id
    long.set_aside(bare.id or 0, "scratched")
    assert long.made_as(Recipe("silicon bronze")) is None


@pytest.mark.parametrize("place", ["folder"], indirect=True)
def test_the_command_line_says_so(long, told, run):
    asked = ("suggest", "--lab", "40,10,20", "--studio", long.name)
    assert told(*asked)["worked_out_from"] == long.part_of_log(GOAL, Limits()).as_dict()
    assert "This log is long: what is here is worked out from" in run(*asked)[1]
