"""What makes a recipe valid, how it is said in the trade's words, and that it survives being written down."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.errors import RecipeError
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat, describe, strength_in_words
from tests.plates import a_recipe, recipes


@given(recipes)
def test_a_recipe_comes_back_the_same_from_json(recipe: Recipe) -> None:
    assert Recipe.from_dict(json.loads(json.dumps(recipe.as_dict()))) == recipe


@given(recipes)
def test_every_chemical_of_a_recipe_is_named_when_it_is_said(recipe: Recipe) -> None:
    said = describe(recipe)
    assert recipe.alloy in said
    for coat in recipe.coats:
        assert coat.chemical in said
        assert coat.application in said


def test_a_recipe_is_said_in_the_order_of_the_bench() -> None:
    assert describe(a_recipe()) == (
        "silicon bronze; liver of sulphur undercoat at half strength, burnished back 25 %; "
        "ferric nitrate at half strength, 6 passes as fine mist at 105 °C; "
        "cupric nitrate at quarter strength, 2 passes as stippled brush at 98 °C; 3 coats of wax, the first hot"
    )


def test_bare_metal_is_a_recipe() -> None:
    assert describe(Recipe("silicon bronze")) == "silicon bronze; bare metal; unsealed"


def test_an_odd_strength_is_said_as_a_fraction_of_stock() -> None:
    assert strength_in_words(0.35) == "0.35 of stock"


def test_dose_is_strength_times_passes() -> None:
    assert Coat("ferric nitrate", 0.5, 6, 105.0).dose == 3.0


def test_names_are_single_spaced() -> None:
    assert Coat("  ferric \n nitrate ", 0.5, 1, 100).chemical == "ferric nitrate"


def test_an_empty_stock_label_is_no_stock() -> None:
    assert Coat("ferric nitrate", 0.5, 1, 100, stock="").stock is None


@pytest.mark.parametrize("strength", [0, -0.1, 1.01, float("nan"), float("inf"), "strong", True, 10**400])
def test_a_strength_is_above_0_and_at_most_1(strength: object) -> None:
    with pytest.raises(RecipeError, match="coat's strength"):
        Coat("ferric nitrate", strength, 1, 100)  # type: ignore[arg-type]
    with pytest.raises(RecipeError, match="undercoat's strength"):
        Undercoat("liver of sulphur", strength)  # type: ignore[arg-type]


@pytest.mark.parametrize("passes", [0, -1, 2.5, 201, float("nan"), "many", True])
def test_passes_are_a_whole_number_from_1(passes: object) -> None:
    with pytest.raises(RecipeError, match="number of passes"):
        Coat("ferric nitrate", 0.5, passes, 100)  # type: ignore[arg-type]


@pytest.mark.parametrize("temp", [-1, 401, float("nan"), "hot"])
def test_a_surface_temperature_outside_the_bench_is_refused(temp: object) -> None:
    with pytest.raises(RecipeError, match="surface temperature"):
        Coat("ferric nitrate", 0.5, 1, temp)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["", "  ", None, 5, "a\x00b", "a\ud800", "x" * 201])
def test_a_name_that_cannot_be_read_or_kept_is_refused(name: object) -> None:
    with pytest.raises(RecipeError):
        Recipe(name)  # type: ignore[arg-type]


@pytest.mark.parametrize("hot", ["yes", "no", 2, None])
def test_a_first_seal_coat_is_hot_or_not(hot: object) -> None:
    with pytest.raises(RecipeError, match="True or False"):
        Seal("wax", 1, hot)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"alloy": "bronze", "coats": 5},
        {"alloy": "bronze", "coats": [{"chemical": "ferric nitrate"}]},
        {"alloy": "bronze", "undercoat": {"colour": "black"}},
        {"alloy": "bronze", "seal": "wax"},
        {"alloy": "bronze", "patina": "green"},
        "bronze",
        None,
    ],
)
def test_a_written_recipe_with_missing_or_strange_fields_is_refused(data: object) -> None:
    with pytest.raises(RecipeError):
        Recipe.from_dict(data)  # type: ignore[arg-type]


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(),
        lambda item: (
            st.lists(item)
            | st.dictionaries(
                st.sampled_from(["alloy", "coats", "undercoat", "seal", "surface", "chemical", "strength", "passes"]),
                item,
            )
        ),
    )
)
def test_any_json_gives_a_recipe_or_one_of_our_errors(data: object) -> None:
    try:
        assert isinstance(Recipe.from_dict(data), Recipe)  # type: ignore[arg-type]
    except RecipeError as error:
        assert str(error).endswith(".")
