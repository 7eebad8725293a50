"""Chemicals on the shelf that no plate has: tried on the next plate where none of the logged ones may do.

All processes, plates and bottles are invented.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matcher.errors import StudioError, SuggestionError
from matcher.plan.inventory import AtHand
from matcher.plan.limits import Limits
from matcher.plan.outlook import outlook_on
from matcher.reading.reading import Reading
from matcher.recipe.cautions import read_book
from matcher.recipe.names import FILE
from matcher.recipe.recipe import Coat, Recipe, Undercoat, chemicals_of
from matcher.studio import Studio
from matcher.suggest.suggester import Suggester
from matcher.trials.stocks import Stock
from matcher.trials.trial import Target, Trial
from tests.app_pages import open_page, plain, said_on
from tests.benchmarks.bench_closed_loop import ByModel, plates_until_met
from tests.benchmarks.invented_processes import CHEMICALS, UNDERCOATS, film, recipe_space
from tests.benchmarks.invented_studios import Studio as InventedStudio
from tests.test_page_suggestions import unfold

GREEN = "cupric nitrate"
SHELF = AtHand((), (GREEN,))


@pytest.fixture(scope="module")
def log() -> tuple[list[Trial], np.ndarray, np.ndarray]:
    """Return sixteen plates without cupric nitrate, a colour that it alone gives, and one that the others give."""
    space, process, rng = recipe_space(), film(601), np.random.default_rng(3)
    without = [recipe for recipe in space if GREEN not in chemicals_of(recipe)]
    trials = [process.trial(without[k], rng) for k in rng.choice(len(without), 16, replace=False)]
    trials = [Trial(trial.recipe, trial.reading, id=k + 1) for k, trial in enumerate(trials)]
    green = next(recipe for recipe in space if chemicals_of(recipe) == (GREEN,) and recipe.coats[0].dose > 5)
    return trials, process.true(green), process.true(without[1234])


def test_what_no_plate_has_is_found_under_any_of_its_names() -> None:
    tried = [Recipe("silicon bronze", Undercoat("liver of sulphur", 0.5, 0.0), (Coat("iron nitrate", 0.5, 4, 100.0),))]
    shelf = AtHand(
        ("potassium polysulphide", "barium sulphide"), ("Ferric Nitrate", "silver nitrate", "Silver-Nitrate")
    )
    left = shelf.untried(tried)
    assert left == AtHand(("barium sulphide",), ("silver nitrate",)) and left.names == (
        "barium sulphide",
        "silver nitrate",
    )
    assert left.within(Limits(excluded=frozenset({"AgNO3"}))) == AtHand(("barium sulphide",), ())
    assert left.within(Limits(stock=frozenset({"AgNO3"}))) == AtHand((), ("silver nitrate",))


def test_what_is_at_hand_is_given_as_such(log: Any) -> None:
    with pytest.raises(SuggestionError, match="at hand as AtHand"):
        Suggester(log[0], at_hand=("cupric nitrate",))


def test_a_chemical_that_no_plate_has_is_tried_where_no_other_may_do(log: Any) -> None:
    trials, green, _ = log
    plate = Suggester(trials, at_hand=SHELF).next_trial(green)
    assert chemicals_of(plate.recipe)[-1] == GREEN and plate.basis == "predicted"
    assert "Cupric nitrate was never logged: what it does is guessed from the other chemicals." in plate.grounds
    low, high = plate.delta_e00_interval
    assert high - low > 10, "nobody knows yet what it gives"
    assert GREEN not in chemicals_of(Suggester(trials).next_trial(green).recipe)
    left_out = Limits(excluded=frozenset({GREEN}))
    assert GREEN not in chemicals_of(Suggester(trials, left_out, at_hand=SHELF).next_trial(green).recipe)


def test_a_chemical_that_one_plate_alone_has_is_tried_once_more_where_no_other_may_do(log: Any) -> None:
    """That plate may have been mislabelled, and nothing else would tell: here its reading is of another plate."""
    trials, green, brown = log
    recipe = Recipe("silicon bronze", coats=(Coat(GREEN, 0.5, 6, 105.0),))
    once = [*trials, Trial(recipe, Reading(brown), id=17)]
    plate = Suggester(once).next_trial(green)
    assert chemicals_of(plate.recipe)[-1] == GREEN and plate.recipe != recipe
    assert "Cupric nitrate was seen on 1 plate only" in plate.grounds
    assert GREEN not in chemicals_of(Suggester(once).next_trial(brown + [0.5, 0.5, 0.5]).recipe), "others do"
    twice = [*once, Trial(Recipe("silicon bronze", coats=(Coat(GREEN, 0.5, 7, 105.0),)), Reading(brown), id=18)]
    assert GREEN not in chemicals_of(Suggester(twice).next_trial(green).recipe), "two plates agree on it"


def test_what_is_tried_is_what_may_come_nearest_at_best_of_all_its_recipes(log: Any) -> None:
    """Of thin coats the mean is the nearest, and nothing is learned: here ΔE00 17 at best, where others come to 13."""
    trials, green, brown = log
    thin = Trial(Recipe("silicon bronze", coats=(Coat(GREEN, 0.25, 1, 95.0),)), Reading(brown), id=17)
    suggester = Suggester([*trials, thin])
    every = [recipe for recipe in recipe_space() if GREEN in chemicals_of(recipe)][::20]

    def at_best(recipes: list[Recipe]) -> np.ndarray:
        return np.quantile(outlook_on(suggester.model(green), recipes, green).draws, 0.05, axis=1)

    assert at_best([suggester.next_trial(green).recipe])[0] < at_best(every).min() + 1


def test_the_list_has_it_as_the_next_plate_and_nowhere_else(log: Any) -> None:
    trials, green, _ = log
    ranked = Suggester(trials, at_hand=SHELF).suggest(green, count=6)
    tried = [item.is_next for item in ranked if GREEN in chemicals_of(item.recipe)]
    assert tried == [True] and sum(item.is_next for item in ranked) == 1


def test_a_colour_that_the_logged_chemicals_give_is_answered_as_without_a_shelf(log: Any) -> None:
    trials, _, brown = log
    ours, without = Suggester(trials, at_hand=SHELF), Suggester(trials)
    assert [item.recipe for item in ours.suggest(brown)] == [item.recipe for item in without.suggest(brown)]
    assert ours.next_trial(brown).recipe == without.next_trial(brown).recipe
    assert [item.recipe for item in ours.batch(brown, 3)] == [item.recipe for item in without.batch(brown, 3)]
    assert ours.reach(brown).sentence == without.reach(brown).sentence


def test_nothing_is_called_out_of_reach_while_a_bottle_is_untried(log: Any) -> None:
    trials, green, _ = log
    before, reach = Suggester(trials).reach(green), Suggester(trials, at_hand=SHELF).reach(green)
    assert before.standing == "out of reach" and before.untried == ()
    assert reach.standing == "can't tell yet" and reach.as_dict()["untried"] == [GREEN]
    assert reach.sentence.endswith(
        "Cupric nitrate is on the shelf, and no plate has it yet: a plate with it would tell."
    )
    two = Suggester(trials, at_hand=AtHand(("barium sulphide",), (GREEN,))).reach(green)
    assert two.sentence.endswith(
        "Barium sulphide and cupric nitrate are on the shelf, and no plate has any of them yet: a plate with one of "
        "them would tell."
    )


def test_a_bottle_that_todays_limits_leave_out_is_named_with_what_would_help(log: Any) -> None:
    trials, green, _ = log
    limits = Limits(excluded=frozenset({"Cu(NO3)2"}))
    said = Suggester(trials, limits=limits, at_hand=SHELF).reach(green)
    assert said.untried == () and said.standing == "out of reach"
    assert said.sentence.endswith(" Cupric nitrate is on the shelf, but left out by today's limits.")
    plain = Suggester(trials, limits=limits).reach(green).sentence
    assert said.sentence.startswith(plain) and "shelf" not in plain


def test_a_session_tries_it_too(log: Any) -> None:
    trials, green, _ = log
    plates = Suggester(trials, at_hand=SHELF).batch(green, 3)
    assert all(GREEN in chemicals_of(item.recipe) for item in plates)
    assert len({item.recipe for item in plates}) == 3


def test_an_undercoat_that_no_plate_has_is_tried_where_none_has_one() -> None:
    bare = [Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, n, 105.0),)) for n in range(1, 9)]
    trials = [Trial(recipe, Reading((66.0 - 3 * k, 12.0, 24.0)), id=k + 1) for k, recipe in enumerate(bare)]
    plate = Suggester(trials, at_hand=AtHand(("ammonium sulphide",), ())).next_trial((18, 2, 1))
    assert plate.recipe.undercoat is not None and plate.recipe.undercoat.chemical == "ammonium sulphide"
    assert "Ammonium sulphide was never logged as an undercoat" in plate.grounds


def test_once_a_plate_has_it_it_is_one_of_the_logged(log: Any) -> None:
    trials, green, _ = log
    before = Suggester(trials, at_hand=SHELF)
    tried = Trial(before.next_trial(green).recipe, Reading(green + [2.0, 1.0, 1.0]), id=17)
    assert before.with_trial(tried).reach(green).untried == ()


@pytest.mark.parametrize("seed", [701, 703])
def test_targets_of_a_chemical_that_no_plate_has_are_met_within_few_plates(seed: int) -> None:
    """Of eight plates; without the shelf such a target is never met."""
    space, rng = recipe_space(), np.random.default_rng(seed)
    missing = CHEMICALS[seed % len(CHEMICALS)]
    habit = [recipe for recipe in space if missing not in chemicals_of(recipe)]
    studio = InventedStudio(film(seed), space, 8, habit)
    wanted = [recipe for recipe in space if missing in chemicals_of(recipe) and recipe.coats[0].dose > 3]
    first, target = studio.first(rng), studio.true(wanted[rng.integers(len(wanted))])
    shelf = AtHand(UNDERCOATS, CHEMICALS)
    assert plates_until_met(studio, ByModel(first, shelf), first, target, [seed]) <= 10


def test_the_shelf_says_what_is_laid_how(tmp_path: Path) -> None:
    """Common practice, no source: sulphides go on as undercoats, nitrates, chlorides and copper salts as coats."""
    with Studio.open(tmp_path / "studio") as studio:
        for label, chemical in (
            ("A", "liver of sulfur"), ("B", "Cupric Nitrate"), ("C", "nitric acid"), ("D", "titanium white"),
            ("E", "dragon's blood"), ("F", "copper(II) nitrate"), ("G", "silver nitrate"),
        ):  # fmt: skip
            studio.bottles.save(Stock(label, chemical, 100.0))
        assert studio.at_hand() == AtHand(("liver of sulfur",), ("Cupric Nitrate", "silver nitrate"))
        studio.bottles.change("G", used_up_at=datetime.now(UTC))
        assert studio.at_hand().coats == ("Cupric Nitrate",)


def test_a_way_of_laying_that_is_none_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "cautions.toml"
    file.write_text(FILE.read_text(encoding="utf-8").replace('laid = "coat"', 'laid = "coated"', 1), encoding="utf-8")
    with pytest.raises(StudioError, match="coated"):
        read_book(file)


@pytest.fixture
def studio_with_a_bottle(log: Any, tmp_path: Path) -> Path:
    trials, green, _ = log
    with Studio.open(tmp_path / "studio") as studio:
        for trial in trials:
            studio.record(Trial(trial.recipe, trial.reading))
        studio.bottles.save(Stock("CN-1", GREEN, 200.0))
        studio.save_target(Target(name="heron", reading=Reading(green), tolerance=2.0))
    return tmp_path / "studio"


def test_a_long_log_of_which_a_part_is_known_tries_nothing(
    studio_with_a_bottle: Path, log: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Studio.open(studio_with_a_bottle) as studio:
        assert studio.suggester().reach(log[1]).untried == (GREEN,)
        monkeypatch.setattr("matcher.ranking.part_of_log.PartOfLog.is_whole", property(lambda part: False))
        assert studio.suggester().reach(log[1]).untried == ()


def test_the_command_line_says_it_and_takes_it_as_a_limit(told: Any, run: Any, studio_with_a_bottle: Path) -> None:
    asked = ("next", "--target", 1, "--studio", studio_with_a_bottle)
    assert "Cupric nitrate is on the shelf, and no plate has it yet" in run(*asked)[1]
    assert told(*asked)["reach"]["untried"] == [GREEN]
    assert told(*asked, "--without", "copper nitrate")["reach"]["untried"] == []


def test_the_page_says_it_and_lets_it_be_left_out(studio_with_a_bottle: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MATCHER_STUDIO", str(studio_with_a_bottle))
    app = unfold(open_page("suggestions", target="1"), "reach")
    assert not app.exception
    assert "Cupric nitrate is on the shelf, and no plate has it yet" in plain(said_on(app))
    assert re.search(r"Number \d tries cupric nitrate from the shelf, which no plate has yet\.", plain(said_on(app)))
    pills = next(item for item in app.button_group if "not available today" in item.label)
    assert GREEN in pills.options
    pills.set_value([GREEN]).run()
    assert not app.exception and "and no plate has it yet" not in plain(said_on(app))
    assert "Cupric nitrate is on the shelf, but left out by today" in plain(said_on(app))
    with Studio.open(studio_with_a_bottle) as studio:
        studio.bottles.save(Stock("SN-1", "silver chloride", 200.0))
        studio.bottles.save(Stock("FC-1", "ferric chloride", 200.0))
    assert "Ferric chloride is on the shelf" in plain(said_on(app.run())), "the shelf was filled meanwhile"
