"""Each command, run: what it prints for a person and with --json, and how it refuses.

Photographs are drawn scenes whose every value is known; recipes, plates and names are invented.
"""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
import zipfile
from pathlib import Path

import colour
import numpy as np
import pytest
from PIL import Image

from matcher import Coat, Reading, Recipe, Studio, Trial, Undercoat
from matcher.card.card import load_cards
from matcher.cli.main import main
from tests import scenes

FINISH = "420,120 740,120 740,460 420,460"
SECOND = "440,480 700,480 700,580 440,580"
CARD_CORNERS = "60,150 300,150 300,330 60,330"
NEGATIVE_LAB = "30.5,-12,-4.5"


@pytest.fixture(scope="module")
def drawn():
    """A picture's bytes: a brown plate and a darker one beside a grey card, in a warm light."""
    scene = scenes.Scene().lay(scenes.box(60, 150, 300, 330), scenes.GREY)
    scene.lay(scenes.box(420, 120, 740, 460), scenes.BROWN).lay(scenes.box(440, 480, 700, 580), (25.0, 5.0, 6.0))
    return scenes.png(scene.codes(cast=(1.15, 1.0, 0.8)))


@pytest.fixture
def plate(drawn, tmp_path):
    path = tmp_path / "plate.png"
    path.write_bytes(drawn)
    return str(path)


@pytest.fixture
def studio(tmp_path):
    """A studio folder with three invented plates."""
    folder = tmp_path / "studio"
    with Studio.open(folder) as opened:
        for passes, lab in ((2, (52.0, 15.0, 33.0)), (6, (39.0, 13.5, 21.0)), (10, (30.0, 9.0, 11.0))):
            recipe = Recipe(
                "silicon bronze",
                Undercoat("liver of sulphur", 0.5, 0.25),
                (Coat("ferric nitrate", 0.5, passes, 105.0),),
            )
            opened.record(Trial(recipe, Reading(lab=lab)))
    return str(folder)


def test_read_gives_the_finish_in_the_contracts_shape(told, plate):
    document = told("read", plate, "--finish", FINISH, "--finish", SECOND)
    assert document["card"]["kind"] == "grey card"
    first, second = document["finishes"]
    # The scene's own CIELAB, seen through white balance and 8 bits.
    assert colour.delta_E(np.array(first["lab"]), np.array(scenes.BROWN), method="CIE 2000") < 1.0
    assert colour.delta_E(np.array(second["lab"]), np.array((25.0, 5.0, 6.0)), method="CIE 2000") < 1.0
    assert np.linalg.eigvalsh(first["covariance"]).min() > 0
    assert all(set(warning) == {"code", "message"} for warning in document["warnings"])
    assert document["photo"]["encoding"] == "sRGB" and document["photo"]["width"] == 800


def test_read_takes_the_card_as_it_is_told(told, plate):
    found = told("read", plate, "--finish", FINISH)
    marked = told("read", plate, "--finish", FINISH, "--card-corners", CARD_CORNERS)
    assert marked["card"]["found_by"] == "corners"
    np.testing.assert_allclose(marked["finishes"][0]["lab"], found["finishes"][0]["lab"], atol=0.5)
    lighter = told("read", plate, "--finish", FINISH, "--card-corners", CARD_CORNERS, "--card-lab", "55,0,0")
    assert lighter["finishes"][0]["lab"][0] > marked["finishes"][0]["lab"][0] + 2
    without = told("read", plate, "--finish", FINISH, "--no-card")
    assert without["card"] is None and "no-card" in {warning["code"] for warning in without["warnings"]}
    assert np.trace(without["finishes"][0]["covariance"]) > 2 * np.trace(found["finishes"][0]["covariance"])
    neutral = told("read", plate, "--finish", FINISH, "--neutral", "80,170 280,170 280,310 80,310")
    assert neutral["card"]["found_by"] == "neutral spot"
    assert told("read", plate, "--finish", FINISH, "--card", "any")["card"]["kind"] == "grey card"


