"""The commands that say what to make and how far to trust it, run: next, first-plates, mottled, advise, bench, trust.

Plates are of an invented process; photographs are drawn scenes.
"""

from __future__ import annotations

import csv
import json
import re

import numpy as np
import pytest

from matcher import Coat, Reading, Recipe, Seal, StageReading, Studio, Target, Trial, Undercoat
from matcher.cli.main import main
from matcher.colour.difference import delta_e_2000
from tests.benchmarks.invented_processes import film, recipe_space
from ui.suggestions.first_plates_form import FirstChoice

TARGET = "38,14,22"


@pytest.fixture(scope="module")
def studio(tmp_path_factory):
    """A studio of 24 invented plates, one of them waxed after it was read, with a target."""
    folder = tmp_path_factory.mktemp("studio") / "studio"
    process, rng, space = film(800), np.random.default_rng(4), recipe_space()
    with Studio.open(folder) as opened:
        kept = opened.save_target(Target("railing (invented)", Reading(lab=np.array([38.0, 14.0, 22.0])), 1.5))
        opened.record_all([process.trial(space[k], rng) for k in rng.choice(len(space), 24, replace=False)])
        coat = Coat("ferric nitrate", 0.5, 3, 105.0)
        light = Trial(
            Recipe("silicon bronze", None, (coat,)), Reading(lab=process.true(recipe_of(3))), target_id=kept.id
        )
        logged = opened.record(light)
        waxed = Reading(lab=logged.reading.lab - [4.0, -1.0, -1.0])
        opened.add_stage(logged.id, StageReading("waxed", waxed))
    return str(folder)


def recipe_of(passes):
    return Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, passes, 105.0),))


def coats_of(plates):
    return [coat for plate in plates for coat in plate["recipe"]["coats"]]


# next


def test_next_names_the_plate_most_worth_making_and_tells_if_the_target_is_in_reach(told, studio):
    document = told("next", "--lab", TARGET, "--studio", studio)
    (plate,) = document["plates"]
    assert plate["basis"] == "predicted" and 0 <= plate["chance_within_tolerance"] <= 1
    assert 0 <= document["reach"]["chance"] <= 1 and document["reach"]["sentence"].endswith(".")
    assert {caution["code"] for caution in document["cautions"]} >= {"defer"}
    assert document["limits"] == "everything in the log"


def test_next_chooses_the_plates_of_a_session_together(told, studio):
    plates = told("next", "--lab", TARGET, "--plates", 4, "--studio", studio)["plates"]
    assert len({json.dumps(plate["recipe"]) for plate in plates}) == 4
    assert [plate["rank"] for plate in plates] == [1, 2, 3, 4]


def test_next_says_it_in_words_and_says_what_is_out_of_reach(run, studio):
    code, out, err = run("next", "--lab", "60,-30,10", "--studio", studio)
    assert (code, err) == (0, "")
    assert "Out of reach" in out and "Caution: " in out


def test_a_kept_target_brings_its_own_tolerance(told, studio):
    assert told("next", "--target", 1, "--studio", studio)["tolerance_delta_e00"] == 1.5
    assert told("suggest", "--target", 1, "--studio", studio)["tolerance_delta_e00"] == 1.5
    assert told("suggest", "--target", 1, "--tolerance", 3, "--studio", studio)["tolerance_delta_e00"] == 3
    assert told("suggest", "--lab", TARGET, "--studio", studio)["tolerance_delta_e00"] == 2


# Limits


def test_limits_hold_for_every_recipe_named(told, studio):
    limits = ("--max-passes", 5, "--temperature", "100,110", "--strengths", "0.25,0.5", "--studio", studio)
    for command in (("suggest",), ("next", "--plates", 3)):
        document = told(*command, "--lab", TARGET, *limits)
        plates = document.get("plates") or document["suggestions"]
        assert plates and all(coat["passes"] <= 5 for coat in coats_of(plates))
        assert all(100 <= coat["surface_temp_c"] <= 110 for coat in coats_of(plates))
        assert {coat["strength"] for coat in coats_of(plates)} <= {0.25, 0.5}
        assert "at most 5 passes" in document["limits"]


