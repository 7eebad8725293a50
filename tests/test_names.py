"""One chemical has many ways of being written and is one chemical: to the model, limits, plans, cautions and stocks."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.errors import RecipeError
from matcher.plan.inventory import means_of, one_alloy
from matcher.plan.limits import Limits
from matcher.plan.next_plate import kind_of
from matcher.plan.recipe_space import Made, space_from
from matcher.process.design import UNSEEN_FERRIC, Categories, columns_of
from matcher.recipe.cautions import cautions_for, cautions_for_all, known_chemical, shipped_book
from matcher.recipe.names import canonical, each_once, is_ferric, same
from matcher.recipe.quantities import hydrate
from matcher.recipe.recipe import Coat, Recipe, Undercoat, as_compared, describe
from matcher.studio import Studio
from matcher.trials.stocks import Stock, equivalent_strength
from matcher.typed_in.values import TypingError, known_name
from tests.plates import a_recipe, a_trial, recipes

ALIASES = {
    "ferric nitrate": ["iron(III) nitrate", "Fe(NO3)3", "Fe(NO₃)₃", "ferric nitrate nonahydrate"],
    "cupric nitrate": ["copper nitrate", "Copper(II) Nitrate Trihydrate"],
    "liver of sulphur": ["liver of sulfur", "Potassium Polysulfide"],
    "silicon bronze": [],
    "tin salt": [],
}


@st.composite
def written(draw: st.DrawFn, name: str | None = None) -> tuple[str, str]:
    """Draw a name and another way of writing it: case, spaces, hyphens, an alias."""
    name = name or draw(st.sampled_from(sorted(ALIASES)))
    text = draw(st.sampled_from([name, *ALIASES[name]]))
    text = draw(st.sampled_from([text, text.upper(), text.capitalize(), text.title()]))
    for gap in draw(st.lists(st.sampled_from(["  ", "\t", "-", " "]), max_size=2)):
        text = text.replace(" ", gap, 1)
    return name, " " * draw(st.integers(0, 2)) + text


def a_chemical(name: str, passes: int = 6) -> Recipe:
    return Recipe("silicon bronze", Undercoat("liver of sulphur", 0.5), (Coat(name, 0.5, passes, 105.0),))


@given(written())
def test_a_name_is_the_same_however_it_is_written(pair: tuple[str, str]) -> None:
    name, other = pair
    assert canonical(other) == canonical(name) == name
    assert same(name, other)
    assert is_ferric(other) == ("ferric" in name)
    assert each_once([other, name]) == (other,)
    assert known_name(other, [name.title()], "chemical") == name.title()


@given(written("ferric nitrate"), written("liver of sulphur"), written("silicon bronze"))
def test_no_way_of_writing_makes_a_second_chemical(
    iron: tuple[str, str], sulphur: tuple[str, str], alloy: tuple[str, str]
) -> None:
    plain = a_chemical("ferric nitrate")
    other = Recipe(alloy[1], Undercoat(sulphur[1], 0.5), (Coat(iron[1], 0.5, 6, 105.0, "Fine Mist"),))
    assert as_compared(other) == as_compared(plain)
    assert kind_of(other) == kind_of(plain)
    assert other in Made([plain])
    # to the model
    both = Categories.of([plain, other])
    assert both == Categories.of([plain, plain])
    assert both.chemicals == ("ferric nitrate", UNSEEN_FERRIC)
    for column in vars(columns_of([plain, other], both)).values():
        np.testing.assert_array_equal(column[0], column[1])
    # to the limits
    assert not Limits(excluded=frozenset({iron[1]})).allow(plain)
    assert not Limits(excluded=frozenset({"ferric nitrate"})).allow(other)
    assert not Limits(excluded=frozenset({sulphur[1]})).allow(plain)
    assert Limits(alloy=alloy[1], stock=frozenset({iron[1], sulphur[1]})).allow(plain)
    assert not Limits(stock=frozenset({iron[1]})).allow(plain)
    # to the inventory and to what could be made
    have = means_of([other, plain])
    assert (have.alloys, have.chemicals, have.undercoats) == (
        (other.alloy,),
        (other.coats[0].chemical,),
        (Undercoat(sulphur[1], 1).chemical,),
    )
    assert one_alloy([plain, other]) == plain.alloy
    one, two = (space_from(log, Limits(), np.random.default_rng(1)) for log in ([plain, plain], [plain, other]))
    assert (two.workpieces, two.grounds, two.stacks) == (one.workpieces, one.grounds, one.stacks)
    # to the cautions
    assert [caution.code for caution in cautions_for(other)] == [caution.code for caution in cautions_for(plain)]
    assert cautions_for_all([plain, other]) == cautions_for(plain)


@given(recipes)
def test_a_recipe_keeps_what_was_typed(recipe: Recipe) -> None:
    loud = replace(recipe, alloy=recipe.alloy.upper())
    assert loud.alloy == recipe.alloy.upper()
    assert describe(loud).startswith(loud.alloy)
    assert as_compared(as_compared(recipe)) == as_compared(recipe)


def test_a_plate_is_logged_shown_and_suggested_as_it_was_typed(tmp_path: Path) -> None:
    typed = a_chemical("Ferric Nitrate")
    with Studio.open(tmp_path / "studio") as studio:
        studio.record(a_trial(recipe=typed, stages=()))
        studio.record(a_trial(60.0, recipe=a_chemical("ferric nitrate", 2), stages=()))
        assert studio.trial(1).recipe == typed
        assert studio.suggester().suggest((38.0, 14.0, 22.0), 1)[0].recipe == typed


def test_names_that_differ_stay_apart() -> None:
    for one, other in (("mix 1.5", "mix 15"), ("salt A", "salt B"), ("ferric nitrate", "ferric chloride"), ("+", "-")):
        assert not same(one, other)


def test_every_listed_name_is_its_own_canonical_form() -> None:
    book = shipped_book()
    for chemical in book.family_of:
        assert canonical(chemical) == chemical == known_chemical(chemical)


def test_a_bottle_of_the_same_chemical_fits_however_it_is_written(tmp_path: Path) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        studio.save_stock("Fe-1", "Iron(III) nitrate", 400.0)
        studio.save_stock("Fe-1", "ferric nitrate", 400.0)
        recipe = a_recipe(stock="Fe-1")
        assert studio.record(a_trial(recipe=recipe)).recipe == recipe
    layer = Coat("ferric nitrate", 0.5, 3, 105.0, stock="Fe-1")
    own, other = Stock("Fe-1", "ferric nitrate", 400.0), Stock("Fe-2", "IRON NITRATE", 800.0)
    assert equivalent_strength(layer, own, other).strength == 0.25
    with pytest.raises(RecipeError, match="Choose a stock of"):
        equivalent_strength(layer, own, Stock("Cu-1", "cupric nitrate", 800.0))


def test_a_salt_is_weighed_by_any_of_its_names() -> None:
    assert hydrate("Iron(III) nitrate", 9) == "Fe(NO3)3·9H2O"


def test_a_name_that_the_log_has_not_gets_one_sentence() -> None:
    with pytest.raises(TypingError, match="nothing here has that name"):
        known_name("tin salt", ["ferric nitrate"], "chemical")