def test_read_takes_a_card_that_the_studio_has_measured(told, plate):
    told("cards", "--add", "our grey", "--kind", "grey card", "--lab", "55,0,0")
    ours = told("read", plate, "--finish", FINISH, "--card", "our grey", "--card-corners", CARD_CORNERS)
    same = told("read", plate, "--finish", FINISH, "--card-lab", "55,0,0", "--card-corners", CARD_CORNERS)
    assert ours["finishes"][0]["lab"] == same["finishes"][0]["lab"]


def test_read_overrules_the_encoding(told, plate):
    linear = told("read", plate, "--finish", FINISH, "--card-corners", CARD_CORNERS, "--encoding", "linear")
    assert linear["photo"]["encoding"] == "linear"


def test_read_says_it_in_words(run, plate):
    code, out, err = run("read", plate, "--finish", FINISH)
    assert (code, err) == (0, "")
    assert out.startswith("plate.png: 800 × 600 pixels, sRGB; 18 % grey card, found by shape\nFinish 1: L* 3")


def test_suggest_ranks_the_studios_plates(told, studio, plate):
    by_lab = told("suggest", "--lab", "38,14,22", "--studio", studio, "--count", 2, "--tolerance", 3)
    first, second = by_lab["suggestions"]
    assert (first["rank"], first["trial"], first["basis"]) == (1, 2, "logged")
    low, high = first["delta_e00_interval"]
    assert low <= first["delta_e00"] <= high and first["delta_e00"] < second["delta_e00"]
    expected = colour.delta_E((38.0, 14.0, 22.0), (39.0, 13.5, 21.0), method="CIE 2000")
    assert first["delta_e00"] == pytest.approx(expected, abs=1e-6)
    assert 0 <= first["chance_within_tolerance"] <= 1 and by_lab["tolerance_delta_e00"] == 3
    assert {caution["code"] for caution in by_lab["cautions"]} >= {"defer"}
    by_photo = told("suggest", plate, "--finish", FINISH, "--studio", studio)
    assert by_photo["suggestions"][0]["trial"] == 2 and len(by_photo["suggestions"]) == 3


def test_suggest_works_from_a_kept_target(told, studio):
    told("targets", "--studio", studio, "--add", "door handles (invented)", "--lab", "31,9,11")
    assert told("suggest", "--studio", studio, "--target", 1)["suggestions"][0]["trial"] == 3


def test_suggest_says_it_in_words(run, studio):
    code, out, _ = run("suggest", "--lab", "38,14,22", "--studio", studio)
    assert code == 0
    assert "1.  ΔE00 " in out and "silicon bronze; liver of sulphur undercoat" in out and "Caution: " in out


STEPS = [
    *("--alloy", "silicon bronze", "--surface", "sandblasted", "--undercoat", "liver of sulphur,0.5,0.25"),
    *("--coat", "ferric nitrate,0.5,6,105,fine mist", "--coat", "cupric nitrate,0.25,2,98", "--seal", "wax,3,hot"),
]


def test_record_logs_a_plate_step_by_step(told, run, studio):
    document = told("record", "--studio", studio, *STEPS, "--lab", "36,13,20", "--by", "invented", "--notes", "even")
    trial = document["trial"]
    assert trial["id"] == 4 and trial["reading"]["lab"] == [36.0, 13.0, 20.0] and trial["notes"] == "even"
    recipe = trial["recipe"]
    assert recipe["surface"] == "sandblasted" and recipe["undercoat"]["burnish"] == 0.25
    assert [coat["passes"] for coat in recipe["coats"]] == [6, 2]
    assert [coat["application"] for coat in recipe["coats"]] == ["fine mist", "fine mist"]
    assert recipe["seal"] == {"kind": "wax", "coats": 3, "hot": True}
    assert {"hot_wax", "defer"} <= {caution["code"] for caution in document["cautions"]}
    assert told("suggest", "--studio", studio, "--lab", "36,13,20")["suggestions"][0]["trial"] == 4


def test_record_keeps_the_photograph(told, studio, plate):
    trial = told("record", "--studio", studio, *STEPS, plate, "--finish", FINISH)["trial"]
    with Studio.open(studio) as opened:
        assert opened.photo_path(trial["photos"][0]).read_bytes() == Path(plate).read_bytes()
    assert trial["reading"]["photo"] == trial["photos"][0] and trial["reading"]["source"] == "photograph"