def test_a_chemical_left_out_is_in_no_recipe_and_a_stock_is_all_there_is(told, studio):
    without = told("suggest", "--lab", TARGET, "--without", "Ferric  Nitrate", "--studio", studio)["suggestions"]
    assert without and "ferric nitrate" not in {coat["chemical"] for coat in coats_of(without)}
    only = told("suggest", "--lab", TARGET, "--stock", "ferric nitrate", "--studio", studio)["suggestions"]
    assert {coat["chemical"] for coat in coats_of(only)} <= {"ferric nitrate"}
    assert all(plate["recipe"]["undercoat"] is None for plate in only)
    bronze = told("next", "--lab", TARGET, "--alloy", "Silicon Bronze", "--studio", studio)["plates"]
    assert {plate["recipe"]["alloy"] for plate in bronze} == {"silicon bronze"}


# first-plates


def test_first_plates_cover_what_the_studio_owns(told, tmp_path):
    asked = ("--chemical", "ferric nitrate", "--chemical", "cupric nitrate", "--undercoat", "liver of sulphur")
    table = tmp_path / "first.csv"
    document = told(
        "first-plates", *asked, "--plates", 12, "--max-passes", 8, "--temperature", "100,110", "--table", table
    )
    assert len(document["plates"]) == 12
    coats = coats_of(document["plates"])
    assert {coat["chemical"] for coat in coats} == {"ferric nitrate", "cupric nitrate"}
    assert max(coat["passes"] for coat in coats) == 8 and {coat["surface_temp_c"] for coat in coats} <= {100, 105, 110}
    assert {"sulphide_meets_acid"} <= {caution["code"] for caution in document["cautions"]}
    rows = list(csv.DictReader(table.open(encoding="utf-8-sig")))
    assert [row["coat_1_chemical"] for row in rows] == [coat["chemical"] for coat in coats]


def test_page_and_command_line_choose_the_same_first_plates_for_the_same_answers(told):
    """Strengths, passes and heat differ from those that stand there at first."""
    answered = FirstChoice(
        count=12, alloy="silicon bronze", chemicals=("ferric nitrate",), undercoats=("liver of sulphur",),
        strengths=(0.25, 0.75), most_passes=7, temps_c=(98.0, 107.0), application="fine mist", seal=None,
    )  # fmt: skip
    asked = ("--chemical", "ferric nitrate", "--undercoat", "liver of sulphur", "--strengths", "0.25,0.75")
    document = told("first-plates", *asked, "--plates", 12, "--max-passes", 7, "--temperature", "98,107")
    plates = answered.checked().plates()
    assert [plate["recipe"] for plate in document["plates"]] == [recipe.as_dict() for recipe in plates]
    assert {recipe.coats[0].passes for recipe in plates} <= {1, 2, 3, 5, 7}
    assert {recipe.undercoat.strength for recipe in plates if recipe.undercoat} == {0.25, 0.75}


def test_first_plates_are_said_in_words(run):
    code, out, _ = run("first-plates", "--chemical", "ferric nitrate", "--plates", 4)
    assert code == 0 and out.count("silicon bronze; ferric nitrate at") == 4 and "Caution: " in out


# mottled


def test_mottled_finds_an_undercoat_for_the_darks_and_a_coat_for_the_lights(told, run, studio):
    process = film(800)
    coat = (Coat("ferric nitrate", 0.5, 4, 105.0),)
    darks = process.true(Recipe("silicon bronze", Undercoat("liver of sulphur", 1.0, 0.0), coat))
    lights = process.true(Recipe("silicon bronze", None, coat))
    with Studio.open(studio) as opened:
        target = opened.save_target(
            Target("pond (invented)", Reading((darks + lights) / 2, lights=lights, darks=darks))
        )
    document = told("mottled", "--target", target.id, "--count", 3, "--lights-share", 0.4, "--studio", studio)
    best = document["recipes"][0]
    assert best["recipe"]["undercoat"] is not None and best["lights_share"] == 0.4
    assert best["lights_lab"][0] > best["darks_lab"][0]
    distances = [plate["palette_distance"] for plate in document["plates"]]
    assert len(distances) == 3 and distances == sorted(distances)
    said = run("mottled", "--target", target.id, "--count", 3, "--lights-share", 0.4, "--studio", studio)[1]
    plates = said.split("Logged plates, the nearest in their lights and darks first:\n")[1].splitlines()[:3]
    shown = [
        f"{rank}.  palette ΔE00 {item['palette_distance']:.1f}, plate {item['trial']}: "
        for rank, item in enumerate(document["plates"], 1)
    ]
    assert all(line.startswith(start) for line, start in zip(plates, shown, strict=True))


