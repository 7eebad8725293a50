"""Labels' hazard statements: the published wording, which strength they hold from, and how long a solution keeps."""

from __future__ import annotations

import itertools
from datetime import timedelta
from pathlib import Path

import pytest

from matcher.errors import StudioError
from matcher.recipe.cautions import shipped_book, what_must_not_meet
from matcher.recipe.hazards import age_caution, age_in_words, hazards_of, keeping_of, read_hazards, shipped_hazards
from tests.plates import MADE_AT

PUBLISHED = {
    # UN, Globally Harmonized System (ST/SG/AC.10/30), Annex 3, tables A3.1.1 to A3.1.3: from memory.
    "H226": "Flammable liquid and vapour",
    "H271": "May cause fire or explosion; strong oxidizer",
    "H272": "May intensify fire; oxidizer",
    "H290": "May be corrosive to metals",
    "H301": "Toxic if swallowed",
    "H302": "Harmful if swallowed",
    "H314": "Causes severe skin burns and eye damage",
    "H315": "Causes skin irritation",
    "H318": "Causes serious eye damage",
    "H319": "Causes serious eye irritation",
    "H331": "Toxic if inhaled",
    "H332": "Harmful if inhaled",
    "H335": "May cause respiratory irritation",
    "H400": "Very toxic to aquatic life",
    "H410": "Very toxic to aquatic life with long lasting effects",
    "H411": "Toxic to aquatic life with long lasting effects",
    "H412": "Harmful to aquatic life with long lasting effects",
    # Regulation (EC) No 1272/2008, Annex II: from memory.
    "EUH031": "Contact with acids liberates toxic gas",
}
PRECAUTIONS = {
    # The same, Annex 3 section 2; held against the table p_statements.csv of the package chemical-safety 1.1.6 (PyPI),
    # which abridges some of the punctuation.
    "P210": "Keep away from heat, hot surfaces, sparks, open flames and other ignition sources. No smoking.",
    "P220": "Keep away from clothing and other combustible materials.",
    "P260": "Do not breathe dust/fume/gas/mist/vapours/spray.",
    "P261": "Avoid breathing dust/fume/gas/mist/vapours/spray.",
    "P270": "Do not eat, drink or smoke when using this product.",
    "P273": "Avoid release to the environment.",
    "P301+P316": "IF SWALLOWED: Get emergency medical help immediately.",
    "P301+P317": "IF SWALLOWED: Get medical help.",
    "P301+P330+P331": "IF SWALLOWED: Rinse mouth. Do NOT induce vomiting.",
    "P302+P361+P354": "IF ON SKIN: Take off immediately all contaminated clothing. Immediately rinse with water for "
    "several minutes.",
    "P304+P340": "IF INHALED: Remove person to fresh air and keep comfortable for breathing.",
    "P305+P351+P338": "IF IN EYES: Rinse cautiously with water for several minutes. Remove contact lenses, if present "
    "and easy to do. Continue rinsing.",
    "P305+P354+P338": "IF IN EYES: Immediately rinse with water for several minutes. Remove contact lenses, if present "
    "and easy to do. Continue rinsing.",
    "P405": "Store locked up.",
}


def codes(chemical: str, grams_per_litre: float | None = None) -> list[str]:
    return [statement.code for statement in hazards_of(chemical, grams_per_litre).statements]


def test_the_statements_have_the_wording_of_the_published_system() -> None:
    book = shipped_hazards()
    assert {code: book.statements[code] for code in PUBLISHED} == PUBLISHED
    ours = {statement.code: statement.text for statement, _ in book.precautions}
    assert {code: ours[code] for code in PRECAUTIONS} == PRECAUTIONS


@pytest.mark.parametrize(
    ("chemical", "grams_per_litre", "signal", "expected"),
    [
        # Specific limits of Regulation (EC) No 1272/2008, Annex VI, from memory: nitric acid 5 and 65 %, sulphuric acid
        # 5 and 15 %, hydrochloric acid 10 and 25 %, hydrogen peroxide 5, 8, 35 and 50 %.
        ("nitric acid", 49.9, "Warning", {"H315", "H319"}),
        ("nitric acid", 50.0, "Danger", {"H314"}),
        ("nitric acid", 650.0, "Danger", {"H272", "H314"}),
        ("sulphuric acid", 50.0, "Warning", {"H315", "H319"}),
        ("sulphuric acid", 150.0, "Danger", {"H314"}),
        ("hydrochloric acid", 100.0, "Warning", {"H315", "H319", "H335"}),
        ("hydrochloric acid", 250.0, "Danger", {"H314", "H335"}),
        ("hydrogen peroxide", 50.0, "Warning", {"H319"}),
        ("hydrogen peroxide", 80.0, "Danger", {"H318"}),
        ("hydrogen peroxide", 350.0, "Danger", {"H315", "H318", "H335"}),
        ("hydrogen peroxide", 500.0, "Danger", {"H272", "H314"}),
        # Usual safety data sheets, from memory.
        ("ferric nitrate nonahydrate", None, "Warning", {"H272", "H315", "H319"}),
        ("AgNO3", None, "Danger", {"H272", "H314", "H410"}),
        ("copper sulfate", None, "Danger", {"H302", "H318", "H410"}),
        ("Liver of Sulfur", None, "Danger", {"H314", "H400", "EUH031"}),
    ],
)
def test_what_holds_depends_on_the_strength(chemical, grams_per_litre, signal, expected) -> None:
    found = hazards_of(chemical, grams_per_litre)
    assert expected <= {statement.code for statement in found.statements} and found.signal == signal
    assert "from memory" in found.source and "safety data sheet decides" in found.defer