def test_record_takes_a_recipe_from_a_file(told, studio, tmp_path):
    suggestion = told("suggest", "--studio", studio, "--lab", "38,14,22")["suggestions"][0]
    for name, body in (("recipe", suggestion["recipe"]), ("suggestion", suggestion)):
        (tmp_path / f"{name}.json").write_text(json.dumps(body))
        made = told("record", "--studio", studio, "--recipe", tmp_path / f"{name}.json", "--lab", "38,14,22",
                    "--made-at", "2025-03-31")  # fmt: skip
        assert made["trial"]["recipe"] == suggestion["recipe"] and made["trial"]["made_at"].startswith("2025-03-3")


def test_record_logs_for_a_target(told, studio):
    told("targets", "--studio", studio, "--add", "railing (invented)", "--lab", NEGATIVE_LAB, "--tolerance", 1.5)
    trial = told("record", "--studio", studio, *STEPS, "--lab", "36,13,20", "--target", 1)["trial"]
    assert trial["target_id"] == 1


def test_trials_lists_what_is_logged(told, run, studio):
    assert [trial["id"] for trial in told("trials", "--studio", studio)["trials"]] == [1, 2, 3]
    assert told("--studio", studio, "trials", "list") == told("trials", "list", "--studio", studio)
    code, out, _ = run("trials", "--studio", studio)
    assert code == 0 and out.count("ferric nitrate") == 3


def test_trials_are_found_by_colour_by_what_was_done_and_by_likeness(told, run, studio):
    told("trials", "set-aside", 1, "the torch was too near", "--studio", studio)

    def listed(*asked):
        return [trial["id"] for trial in told("trials", "list", "--studio", studio, *asked)["trials"]]

    assert listed("--colour", "dark brown") == [] and listed("--colour", "brown") == [2, 3]
    assert listed("--colour", "brown", "--colour", "yellow", "--all") == [1, 2, 3]
    assert listed("--find", "FERRIC burnished") == [2, 3] and listed("--find", "cupric") == []
    assert listed("--alloy", "Silicon-Bronze", "--seal", "none") == [2, 3]
    near = told("trials", "list", "--studio", studio, "--like", "30,9,11")
    assert [trial["id"] for trial in near["trials"]] == [3, 2] and near["delta_e00"][0] == 0
    assert listed("--like", 2) == [2, 3] and listed("--like", 2, "--order", "colour") == listed("--order", "colour")
    assert not told("trials", "list", "--studio", studio)["left"]
    assert told("trials", "list", "--studio", studio, "--count", "1")["left"]
    _, out, _ = run("trials", "list", "--studio", studio, "--count", "1", "--order", "oldest")
    assert out.splitlines()[-1] == "Listed: 1 plate. There are more: ask for them with --count."
    code, out, _ = run("trials", "list", "--studio", studio, "--colour", "blue")
    assert code == 0 and out == "No plate has all of that: ask for less.\n"
    for slip in (
        ("--count", "0"),
        ("--count", "-1"),
        ("--colour", "mauve"),
        ("--undercoat", "gold"),
        ("--like", "9"),
        ("--order", "likeness"),
    ):
        code, out, err = run("trials", "list", "--studio", studio, *slip)
        assert code == 2 and out == "" and err.count("\n") == 1


def test_a_plates_patch_is_written_to_a_file(told, run, studio, plate, tmp_path):
    told("record", "--studio", studio, *STEPS, plate, "--finish", FINISH)
    patch = tmp_path / "plate4.jpg"
    said = told("trials", "patch", 4, patch, "--side", 240, "--studio", studio)
    assert said["photographed"] and said["colour"].endswith("brown")
    assert Image.open(patch).size == (240, 240)
    assert run("trials", "patch", "4", str(patch), "--studio", studio)[0] == 2  # it is there already
    code, out, _ = run("trials", "patch", "1", str(tmp_path / "plate1.jpg"), "--studio", studio)
    assert code == 0 and "read without a photograph" in out
    assert run("trials", "patch", "1", str(tmp_path / "x.jpg"), "--side", "7", "--studio", studio)[0] == 2


