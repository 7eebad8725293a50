"""A recipe's steps and a plate's stages are fields: no name, whatever it holds, makes a step or a stage of its own."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat, describe, steps_in_words
from matcher.recipe.stages import is_on_the_way, last_stage, passes_at, stage_after
from matcher.studio import Studio
from tests.app_pages import plain
from tests.plates import a_profile, recipes
from ui.show.steps import recipe_steps, step_line


def test_a_name_with_a_semicolon_is_one_step() -> None:
    recipe = Recipe("bronze; 3 % Si", None, (Coat("salt; sour", 0.5, 1, 90.0),), Seal("wax; two parts"))
    assert steps_in_words(recipe) == (
        "bronze; 3 % Si",
        "salt; sour at half strength, 1 pass as fine mist at 90 °C",
        "1 coat of wax; two parts, the first cold",
    )
    assert re.findall("<li>(.*?)</li>", plain(recipe_steps(recipe)))[0] == "Bronze; 3 % Si"
    assert recipe_steps(recipe).count("<li>") == 3
    assert step_line(steps_in_words(recipe)[1:]).startswith("Salt; sour at half strength")


@given(recipes)
def test_a_recipe_has_as_many_steps_as_parts(recipe: Recipe) -> None:
    bare = recipe.undercoat is None and not recipe.coats
    steps = steps_in_words(recipe)
    assert len(steps) == 2 + (recipe.undercoat is not None) + len(recipe.coats) + bare
    assert describe(recipe) == "; ".join(steps)
    assert recipe_steps(recipe).count("<li>") == len(steps)


@given(recipes, st.integers(0, 200))
def test_a_stage_is_read_as_it_was_named(recipe: Recipe, passes: int) -> None:
    stage = stage_after(recipe, passes)
    assert passes_at(stage) == (passes or None)
    assert is_on_the_way(stage) == (passes > 0 or len(recipe.coats) > 1)


@pytest.mark.parametrize("stage", ["cool", "waxed", "pass", "pass three", "passing 3", "pass 3 again", "bare", ""])
def test_any_other_stage_is_after_no_pass(stage: str) -> None:
    assert passes_at(stage) is None
    assert not is_on_the_way(stage)


def test_the_last_stage_is_after_the_last_pass() -> None:
    assert last_stage(Recipe("bronze", Undercoat("liver of sulphur", 0.5))) is None
    assert last_stage(Recipe("bronze", None, (Coat("ferric nitrate", 0.5, 6, 90.0),))) == "pass 6"


def test_a_reason_for_retiring_with_a_colon_is_kept_whole(studio: Studio) -> None:
    studio.save_profile(a_profile("lamp: left"))
    studio.rename_profile("lamp: left", "lamp: right")
    studio.retire_profile("lamp: right", "tube changed: now LED")
    said = [(change.what, change.detail) for change in studio.history("camera profile")]
    assert said[-2:] == [("renamed from lamp: left", ""), ("retired", "tube changed: now LED")]
