"""Every field of a recipe and a plate stands in the table of fields, and all that keep, show or type one read it there.

A field added to a dataclass and forgotten anywhere fails here: each check goes over the dataclasses' own fields.
"""

from __future__ import annotations

import argparse
from dataclasses import fields, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given

from matcher.errors import RecipeError, StudioError
from matcher.recipe.fields import COAT, METAL, SEAL, UNDERCOAT, Part
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.storage.schema import CoatRow, TrialRow
from matcher.trials import rows, spreadsheet
from matcher.trials.facts import TypedFacts, facts_of, what_changed
from matcher.trials.fields import KEPT, TYPED
from matcher.trials.trial import Trial
from matcher.typed_in import values
from matcher.typed_in.options import add_about_plate
from tests.plates import a_reading, a_trial, recipes
from ui.recipe.about_plate import fields_about
from ui.recipe.recipe_form import fields_of, recipe_of

PARTS: dict[type, Part] = {Undercoat: UNDERCOAT, Coat: COAT, Seal: SEAL}
FULL = Recipe(
    "tin bronze",
    Undercoat("liver of sulphur", 0.5, 0.25, "S-1"),
    (Coat("ferric nitrate", 0.5, 6, 105.0, "brush", "Fe-1"),),
    Seal("lacquer", 2, hot=True),
    "sandblasted",
)
OTHER = Recipe(
    "silicon bronze",
    Undercoat("barium sulphide", 0.25, 0.5, "S-2"),
    (Coat("cupric nitrate", 0.75, 3, 95.0, "stipple", "Cu-1"),),
    Seal("wax", 3, hot=False),
    "cleaned, bright",
)
ELSEWHERE = {"checked", "changed", "recipe", "reading", "stages", "photos", "id"}
"""What a trial has in tables of its own, or that its row gives it."""
OTHERWISE: dict[str, Any] = {
    "target_id": 2,
    "piece": "9",
    "made_by": "Ben",
    "made_at": datetime(2024, 2, 3, 9, 0, tzinfo=UTC),
    "ambient_temp_c": 3.0,
    "ambient_humidity_percent": 80.0,
    "notes": "other",
}


def names(of: type) -> set[str]:
    return {field.name for field in fields(of)}


def each_field_changed() -> list[tuple[str, Recipe]]:
    """Return recipes that differ from FULL in one field each, with the field's title."""
    changed = [(field.title, replace(FULL, **{field.name: getattr(OTHER, field.name)})) for field in METAL]
    for name, part in (("undercoat", UNDERCOAT), ("seal", SEAL)):
        mine, theirs = getattr(FULL, name), getattr(OTHER, name)
        for field in part:
            one = replace(mine, **{field.name: getattr(theirs, field.name)})
            changed.append((f"{part.title}, {field.title}", replace(FULL, **{name: one})))
    for field in COAT:
        coat = replace(FULL.coats[0], **{field.name: getattr(OTHER.coats[0], field.name)})
        changed.append((f"{COAT.title}, {field.title}", replace(FULL, coats=(coat,))))
    return changed


def only_row(table: Path) -> Trial:
    with spreadsheet.opened_table(table) as found:
        ((_, trial),) = found
    assert isinstance(trial, Trial)
    return trial


@pytest.mark.parametrize("of", PARTS)
def test_every_field_of_a_part_stands_in_its_table(of: type) -> None:
    assert {field.name for field in PARTS[of]} == names(of)
    assert {field.name for field in PARTS[of] if field.optional} == {
        field.name for field in fields(of) if field.default is not field.default_factory
    }


def test_every_field_of_a_recipe_and_a_trial_stands_in_a_table() -> None:
    assert {field.name for field in METAL} | {"undercoat", "coats", "seal"} == names(Recipe)
    assert {field.name for field in (*TYPED, *KEPT)} | ELSEWHERE == names(Trial)
    assert {field.name for field in TYPED} | {"recipe"} == names(TypedFacts)


def test_every_column_of_the_log_is_that_of_a_field() -> None:
    of_parts = {field.column for part in (METAL, UNDERCOAT, SEAL) for field in part}
    of_plate = {field.column for field in (*TYPED, *KEPT)}
    assert of_parts | of_plate | {"id", "logged_at"} == set(TrialRow.__table__.columns.keys())
    assert {field.column for field in COAT} | {"trial_id", "position"} == set(CoatRow.__table__.columns.keys())


def test_every_cell_of_the_spreadsheet_is_that_of_a_field() -> None:
    cells = [field.cell for field in (*METAL, *UNDERCOAT, *SEAL, *TYPED, *KEPT)]
    cells += [f"coat_1_{field.cell}" for field in COAT]
    of_the_reading = {"lab_l", "lab_a", "lab_b", "sigma_l", "sigma_a", "sigma_b", "source"}
    assert {*cells, *of_the_reading, "number", "photos"} == set(spreadsheet.columns(1))
    assert len(cells) == len(set(cells))


