"""The commands on solutions: the shelf, weighing and pouring, mixing for a recipe, what was used, labels."""

from __future__ import annotations

import subprocess

import pytest

from matcher.cli.main import whole_command_line
from tests.test_sheets import needs_poppler

IRON = ("--chemical", "ferric nitrate", "--grams-per-litre", 400, "--formula", "Fe(NO3)3·9H2O", "--volume", 1000)


@pytest.fixture
def shelf(told, tmp_path):
    """A studio with a bottle of ferric nitrate and an old one of liver of sulphur, side by side."""
    studio = tmp_path / "studio"
    told("solutions", "add", "Fe 12", *IRON, "--by", "Ana", "--where", "cabinet", "--studio", studio)
    old = ("--chemical", "liver of sulphur", "--grams-per-litre", 50, "--made-at", "2025-03-31", "--where", "cabinet")
    told("solutions", "add", "LS 3", *old, "--studio", studio)
    return studio


def test_the_shelf_says_what_each_bottle_is_and_what_to_mind(told, run, shelf):
    document = told("solutions", "--studio", shelf)
    old, iron = document["bottles"]
    assert (iron["label"], iron["made_by"], iron["left_ml"], iron["caution"]) == ("Fe 12", "Ana", 1000.0, None)
    assert old["caution"]["code"] == "old_solution" and old["hazards"]["signal_word"] == "Danger"
    assert document["side_by_side"][0]["cautions"][0]["code"] == "sulphide_meets_acid"
    code, out, err = run("solutions", "list", "--studio", shelf)
    assert (code, err) == (0, "")
    assert "Fe 12: ferric nitrate, 400 g/L of Fe(NO3)3·9H2O" in out and "Don't keep these side by side (cabinet)" in out


def test_what_becomes_of_a_bottle_is_noted(told, refused, shelf):
    assert told("solutions", "open", "Fe 12", "--studio", shelf)["bottle"]["opened_at"]
    assert told("solutions", "open", "Fe 12", "--undo", "--studio", shelf)["bottle"]["opened_at"] is None
    assert told("solutions", "move", "Fe 12", "window", "--studio", shelf)["bottle"]["kept_where"] == "window"
    assert told("solutions", "used-up", "Fe 12", "--studio", shelf)["bottle"]["left_ml"] == 0.0
    assert [b["label"] for b in told("solutions", "--studio", shelf)["bottles"]] == ["LS 3"]
    assert len(told("solutions", "--all", "--studio", shelf)["bottles"]) == 2
    assert "no stock labelled 'Fe 99'" in refused("solutions", "open", "Fe 99", "--studio", shelf)
    assert "before it was made" in refused("solutions", "open", "LS 3", "--on", "2025-03-01", "--studio", shelf)
    assert "label of its own" in refused(
        "solutions", "add", "LS 3", "--chemical", "liver of sulphur", "--grams-per-litre", 60, "--studio", shelf
    )


def test_the_salt_at_hand_is_weighed_in_place_of_another_hydrate(told, run):
    """By hand: 400 g/L of the nonahydrate (403.99 g/mol) is 0.99012 mol/L, which is 346.47 g of the hexahydrate
    (349.95 g/mol) in a litre; on a balance that shows whole grams 346 g."""
    asked = ("--volume", 1000, "--meant", "Fe(NO3)3·9H2O", "--at-hand", "Fe(NO3)3·6H2O", "--balance", 1)
    document = told("solutions", "weigh", *IRON[:4], *asked)
    assert document["salt_g"] == 346.0 and document["exact_salt_g"] == pytest.approx(346.47, abs=0.02)
    assert document["grams_per_litre"] == 346.0
    assert [one["code"] for one in document["hazards_of_the_salt"]["statements"]] == ["H272", "H315", "H319"]
    code, out, _ = run("solutions", "weigh", *IRON[:4], *asked)
    assert code == 0 and out.startswith("Weigh 346 g of Fe(NO3)3·6H2O and fill up to 1,000 ml: 346 g/L")
    assert "Acid into water, never water into acid." in out and "safety data sheet decides" in out


def test_dilutions_go_both_ways(told, refused):
    down = told("solutions", "dilute", "--volume", 200, "--strength", 0.25, "--at-hand", 0.5)
    assert (down["stock_ml"], down["water_ml"], down["strength"]) == (100.0, 100.0, 0.25)
    up = told("solutions", "dilute", "--volume", 200, "--strength", 0.5, "--leftover", "100,0.25")
    assert (up["leftover_ml"], up["stock_ml"], up["water_ml"]) == (100.0, 75.0, 25.0)
    assert "stronger solution" in refused("solutions", "dilute", "--volume", 200, "--strength", 0.5, "--at-hand", 0.25)
    assert "leftover as" in refused("solutions", "dilute", "--volume", 200, "--strength", 0.5, "--leftover", "some")


