"""What to mix for a recipe: how much a pass takes, from which bottle, poured as cylinders show it."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.bench import mixing, mixing_wording
from matcher.bench.mixing import mix_recipe, standing_together
from matcher.errors import RecipeError
from matcher.reading.reading import Reading
from matcher.recipe.quantities import (
    dilute,
    dilute_from,
    measurable_blend,
    measurable_weighing,
    molar_mass_g_per_mol,
    use_leftover,
    water_down,
    weigh_salt,
)
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.recipe.usage import USUAL_ML_PER_M2, Used, pass_rate
from matcher.trials.stocks import SolutionUse, Stock
from matcher.trials.trial import Trial
from tests.example_counts import draws
from tests.plates import MADE_AT

FE = Stock("Fe 12", "ferric nitrate", 400.0, "", MADE_AT, formula="Fe(NO3)3·9H2O", volume_ml=1000.0)
LIVER = Stock("LS 3", "liver of sulphur", 50.0, "", MADE_AT)
NOW = MADE_AT + timedelta(days=3)
RECIPE = Recipe(
    "silicon bronze",
    Undercoat("liver of sulphur", 0.5, 0.25, stock="LS 3"),
    (Coat("ferric nitrate", 0.5, 10, 105.0, stock="Fe 12"),),
)


# Worked examples of OpenStax, "Chemistry 2e" (2019), sections 3.1 and 3.4


def test_the_textbooks_dilution_of_copper_nitrate_comes_out() -> None:
    """Example 3.19: 0.850 L of 5.00 M copper nitrate made up to 1.80 L is 2.36 M."""
    made = water_down(850.0, 1.0, 0.850 / 1.80)
    assert made.total_ml == pytest.approx(1800.0) and made.strength * 5.00 == pytest.approx(2.36, abs=0.005)


def test_the_textbooks_volume_that_can_be_made_of_an_acid_comes_out() -> None:
    """Example 3.20: 11 ml of 0.45 M hydrobromic acid give 41 ml of 0.12 M."""
    assert water_down(11.0, 0.45, 0.12).total_ml == pytest.approx(41.0, abs=0.5)


def test_the_textbooks_volume_of_stock_for_a_dilution_comes_out() -> None:
    """Example 3.21: 5.00 L of 0.100 M potassium hydroxide take 0.314 L of 1.59 M."""
    assert dilute(5000.0, 0.100 / 1.59).stock_ml == pytest.approx(314.0, abs=0.5)
    assert dilute_from(5000.0, 0.0500, 0.795).stock_ml == pytest.approx(314.0, abs=0.5)


def test_the_textbooks_formula_masses_come_out() -> None:
    """Examples 3.1 and 3.2: ibuprofen 206.27, aluminium sulphate 342.14 (with the atomic weights of its own table)."""
    assert molar_mass_g_per_mol("C13H18O2") == pytest.approx(206.27, abs=0.03)
    assert molar_mass_g_per_mol("Al2(SO4)3") == pytest.approx(342.14, abs=0.03)


# Leftovers and rounding


def test_a_leftover_of_a_quarter_goes_into_a_half() -> None:
    """By hand: 100 ml of ¼ hold 25 ml of stock; 200 ml of ½ hold 100 ml: 75 ml of stock more, and 25 ml of water."""
    made = use_leftover(200.0, 0.5, 100.0, 0.25)
    assert (made.leftover_ml, made.stock_ml, made.water_ml) == (100.0, 75.0, 25.0)
    assert mixing_wording.pour_blend(made, "Fe 12") == (
        "25 ml of water, then 100 ml of the leftover, then 75 ml of Fe 12: 200 ml at half strength"
    )


@given(st.floats(5, 5000), st.floats(0.02, 1), st.floats(1, 5000), st.floats(0.02, 1))
def test_a_leftover_is_used_as_far_as_can_be_and_gives_what_was_wanted(volume, wanted, leftover, at_hand) -> None:
    made = use_leftover(volume, wanted, leftover, at_hand)
    assert made.total_ml == pytest.approx(volume)
    assert min(made.leftover_ml, made.stock_ml, made.water_ml) >= 0.0 and made.leftover_ml <= leftover
    assert made.leftover_ml * at_hand + made.stock_ml == pytest.approx(volume * wanted)
    if made.leftover_ml < leftover - 1e-6:  # no more of it goes in: no water, or no stock, is left to leave out
        assert min(made.water_ml, made.stock_ml) == pytest.approx(0.0, abs=1e-6 * volume)


def test_what_is_poured_together_is_rounded_to_the_cylinder_and_says_what_that_gives() -> None:
    made = measurable_blend(use_leftover(100.0, 0.5, 33.3, 0.25), 0.25)
    assert (made.leftover_ml, made.stock_ml, made.water_ml) == (33.0, 42.0, 25.0)
    assert made.strength == pytest.approx((33 * 0.25 + 42) / 100)
    with pytest.raises(RecipeError, match="too little to be measured"):
        measurable_blend(use_leftover(10.0, 0.5, 10.0, 0.5), 0.5, smallest_step_ml=100.0)


def test_a_weighing_says_what_the_balance_makes_of_it() -> None:
    exact = weigh_salt(250, 100, "Fe(NO3)3·9H2O", "Fe(NO3)3·6H2O")
    rounded = measurable_weighing(exact, 1.0)
    said = mixing_wording.weighed(exact, rounded, "Fe(NO3)3·6H2O")
    assert said == "Weigh 22 g of Fe(NO3)3·6H2O and fill up to 250 ml: 88 g/L (21.656 g would be exact)."
    assert mixing_wording.weighed(weigh_salt(500, 400), weigh_salt(500, 400), "lye") == (
        "Weigh 200 g of lye and fill up to 500 ml: 400 g/L."
    )


# What a pass takes


def test_before_anything_is_noted_a_usual_figure_is_given_and_said_to_be_from_memory() -> None:
    rate = pass_rate([], "Fine Mist")
    assert rate.uses == 0 and rate.ml_per_m2 == USUAL_ML_PER_M2["fine mist"]
    assert rate.sentence.startswith("Nothing noted yet.") and "from memory" in rate.sentence
    assert pass_rate([], "sponge").uses == 0


def test_what_was_used_is_learned_by_the_way_of_laying_on() -> None:
    mist = [Used(ml, 1000.0, 10, "fine mist") for ml in (70, 75, 80)]
    brush = [Used(ml, 1000.0, 10, "brush") for ml in (110, 120, 130, 125)]
    assert pass_rate([*mist, *brush], "Brush").ml_per_m2 == pytest.approx(122.5, rel=0.01)
    mixed = pass_rate([*mist[:1], *brush], "fine mist")
    assert not mixed.of_this_way and mixed.uses == 5 and "other ways too" in mixed.sentence
    assert pass_rate(mist[:1], "fine mist").of_this_way


def test_a_use_that_was_misnoted_by_ten_changes_little() -> None:
    good = [Used(ml, 1000.0, 10) for ml in (55, 60, 62, 58, 66, 61)]
    rate = pass_rate([*good, Used(600.0, 1000.0, 10)])
    assert rate.misnoted == 1 and rate.uses == 6 and "1 use far from the others not counted" in rate.sentence
    assert rate.ml_per_m2 == pytest.approx(pass_rate(good).ml_per_m2)


@pytest.mark.parametrize("count", [1, 3, 10, 30])
@pytest.mark.parametrize("wrong", [0.0, 0.05])
def test_the_interval_of_what_a_pass_takes_holds_the_next_use(count: int, wrong: float) -> None:
    """Invented hands: even to 0.3 of the logarithm, one use in twenty misnoted by five or ten; 95 % is promised.

    Pinned from both sides: few uses say little and may hold more; many must not be much too wide.
    """
    rng = np.random.default_rng(count)
    held, widths = [], []
    for _ in range(draws(1200, ci=500)):
        middle = math.log(60) + rng.normal(0, 0.4)
        seen = np.exp(middle + 0.3 * rng.normal(size=count))
        seen = np.where(rng.random(count) < wrong, seen * rng.choice([0.1, 5, 10], size=count), seen)
        low, high = pass_rate([Used(float(ml), 1e4, 1) for ml in seen]).interval
        held.append(low <= math.exp(middle + 0.3 * rng.normal()) <= high)
        widths.append(math.sqrt(high / low))
    assert np.mean(held) >= (0.9 if count == 1 and wrong else 0.93)
    assert np.median(widths) < {1: 3.5, 3: 2.75, 10: 2.2, 30: 2.0}[count]
    assert np.median(widths) > math.exp(1.96 * 0.3) * 0.98  # as wide as the hand is uneven, at least


# The plan for a recipe


def test_each_layer_is_mixed_from_the_bottle_that_the_recipe_names() -> None:
    uses = [SolutionUse("Fe 12", 0.5, 5.0, 100.0, 10, "fine mist")] * 5
    plan = mix_recipe(RECIPE, 400.0, [FE, LIVER], uses, NOW)
    under, coat = plan.layers
    assert (under.part, coat.part) == ("undercoat", "coat 1")
    # by hand: 5 ml on 100 cm² in 10 passes is 0.5 ml a pass, 20 ml for 400 cm² and 10 passes, 24 ml with a fifth spare
    assert coat.needed_ml == pytest.approx(24.0) and coat.likely_ml[0] < 20.0 < coat.likely_ml[1]
    assert coat.measured is not None and (coat.measured.stock_ml, coat.measured.water_ml) == (12.0, 12.0)
    assert coat.left_ml == 987.5 and coat.troubles == () and under.troubles == ()
    assert under.needed_ml == mixing.LEAST_ML
    assert plan.clashes[0].code == "sulphide_meets_acid"
    assert plan.mixed_recipe == RECIPE
    assert mixing_wording.layer_lines(coat)[0] == "Pour 12 ml of Fe 12 into 12 ml of water: half strength."
    assert {item.code for item in coat.hazards.statements} == {"H290", "H315", "H319"}  # 200 g/L


def test_another_bottle_converts_the_strength_and_says_so() -> None:
    new = replace(FE, label="Fe 13", grams_per_litre=500.0, made_at=MADE_AT + timedelta(days=1))
    plan = mix_recipe(RECIPE, 400.0, [FE, new, LIVER], [], NOW, {"coat 1": "Fe 13"})
    coat = plan.layers[1]
    assert coat.strength == pytest.approx(0.4) and coat.stock == new
    assert plan.mixed_recipe.coats[0].strength == pytest.approx(0.4)
    assert plan.mixed_recipe.coats[0].stock == "Fe 13"
    assert (
        "Half strength of Fe 12 is 0.4 of stock from Fe 13: as much of the salt goes on the metal (200 g/L)."
        in mixing_wording.layer_lines(coat)
    )
    same = mix_recipe(RECIPE, 400.0, [FE, replace(new, grams_per_litre=400.0), LIVER], [], NOW, {"coat 1": "Fe 13"})
    assert "Fe 13 holds as much as Fe 12: half strength stays." in mixing_wording.layer_lines(same.layers[1])


def test_a_bottle_that_is_used_up_gives_way_to_the_latest_of_its_chemical() -> None:
    gone = replace(FE, used_up_at=NOW)
    new = replace(FE, label="Fe 13", grams_per_litre=200.0, formula="")
    (_, coat) = mix_recipe(RECIPE, 400.0, [gone, new, LIVER], [], NOW).layers
    assert coat.stock == new and coat.strength == 1.0
    assert set(coat.troubles) == {mixing.USED_UP, mixing.FORMS_UNKNOWN}
    said = " ".join(mixing_wording.layer_lines(coat))
    assert "Fe 12 is used up." in said and "Fe 13 at full strength" in said and "not noted for both" in said


@pytest.mark.parametrize(
    ("stocks", "chosen", "code", "said"),
    [
        ([LIVER], {}, mixing.MISSING, "Make a bottle of ferric nitrate first"),
        ([FE, LIVER], {"coat 1": "LS 3"}, mixing.OTHER_CHEMICAL, "Choose a bottle of ferric nitrate: LS 3 holds"),
        (
            [replace(FE, used_up_at=NOW), replace(FE, label="weak", grams_per_litre=100.0), LIVER],
            {},
            mixing.TOO_WEAK,
            "Choose a stronger bottle than weak: half strength of Fe 12",
        ),
        ([replace(FE, volume_ml=2.0), LIVER], {}, mixing.NOT_ENOUGH, "Only about 2 ml are left in Fe 12"),
        ([replace(FE, volume_ml=2.0), LIVER], {}, mixing.NOT_ENOUGH, "make the next bottle first."),
        ([replace(FE, volume_ml=2.0), replace(FE, label="Fe 13"), LIVER], {}, mixing.NOT_ENOUGH, "mix it from Fe 13."),
        (
            [replace(FE, volume_ml=2.0), replace(FE, label="Fe 13", volume_ml=3.0), LIVER],
            {},
            mixing.NOT_ENOUGH,
            "make the next bottle first.",
        ),
        ([FE, replace(LIVER, made_at=MADE_AT - timedelta(days=40))], {}, mixing.OLD, "6 weeks old"),
        ([replace(FE, label="Fe 9"), LIVER], {}, mixing.NOT_NAMED, "The recipe names no bottle of ferric nitrate"),
    ],
)
def test_what_stands_in_the_way_of_a_layer_is_said_with_what_to_do(stocks, chosen, code, said) -> None:
    recipe = RECIPE if code != mixing.NOT_NAMED else replace(RECIPE, coats=(replace(RECIPE.coats[0], stock=None),))
    plan = mix_recipe(recipe, 400.0, stocks, [], NOW, chosen)
    (mix,) = (mix for mix in plan.layers if code in mix.troubles)
    assert said in " ".join(mixing_wording.layer_lines(mix))
    assert (mix.measured is None) == bool(set(mix.troubles) & mixing.STOPS)
    if mix.measured is None:
        assert plan.mixed_recipe.coats == recipe.coats


def test_an_area_that_cannot_be_is_refused() -> None:
    with pytest.raises(RecipeError, match="area"):
        mix_recipe(RECIPE, 0.0, [FE, LIVER], [], NOW)


def test_bottles_that_must_not_meet_are_named_by_the_place_where_they_stand() -> None:
    together = [replace(FE, kept_where="Acid cabinet"), replace(LIVER, kept_where="acid cabinet")]
    ((place, clashes),) = standing_together(together)
    assert place == "Acid cabinet" and clashes[0].code == "sulphide_meets_acid"
    assert standing_together([together[0], replace(LIVER, kept_where="window sill")]) == []
    assert standing_together([together[0], replace(together[1], used_up_at=NOW)]) == []
    assert standing_together([FE, LIVER]) == []  # where they stand was not noted


def test_acid_into_water_is_said_of_acids_and_of_what_is_not_known() -> None:
    for chemical, said in (("nitric acid", True), ("ferric nitrate", True), ("x", True), ("liver of sulphur", False)):
        assert ("Acid into water" in " ".join(mixing_wording.order_of_work(chemical))) == said


def test_the_bottles_that_a_recipe_points_at_are_offered_first_then_those_used_last() -> None:
    def bottle(label: str, day: int, chemical: str = "ferric nitrate", empty: bool = False) -> Stock:
        made_at = MADE_AT + timedelta(days=day)
        return Stock(label, chemical, 400.0, "", made_at, used_up_at=made_at if empty else None)

    shelf = [
        bottle("Fe 12", -1),
        LIVER,
        bottle("Fe 13", 2),
        bottle("Cu 1", 3, "cupric nitrate"),
        bottle("Fe 9", 9, empty=True),
    ]
    uses = [
        SolutionUse(label, 0.5, 5.0, at=MADE_AT + timedelta(days=day)) for label, day in (("Fe 13", 4), ("LS 3", 5))
    ]

    def offered(*recipes: Recipe, noted: list[SolutionUse] = uses) -> list[str]:
        return [stock.label for stock in mixing.likeliest_first(recipes, shelf, noted)]

    assert offered(RECIPE) == ["LS 3", "Fe 12", "Fe 13", "Cu 1", "Fe 9"]
    assert offered() == ["LS 3", "Fe 13", "Cu 1", "Fe 12", "Fe 9"], "used last, then made last"
    assert offered(noted=[]) == ["Cu 1", "Fe 13", "LS 3", "Fe 12", "Fe 9"]
    green = Recipe("bronze", None, (Coat("cupric nitrate", 0.5, 4, 100.0),))
    assert offered(green, RECIPE)[:3] == ["Cu 1", "LS 3", "Fe 12"], "unnamed, it is mixed from the last of its kind"
    gone = Recipe("bronze", None, (Coat("ferric nitrate", 0.5, 4, 100.0, stock="Fe 9"),))
    assert offered(gone)[0] == "Fe 13", "the bottle that it names is used up"


def test_the_only_bottle_is_named_though_it_is_noted_as_used_up() -> None:
    (_, coat) = mix_recipe(RECIPE, 400.0, [replace(FE, used_up_at=NOW), LIVER], [], NOW).layers
    said = " ".join(mixing_wording.layer_lines(coat))
    assert "Fe 12 is noted as used up: check what is in it." in said and "Fe 12 is used up." not in said


def test_a_layers_bottle_is_said_with_what_is_mixed_from_it_and_asked_for_where_it_is_not_known() -> None:
    under, (coat,) = RECIPE.undercoat, RECIPE.coats
    assert under is not None
    old = replace(FE, lot="F-1", used_up_at=NOW)
    for layer, stocks, says in (
        (coat, [FE, LIVER], "From Fe 12, 400 g/L of Fe(NO3)3·9H2O: mixed to 200 g/L."),
        (under, [FE, LIVER], "From LS 3, 50 g/L: mixed to 25 g/L."),
        (coat, [old], "From Fe 12, lot F-1, 400 g/L of Fe(NO3)3·9H2O: mixed to 200 g/L. Used up: mix another bottle"),
        (replace(coat, strength=None), [FE], "From Fe 12, 400 g/L of Fe(NO3)3·9H2O."),
        (coat, [LIVER], "it is not among the studio's bottles."),
        (replace(coat, stock=None), [FE], "the recipe names none."),
    ):
        assert says in mixing_wording.from_bottle(layer, stocks)


def test_a_recipe_that_names_no_bottle_means_the_one_that_plates_were_mixed_from_last_and_a_new_one_is_converted() -> (
    None
):
    new = replace(FE, label="Fe 13", grams_per_litre=250.0, made_at=MADE_AT + timedelta(days=2))
    planned = Recipe("bronze", coats=(Coat("Ferric Nitrate", 0.25, 8, 105.0),))
    older = Recipe("bronze", coats=(replace(RECIPE.coats[0], stock="Fe 9"),))
    shelf = [replace(FE, label="Fe 9"), FE, new]
    plates = [Trial(RECIPE, Reading((40, 12, 20)), made_at=MADE_AT + timedelta(days=1), id=1),
              Trial(older, Reading((40, 12, 20)), made_at=MADE_AT, id=2)]  # fmt: skip
    meant = mixing.last_mixed_from(plates, shelf)
    assert meant["ferric nitrate"].label == "Fe 12" and set(meant) == {"ferric nitrate"}, "LS 3 is on no shelf"

    (mix,) = mix_recipe(planned, 400.0, shelf, [], NOW, meant=meant).layers
    assert mix.stock is not None and mix.stock.label == "Fe 12" and mix.conversion is None and mix.strength == 0.25
    assert mixing.NOT_NAMED not in mix.troubles
    (told,) = mixing_wording.troubles_in_words(mix)
    assert "its strength is taken as a part of Fe 12, which plates were mixed from last (400 g/L" in told

    for chosen, stocks in (({"coat 1": "Fe 13"}, shelf), ({}, [replace(FE, used_up_at=NOW), new])):
        (mix,) = mix_recipe(
            planned, 400.0, stocks, [], NOW, chosen, meant=mixing.last_mixed_from(plates, stocks)
        ).layers
        assert mix.stock is not None and mix.stock.label == "Fe 13"
        assert mix.strength * 250.0 == pytest.approx(0.25 * 400.0), "as much of the salt goes on"
        assert "Quarter strength of Fe 12 is 0.4 of stock from Fe 13" in " ".join(mixing_wording.troubles_in_words(mix))
        assert mix.wanted is not None and mix.wanted.stock_ml == pytest.approx(0.4 * mix.needed_ml)


def test_what_the_cylinder_makes_of_a_strength_is_said_once_and_one_amount_stands_on_the_page() -> None:
    recipe = replace(RECIPE, undercoat=None, coats=(replace(RECIPE.coats[0], strength=0.25),))
    (mix,) = mix_recipe(recipe, 33.0, [FE], [], NOW).layers
    assert mix.measured is not None and mix.wanted is not None
    said = mixing_wording.comes_to(mix.wanted, replace(mix.measured, strength=0.24))
    assert said == "0.24 of stock, as the cylinder shows it; quarter strength was wanted"
    assert mixing_wording.comes_to(mix.wanted, mix.wanted) == "quarter strength"
    for area in (20.0, 33.0, 41.0, 57.0, 103.0):
        (mix,) = mix_recipe(recipe, area, [FE], [], NOW).layers
        assert mix.measured is not None
        assert mixing_wording.amount(mix).startswith(f"{mixing_wording.ml(mix.measured.total_ml)} for 10 passes")