@pytest.mark.parametrize(("title", "recipe"), each_field_changed())
def test_a_field_that_differs_comes_through_every_mapping(title: str, recipe: Recipe, tmp_path: Path) -> None:
    trial = a_trial(recipe=recipe, stages=(), uid="u")
    # rows
    row = {**rows.trial_values(trial), "id": 1}
    kept = rows.trial_of(row, rows.coat_values(1, recipe), [rows.reading_values(trial.reading)], ())
    assert kept.recipe == recipe != FULL
    # spreadsheet
    spreadsheet.export_table([trial], tmp_path / "out.csv", {})
    read = only_row(tmp_path / "out.csv")
    assert read.recipe == recipe
    # form
    assert recipe_of(fields_of(recipe)) == recipe
    # the words of a correction
    (said,) = what_changed(facts_of(a_trial(recipe=FULL)), facts_of(a_trial(recipe=recipe)), {})
    assert said.startswith(f"{title}: ")
    # plain JSON
    assert Recipe.from_dict(recipe.as_dict()) == recipe


@given(recipes)
def test_any_recipe_comes_through_rows_and_form(recipe: Recipe) -> None:
    row = {**rows.trial_values(a_trial(recipe=recipe)), "id": 1}
    reading = [rows.reading_values(a_reading())]
    assert rows.trial_of(row, rows.coat_values(1, recipe), reading, ()).recipe == recipe
    assert recipe_of(fields_of(recipe)) == recipe


@pytest.mark.parametrize("field", TYPED, ids=lambda field: field.name)
def test_what_is_typed_of_a_plate_comes_through_every_mapping(field: Any, tmp_path: Path) -> None:
    was = a_trial(stages=(), uid="u")
    now = replace(was, **{field.name: OTHERWISE[field.name]})
    assert getattr(was, field.name) != getattr(now, field.name)
    row = {**rows.trial_values(now), "id": 1}
    kept = rows.trial_of(row, rows.coat_values(1, now.recipe), [rows.reading_values(now.reading)], ())
    assert getattr(kept, field.name) == getattr(now, field.name)
    assert getattr(Trial.from_dict(now.as_dict()), field.name) == getattr(now, field.name)
    spreadsheet.export_table([now], tmp_path / "out.csv", {})
    read = only_row(tmp_path / "out.csv")
    if field.kind != "target":  # another studio's numbers are others
        assert getattr(read, field.name) == getattr(now, field.name)
    (said,) = what_changed(facts_of(was), facts_of(now), {})
    assert said.startswith(f"{field.title}: ")
    if field.kind != "moment":  # the day is asked for by the correction itself
        assert fields_about(facts_of(now))[field.form] == getattr(now, field.name)


def test_the_command_line_takes_every_field_of_a_plate_and_of_a_recipe() -> None:
    parser = argparse.ArgumentParser()
    add_about_plate(parser, corrects=True)
    options = {action.dest for action in parser._actions}
    assert {field.option for field in TYPED} <= options | {"made_by"}  # --made-by stands beside the other names
    typed = {
        "undercoat": (values.undercoat, UNDERCOAT, FULL.undercoat),
        "coat": (values.coat, COAT, FULL.coats[0]),
        "seal": (values.seal, SEAL, FULL.seal),
    }
    for read, part, whole in typed.values():
        assert {field.name for field in part.typed} == {field.name for field in part if field.kind != "label"}
        words = [getattr(whole, field.name) for field in part.typed]
        text = ",".join(("hot" if word else "cold") if isinstance(word, bool) else str(word) for word in words)
        bottle = {field.name: None for field in part if field.kind == "label"}
        assert read(text) == replace(whole, **bottle)  # type: ignore[type-var]
        needed = ",".join(str(word) for field, word in zip(part.typed, words, strict=True) if not field.optional)
        assert read(needed) is not None
        with pytest.raises(values.TypingError, match=",".join(str(field.word) for field in part.typed)):
            read(text + ",more,and,more")


@pytest.mark.parametrize(
    "field", [field for part in (UNDERCOAT, COAT, SEAL) for field in part if field.kind == "whole"]
)
def test_a_whole_number_keeps_its_range(field: Any) -> None:
    assert field.checked(field.least) == field.least and field.checked(str(int(field.most))) == field.most
    for wrong in (field.least - 1, field.most + 1, field.least + 0.5, True, "many", float("nan")):
        with pytest.raises(RecipeError, match=field.asked):
            field.checked(wrong)


@pytest.mark.parametrize("field", [field for field in TYPED if field.kind == "number"], ids=lambda field: field.name)
def test_a_figure_of_the_air_keeps_its_range(field: Any) -> None:
    assert (field.kept(None), field.kept(field.least), field.kept(field.most)) == (None, field.least, field.most)
    for wrong in (field.least - 0.1, field.most + 0.1, True, "warm"):
        with pytest.raises(StudioError, match=field.asked):
            field.kept(wrong)