RECIPE = ("--alloy", "bronze", "--undercoat", "liver of sulphur,0.5", "--coat", "ferric nitrate,0.5,10,105")


def test_what_was_used_is_learned_and_mixed_by(told, run, refused, shelf):
    before = told("solutions", "mix", *RECIPE, "--area", 400, "--studio", shelf)["layers"][1]
    assert before["rate"]["uses"] == 0 and before["rate"]["sentence"].startswith("Nothing noted yet")
    asked = ("--ml", 5, "--strength", 0.5, "--area", 100, "--passes", 10, "--laid-on-as", "fine mist")
    noted = told("solutions", "use", "Fe 12", *asked, "--studio", shelf)
    assert noted["bottle"]["left_ml"] == 997.5 and noted["rate"]["ml_per_m2_per_pass"] == pytest.approx(50.0)
    document = told("solutions", "mix", *RECIPE, "--area", 400, "--studio", shelf)
    under, coat = document["layers"]
    assert coat["pour"] == {"stock_ml": 12.0, "water_ml": 12.0, "strength": 0.5}
    assert set(under["troubles"]) == {"not_named", "old"}
    assert document["clashes"][0]["code"] == "sulphide_meets_acid"
    assert document["mixed_recipe"]["coats"][0]["stock"] == "Fe 12"
    code, out, err = run("solutions", "mix", *RECIPE, "--area", 400, "--studio", shelf)
    assert (code, err) == (0, "") and "Pour 12 ml of Fe 12 into 12 ml of water: half strength." in out
    told("solutions", "take-back-use", noted["use"]["uid"], "--studio", shelf)
    assert told("solutions", "--studio", shelf)["uses"] == []
    assert "PART=LABEL" in refused("solutions", "mix", *RECIPE, "--bottle", "coat 7=Fe 12", "--studio", shelf)
    assert "no bottle labelled" in refused("solutions", "mix", *RECIPE, "--bottle", "coat 1=Fe 99", "--studio", shelf)
    assert "area" in refused("solutions", "mix", *RECIPE, "--area", 0, "--studio", shelf)


def test_a_new_bottle_for_a_logged_plate_converts_its_strength_and_says_so(told, run, shelf, tmp_path):
    recipe = tmp_path / "recipe.json"
    coat = '{"chemical": "ferric nitrate", "strength": 0.5, "passes": 6, "surface_temp_c": 105, "stock": "Fe 12"}'
    recipe.write_text(f'{{"alloy": "bronze", "coats": [{coat}]}}')
    told("record", "--recipe", recipe, "--lab", "38,14,22", "--studio", shelf)
    new = ("--chemical", "iron(III) nitrate", "--grams-per-litre", 500, "--formula", "Fe(NO3)3·9H2O")
    told("solutions", "add", "Fe 13", *new, "--studio", shelf)
    code, out, _ = run("solutions", "mix", "--trial", 1, "--bottle", "coat 1=Fe 13", "--studio", shelf)
    assert code == 0 and "Half strength of Fe 12 is 0.4 of stock from Fe 13" in out
    assert told("solutions", "mix", "--trial", 1, "--studio", shelf)["layers"][0]["stock"] == "Fe 12"


@needs_poppler
def test_labels_are_written_for_the_shelf_and_for_what_is_mixed(told, refused, shelf, tmp_path):
    file = tmp_path / "labels.pdf"
    told("solutions", "--labels", file, "--paper", "letter", "--studio", shelf)
    words = subprocess.run(["pdftotext", str(file), "-"], capture_output=True, text=True, check=True).stdout
    assert "Fe 12" in words and "LS 3" in words and "WARNING" in words and "DANGER" in words
    assert "already" in refused("solutions", "--labels", file, "--studio", shelf)
    told("solutions", "list", "--labels", file, "--only", "Fe 12", "--overwrite", "--studio", shelf)
    words = subprocess.run(["pdftotext", str(file), "-"], capture_output=True, text=True, check=True).stdout
    assert "LS 3" not in words
    told("solutions", "mix", *RECIPE, "--labels", file, "--overwrite", "--by", "Bo", "--studio", shelf)
    words = subprocess.run(["pdftotext", str(file), "-"], capture_output=True, text=True, check=True).stdout
    assert "half strength Fe 12" in words and "by Bo" in words
    assert "Choose the paper" in refused(
        "solutions", "--labels", tmp_path / "x.pdf", "--paper", "A3", "--studio", shelf
    )


def test_the_help_of_every_part_is_there(run):
    for part in ("list", "add", "open", "used-up", "move", "weigh", "dilute", "mix", "use", "take-back-use"):
        with pytest.raises(SystemExit) as left:
            whole_command_line().parse_args(["solutions", part, "--help"])
        assert left.value.code == 0
