"""Bottles of stock solution: what is kept of them, what becomes of them, and old recipes mixed from new ones."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from matcher.dates import now
from matcher.errors import RecipeError, StudioError
from matcher.recipe.recipe import Coat
from matcher.studio import Studio
from matcher.trials.stocks import SolutionUse, Stock, converted, equivalent_strength, left_ml
from tests.plates import MADE_AT, a_recipe, a_trial

NONAHYDRATE, ANHYDROUS = "Fe(NO3)3·9H2O", "Fe(NO3)3"
BOTTLE = Stock("Fe 12", "ferric nitrate", 400.0, "A7", MADE_AT, "", NONAHYDRATE, "Ana", "acid cabinet", 1000.0, MADE_AT)


@pytest.fixture
def studio(tmp_path: Path):
    with Studio.open(tmp_path / "studio") as opened:
        yield opened


def test_a_bottle_comes_back_as_it_was_kept_and_through_plain_json(studio: Studio) -> None:
    assert studio.bottles.save(BOTTLE) == BOTTLE
    assert studio.bottles.stock("Fe 12") == BOTTLE
    assert Stock.from_dict(BOTTLE.as_dict()) == BOTTLE
    assert studio.history("stock", "Fe 12")[0].who == "Ana"


def test_a_bottle_of_an_export_from_before_there_was_more_to_note_is_read() -> None:
    old = {"label": "Fe 1", "chemical": "ferric nitrate", "grams_per_litre": 400.0, "lot": "", "notes": ""}
    assert Stock.from_dict({**old, "made_at": MADE_AT.isoformat()}) == Stock(
        "Fe 1", "ferric nitrate", 400.0, "", MADE_AT
    )


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"formula": "Fe(NO3"}, "Check the formula"),
        ({"formula": "rust"}, "Check the formula"),
        ({"volume_ml": 0.0}, "volume"),
        ({"opened_at": MADE_AT - timedelta(days=2)}, "opened before it was made"),
        ({"used_up_at": MADE_AT - timedelta(days=2)}, "used up before it was opened"),
        ({"made_at": now() + timedelta(days=9)}, "Give a day that has been"),
        ({"kept_where": "x" * 201}, "place where it stands"),
    ],
)
def test_what_cannot_be_of_a_bottle_is_refused_and_nothing_is_kept(studio: Studio, changed, said) -> None:
    with pytest.raises(StudioError, match=said):
        studio.bottles.save(replace(BOTTLE, **changed))
    assert studio.stocks() == []


def test_what_becomes_of_a_bottle_is_noted_with_history_and_what_plates_rely_on_stays(studio: Studio) -> None:
    studio.bottles.save(replace(BOTTLE, opened_at=None, formula=""))
    opened = MADE_AT + timedelta(days=3)
    studio.bottles.change("Fe 12", "Ben", opened_at=opened, kept_where="bench")
    studio.bottles.change("Fe 12", formula="Fe(NO3)3.9H2O")
    after = studio.bottles.change("Fe 12", used_up_at=opened + timedelta(days=30))
    assert after == replace(BOTTLE, opened_at=opened, kept_where="bench", used_up_at=opened + timedelta(days=30))
    assert [change.what for change in studio.history("stock", "Fe 12")] == [
        "saved", "opened", "put elsewhere", "formula noted", "used up",
    ]  # fmt: skip
    assert studio.bottles.change("Fe 12", used_up_at=None).used_up_at is None
    for fixed in ({"grams_per_litre": 350.0}, {"chemical": "cupric nitrate"}, {"formula": ANHYDROUS}, {"lot": "B"}):
        with pytest.raises(StudioError, match="Make a new bottle instead"):
            studio.bottles.change("Fe 12", **fixed)
    with pytest.raises(StudioError, match="no stock labelled"):
        studio.bottles.change("Fe 99", kept_where="bench")


def test_the_same_bottle_again_changes_nothing_but_another_salt_under_its_label_is_refused(studio: Studio) -> None:
    studio.bottles.save(BOTTLE)
    assert studio.bottles.save(replace(BOTTLE, formula="", notes="other")) == BOTTLE
    with pytest.raises(StudioError, match="label of its own"):
        studio.bottles.save(replace(BOTTLE, formula=ANHYDROUS))


def test_another_hydrate_is_taken_into_account_when_an_old_recipe_goes_on_from_a_new_bottle() -> None:
    """By hand: 0.5 of 400 g/L of the nonahydrate (403.99 g/mol) is 0.49506 mol/L, as 0.29934 of 400 g/L without
    water (241.86 g/mol)."""
    coat = Coat("ferric nitrate", 0.5, 6, 105.0, stock="Fe 12")
    dry = replace(BOTTLE, label="Fe 13", formula=ANHYDROUS)
    assert equivalent_strength(coat, BOTTLE, dry).strength == pytest.approx(0.29934, abs=2e-5)
    back = equivalent_strength(equivalent_strength(coat, BOTTLE, dry), dry, BOTTLE)
    assert back.strength == pytest.approx(0.5) and back.stock == "Fe 12"
    unknown = replace(BOTTLE, label="Fe 14", formula="", grams_per_litre=500.0)
    made = converted(coat, BOTTLE, unknown)
    assert made.layer.strength == 0.4 and made.changed and not made.forms_known
    assert not converted(coat, BOTTLE, replace(BOTTLE, label="Fe 15")).changed
    with pytest.raises(RecipeError, match="Use a stronger stock"):
        equivalent_strength(replace(coat, strength=1.0), dry, replace(BOTTLE, label="Fe 16"))


def test_what_is_left_of_a_bottle_follows_from_what_was_used(studio: Studio) -> None:
    studio.bottles.save(BOTTLE)
    studio.bottles.note_use(SolutionUse("Fe 12", 0.5, 100.0))
    use = studio.bottles.note_use(SolutionUse("Fe 12", 1.0, 25.0, area_cm2=100, passes=6, application="fine mist"))
    assert left_ml(BOTTLE, studio.bottles.uses()) == 925.0
    assert left_ml(replace(BOTTLE, volume_ml=None), []) is None
    assert left_ml(replace(BOTTLE, used_up_at=MADE_AT), []) == 0.0
    assert left_ml(replace(BOTTLE, volume_ml=10.0), studio.bottles.uses()) == 0.0
    assert use.as_dict()["at"] == use.at.isoformat()
    studio.bottles.take_back_use(str(use.uid))
    assert left_ml(BOTTLE, studio.bottles.uses()) == 950.0
    with pytest.raises(StudioError, match="not noted any more"):
        studio.bottles.take_back_use(str(use.uid))
    assert [change.what for change in studio.history("stock")] == ["saved", "used", "used", "use taken back"]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"stock": "Fe 99"}, "no stock labelled"),
        ({"strength": 0.0}, "strength"),
        ({"millilitres": -1.0}, "amount used"),
        ({"area_cm2": 0.0}, "area"),
        ({"passes": 2.5}, "whole number"),
        ({"trial_id": 7}, "no plate 7"),
    ],
)
def test_a_use_that_cannot_be_is_refused_and_nothing_is_kept(studio: Studio, changed, said) -> None:
    studio.bottles.save(BOTTLE)
    with pytest.raises(StudioError, match=said):
        studio.bottles.note_use(replace(SolutionUse("Fe 12", 0.5, 20.0), **changed))
    assert studio.bottles.uses() == []


def test_bottles_travel_with_an_export_and_a_backup(studio: Studio, tmp_path: Path) -> None:
    studio.bottles.save(BOTTLE)
    plate = studio.record(a_trial(recipe=a_recipe()))
    use = studio.bottles.note_use(SolutionUse("Fe 12", 0.5, 20.0, trial_id=plate.id))
    studio.export(tmp_path / "log.zip")
    with Studio.open(tmp_path / "other") as other:
        other.record(a_trial(recipe=a_recipe(passes=3)))  # so that the plate has another number there
        for _ in range(2):
            other.import_file(tmp_path / "log.zip")
            assert other.stocks() == [BOTTLE]
            (carried,) = other.bottles.uses()
            assert carried == replace(use, trial_id=2)
    studio.backup(tmp_path / "backup.zip")
    with Studio.restore(tmp_path / "backup.zip", tmp_path / "restored") as restored:
        assert restored.stocks() == [BOTTLE] and restored.restored_with == ()


@pytest.fixture
def two(studio: Studio, tmp_path: Path):
    """Two studios that have the same bottle."""
    studio.bottles.save(replace(BOTTLE, opened_at=None))
    studio.export(tmp_path / "first.zip")
    with Studio.open(tmp_path / "other") as other:
        other.import_file(tmp_path / "first.zip")
        yield studio, other


def carried_over(giver: Studio, taker: Studio, folder: Path):
    """Import all of one studio into another; return what came of the bottles."""
    giver.export(folder / "carried.zip", overwrite=True)
    brought = taker.import_file(folder / "carried.zip", who="Cleo")
    assert brought.stocks == 0
    return next(one for one in brought.besides if one.kind == "bottle")


def test_what_became_of_a_bottle_elsewhere_is_taken_over_in_both_directions(two, tmp_path: Path) -> None:
    one, other = two
    other.bottles.change("Fe 12", "Ben", opened_at=MADE_AT + timedelta(days=2))
    one.bottles.change("Fe 12", "Ann", kept_where="shelf by the sink")
    there = carried_over(other, one, tmp_path)
    assert (there.caught_up, there.differing) == (1, 0)
    assert one.bottles.stock("Fe 12").opened_at == MADE_AT + timedelta(days=2)
    assert one.bottles.stock("Fe 12").kept_where == "shelf by the sink", "what is noted here alone stays"
    back = carried_over(one, other, tmp_path)
    assert (back.caught_up, back.differing) == (1, 0)
    assert one.stocks() == other.stocks()
    for giver, taker in ((one, other), (other, one)):
        again = carried_over(giver, taker, tmp_path)
        assert (again.caught_up, again.differing) == (0, 0)
    told = [(line.who, line.what) for line in one.history("stock", "Fe 12")]
    assert sorted(told) == [("Ana", "saved"), ("Ann", "put elsewhere"), ("Ben", "opened")]


def test_of_two_that_were_noted_the_later_stands_and_the_earlier_is_in_the_history(two, tmp_path: Path) -> None:
    one, other = two
    day = MADE_AT + timedelta(days=2)
    one.bottles.change("Fe 12", "Ann", opened_at=day, used_up_at=day + timedelta(days=9), kept_where="cellar")
    other.bottles.change("Fe 12", "Ben", opened_at=day, kept_where="yard")
    one.bottles.change("Fe 12", "Ann", used_up_at=None)  # it was not: the latest of all
    for giver, taker in ((other, one), (one, other)):
        carried_over(giver, taker, tmp_path)
        now_there = taker.bottles.stock("Fe 12")
        assert (now_there.kept_where, now_there.used_up_at, now_there.opened_at) == ("yard", None, day)
    for studio in two:
        assert {line.detail for line in studio.history("stock", "Fe 12") if line.what == "put elsewhere"} == {
            "cellar",
            "yard",
        }


def test_what_can_not_both_be_is_said_and_what_is_here_stays(two, tmp_path: Path) -> None:
    one, other = two
    one.bottles.change("Fe 12", "Ann", opened_at=MADE_AT + timedelta(days=9))
    other.bottles.change("Fe 12", "Ben", used_up_at=MADE_AT + timedelta(days=3))
    other.export(tmp_path / "carried.zip")
    (said,) = one.import_file(tmp_path / "carried.zip").problems
    assert said.startswith("What became of the bottle 'Fe 12' stays as it is here. Check the dates")
    assert one.bottles.stock("Fe 12").used_up_at is None


def test_a_bottle_that_comes_anew_brings_its_history(two, tmp_path: Path) -> None:
    _, other = two
    other.bottles.change("Fe 12", "Ben", kept_where="yard")
    other.export(tmp_path / "carried.zip")
    with Studio.open(tmp_path / "third") as third:
        brought = third.import_file(tmp_path / "carried.zip")
        assert brought.stocks == 1 and brought.besides[0].caught_up == 0
        assert [(line.what, line.detail) for line in third.history("stock", "Fe 12")].count(
            ("put elsewhere", "yard")
        ) == 1