def test_trials_are_set_aside_and_taken_back(told, studio):
    aside = told("trials", "--studio", studio, "set-aside", 2, "the torch was too near", "--by", "invented")
    assert aside["trial"]["set_aside"] == "the torch was too near"
    assert [trial["id"] for trial in told("trials", "--studio", studio)["trials"]] == [1, 3]
    assert len(told("trials", "--studio", studio, "--all")["trials"]) == 3
    assert len(told("trials", "list", "--all", "--studio", studio)["trials"]) == 3
    assert told("trials", "take-back", 2, "--studio", studio)["trial"]["set_aside"] is None
    assert len(told("trials", "--studio", studio)["trials"]) == 3


def test_a_typed_slip_is_corrected_and_the_rest_stays(told, run, studio):
    made = told("record", "--studio", studio, *STEPS, "--lab", "36,13,20", "--notes", "even", "--air", 18)["trial"]
    mended = told("trials", "correct", 4, "--studio", studio, "--seal", "wax,2,hot", "--undercoat", "none",
                  "--air", "none", "--humidity", 55, "--by", "invented")  # fmt: skip
    trial = mended["trial"]
    assert mended["changed"] == [
        "Undercoat taken out: liver of sulphur undercoat at half strength, burnished back 25 %",
        "Seal, coats: 2, was 3",
        "Air temperature: not noted, was 18 °C",
        "Humidity: 55 %, was not noted",
    ]
    assert trial["recipe"]["undercoat"] is None and trial["recipe"]["coats"] == made["recipe"]["coats"]
    assert (trial["notes"], trial["reading"], trial["uid"]) == ("even", made["reading"], made["uid"])
    assert told("suggest", "--studio", studio, "--lab", "36,13,20")["suggestions"][0]["recipe"] == trial["recipe"]
    code, out, _ = run("trials", "correct", 4, "--studio", studio, "--seal", "wax,2,hot")
    assert code == 0 and out.startswith("Plate 4 says so already: nothing was changed.")
    logged, correction = told("trials", "history", 4, "--studio", studio)["history"]
    assert (logged["what"], correction["who"], correction["changed"]) == ("recorded", "invented", mended["changed"])
    assert correction["before"] == {"recipe": made["recipe"], "notes": "even"}
    code, out, _ = run("trials", "history", 4, "--studio", studio)
    assert code == 0 and "invented  corrected\n    Undercoat taken out" in out
    code, out, _ = run("trials", "correct", 4, "--studio", studio, "--coat", "none", "--seal", "none")
    assert "Coat 2 taken out" in out and out.rstrip().endswith("bare metal; unsealed")


def test_a_coat_that_is_corrected_keeps_its_bottle_while_its_chemical_stays(told, studio):
    with Studio.open(studio) as opened:
        opened.save_stock("Fe-1", "ferric nitrate", 400)
        recipe = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0, stock="Fe-1"),))
        opened.record(Trial(recipe, Reading(lab=(36.0, 13.0, 20.0))))
    mended = told("trials", "correct", 4, "--studio", studio, "--coat", "Ferric nitrate,0.25,6,105")
    assert mended["trial"]["recipe"]["coats"][0]["stock"] == "Fe-1"
    mended = told("trials", "correct", 4, "--studio", studio, "--coat", "cupric nitrate,0.25,6,105")
    assert mended["trial"]["recipe"]["coats"][0]["stock"] is None


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((2,), "Say what is to be corrected"),
        ((99, "--notes", "new"), "no plate 99"),
        ((2, "--coat", "ferric nitrate,5,6,105"), "coat's strength"),
        ((2, "--coat", "none", "--coat", "ferric nitrate,0.5,6,105"), "none"),
        ((2, "--air", "warm"), "a number or none"),
        ((2, "--target", "the heron"), "a whole number or none"),
        ((2, "--target", "9"), "no target 9"),
        ((2, "--made-at", "2999-01-01"), "yet to come"),
        ((2, "--recipe", "missing.json"), "missing.json"),
        ((2, "--recipe", "r.json", "--alloy", "brass"), "not both"),
    ],
)
def test_a_correction_that_cannot_be_is_refused_and_changes_nothing(given, said, told, refused, studio):
    before = told("trials", "--studio", studio)
    assert said in refused("trials", "correct", *given, "--studio", studio)
    assert told("trials", "--studio", studio) == before


