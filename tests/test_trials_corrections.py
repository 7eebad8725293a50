"""What was typed of a logged plate is mended in its place, and its history keeps what it said before.

In a folder and on a PostgreSQL server; plates are invented.
"""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from sqlalchemy import event

from matcher.errors import StudioError
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.studio import Studio
from matcher.trials.facts import TypedFacts, facts_of, what_changed
from matcher.trials.trial import StageReading, Trial
from tests.example_counts import examples
from tests.plates import a_photograph, a_reading, a_recipe, a_target, a_trial, recipes


def corrected(studio: Studio, trial_id: int, who: str = "", **changed: Any) -> Trial:
    """Correct a plate as it stands in the log."""
    was = facts_of(studio.trial(trial_id))
    return studio.correct(trial_id, replace(was, **changed), instead_of=was, who=who)


def apart_from(trial: Trial, *names: str) -> dict[str, Any]:
    return {name: value for name, value in trial.as_dict().items() if name not in names}


def test_a_correction_changes_the_recipe_and_nothing_that_was_read(studio: Studio) -> None:
    photo = studio.keep_photo(a_photograph())
    target = studio.save_target(a_target())
    before = studio.record(a_trial(photos=(photo,), target_id=target.id))
    after = corrected(studio, 1, recipe=a_recipe(passes=8), notes="Even.")
    assert after.recipe == a_recipe(passes=8)
    assert studio.trial(1).as_dict() == after.as_dict()
    assert apart_from(after, "recipe", "notes") == apart_from(before, "recipe", "notes")


def test_everything_typed_can_be_corrected(studio: Studio) -> None:
    target = studio.save_target(a_target())
    studio.record(a_trial(stages=()))
    now = TypedFacts(
        recipe=Recipe("tin bronze", None, (), Seal("lacquer", 2), "ground"),
        made_at=a_trial().made_at.replace(day=29),
        made_by="Ben",
        piece="12",
        ambient_temp_c=None,
        ambient_humidity_percent=44.0,
        notes="",
        target_id=target.id,
    )
    assert facts_of(studio.correct(1, now, instead_of=facts_of(studio.trial(1)))) == now


def test_the_history_keeps_every_earlier_version(studio: Studio) -> None:
    first = studio.record(a_trial(notes="first"))
    corrected(studio, 1, who="Ann", recipe=a_recipe(passes=8))
    corrected(studio, 1, who="Ben", notes="second")
    one, other = studio.corrections(1)
    assert (one.who, one.recipe, one.changed) == ("Ann", first.recipe, ("Coat 1, passes: 8, was 6",))
    assert (other.who, other.recipe, other.notes) == ("Ben", a_recipe(passes=8), "first")
    assert other.changed == ("Notes: second, was first",)
    detail = json.loads(studio.history("trial", 1)[-1].detail)
    assert detail["was"]["notes"] == "first" and detail["now"]["notes"] == "second"


def test_of_a_corrected_plate_only_coats_are_replaced_and_they_stand_in_the_history(studio: Studio) -> None:
    said: list[str] = []
    studio.record(a_trial())
    event.listen(studio.database.engine, "before_cursor_execute", lambda _c, _k, text, *_: said.append(text))
    corrected(studio, 1, recipe=Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.25, 3, 90.0),)))
    assert {text.split()[2] for text in said if text.upper().startswith("DELETE")} == {"coats"}
    assert studio.corrections(1)[0].recipe.coats == a_recipe().coats


