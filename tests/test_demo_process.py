"""The invented patina process: the facts of the trade hold in it, for random recipes and for other processes of
its family. Facts are "common practice, no source" unless a source stands beside the check; all values invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.colour.cielab import lab_to_lch
from matcher.colour.types import Floats
from matcher.errors import RecipeError
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from tests.rendering.process import (
    WAVELENGTHS_NM,
    WORKING_TOP_C,
    DemoProcess,
    film_over,
    finish_spectrum,
    invented_process,
    plate_lab,
    spectrum_lab,
)

ALLOYS = ("silicon bronze", "tin bronze", "yellow brass")
BASES = ("liver of sulphur", "ammonium sulphide", "cupric sulphate")
CHEMICALS = ("ferric nitrate", "cupric nitrate", "bismuth nitrate", "silver nitrate")
TINY = 1e-9

PROCESSES = [invented_process(), *(invented_process(np.random.default_rng(seed)) for seed in (1, 2, 3))]


processes = st.sampled_from(PROCESSES)
strengths = st.sampled_from([0.1, 0.25, 0.5, 0.75, 1.0])
working_temps = st.floats(80.0, WORKING_TOP_C)
undercoats = st.builds(Undercoat, st.sampled_from(BASES), strengths, st.floats(0.0, 1.0))


def coats_of(chemicals: tuple[str, ...]) -> st.SearchStrategy[Coat]:
    ways = st.sampled_from(["fine mist", "brush", "drops", "streams"])
    return st.builds(Coat, st.sampled_from(chemicals), strengths, st.integers(1, 20), working_temps, ways)


seals = st.none() | st.builds(Seal, st.sampled_from(["wax", "lacquer"]), st.integers(1, 4), st.booleans())
ferric_coats = coats_of(("ferric nitrate",))
recipes = st.builds(
    Recipe,
    st.sampled_from(ALLOYS),
    st.none() | undercoats,
    st.lists(coats_of(CHEMICALS), max_size=3).map(tuple),
    seals,
)
ferric_recipes = st.builds(Recipe, st.sampled_from(ALLOYS), st.none() | undercoats, st.tuples(ferric_coats), seals)


def hue(lab: Floats) -> float:
    return float(lab_to_lch(lab)[2])


def chroma(lab: Floats) -> float:
    return float(lab_to_lch(lab)[1])


def with_coat(recipe: Recipe, **changes: object) -> Recipe:
    return replace(recipe, coats=(replace(recipe.coats[0], **changes),))  # type: ignore[arg-type]


@given(processes, recipes)
def test_every_finish_is_a_reflectance_of_a_real_patina(process: DemoProcess, recipe: Recipe) -> None:
    wavelengths_nm, reflectance = process.finish_spectrum(recipe)
    assert wavelengths_nm[0] == 380 and wavelengths_nm[-1] == 730 and reflectance.shape == wavelengths_nm.shape
    assert reflectance.min() > 0.0 and reflectance.max() < 0.75
    lightness, chroma_ab, _ = lab_to_lch(process.true_lab(recipe))
    assert 9 < lightness < 85 and chroma_ab < 50


@given(processes, ferric_recipes, st.integers(1, 20))
def test_more_passes_never_lighten_a_ferric_coat(process: DemoProcess, recipe: Recipe, more: int) -> None:
    longer = with_coat(recipe, passes=recipe.coats[0].passes + more)
    assert process.true_lab(longer)[0] <= process.true_lab(recipe)[0] + TINY


@given(processes, ferric_recipes, st.floats(0.0, 50.0))
def test_more_heat_never_lightens_a_ferric_coat(process: DemoProcess, recipe: Recipe, more_c: float) -> None:
    hotter = with_coat(recipe, surface_temp_c=min(WORKING_TOP_C, recipe.coats[0].surface_temp_c + more_c))
    assert process.true_lab(hotter)[0] <= process.true_lab(recipe)[0] + TINY


@given(processes, ferric_recipes, st.floats(0.0, 1.0))
def test_a_stronger_solution_never_lightens_a_ferric_coat(process: DemoProcess, recipe: Recipe, share: float) -> None:
    strength = recipe.coats[0].strength
    stronger = with_coat(recipe, strength=strength + share * (1 - strength))
    assert process.true_lab(stronger)[0] <= process.true_lab(recipe)[0] + TINY


@given(processes, recipes, undercoats, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_darker_undercoat_never_lightens_the_result(
    process: DemoProcess, recipe: Recipe, under: Undercoat, stronger: float, less_burnished: float
) -> None:
    darker = replace(
        under,
        strength=under.strength + stronger * (1 - under.strength),
        burnish=under.burnish * (1 - less_burnished),
    )
    light, dark = replace(recipe, undercoat=under), replace(recipe, undercoat=darker)
    assert process.true_lab(dark)[0] <= process.true_lab(light)[0] + TINY


@given(processes, recipes, undercoats, st.floats(0.0, 1.0))
def test_burnishing_back_lightens(process: DemoProcess, recipe: Recipe, under: Undercoat, further: float) -> None:
    burnished = replace(under, burnish=under.burnish + further * (1 - under.burnish))
    before, after = replace(recipe, undercoat=under), replace(recipe, undercoat=burnished)
    assert process.true_lab(after)[0] >= process.true_lab(before)[0] - TINY


@given(processes, ferric_recipes, st.builds(Undercoat, st.sampled_from(BASES), strengths, st.floats(0.0, 0.8)))
def test_over_an_undercoat_the_same_ferric_dose_lands_darker_and_less_yellow(
    process: DemoProcess, recipe: Recipe, under: Undercoat
) -> None:
    on_metal = process.true_lab(replace(recipe, undercoat=None))
    on_base = process.true_lab(replace(recipe, undercoat=under))
    assert on_base[0] < on_metal[0] and on_base[2] < on_metal[2]


@given(processes, undercoats, st.floats(60.0, 120.0), st.floats(1.0, 40.0))
def test_reheating_an_undercoat_darkens_it(
    process: DemoProcess, under: Undercoat, heat_c: float, more_c: float
) -> None:
    """The faintest coat imaginable carries the heat, so that what darkens is the base."""

    def reheated(temp_c: float) -> float:
        base = process.undercoats[under.chemical]
        coat = Coat("ferric nitrate", 1e-9, 1, temp_c)
        assert base.heat_absorption.min() > 0
        return float(process.true_lab(Recipe("silicon bronze", replace(under, burnish=0.5), (coat,)))[0])

    assert reheated(heat_c + more_c) < reheated(heat_c)


@given(processes, recipes.filter(lambda recipe: recipe.seal is None), st.integers(1, 4), st.booleans())
def test_wax_darkens_and_deepens_and_lacquer_does_less(
    process: DemoProcess, recipe: Recipe, coats: int, hot: bool
) -> None:
    bare = process.true_lab(recipe)
    waxed = process.true_lab(replace(recipe, seal=Seal("wax", coats, hot)))
    lacquered = process.true_lab(replace(recipe, seal=Seal("lacquer", coats, hot)))
    assert waxed[0] < lacquered[0] < bare[0]
    assert chroma(waxed) / waxed[0] > chroma(bare) / bare[0]
    if chroma(bare) > 10:  # a grey has no depth of colour to gain
        assert chroma(waxed) > chroma(bare)


@given(processes, st.sampled_from(ALLOYS), strengths)
def test_liver_of_sulphur_is_warmer_and_the_other_bases_blacker_and_bluer(
    process: DemoProcess, alloy: str, strength: float
) -> None:
    warm = process.true_lab(Recipe(alloy, Undercoat("liver of sulphur", strength)))
    for chemical in ("ammonium sulphide", "cupric sulphate"):
        other = process.true_lab(Recipe(alloy, Undercoat(chemical, strength)))
        assert other[1] < warm[1] and other[2] < warm[2]
        assert chroma(other) < chroma(warm)


@given(processes, st.sampled_from(CHEMICALS), strengths, st.integers(1, 20), st.floats(1.0, 40.0))
def test_too_hot_or_too_cool_a_surface_takes_less_and_less_evenly(
    process: DemoProcess, chemical: str, strength: float, passes: int, away_c: float
) -> None:
    def laid(temp_c: float) -> tuple[float, float]:
        return process.laid_down(Coat(chemical, strength, passes, temp_c))

    for edge_c, step_c in ((95.0, -away_c), (145.0, away_c)):
        (there, even_there), (beyond, even_beyond) = laid(edge_c), laid(edge_c + step_c)
        assert beyond < there and even_beyond > even_there


@given(processes, st.sampled_from(CHEMICALS), strengths, st.integers(1, 20), working_temps)
def test_a_fine_mist_lies_more_evenly_than_drops_and_streams(
    process: DemoProcess, chemical: str, strength: float, passes: int, temp_c: float
) -> None:
    mist, drops, streams = (
        process.laid_down(Coat(chemical, strength, passes, temp_c, way))[1] for way in ("fine mist", "drops", "streams")
    )
    assert mist < drops and mist < streams


@pytest.mark.parametrize("process", PROCESSES)
def test_ferric_on_bare_metal_moves_from_pale_yellow_through_orange_brown_to_deep_red_brown(
    process: DemoProcess,
) -> None:
    def ferric(strength: float, passes: int, temp_c: float) -> Floats:
        return process.true_lab(Recipe("silicon bronze", None, (Coat("ferric nitrate", strength, passes, temp_c),)))

    bare, thin, middle, full = (
        process.true_lab(Recipe("silicon bronze")), ferric(0.25, 1, 100), ferric(0.5, 5, 104), ferric(1.0, 20, 120),
    )  # fmt: skip
    assert np.linalg.norm(thin - bare) < 9, "a thin film is clear"
    assert thin[2] > bare[2] and hue(thin) > 62
    assert 50 < hue(middle) < hue(thin) - 2 and chroma(middle) > chroma(thin)
    assert hue(full) < 52 and full[0] < 34 < middle[0]


@given(processes, recipes)
def test_no_two_plates_of_a_recipe_are_quite_alike_but_near(process: DemoProcess, recipe: Recipe) -> None:
    rng = np.random.default_rng(5)
    plates = np.stack([process.plate_lab(recipe, rng) for _ in range(8)])
    assert 0.01 < np.linalg.norm(plates.std(axis=0)) < 5


def test_a_film_without_scattering_is_the_beer_lambert_double_pass() -> None:
    ground, absorption = np.linspace(0.1, 0.6, 36), np.linspace(1.0, 0.1, 36)
    expected = ground * np.exp(-2 * absorption * 0.7)
    np.testing.assert_allclose(film_over(ground, absorption, np.zeros(36), 0.7), expected, rtol=1e-9)


def test_a_thick_scattering_film_reaches_the_kubelka_munk_limit() -> None:
    """R∞ = 1 + K/S − √((K/S)² + 2K/S), Kubelka and Munk 1931."""
    absorption, scattering = np.linspace(0.01, 2.0, 36), np.full(36, 0.5)
    ratio = absorption / scattering
    limit = 1 + ratio - np.sqrt(ratio**2 + 2 * ratio)
    for ground in (0.02, 0.9):
        np.testing.assert_allclose(film_over(np.full(36, ground), absorption, scattering, 500.0), limit, atol=1e-9)


@pytest.mark.filterwarnings("ignore:Aligning")
def test_cielab_of_spectra_agrees_with_colour_science() -> None:
    """The chart's published spectra (BabelColor Average), integrated by colour-science from the same tables."""
    import colour

    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    d50 = colour.SDS_ILLUMINANTS["D50"]
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    for patch in colour.SDS_COLOURCHECKERS["BabelColor Average"].values():
        xyz = colour.sd_to_XYZ(patch.copy(), cmfs, d50, method="Integration") / 100
        expected = colour.XYZ_to_Lab(xyz, white)
        ours = spectrum_lab(np.interp(WAVELENGTHS_NM, patch.wavelengths, patch.values))
        assert np.linalg.norm(ours - expected) < 0.05


def test_a_flat_eighteen_per_cent_is_the_grey_card() -> None:
    """CIE 15: L* = 116 · 0.18^(1/3) − 16 = 49.50."""
    np.testing.assert_allclose(spectrum_lab(np.full(36, 0.18)), [116 * 0.18 ** (1 / 3) - 16, 0, 0], atol=1e-6)


def test_the_same_generator_gives_the_same_plate() -> None:
    recipe = Recipe("tin bronze", None, (Coat("silver nitrate", 0.5, 3, 100.0),))
    first, second = (plate_lab(recipe, np.random.default_rng(4)) for _ in range(2))
    np.testing.assert_array_equal(first, second)
    assert finish_spectrum(recipe)[1].shape == (36,)


@pytest.mark.parametrize(
    "recipe",
    [
        Recipe("gilding metal"),
        Recipe("tin bronze", Undercoat("moon dust", 0.5)),
        Recipe("tin bronze", None, (Coat("moon dust", 0.5, 1, 100.0),)),
    ],
)
def test_what_the_process_does_not_know_is_said_in_one_sentence(recipe: Recipe) -> None:
    with pytest.raises(RecipeError, match="those of the invented process"):
        finish_spectrum(recipe)