def test_trials_go_from_studio_to_studio(told, studio, tmp_path):
    written = told("trials", "export", tmp_path / "log.zip", "--studio", studio)
    assert written["trials"] == 3 and zipfile.is_zipfile(tmp_path / "log.zip")
    other = tmp_path / "other studio"
    assert told("trials", "import", tmp_path / "log.zip", "--studio", other)["trials"] == 3
    again = told("trials", "import", tmp_path / "log.zip", "--studio", other)
    assert (again["trials"], again["trials_here_before"]) == (0, 3)
    told("trials", "export", tmp_path / "log.csv", "--studio", studio)
    third = tmp_path / "third studio"
    assert told("trials", "import", tmp_path / "log.csv", "--studio", third)["trials"] == 3


def test_import_can_leave_out_bad_rows(told, refused, studio, tmp_path):
    told("trials", "export", tmp_path / "log.csv", "--studio", studio)
    lines = (tmp_path / "log.csv").read_text(encoding="utf-8-sig").splitlines()
    (tmp_path / "bad.csv").write_text("\n".join([*lines[:-1], lines[-1].replace("ferric nitrate", "")]))
    other = tmp_path / "other studio"
    assert "row" in refused("trials", "import", tmp_path / "bad.csv", "--studio", other)
    brought = told("trials", "import", tmp_path / "bad.csv", "--skip-bad", "--studio", other)
    assert brought["trials"] == 2 and len(brought["problems"]) == 1


def test_targets_are_kept_and_listed(told, run, plate, studio):
    told("targets", "--studio", studio, "--add", "lintel (invented)", plate, "--finish", FINISH, "--notes", "by May")
    (target,) = told("targets", "--studio", studio)["targets"]
    assert target["name"] == "lintel (invented)" and target["photo"] == target["reading"]["photo"]
    assert run("targets", "--studio", studio)[1].startswith("1  lintel (invented): L* 3")


def test_a_plate_is_said_to_be_right_and_doubted_again(told, refused, studio):
    told("trials", "checked", 1, "--by", "Ann", "--studio", studio)
    told("trials", "doubt", 1, "--by", "Ben", "--studio", studio)
    lines = told("trials", "history", 1, "--studio", studio)["history"]
    assert [(line["what"], line["who"]) for line in lines[-2:]] == [
        ("checked: it is right", "Ann"),
        ("doubted again", "Ben"),
    ]
    assert "plate 99" in refused("trials", "checked", 99, "--studio", studio)


def test_cards_are_listed_kept_and_printed(told, run, tmp_path):
    assert {card["name"] for card in told("cards")["cards"]} == set(load_cards())
    kept = told("cards", "--add", "our grey", "--lab", "49.1,-0.3,0.2", "--tolerance", 0.3)
    assert kept["own_cards"][0]["lab"] == [49.1, -0.3, 0.2] and kept["own_cards"][0]["kind"] == "grey card"
    steps = told("cards", "--add", "our scale", "--kind", "grey scale", "--lab", "91,0,1 49,0,0 22,0,0")
    assert {card["name"] for card in steps["own_cards"]} == {"our grey", "our scale"}
    assert "our grey: measured grey card, CIELAB [49.1, -0.3, 0.2], good to ΔE00 0.3" in run("cards")[1]
    told("cards", "--sheet", tmp_path / "sheet.pdf")
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF-")


def test_backup_writes_the_whole_studio(told, studio, tmp_path):
    assert told("backup", tmp_path / "backup.zip", "--studio", studio)["trials"] == 3
    with Studio.restore(tmp_path / "backup.zip", tmp_path / "restored") as restored:
        assert len(restored.trials()) == 3