@examples(20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(recipe=recipes, notes=st.text(max_size=200))
def test_any_recipe_can_stand_in_for_any_other(studio: Studio, recipe: Recipe, notes: str) -> None:
    unstocked = replace(
        recipe,
        undercoat=None if recipe.undercoat is None else replace(recipe.undercoat, stock=None),
        coats=tuple(replace(coat, stock=None) for coat in recipe.coats),
    )
    trial = studio.record(a_trial(stages=()))
    after = corrected(studio, trial.id or 0, recipe=unstocked, notes=notes)
    assert after.recipe == unstocked
    assert after.notes == notes.replace("\0", "")
    assert studio.corrections(trial.id or 0)[0].recipe == a_recipe()


def test_the_suggestions_learn_from_the_corrected_recipe_at_once(studio: Studio) -> None:
    studio.record(a_trial())
    studio.record(a_trial(60.0))
    assert studio.suggester().suggest((38.0, 14.0, 22.0), 1)[0].recipe == a_recipe()
    corrected(studio, 1, recipe=a_recipe(passes=9))
    best = studio.suggester().suggest((38.0, 14.0, 22.0), 1)[0]
    assert best.trial is not None and best.trial.id == 1
    assert best.recipe == a_recipe(passes=9)


def test_a_slip_that_made_a_plate_disagree_with_all_others_is_gone_once_it_is_mended(studio: Studio) -> None:
    def plate(passes: int, laid: int) -> Trial:
        lab = np.array([70.0 - 3.5 * laid, 10.0 + 0.8 * laid, 32.0 - 0.9 * laid])
        return Trial(Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, passes, 105.0),)), Reading(lab=lab))

    studio.record_all([plate(k, k) for k in (2, 3, 4, 5, 6, 7, 8, 2, 4, 6, 8)])
    wrong = studio.record(plate(2, 8)).id or 0  # 8 passes were laid and 2 typed
    assert [found.trial.id for found in studio.suggester().contradictions()] == [wrong]
    corrected(studio, wrong, recipe=plate(8, 8).recipe)
    assert studio.suggester().contradictions() == []


def test_a_plate_set_aside_can_be_corrected_and_stays_set_aside(studio: Studio) -> None:
    studio.record(a_trial())
    studio.set_aside(1, "wrong strength typed")
    assert corrected(studio, 1, notes="put right").set_aside == "wrong strength typed"
    assert studio.take_back(1).notes == "put right"


def test_the_same_correction_twice_is_one(studio: Studio) -> None:
    was = facts_of(studio.record(a_trial()))
    now = replace(was, notes="right")
    studio.correct(1, now, instead_of=was)
    revision = studio.log.revision()
    studio.correct(1, now, instead_of=was)
    corrected(studio, 1)
    assert len(studio.corrections(1)) == 1
    assert studio.log.revision() == revision


def test_a_correction_of_what_was_corrected_meanwhile_is_refused_and_loses_nothing(studio: Studio) -> None:
    was = facts_of(studio.record(a_trial()))
    studio.correct(1, replace(was, notes="mine"), instead_of=was)
    with pytest.raises(StudioError, match="changed meanwhile"):
        studio.correct(1, replace(was, piece="9"), instead_of=was)
    assert facts_of(studio.trial(1)) == replace(was, notes="mine")
    assert len(studio.corrections(1)) == 1


def test_of_two_screens_that_correct_at_once_one_is_told(place: str) -> None:
    with Studio.open(place) as one, Studio.open(place) as other:
        was = facts_of(one.record(a_trial()))
        for number in range(8):
            told = _at_once([one, other], was, f"round {number}")
            assert len(told) == 1 and "changed meanwhile" in told[0]
            assert len(one.corrections(1)) == number + 1
            was = facts_of(one.trial(1))


def _at_once(screens: list[Studio], was: TypedFacts, notes: str) -> list[str]:
    """Let all correct the same version at one moment, each in its own way; return what they were told."""
    together = threading.Barrier(len(screens))
    told: list[str] = []

    def correct(screen: int) -> None:
        together.wait()
        try:
            screens[screen].correct(1, replace(was, notes=f"{notes}, screen {screen}"), instead_of=was)
        except StudioError as error:
            told.append(str(error))

    threads = [threading.Thread(target=correct, args=(screen,)) for screen in range(len(screens))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return told


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"target_id": 7}, "no target 7"),
        ({"recipe": a_recipe(stock="unheard of")}, "no stock labelled 'unheard of'"),
        ({"recipe": "ferric nitrate"}, "Recipe"),
        ({"ambient_temp_c": 200.0}, "air temperature"),
        ({"made_by": "x" * 201}, "maker's name"),
        ({"made_at": "yesterday"}, "date"),
        ({"notes": "n" * 20_001}, "notes"),
        ({"recipe": replace(a_recipe(), coats=(Coat("ferric nitrate", 0.5, 2, 105.0),))}, "read after pass 3"),
        ({"recipe": replace(a_recipe(), coats=())}, "read after pass 3"),
    ],
)
def test_what_cannot_be_kept_gets_one_sentence_and_the_plate_stays_as_it_was(
    studio: Studio, changed: dict[str, Any], word: str
) -> None:
    single = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0),))
    before = studio.record(a_trial(recipe=single))
    with pytest.raises(StudioError, match=word) as said:
        corrected(studio, 1, **changed)
    assert str(said.value).endswith(".") and "\n" not in str(said.value)
    assert studio.trial(1).as_dict() == before.as_dict()
    assert studio.corrections(1) == []


