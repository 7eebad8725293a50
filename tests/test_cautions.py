"""That the usual cautions are said, with their sources, for what a recipe asks for."""

import itertools
import re
from pathlib import Path

import pytest
from hypothesis import given

from matcher.errors import StudioError
from matcher.recipe.cautions import (
    Caution,
    CautionBook,
    cautions_for,
    cautions_for_all,
    known_chemical,
    read_book,
    shipped_book,
)
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from tests.plates import a_recipe, recipes


def a_coat(chemical: str, temp_c: float = 104.0) -> Recipe:
    return Recipe("silicon bronze", coats=(Coat(chemical, 0.5, 3, temp_c),))


def codes(recipe: Recipe) -> list[str]:
    return [caution.code for caution in cautions_for(recipe)]


@given(recipes)
def test_every_list_ends_by_deferring_to_local_codes_and_training(recipe: Recipe) -> None:
    found = cautions_for(recipe)
    assert found[-1].code == "defer"
    for word in ("Local codes", "safety data sheet", "licensed practice"):
        assert word in found[-1].message
    assert len(set(found)) == len(found)
    assert all(caution.message and caution.source for caution in found)
    assert not any("{" in c.message or "}" in c.message for c in found if c.code not in ("unknown",))


def test_a_polysulphide_and_an_acid_nitrate_must_not_meet_and_this_is_said_first() -> None:
    first = cautions_for(a_recipe())[0]
    assert first.code == "sulphide_meets_acid"
    assert "liver of sulphur" in first.message
    assert "ferric nitrate and cupric nitrate" in first.message
    assert "hydrogen sulphide" in first.message


@pytest.mark.parametrize(
    ("sulphide", "acid"),
    [
        *itertools.product(
            ["liver of sulphur", "Liver of Sulfur", "potassium polysulphide", "ammonium sulfide"],
            ["ferric nitrate", "iron(III) nitrate", "copper nitrate", "bismuth nitrate", "AgNO3", "nitric acid"],
        )
    ],
)
def test_other_names_for_the_two_warn_all_the_same(sulphide: str, acid: str) -> None:
    recipe = Recipe("bronze", Undercoat(sulphide, 0.5), (Coat(acid, 0.5, 3, 104),))
    assert codes(recipe)[0] == "sulphide_meets_acid"
    turned = Recipe("bronze", Undercoat(acid, 0.5), (Coat(sulphide, 0.5, 3, 104),))
    assert codes(turned)[0] == "sulphide_meets_acid"


def test_the_two_sides_that_must_not_meet_are_told_apart() -> None:
    day = [a_coat(name) for name in ("liver of sulphur", "ferric nitrate", "ammonium sulphide", "silver nitrate")]
    first = cautions_for_all([*day, a_coat("bismuth nitrate")])[0].message
    assert first.startswith(
        "Keep liver of sulphur and ammonium sulphide apart from ferric nitrate, silver nitrate and bismuth nitrate:"
    )
    assert "the two sides" in first


def test_cupric_sulphate_is_known_as_a_copper_salt_that_no_sulphide_may_meet() -> None:
    # Copper dusts and mists 1 mg/m³ as Cu: NIOSH, from memory.
    said = {caution.code: caution for caution in cautions_for(a_coat("copper sulfate"))}
    assert "1 mg/m³ as Cu" in said["copper_salt"].message
    assert not {"unknown", "oxidiser", "iron_salt"} & set(said)
    over = Recipe("bronze", Undercoat("liver of sulphur", 0.5), (Coat("cupric sulphate", 0.5, 3, 104),))
    assert codes(over)[0] == "sulphide_meets_acid"


def test_a_polysulphide_alone_doesnt_warn_of_meeting_acid() -> None:
    assert "sulphide_meets_acid" not in codes(a_coat("liver of sulphur"))
    assert "hydrogen_sulphide" in codes(a_coat("liver of sulphur"))