REFUSED = {
    "no such command": (("frobnicate",), "^'frobnicate' is not a command: choose from read, .*; see"),
    "no such light": (("suggest", "--lab", "36,17,29", "--light", "candle"), "choose from daylight, profile, unknown;"),
    "no command": ((), "COMMAND"),
    "an unknown command": (("guess",), "guess"),
    "an unknown option": (("cards", "--colour", "brown"), "--colour"),
    "an abbreviated option": (("suggest", "--lab", "38,14,22", "--cou", "3"), "--cou"),
    "no photograph": (("read", "--finish", FINISH), "PHOTO"),
    "a missing photograph": (("read", "missing.jpg", "--finish", FINISH), "missing.jpg is not there"),
    "no finish": (("read", "PLATE"), "--finish"),
    "a finish of two points": (("read", "PLATE", "--finish", "1,2 3,4"), "three points"),
    "a finish in words": (("read", "PLATE", "--finish", "the left one"), "three points"),
    "a finish outside": (("read", "PLATE", "--finish", "9000,1 9100,1 9100,90"), "inside|outside|larger"),
    "three corners": (("read", "PLATE", "--finish", FINISH, "--card-corners", "1,2 3,4 5,6"), "four corners"),
    "an unknown card": (("read", "PLATE", "--finish", FINISH, "--card", "tarot"), "tarot"),
    "two ways of neutral": (("read", "PLATE", "--finish", FINISH, "--no-card", "--neutral", FINISH), "not allowed"),
    "two numbers of CIELAB": (("suggest", "--lab", "38,14"), "L,a,b"),
    "a CIELAB in words": (("suggest", "--lab", "dark brown"), "L,a,b"),
    "a CIELAB that is not a number": (("suggest", "--lab", "nan,0,0"), "L,a,b"),
    "an impossible CIELAB": (("suggest", "--lab", "380,14,22"), "L\\*"),
    "neither photograph nor CIELAB": (("suggest",), "either a photograph"),
    "photograph and CIELAB": (("suggest", "PLATE", "--finish", FINISH, "--lab", "38,14,22"), "either a photograph"),
    "a target and CIELAB": (("suggest", "--target", "1", "--lab", "38,14,22"), "one target"),
    "a photograph without a finish": (("suggest", "PLATE"), "--finish"),
    "two finishes": (("suggest", "PLATE", "--finish", FINISH, "--finish", SECOND), "one finish"),
    "an empty log": (("suggest", "--lab", "38,14,22"), "log a plate first"),
    "no suggestion": (("suggest", "--lab", "38,14,22", "--count", "0"), "1 to 1000"),
    "a senseless count": (("suggest", "--lab", "38,14,22", "--count", "many"), "--count"),
    "a senseless tolerance": (("suggest", "--lab", "38,14,22", "--tolerance", "-1"), "tolerance"),
    "an unknown target": (("suggest", "--target", "77"), "77"),
    "no alloy": (("record", "--lab", "38,14,22"), "alloy"),
    "too strong a coat": (("record", "--alloy", "b", "--coat", "ferric nitrate,5,6,105", "--lab", "38,14,22"), "5"),
    "a coat cut short": (("record", "--alloy", "b", "--coat", "ferric nitrate,5", "--lab", "38,14,22"), "°C"),
    "a seal half hot": (("record", "--alloy", "b", "--seal", "wax,3,warm", "--lab", "38,14,22"), "hot nor cold"),
    "two recipes": (("record", "--alloy", "b", "--recipe", "r.json", "--lab", "38,14,22"), "not both"),
    "a missing recipe": (("record", "--recipe", "missing.json", "--lab", "38,14,22"), "missing.json"),
    "a senseless date": (("record", "--alloy", "b", "--lab", "38,14,22", "--made-at", "spring"), "2025-03-31"),
    "a day to come": (("record", "--alloy", "b", "--lab", "38,14,22", "--made-at", "2999-01-01"), "yet to come"),
    "an L* above white": (("suggest", "--lab", "101,0,0"), "from 0 .black. to 100"),
    "an L* below black": (("suggest", "--lab=-0.5,0,0"), "from 0 .black. to 100"),
    "no such trial": (("trials", "set-aside", "99", "why"), "99"),
    "the history of no trial": (("trials", "history", "99"), "99"),
    "no reason": (("trials", "set-aside", "1"), "REASON"),
    "a missing import": (("trials", "import", "missing.zip"), "missing.zip"),
    "a card without CIELAB": (("cards", "--add", "ours"), "--lab"),
    "a measured card without a name": (("cards", "--lab", "49,0,0"), "--add"),
    "a measured card named as a kind": (("cards", "--add", "grey card", "--lab", "49,0,0"), "name of its own"),
    "a card of no kind": (("cards", "--add", "ours", "--kind", "tarot", "--lab", "49,0,0"), "tarot"),
    "a card with patches missing": (("cards", "--add", "ours", "--kind", "grey scale", "--lab", "49,0,0"), "3 patches"),
    "a sheet in no folder": (("cards", "--sheet", "missing/sheet.pdf"), "There is no folder"),
    "a port that is none": (("app", "--port", "99999"), "port 99999"),
    "a studio that is a file": (("trials", "--studio", "PLATE"), "PLATE|plate.png"),
    "a studio in an unknown database": (("trials", "--studio", "mysql://u@h/d"), "PostgreSQL"),
}  # fmt: skip