# advise


def test_advise_says_what_to_do_after_a_plate_that_is_too_light(told, run, studio):
    """Plate 25 has three passes; the target here is what five would give: more passes are advised on this piece."""
    target = film(800).true(recipe_of(5))
    lab = ",".join(f"{value:.2f}" for value in target)
    document = told("advise", "--trial", 25, "--lab", lab, "--studio", studio)
    assert document["on_this_piece"][0]["recipe"]["coats"][0]["passes"] > 3
    assert "more pass" in document["sentence"] and document["trial"]["id"] == 25
    code, out, _ = run("advise", "--trial", 25, "--lab", lab, "--studio", studio)
    assert code == 0 and "On this piece: " in out


def test_advise_takes_the_target_that_the_plate_was_made_for(told, studio):
    document = told("advise", "--trial", 25, "--studio", studio)
    assert document["target"]["lab"] == [38.0, 14.0, 22.0] and document["tolerance_delta_e00"] == 1.5


# bench

STEPS = ("--alloy", "silicon bronze", "--coat", "ferric nitrate,0.5,8,105")


def lab_after(passes):
    return ",".join(f"{value:.2f}" for value in film(800).true(recipe_of(passes)))


def test_bench_follows_a_piece_and_says_when_to_stop(told, studio):
    bare = film(800).true(Recipe("silicon bronze"))
    after = ("--after", "0:" + ",".join(f"{value:.2f}" for value in bare), "--after", f"2:{lab_after(2)}")
    document = told("bench", "--lab", lab_after(4), *STEPS, *after, "--studio", studio)
    assert document["done"] == 2 and document["remaining"] == document["stop_at"] - 2
    assert abs(document["stop_at"] - 4) <= 1 and document["chance_within_tolerance"] > 0.5
    assert [reading["passes"] for reading in document["readings"]] == [0, 2]
    expected = float(
        delta_e_2000([float(v) for v in lab_after(4).split(",")], [float(v) for v in lab_after(2).split(",")])
    )
    assert document["readings"][1]["delta_e00"] == pytest.approx(expected)
    assert [row["passes"] for row in document["path"]][:3] == [0, 1, 2] and document["seal_shift"] is None


def test_bench_warns_of_what_is_past(run, told, studio):
    after = ("--after", f"8:{lab_after(8)}")
    document = told("bench", "--lab", lab_after(3), *STEPS, *after, "--studio", studio)
    assert document["past_the_target"] and document["instruction"] == "Stop: past the target"
    code, out, _ = run("bench", "--lab", lab_after(3), *STEPS, *after, "--studio", studio)
    assert code == 0 and "burnish back or start again" in out and re.search(r"laid +8 .*read at", out)


def test_bench_compares_an_unsealed_piece_with_a_sealed_target(told, run, studio):
    plain = told("bench", "--lab", lab_after(6), *STEPS, "--studio", studio)
    sealed = told("bench", "--lab", lab_after(6), *STEPS, "--sealed", "wax", "--studio", studio)
    assert sealed["seal_shift"]["pairs"] == 1 and sealed["seal_shift"]["shift"][0] < 0
    assert sealed["goal"]["lab"][0] > plain["goal"]["lab"][0] and sealed["stop_at"] <= plain["stop_at"]
    assert "Wax is expected to change this " in run(
        "bench", "--lab", TARGET, *STEPS, "--seal", "wax,3", "--studio", studio
    )[1]  # fmt: skip
    told_no = told("bench", "--lab", TARGET, *STEPS, "--seal", "wax,3", "--sealed", "no", "--studio", studio)
    assert told_no["seal_shift"] is None


def test_bench_takes_the_recipe_of_a_plate_or_the_best_suggested(told, studio):
    plate = told("bench", "--lab", TARGET, "--trial", 25, "--done", 1, "--studio", studio)
    assert plate["recipe"] == recipe_of(3).as_dict() and plate["done"] == 1
    assert told("bench", "--lab", TARGET, "--studio", studio)["recipe"]["coats"]