def test_hot_ferric_nitrate_names_the_published_limits() -> None:
    # Nitric acid 2 ppm (8 h), 4 ppm (15 min): NIOSH, OSHA 1989 rule notes. NO2 1 ppm (15 min): NIOSH, from memory.
    # Soluble iron salts 1 mg/m³ as Fe: ACGIH; NIOSH comments.
    said = {caution.code: caution for caution in cautions_for(a_coat("ferric nitrate"))}
    assert "2 ppm over 8 hours and 4 ppm over 15 minutes" in said["nitrogen_oxides"].message
    assert "1 ppm over 15 minutes" in said["nitrogen_oxides"].message
    assert "7697-37-2" in said["nitrogen_oxides"].source
    assert "1 mg/m³" in said["iron_salt"].message
    assert "from memory" in said["nitrogen_oxides"].source
    assert {"oxidiser", "dilution", "torch", "rinse_water"} <= set(said)


def test_hydrogen_sulphide_has_its_ceiling_and_says_that_the_nose_fails() -> None:
    # Ceiling 10 ppm: NIOSH, from memory.
    (caution,) = (c for c in cautions_for(a_coat("liver of sulphur")) if c.code == "hydrogen_sulphide")
    assert "10 ppm" in caution.message
    assert "sense of smell" in caution.message


def test_cupric_nitrate_carries_no_iron() -> None:
    assert "iron_salt" not in codes(a_coat("cupric nitrate"))


def test_wax_on_hot_metal_and_wax_on_cold_metal_are_told_apart() -> None:
    assert "hot_wax" in codes(Recipe("bronze", seal=Seal("wax", 3, hot=True)))
    cold = codes(Recipe("bronze", seal=Seal("wax", 3, hot=False)))
    assert "hot_wax" not in cold
    assert "wax" in cold


def test_lacquer_warns_of_its_vapour() -> None:
    assert "lacquer" in codes(Recipe("bronze", seal=Seal("lacquer")))


def test_metal_hotter_than_drops_bear_is_remarked_upon() -> None:
    assert "over_hot" in codes(a_coat("ferric nitrate", 180.0))
    assert "over_hot" not in codes(a_coat("ferric nitrate", 104.0))


def test_cold_work_needs_no_torch() -> None:
    assert "torch" not in codes(a_coat("ferric nitrate", 20.0))


def test_of_a_chemical_that_is_not_listed_it_says_that_it_knows_nothing() -> None:
    (caution,) = (c for c in cautions_for(a_coat("grandfather's secret {0}")) if c.code == "unknown")
    assert "Nothing is known here of grandfather's secret {0}" in caution.message
    assert "safety data sheet" in caution.message


def test_bare_metal_gets_the_deferral_only() -> None:
    assert codes(Recipe("silicon bronze")) == ["defer"]


@pytest.mark.parametrize(
    ("name", "listed"),
    [
        ("Iron (III) nitrate", "ferric nitrate"),
        ("FERRIC NITRATE", "ferric nitrate"),
        ("copper nitrate", "cupric nitrate"),
        ("potassium polysulfide", "liver of sulphur"),
        ("titanium white", "titanium dioxide"),
        ("iron nitride", None),
    ],
)
def test_a_chemical_is_known_by_its_other_names(name: str, listed: str | None) -> None:
    assert known_chemical(name) == listed


def test_every_name_stands_for_one_chemical_and_every_nitrate_is_an_acid_oxidiser() -> None:
    book: CautionBook = shipped_book()
    for name, family in book.family_of.items():
        assert book.chemical(name) == name
        if name.endswith("nitrate"):
            assert family.acidic
            assert family.oxidiser


def test_every_source_is_a_body_or_says_that_there_is_none() -> None:
    book = shipped_book()
    every: list[Caution] = [*book.steps.values(), *(c for family in book.family_of.values() for c in family.cautions)]
    for caution in every:
        assert re.search(r"NIOSH|OSHA|ACGIH|no source|No source|tool's own", caution.source), caution


def test_a_file_of_cautions_that_is_broken_gets_one_sentence(tmp_path: Path) -> None:
    for text in ("", "[chemicals", "[chemicals.x]\nfamily = 'none'\n[families]\n[steps]"):
        file = tmp_path / "cautions.toml"
        file.write_text(text)
        with pytest.raises(StudioError, match="cannot be read"):
            read_book(file)
