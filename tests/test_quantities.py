"""Dilutions, weighings and what a bench can measure."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from matcher.errors import RecipeError
from matcher.recipe.quantities import (
    CYLINDER_STEPS_ML,
    SALTS,
    dilute,
    dilute_from,
    form_factor,
    hydrate,
    measurable_dilution,
    measurable_weighing,
    molar_mass_g_per_mol,
    solution_for_area,
    strengthen,
    water_down,
    weigh_salt,
)

volumes = st.floats(1.0, 10_000.0)
strengths = st.floats(0.01, 1.0)


@pytest.mark.parametrize(
    ("formula", "published"),
    [
        ("Fe(NO3)3·9H2O", 403.999),  # handbook and PubChem value, from memory
        ("Cu(NO3)2·3H2O", 241.60),  # handbook and PubChem value, from memory
        ("AgNO3", 169.87),  # handbook value, from memory
        ("CuSO4·5H2O", 249.68),  # handbook value, from memory
        ("H2O", 18.015),  # handbook value, from memory
    ],
)
def test_molar_masses_agree_with_published_ones(formula: str, published: float) -> None:
    # Published values were worked out with atomic weights of other years: they differ in the fifth figure.
    assert molar_mass_g_per_mol(formula) == pytest.approx(published, rel=3e-5)


def test_brackets_within_brackets_are_understood() -> None:
    assert molar_mass_g_per_mol("Fe4(Fe(CN)6)3") == pytest.approx(7 * 55.845 + 18 * (12.011 + 14.007))


@pytest.mark.parametrize(
    "formula", ["", "Xx", "Fe(NO3", "Fe)", "fe", "2", "Fe(NO3)3·", "H2O·9", None, "Fe()", "(((", "H1234", "Fe\n", "é"]
)
def test_what_is_no_formula_is_refused(formula: object) -> None:
    with pytest.raises(RecipeError):
        molar_mass_g_per_mol(formula)  # type: ignore[arg-type]


@given(st.text(st.sampled_from("FeNOCuAgH()0123456789·. "), max_size=20))
def test_any_text_is_a_formula_with_a_mass_or_is_refused(text: str) -> None:
    try:
        assert molar_mass_g_per_mol(text) >= 0
    except RecipeError as error:
        assert str(error).endswith(".")


def test_half_a_litre_of_stock_from_the_hydrate_takes_the_water_into_account() -> None:
    # By hand: 200 g of Fe(NO3)3 (241.857 g/mol) is 0.82693 mol, which is 334.08 g of the nonahydrate (403.992 g/mol).
    weighing = weigh_salt(500, 400, "Fe(NO3)3", hydrate("ferric nitrate", 9))
    assert weighing.salt_g == pytest.approx(334.08, abs=0.01)
    assert weighing.grams_per_litre == 400


def test_without_formulae_the_salt_is_weighed_as_it_is_meant() -> None:
    assert weigh_salt(250, 100).salt_g == 25.0


def test_the_bottle_must_hold_a_form_of_the_salt_that_is_meant() -> None:
    with pytest.raises(RecipeError, match="not a form of"):
        weigh_salt(500, 400, "Fe(NO3)3", "Cu(NO3)2·3H2O")
    with pytest.raises(RecipeError, match="both formulae"):
        weigh_salt(500, 400, "Fe(NO3)3")


@given(st.sampled_from(sorted(SALTS)), st.integers(0, 12), st.integers(0, 12))
def test_going_to_another_hydrate_and_back_loses_nothing(salt: str, one: int, other: int) -> None:
    there, back = hydrate(salt, one), hydrate(salt, other)
    assert form_factor(there, back) * form_factor(back, there) == pytest.approx(1.0)
    assert (form_factor(there, back) >= 1.0) == (other >= one)


@given(volumes, strengths)
def test_a_dilution_fills_the_volume_and_holds_the_salt(volume: float, strength: float) -> None:
    mixed = dilute(volume, strength)
    assert mixed.total_ml == pytest.approx(volume)
    assert mixed.stock_ml == pytest.approx(volume * strength)
    assert mixed.water_ml >= 0


@given(volumes, strengths, strengths)
def test_thinning_keeps_the_amount_of_salt(volume: float, one: float, other: float) -> None:
    strong, weak = max(one, other), min(one, other)
    poured = dilute_from(volume, weak, strong)
    assert poured.stock_ml * strong == pytest.approx(volume * weak)  # C1·V1 = C2·V2
    thinned = water_down(volume, strong, weak)
    assert volume * strong == pytest.approx(thinned.total_ml * weak)


@given(volumes, strengths, st.floats(0.01, 0.99))
def test_strengthening_keeps_the_amount_of_salt(volume: float, one: float, other: float) -> None:
    weak, strong = min(one, other), max(one, other)
    assume(strong < 1.0)
    added = strengthen(volume, weak, strong)
    assert volume * weak + added == pytest.approx((volume + added) * strong)


def test_no_water_makes_a_solution_stronger() -> None:
    with pytest.raises(RecipeError, match="stronger solution"):
        dilute_from(100, 0.5, 0.25)
    with pytest.raises(RecipeError, match="Add stock"):
        water_down(100, 0.25, 0.5)
    with pytest.raises(RecipeError, match="Add water"):
        strengthen(100, 0.5, 0.25)
    with pytest.raises(RecipeError, match="fresh stock"):
        strengthen(100, 0.5, 1.0)


def test_the_solution_for_a_piece_follows_area_and_passes() -> None:
    # By hand: 0.5 m², six passes of 40 ml per m², a fifth to spare: 0.5 · 6 · 40 · 1.2 = 144 ml.
    assert solution_for_area(5000, 6, 40, spare=0.2) == pytest.approx(144.0)


@given(st.floats(0.5, 5000.0), st.floats(0.05, 1.0))
def test_a_measured_dilution_is_on_graduations_and_says_its_true_strength(volume: float, strength: float) -> None:
    wanted = dilute(volume, strength)
    try:
        measured = measurable_dilution(wanted)
    except RecipeError:
        assert wanted.stock_ml < CYLINDER_STEPS_ML[0][1]
        return
    for asked, shown in ((wanted.stock_ml, measured.stock_ml), (wanted.water_ml, measured.water_ml)):
        step = next((step for holds, step in CYLINDER_STEPS_ML if asked <= holds), CYLINDER_STEPS_ML[-1][1])
        assert shown / step == pytest.approx(round(shown / step), abs=1e-6)
    assert measured.strength == pytest.approx(measured.stock_ml / measured.total_ml)


@given(st.floats(20.0, 2000.0), st.floats(0.2, 1.0))
def test_rounding_to_a_cylinder_moves_the_strength_by_little(volume: float, strength: float) -> None:
    # Half a graduation is at most 2.5 % of what a cylinder that is needed holds (10 ml in a 25 ml one).
    wanted = dilute(volume, strength)
    assert measurable_dilution(wanted).strength == pytest.approx(strength, rel=0.05)


def test_thinning_a_leftover_keeps_its_own_strength_when_rounded() -> None:
    wanted = dilute_from(100, 0.25, 0.5)
    measured = measurable_dilution(wanted)
    assert (measured.stock_ml, measured.water_ml) == (50, 50)
    assert measured.strength == pytest.approx(0.25)


def test_a_drop_cannot_be_measured() -> None:
    with pytest.raises(RecipeError, match="two steps"):
        measurable_dilution(dilute(1.0, 0.01))


@given(st.floats(10.0, 5000.0), st.floats(1.0, 1000.0))
def test_a_measured_weighing_says_its_true_strength(volume: float, grams_per_litre: float) -> None:
    wanted = weigh_salt(volume, grams_per_litre)
    assume(wanted.salt_g > 0.05)
    measured = measurable_weighing(wanted)
    assert measured.grams_per_litre * volume / 1000 == pytest.approx(measured.salt_g)
    assert abs(measured.salt_g - wanted.salt_g) <= 0.05 + 1e-9
    assert math.isclose(measured.salt_g * 10, round(measured.salt_g * 10), abs_tol=1e-6)


def test_less_than_the_balance_shows_is_refused() -> None:
    with pytest.raises(RecipeError, match="larger volume"):
        measurable_weighing(weigh_salt(1, 10))


@pytest.mark.parametrize("bad", [0, -1, float("nan"), float("inf"), "much", None, True])
def test_a_quantity_that_is_no_quantity_gets_one_sentence(bad: object) -> None:
    for attempt in (
        lambda: dilute(bad, 0.5),  # type: ignore[arg-type]
        lambda: dilute(100, bad if bad is not True else 2),  # type: ignore[arg-type]
        lambda: weigh_salt(bad, 100),  # type: ignore[arg-type]
        lambda: weigh_salt(100, bad),  # type: ignore[arg-type]
        lambda: solution_for_area(bad, 3, 40),  # type: ignore[arg-type]
        lambda: solution_for_area(100, bad if bad is not True else 1.5, 40),  # type: ignore[arg-type]
    ):
        with pytest.raises(RecipeError) as told:
            attempt()
        assert str(told.value).endswith(".")