@pytest.mark.parametrize("chemical", sorted(shipped_hazards().chemicals))
def test_a_stronger_solution_is_never_called_less_dangerous(chemical: str) -> None:
    ranks = {"": 0, "Warning": 1, "Danger": 2}
    strengths = (0.1, 2.5, 10, 25, 30, 50, 80, 100, 150, 200, 250, 265, 350, 500, 650, 900, 2000)
    signals = [ranks[hazards_of(chemical, grams).signal] for grams in strengths]
    assert signals == sorted(signals) and signals[-1] <= ranks[hazards_of(chemical).signal]
    for grams in (*strengths, None):
        assert not {"H314", "H318"} <= set(codes(chemical, grams))  # the burn says the eye damage too


def test_every_hazard_of_the_body_says_how_to_keep_it_off_and_what_to_do() -> None:
    for chemical, grams in itertools.product(shipped_hazards().chemicals, (None, 20.0, 60.0, 400.0)):
        found = hazards_of(chemical, grams)
        said = {statement.code for statement in found.precautions}
        if {"H314", "H318"} & set(codes(chemical, grams)):
            assert {"P280", "P305+P354+P338"} <= said and "P305+P351+P338" not in said
        if "H319" in codes(chemical, grams):
            assert {"P280", "P305+P351+P338"} <= said


def test_of_a_chemical_that_is_not_listed_nothing_is_said_that_could_be_taken_for_harmless() -> None:
    found = hazards_of("grandfather's secret", 400.0)
    assert not found.known and found.statements == ()
    assert found.sentence.startswith("Nothing is known here of grandfather's secret")
    assert "safety data sheet" in found.sentence


def test_every_chemical_with_cautions_has_its_hazards() -> None:
    assert set(shipped_hazards().chemicals) == set(shipped_book().family_of)


def test_a_solution_that_the_trade_says_spoils_gets_a_caution_when_it_is_old() -> None:
    """Liver of sulphur, mixed, weakens within days to weeks: common practice, no source."""
    for name in ("liver of sulphur", "potassium polysulfide"):
        assert age_caution(name, MADE_AT, MADE_AT + timedelta(days=14)) is None
        old = age_caution(name, MADE_AT, MADE_AT + timedelta(days=40))
        assert old is not None and "5 weeks old" in old.message and "scrap metal" in old.message
        assert "no source" in old.source
    assert age_caution("ferric nitrate", MADE_AT, MADE_AT + timedelta(days=4000)) is None
    assert age_caution("something new", MADE_AT, MADE_AT + timedelta(days=4000)) is None
    assert "brown bottle" in keeping_of("silver nitrate") and keeping_of("ferric nitrate") == ""


def test_an_age_is_said_in_what_one_counts_it_in() -> None:
    said = [age_in_words(days) for days in (0, 1, 13, 14, 69, 70, 729, 730, 4000)]
    assert said == [
        "made today", "1 day old", "13 days old", "2 weeks old", "9 weeks old", "2 months old", "23 months old",
        "1 year old", "10 years old",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("ones", "others", "word"),
    [
        ("liver of sulfur", "vinegar", "hydrogen sulphide"),
        ("ammonium sulphide", "ferric nitrate", "hydrogen sulphide"),
        ("ammonia", "silver nitrate", "can explode"),
        ("household ammonia", "copper nitrate", "never keep it"),
        ("bleach", "hydrochloric acid", "chlorine"),
        ("bleach", "cupric nitrate", "chlorine"),
        ("bleach", "ammonia", "chloramines"),
        ("bleach", "sal ammoniac", "chloramines"),
        ("nitric acid", "muriatic acid", "burst"),
        ("ammonia", "nitric acid", "spit"),
        ("hydrogen peroxide", "ferric chloride", "bursts"),
        ("sodium thiosulfate", "nitric acid", "sulphur dioxide"),
    ],
)
def test_what_must_not_meet_is_said_whichever_comes_first(ones: str, others: str, word: str) -> None:
    for pair in ((ones, others), (others, ones)):
        found = what_must_not_meet(pair)
        assert any(word in caution.message for caution in found)
        assert all(ones in caution.message and others in caution.message for caution in found)


def test_what_may_stand_together_is_not_warned_of() -> None:
    for pair in (("ferric nitrate", "cupric nitrate"), ("ammonia", "liver of sulphur"), ("ammonia", "cupric sulphate")):
        assert what_must_not_meet(pair) == ()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[chemicals",
        "source=''\ndefer=''\nprecautions=[]\n[signals]\n[statements]\n[chemicals.x]\nsolid=[]\nbands=[]",
        "source=''\ndefer=''\nprecautions=[]\n[signals]\n[statements]\n[chemicals.ammonia]\nsolid=['H999']\n"
        "bands=[{from_g_per_l=0, of=[]}]",
        "source=''\ndefer=''\nprecautions=[]\n[signals]\n[statements]\n[chemicals.ammonia]\nsolid=[]\n"
        "bands=[{from_g_per_l=5, of=[]}]",
    ],
)
def test_a_file_of_hazards_that_is_broken_gets_one_sentence(tmp_path: Path, text: str) -> None:
    file = tmp_path / "hazards.toml"
    file.write_text(text)
    with pytest.raises(StudioError, match="cannot be read"):
        read_hazards(file)