LOOKING = {
    "trials": ("trials",),
    "an export": ("trials", "export", "out.zip"),
    "a backup": ("backup", "out.zip"),
    "setting aside": ("trials", "set-aside", "1", "why"),
    "a history": ("trials", "history", "1"),
    "correcting": ("trials", "correct", "1", "--notes", "even"),
    "a later reading": ("trials", "add-reading", "1", "--stage", "waxed", "--lab", "38,14,22"),
    "suggest": ("suggest", "--lab", "38,14,22"),
    "next": ("next", "--lab", "38,14,22"),
    "trust": ("trust",),
    "bench": ("bench", "--lab", "38,14,22"),
    "targets": ("targets",),
    "profiles": ("camera", "--list"),
    "a named profile": ("read", "PLATE", "--finish", FINISH, "--camera", "tubes"),
    "a card of its own": ("read", "PLATE", "--finish", FINISH, "--card", "ours"),
}


@pytest.mark.parametrize("what", LOOKING)
def test_a_slip_in_a_studios_name_makes_no_studio(what, refused, plate, tmp_path):
    arguments = [plate if argument == "PLATE" else argument for argument in LOOKING[what]]
    said = refused(*arguments, "--studio", tmp_path / "studoi")
    assert said.startswith(f"There is no studio at {tmp_path / 'studoi'}: ") and "check the path" in said
    assert not (tmp_path / "studoi").exists()


def test_a_studio_is_given_a_title_and_says_what_is_in_it(told, run, refused, studio, tmp_path):
    assert told("studio", "--studio", studio)["title"] == ""
    shown = told("studio", "--title", "Heron Yard", "--studio", studio)
    assert (shown["title"], shown["is_demo"], shown["plates"]) == (
        "Heron Yard",
        False,
        len(told("trials", "--studio", studio)["trials"]),
    )
    assert run("studio", "--studio", studio)[1].startswith("Heron Yard (")
    assert "Shorten" in refused("studio", "--title", "x" * 1000, "--studio", studio)
    assert "There is no studio" in refused("studio", "--studio", tmp_path / "slip")


def test_cards_are_listed_without_making_a_studio(told, tmp_path):
    assert told("cards", "--studio", tmp_path / "nowhere")["own_cards"] == []
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("command", [("trials", "export"), ("backup",)])
def test_exports_make_no_folder_and_refuse_endings_that_say_nothing(command, refused, studio, tmp_path):
    assert "There is no folder" in refused(*command, tmp_path / "nodir" / "out.zip", "--studio", studio)
    assert "ends in .zip" in refused(*command, tmp_path / "out.xyz", "--studio", studio)
    assert sorted(path.name for path in tmp_path.iterdir() if path.name != "plate.png") == ["studio"]