def test_readings_on_the_way_are_logged_and_a_later_one_teaches_the_seal(told, run, refused, tmp_path):
    """A plate logged with its readings at the bench, then waxed and read again: the bench knows the wax from it."""
    home = ("--studio", tmp_path / "own")
    after = ("--after", f"5:{lab_after(5)}", "--after", f"2:{lab_after(2)}")
    plate = ("--alloy", "silicon bronze", "--coat", "ferric nitrate,0.5,5,105", "--lab", lab_after(5))
    trial = told("record", *home, *plate, *after)["trial"]
    assert [step["stage"] for step in trial["stages"]] == ["pass 2", "pass 5"]
    waxed = told("trials", "add-reading", trial["id"], "--stage", "waxed", "--lab", "33,14,20", *home)["trial"]
    assert [step["stage"] for step in waxed["stages"]] == ["pass 2", "pass 5", "waxed"]
    assert told("bench", "--lab", TARGET, "--trial", 1, "--sealed", "wax", *home)["seal_shift"]["pairs"] == 1
    code, out, _ = run("trials", "add-reading", 1, "--stage", "cool", "--lab", "40,14,20", *home)
    assert code == 0 and "cool: L* 40.0" in out
    assert "99" in refused("trials", "add-reading", 99, "--stage", "waxed", "--lab", "33,14,20", *home)
    assert "a reading after 9 passes of 5" in refused("record", *home, *plate, "--after", "9:33,14,20")
    assert "--stage" in refused("trials", "add-reading", 1, "--stage", "varnished", "--lab", "33,14,20", *home)
    assert "either a photograph" in refused("trials", "add-reading", 1, "--stage", "waxed", *home)


# trust


def test_trust_says_how_far_the_predictions_can_be_trusted(told, run, studio):
    document = told("trust", "--studio", studio)
    assert document["left_out"]["plates"] == document["learned_from"] == document["logged"] == 25
    assert len(document["errors"]) == 25 and document["regions"] and document["growth"]
    assert f"within ΔE00 {document['left_out']['median_delta_e00']:.1f}" in document["in_words"]["left_out"]
    near = told("trust", "--target", 1, "--studio", studio)
    assert near["target"]["lab"] == [38.0, 14.0, 22.0]
    code, out, _ = run("trust", "--studio", studio)
    assert code == 0 and document["in_words"]["coverage"] in out


def test_trust_names_the_plates_that_disagree_with_the_others(told, studio, tmp_path):
    told("trials", "export", tmp_path / "log.zip", "--studio", studio)
    other = tmp_path / "other"
    told("trials", "import", tmp_path / "log.zip", "--studio", other)
    with Studio.open(other) as opened:
        near = opened.trials()[-1]
        odd = opened.record(Trial(near.recipe, Reading(lab=near.reading.lab + [-25.0, 10.0, -15.0])))
    document = told("trust", "--studio", other)
    assert {item["trial"] for item in document["contradictions"]} & {odd.id, near.id}


# Bad input