@pytest.mark.parametrize("number", [0, -1, 99, 2**31, "1", None])
def test_a_trial_that_is_not_there_gets_one_sentence(studio: Studio, number: Any) -> None:
    facts = facts_of(studio.record(a_trial()))
    with pytest.raises(StudioError, match="There is no plate"):
        studio.correct(number, replace(facts, notes="new"), instead_of=facts)


# What changed, in words


def test_what_changed_is_said_a_line_each_in_the_order_of_the_bench() -> None:
    was = facts_of(a_trial(target_id=1))
    now = replace(
        was,
        recipe=Recipe(
            "tin bronze",
            Undercoat("liver of sulphur", 0.25, 0.5),
            (Coat("ferric nitrate", 0.25, 8, 100.0, "brush", "Fe-1"),),
            Seal("wax", 2, hot=False),
            "sandblasted, bright",
        ),
        ambient_temp_c=None,
        target_id=2,
        piece="9",
        notes="",
    )
    assert what_changed(was, now, {1: "Heron", 2: "Railing"}) == (
        "Alloy: tin bronze, was silicon bronze",
        "Undercoat, strength: 0.25 of stock, was 0.5 of stock",
        "Undercoat, burnish: 0.5, was 0.25",
        "Coat 1, strength: 0.25 of stock, was 0.5 of stock",
        "Coat 1, passes: 8, was 6",
        "Coat 1, surface temperature: 100 °C, was 105 °C",
        "Coat 1, laid on as: brush, was fine mist",
        "Coat 1, bottle: Fe-1, was not noted",
        "Coat 2 taken out: cupric nitrate at quarter strength, 2 passes as stippled brush at 98 °C",
        "Seal, coats: 2, was 3",
        "Seal, first coat: on cold metal, was on warm metal",
        "For the target: Railing, was Heron",
        "Mark on the plate: 9, was sample plate 7",
        "Air temperature: not noted, was 18.5 °C",
        "Notes: not noted, was Even. Slight bloom at the left edge.",
    )


@pytest.mark.parametrize(
    "changed",
    [
        {"notes": "Even.\n\nSlight bloom at the left edge."},
        {"made_at": a_trial().made_at.replace(minute=31)},
        {"made_at": a_trial().made_at.replace(day=30)},
        {"recipe": replace(a_recipe(), seal=None)},
        {"recipe": replace(a_recipe(), undercoat=None)},
        {"made_by": "Ben"},
        {"ambient_humidity_percent": 61.0},
    ],
)
def test_no_correction_goes_unsaid(changed: dict[str, Any]) -> None:
    was = facts_of(a_trial())
    assert len(what_changed(was, replace(was, **changed), {})) == 1
    assert what_changed(was, was, {}) == ()


# Carried elsewhere


def test_a_corrected_plate_is_carried_with_its_earlier_versions(studio: Studio, tmp_path: Path) -> None:
    notes = 'long "notes"\n' * 1500  # as JSON they are longer than notes may be
    target = studio.save_target(a_target())
    studio.record(a_trial(notes=notes, stages=(StageReading("waxed", a_reading()),)))
    after = corrected(studio, 1, who="Ann", recipe=a_recipe(passes=9), target_id=target.id)
    studio.export(tmp_path / "out.zip")
    with Studio.open(tmp_path / "other") as other:
        other.save_target(a_target("another, so that numbers differ"))
        assert other.import_file(tmp_path / "out.zip").trials == 1
        (arrived,) = other.trials()
        assert apart_from(arrived, "target_id") == apart_from(after, "target_id")
        assert arrived.target_id == 2
        assert other.corrections(1) == studio.corrections(1)
        assert other.import_file(tmp_path / "out.zip").differing == ()


def test_an_export_from_before_the_correction_brings_no_second_plate_and_does_not_undo_it(
    studio: Studio, tmp_path: Path
) -> None:
    studio.record(a_trial())
    studio.export(tmp_path / "before.zip")
    studio.export(tmp_path / "before.csv")
    corrected(studio, 1, recipe=a_recipe(passes=9))
    assert studio.import_file(tmp_path / "before.zip").differing == (1,)
    studio.import_file(tmp_path / "before.csv")
    assert [trial.recipe for trial in studio.trials(include_set_aside=True)] == [a_recipe(passes=9)]