@pytest.mark.parametrize(
    "order",
    [("ID", "STAGE", "PHOTO", "FINISH"), ("ID", "PHOTO", "STAGE", "FINISH"), ("STAGE", "FINISH", "ID", "PHOTO")],
)
def test_a_later_reading_is_added_whatever_the_order_of_its_words(order, told, refused, studio, plate):
    words = {"ID": ["2"], "STAGE": ["--stage", "waxed"], "PHOTO": [plate], "FINISH": ["--finish", FINISH]}
    spoken = [word for name in order for word in words[name]]
    assert told("trials", "add-reading", *spoken, "--studio", studio)["trial"]["stages"][0]["stage"] == "waxed"
    assert "--stage" in refused("trials", "add-reading", "2", plate, "--finish", FINISH, "--studio", studio)


@pytest.mark.parametrize("what", REFUSED)
def test_errors_are_one_plain_sentence_with_exit_code_2(what, refused, plate, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Studio.open(tmp_path / "default studio").close()
    arguments, words = REFUSED[what]
    said = refused(*(plate if argument == "PLATE" else argument for argument in arguments))
    assert re.search(words, said), said


def test_a_recipe_file_that_is_no_recipe_is_refused(refused, tmp_path):
    for body in ("not json", "[1, 2]", '{"alloy": "bronze", "coats": [{"chemical": "x"}]}'):
        (tmp_path / "recipe.json").write_text(body)
        refused("record", "--recipe", tmp_path / "recipe.json", "--lab", "38,14,22")


def test_a_port_in_use_is_refused(refused):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        assert "choose another --port" in refused("app", "--port", taken.getsockname()[1])


def test_help_is_there_for_the_person_who_forgot(capsys):
    for command in ((), ("read",), ("repeat",), ("camera",), ("suggest",),
                    ("record",), ("trials",), ("trials", "set-aside"), ("trials", "correct"), ("targets",),
                    ("cards",), ("backup",), ("demo",), ("app",)):  # fmt: skip
        with pytest.raises(SystemExit) as ended:
            main([*command, "--help"])
        out, err = capsys.readouterr()
        assert ended.value.code == 0 and err == "" and out.startswith("usage: patina-matcher") and "--studio" in out
    with pytest.raises(SystemExit):
        main(["--version"])
    assert capsys.readouterr().out.startswith("patina-matcher ")


def command(*arguments, **options):
    """Run the command line as a person does, in a process of its own."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), **options.pop("env", {})}
    return subprocess.run(
        [sys.executable, "-m", "matcher", *map(str, arguments)], capture_output=True, text=True, check=False,
        encoding="utf-8", timeout=60, env=environment, **options,
    )  # fmt: skip


def test_it_runs_as_a_module_with_clean_streams(studio, plate):
    done = command("suggest", plate, "--finish", FINISH, "--studio", studio, "--json")
    assert done.returncode == 0 and done.stderr == ""
    assert json.loads(done.stdout)["suggestions"][0]["trial"] == 2


def test_what_libraries_print_about_a_damaged_file_stays_out_of_the_way(tmp_path):
    """LibRaw, libtiff and libpng write to the terminal themselves."""
    from tests.test_photo_refusals import original

    for kind, name in (("DNG", "a.dng"), ("TIFF LZW", "a.tif"), ("PNG 16", "a.png"), ("JPEG", "a.jpg")):
        data = original(kind)
        (tmp_path / name).write_bytes(data[: len(data) * 2 // 3])
        done = command("read", tmp_path / name, "--finish", FINISH, "--json")
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr == f"{name} is cut short or damaged: copy it again from the camera or phone it came from.\n"


def test_words_do_not_depend_on_the_terminals_locale(studio):
    done = command("suggest", "--lab", "38,14,22", "--studio", studio,
                   env={"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"})  # fmt: skip
    assert done.returncode == 0 and "ΔE00" in done.stdout


def test_a_command_that_needs_little_starts_quickly(studio):
    """Neither the colour library nor the page's server is loaded to list trials."""
    done = command("trials", "--studio", studio, env={"PYTHONPROFILEIMPORTTIME": "1"})
    loaded = {line.rpartition("|")[2].strip() for line in done.stderr.splitlines()}
    assert done.returncode == 0 and "matcher.studio" in loaded
    assert not loaded & {"colour", "sklearn", "streamlit", "rawpy", "PIL.Image", "reportlab", "plotly"}