REFUSED = {
    "no target": (("next",), "either a photograph"),
    "two targets": (("next", "--lab", TARGET, "--target", "1"), "one target"),
    "an outline without a photograph": (("next", "--lab", TARGET, "--finish", "1,1 9,1 9,9"), "Leave out --finish"),
    "trust in an outline alone": (("trust", "--finish", "1,1 9,1 9,9"), "Leave out --finish"),
    "a profile without a photograph": (("suggest", "--lab", TARGET, "--camera", "ours"), "Leave out --camera"),
    "an empty log": (("next", "--lab", TARGET, "--studio", "EMPTY"), "log a plate first"),
    "too many plates": (("next", "--lab", TARGET, "--plates", "99"), "1 to 24"),
    "a misspelt chemical": (("suggest", "--lab", TARGET, "--without", "ferric nitrat"), "ferric nitrate"),
    "an alloy that is not there": (("suggest", "--lab", TARGET, "--alloy", "pewter"), "pewter"),
    "passes that are none": (("suggest", "--lab", TARGET, "--max-passes", "0"), "--max-passes"),
    "one temperature": (("suggest", "--lab", TARGET, "--temperature", "95"), "least and most"),
    "temperatures the wrong way": (("suggest", "--lab", TARGET, "--temperature", "115,95"), "least and most"),
    "a strength beyond stock": (("suggest", "--lab", TARGET, "--strengths", "0.5,2"), "fractions of stock"),
    "limits that leave nothing": (("suggest", "--lab", TARGET, "--temperature", "5,6"), "limits"),
    "first plates of nothing": (("first-plates",), "--chemical"),
    "too few first plates": (("first-plates", "--chemical", "ferric nitrate", "--plates", "1"), "4 to 96"),
    "a table in no folder": (
        ("first-plates", "--chemical", "ferric nitrate", "--table", "missing/t.csv"), "There is no folder"
    ),
    "a mottled finish that was typed": (("mottled", "--lab", TARGET), "Mark the finish on a photograph"),
    "no plate to advise on": (("advise", "--lab", TARGET), "--trial"),
    "an unknown plate": (("advise", "--trial", "999", "--lab", TARGET), "999"),
    "a plate made for no target": (("advise", "--trial", "1"), "made for none"),
    "a reading without passes": (("bench", "--lab", TARGET, *STEPS, "--after", "52,12,26"), "passes:L,a,b"),
    "a reading cut short": (("bench", "--lab", TARGET, *STEPS, "--after", "3:52,12"), "L,a,b"),
    "two readings after one pass": (
        ("bench", "--lab", TARGET, *STEPS, "--after", "3:52,12,26", "--after", "3:50,12,26"), "there are two"
    ),
    "a reading after passes not laid": (
        ("bench", "--lab", TARGET, *STEPS, "--after", "5:52,12,26", "--done", "3"), "only 3 are laid"
    ),
    "passes below none": (("bench", "--lab", TARGET, *STEPS, "--done", "-1"), "count of passes"),
    "an unknown seal": (("bench", "--lab", TARGET, *STEPS, "--sealed", "varnish"), "wax, lacquer, no"),
    "two recipes": (("bench", "--lab", TARGET, *STEPS, "--trial", "1"), "one recipe"),
    "trust with a tolerance": (("trust", "--tolerance", "-1"), "--tolerance"),
    "a tolerance that all are within": (("suggest", "--lab", TARGET, "--tolerance", "1e9"), "ΔE00 up to 50"),
    "bare metal": (("bench", "--lab", TARGET, "--alloy", "silicon bronze"), "no passes to follow"),
    "too few plates to trust": (("trust", "--studio", "EMPTY"), "log a plate first"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_bad_input_is_one_plain_sentence_with_exit_code_2(what, refused, studio, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Studio.open(tmp_path / "empty").close()
    arguments, words = REFUSED[what]
    where = () if "--studio" in arguments else ("--studio", studio)
    said = refused(*(tmp_path / "empty" if argument == "EMPTY" else argument for argument in arguments), *where)
    assert re.search(words, said), said


def test_three_plates_are_too_few_to_trust(told, refused, tmp_path):
    with Studio.open(tmp_path / "three") as opened:
        for passes in (2, 4, 6):
            opened.record(Trial(recipe_of(passes), Reading(lab=film(800).true(recipe_of(passes)))))
    assert "at least 4 plates" in refused("trust", "--studio", tmp_path / "three")
    assert told("next", "--lab", TARGET, "--studio", tmp_path / "three")["plates"]


def test_help_is_there_for_the_person_who_forgot(capsys):
    for name in ("next", "first-plates", "mottled", "advise", "bench", "trust", "trials add-reading"):
        with pytest.raises(SystemExit) as ended:
            main([*name.split(), "--help"])
        out, err = capsys.readouterr()
        assert ended.value.code == 0 and err == "" and out.startswith(f"usage: patina-matcher {name}")


def test_a_sealed_recipe_is_taken_by_its_word(told, studio, tmp_path):
    """A recipe file with a seal of the studio's own kind: its shift is a guess, and said to be one."""
    recipe = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0),), Seal("beeswax"))
    (tmp_path / "recipe.json").write_text(json.dumps(recipe.as_dict()))
    document = told("bench", "--lab", TARGET, "--recipe", tmp_path / "recipe.json", "--studio", studio)
    assert document["seal_shift"]["pairs"] == 0 and "a guess" in document["seal_shift"]["sentence"]


@pytest.mark.parametrize(
    ("typed", "wanted"), [(("--plates", "abc"), "give a whole number, not 'abc'"), (("--tolerance", "x"), "a number")]
)
def test_words_where_a_number_belongs_are_told_in_plain_words(typed, wanted, capsys):
    assert main(["next", "--lab", "36,17,29", *typed]) == 2
    said = capsys.readouterr()
    assert wanted in said.err
    assert "invalid" not in said.err and not said.out
