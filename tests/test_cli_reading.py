"""Reading from the command line with all that helps: profiles, levelled light, frames, pairs, trust, repeats.

Photographs are drawn scenes whose every value is known; the lights, cameras and names are invented.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import colour
import numpy as np
import pytest

from matcher import Studio
from matcher.card.card import load_cards
from tests import scenes
from tests.mottles import MOTTLES, mottled
from tests.plates import a_profile

FINISH, SECOND = "420,120 740,120 740,460 420,460", "440,480 700,480 700,580 440,580"
CARD, CORNERS = scenes.box(60, 150, 300, 330), "60,150 300,150 300,330 60,330"
OTHER_CARD, OTHER_CORNERS = scenes.box(620, 20, 780, 100), "620,20 780,20 780,100 620,100"
TUBES, WARM = (0.9, 1.0, 1.12), (1.3, 1.0, 0.7)
DARK = (25.0, 5.0, 6.0)


def apart(lab, truth) -> float:
    return float(colour.delta_E(np.array(lab), np.array(truth), method="CIE 2000"))


def bench(seed=1, texture=0.0):
    scene = scenes.Scene(seed=seed).lay(CARD, scenes.GREY)
    return scene.lay(scenes.box(420, 120, 740, 460), scenes.BROWN, texture).lay(scenes.box(440, 480, 700, 580), DARK)


def written(folder: Path, name: str, scene, **how) -> str:
    (folder / name).write_bytes(scenes.png(scene.codes(**how)))
    return str(folder / name)


@pytest.fixture(scope="module")
def pictures(tmp_path_factory):
    """Plate and chart under shop tubes, the plate under a warm lamp, and a folder for more."""
    folder = tmp_path_factory.mktemp("pictures")
    chart = scenes.Scene().lay_picture(scenes.box(130, 120, 670, 480), scenes.draw_card(load_cards()["24-patch chart"]))
    return {
        "folder": folder,
        "chart": written(folder, "chart.png", chart, cast=TUBES, exposure=0.8),
        "plate": written(folder, "plate.png", bench(), cast=TUBES),
        "warm": written(folder, "warm.png", bench(), cast=WARM),
    }


@pytest.fixture(scope="module")
def taught(pictures, tmp_path_factory):
    """A studio whose camera has been taught under the tubes, and what was said of it."""
    import contextlib
    import io

    from matcher.cli.main import main

    studio, out = tmp_path_factory.mktemp("taught") / "studio", io.StringIO()
    with contextlib.redirect_stdout(out):
        code = main(["camera", pictures["chart"], "--name", "shop tubes", "--light", "two tubes",
                     "--studio", str(studio), "--json"])  # fmt: skip
    assert code == 0
    return str(studio), json.loads(out.getvalue())


def test_camera_makes_and_keeps_a_profile_with_its_error(taught, told, run):
    studio, document = taught
    error = document["leave_one_out_delta_e00"]
    assert error["mean"] < 1.0 and error["mean"] <= error["p95"]
    every = {patch.name for patch in load_cards()["24-patch chart"].patches}
    assert {patch["name"] for patch in error["patches"]} == every - {"cyan"}  # cyan lies outside sRGB: it is cut off
    assert {warning["code"] for warning in document["warnings"]} == {"chart-clipped"}
    assert np.mean([patch["delta_e00"] for patch in error["patches"]]) == pytest.approx(error["mean"])
    profile = document["profile"]
    assert profile["light"] == "two tubes" and profile["kind"].endswith("tone curve")
    assert 3000 < profile["colour_temperature_k"] < 12000
    listed = told("camera", "--list", "--studio", studio)
    assert listed["profiles"] == [profile] and told("camera", "--studio", studio) == listed
    said = run("camera", "--studio", studio)[1]
    assert said.startswith("shop tubes: two tubes, ") and "patches left out are read to ΔE00" in said


def test_camera_takes_the_charts_corners_and_says_what_it_kept(pictures, run, tmp_path):
    corners = "130,120 670,120 670,480 130,480"
    code, out, err = run("camera", pictures["chart"], "--name", "marked", "--chart-corners", corners,
                         "--studio", tmp_path / "studio")  # fmt: skip
    assert (code, err) == (0, "") and "marked: " in out and "read worst: " in out


def test_profiles_are_renamed_retired_taken_back_and_carried(told, run, tmp_path):
    studio, other = tmp_path / "studio", tmp_path / "other"
    with Studio.open(studio) as opened:
        opened.save_profile(a_profile())
    assert told("camera", "--rename", "shop tubes", "bench", "--studio", studio)["profile"]["name"] == "bench"
    retired = told("camera", "--retire", "bench", "new lamps", "--studio", studio)["profile"]
    assert retired["retired"] == "new lamps"
    assert "bench (retired: new lamps): " in run("camera", "--studio", studio)[1]
    assert told("camera", "--take-back", "bench", "--studio", studio)["profile"]["retired"] is None
    told("camera", "--export", "bench", tmp_path / "bench.json", "--studio", studio)
    assert told("camera", "--import", tmp_path / "bench.json", "--studio", other)["profile"]["name"] == "bench"
    Studio.open(tmp_path / "third").close()
    assert "No camera profile" in run("camera", "--studio", tmp_path / "third")[1]


def test_a_profile_named_as_a_word_of_the_command_line_is_not_taken_in(taught, told, refused, tmp_path):
    studio, _ = taught
    told("camera", "--export", "shop tubes", tmp_path / "tubes.json", "--studio", studio)
    named = (tmp_path / "tubes.json").read_text().replace('"shop tubes"', '"Auto"')
    (tmp_path / "auto.json").write_text(named)
    assert "a name other than auto" in refused("camera", "--import", tmp_path / "auto.json", "--studio", tmp_path / "s")


def test_read_takes_the_profile_that_fits_and_says_so(taught, pictures, told, run):
    studio, _ = taught
    read = told("read", pictures["plate"], "--finish", FINISH, "--studio", studio)
    assert (read["profile"]["name"], read["profile"]["chosen"]) == ("shop tubes", "auto")
    assert apart(read["finishes"][0]["lab"], scenes.BROWN) < 1.0
    alone = told("read", pictures["plate"], "--finish", FINISH, "--studio", studio, "--camera", "none")
    assert alone["profile"] == {"name": None, "chosen": "none", "why": ""}
    assert "profile-light-unproven" in {warning["code"] for warning in read["warnings"]}
    sure = told("read", pictures["plate"], "--finish", FINISH, "--studio", studio, "--light", "profile")
    assert "profile-light-unproven" not in {warning["code"] for warning in sure["warnings"]}
    assert sure["finishes"][0]["lab"] == read["finishes"][0]["lab"]
    assert sure["finishes"][0]["within_delta_e00"] < 0.6 * alone["finishes"][0]["within_delta_e00"]
    assert "\nCamera profile: shop tubes (it fits" in run("read", pictures["plate"], "--finish", FINISH,
                                                          "--studio", studio)[1]  # fmt: skip


def test_read_says_why_no_profile_fits(taught, pictures, told, run):
    studio, _ = taught
    read = told("read", pictures["warm"], "--finish", FINISH, "--studio", studio)
    assert read["profile"]["name"] is None and "under this light" in read["profile"]["why"]
    assert "profile-none-fits" in {warning["code"] for warning in read["warnings"]}
    named = told("read", pictures["warm"], "--finish", FINISH, "--studio", studio, "--camera", "shop tubes")
    assert named["profile"]["chosen"] == "named"
    assert "profile-light" in {warning["code"] for warning in named["warnings"]}
    assert "Camera profile: none. No profile of this camera" in run("read", pictures["warm"], "--finish", FINISH,
                                                                    "--studio", studio)[1]  # fmt: skip


def test_reading_alone_makes_no_studio(pictures, told, tmp_path):
    read = told("read", pictures["plate"], "--finish", FINISH, "--studio", tmp_path / "nowhere")
    assert read["profile"]["chosen"] == "none" and not (tmp_path / "nowhere").exists()


def test_suggest_record_and_targets_read_with_the_profile_too(taught, pictures, told, tmp_path):
    studio, _ = taught
    how = (pictures["plate"], "--finish", FINISH, "--studio", studio)
    logged = told("record", "--alloy", "silicon bronze", "--coat", "ferric nitrate,0.5,6,105", *how)
    assert logged["profile"]["name"] == "shop tubes"
    assert "profile" in {term["name"] for term in logged["trial"]["reading"]["budget"]}
    assert told("suggest", *how)["profile"]["name"] == "shop tubes"
    added = told("targets", "--add", "lintel (invented)", *how)
    assert added["targets"][-1]["reading"]["lab"] == logged["trial"]["reading"]["lab"]
    assert told("suggest", "--lab", "38,14,22", "--studio", studio)["profile"] is None


def test_a_chart_in_the_picture_teaches_the_camera_on_the_spot(told, pictures):
    chart = scenes.draw_card(load_cards()["24-patch chart"])
    scene = bench().lay_picture(scenes.box(30, 340, 400, 587), chart)
    path = written(pictures["folder"], "both.png", scene, cast=TUBES)
    read = told("read", path, "--card", "24-patch chart", "--finish", FINISH)
    assert read["profile"]["chosen"] == "chart"
    assert apart(read["finishes"][0]["lab"], scenes.BROWN) < 1.0


def test_daylight_that_is_known_narrows_the_reading(told, pictures):
    unknown, known = (
        told("read", pictures["plate"], "--finish", FINISH, "--light", light)["finishes"][0]["within_delta_e00"]
        for light in ("unknown", "daylight")
    )
    assert known < unknown


GRADIENT = 0.7  # of log light from edge to edge: two to one


def test_a_flat_field_or_a_second_card_levels_the_light(told, pictures, tmp_path):
    scene = bench().lay(OTHER_CARD, scenes.GREY)
    path = written(tmp_path, "steep.png", scene, gradient=GRADIENT, exposure=0.8)
    sheet = scenes.Scene(lab=(80.0, 0.0, 0.0))
    sheet.light[:] = scenes.linear_of((80.0, 0.0, 0.0))
    flat = written(tmp_path, "sheet.png", sheet, gradient=GRADIENT, exposure=0.8)
    how = ("read", path, "--finish", FINISH, "--card-corners", CORNERS)
    plain = told(*how)["finishes"][0]
    assert apart(plain["lab"], scenes.BROWN) > 3
    for level in (("--flat-field", flat), ("--second-card-corners", OTHER_CORNERS)):
        levelled = told(*how, *level)["finishes"][0]
        assert apart(levelled["lab"], scenes.BROWN) < 1.0, level
        assert levelled["within_delta_e00"] < plain["within_delta_e00"]


def test_more_frames_take_the_glare_out(told, tmp_path):
    """A third of the plate glares in each frame, elsewhere in each: together they leave nothing out."""
    names = []
    for number, left in enumerate((430, 530, 630)):
        scene = bench(texture=0.25)
        scene.light[140:440, left : left + 100] += 0.15
        scene.rng = np.random.default_rng(50 + number)
        names.append(written(tmp_path, f"frame {number}.png", scene))
    how = ("read", names[0], "--finish", FINISH, "--card-corners", CORNERS)
    one = told(*how)["finishes"][0]
    several = told(*how, "--more-frames", *names[1:])["finishes"][0]
    assert apart(several["lab"], scenes.BROWN) < 1.0
    assert one["left_out_share"] > 0.2 and several["left_out_share"] < 0.05
    assert "lamp positions" in {term["name"] for term in several["budget"]}
    with Studio.open(tmp_path / "studio") as opened:
        assert opened.trials() == []
    trial = told("record", *how[1:], "--more-frames", *names[1:], "--alloy", "silicon bronze",
                 "--studio", tmp_path / "studio")["trial"]  # fmt: skip
    assert len(trial["photos"]) == 3


def test_two_like_finishes_in_one_photograph_differ_more_surely_than_each_is_known(told, run, pictures):
    darker = (36.0, 13.0, 20.0)
    scene = bench().lay(scenes.box(440, 480, 700, 580), darker)
    like = written(pictures["folder"], "like.png", scene, cast=TUBES)
    read = told("read", like, "--finish", FINISH, "--finish", SECOND)
    (pair,) = read["differences"]
    true = apart(scenes.BROWN, darker)
    low, high = pair["delta_e00_interval"]
    assert pair["between"] == [1, 2] and low < true < high and low <= pair["delta_e00"] <= high
    assert (high - low) / 2 < min(finish["within_delta_e00"] for finish in read["finishes"]) / 2
    assert "darker" in pair["words"] and pair["words"].endswith("than finish 1")
    assert told("read", pictures["plate"], "--finish", FINISH)["differences"] == []
    said = run("read", pictures["plate"], "--finish", FINISH, "--finish", SECOND)[1]
    assert re.search(r"\nFinish 1 to 2: ΔE00 \d+\.\d \(\d+\.\d to \d+\.\d, .*darker", said)


def test_read_tells_what_the_uncertainty_is_made_of_and_what_would_help(told, run, pictures):
    finish = told("read", pictures["plate"], "--finish", FINISH)["finishes"][0]
    sizes = [part["delta_e00"] for part in finish["budget_delta_e00"]]
    assert sizes == sorted(sizes, reverse=True) and sizes[0] < finish["within_delta_e00"]
    assert {part["name"] for part in finish["budget_delta_e00"]} == {term["name"] for term in finish["budget"]}
    best = finish["would_help"][0]
    assert best["now_delta_e00"] == finish["within_delta_e00"] > best["then_delta_e00"]
    said = run("read", pictures["plate"], "--finish", FINISH)[1]
    assert finish["trust"] in said and f"What would help: {best['words']}." in said
    assert re.search(r"\n    ± ?\d+\.\d  camera and light: photograph a 24-patch chart", said)


def test_read_tells_the_texture_when_asked(told, run, pictures):
    assert "texture" not in told("read", pictures["plate"], "--finish", FINISH)["finishes"][0]
    both = "420,360 740,360 740,590 420,590"
    texture = told("read", pictures["plate"], "--finish", both, "--texture")["finishes"][0]["texture"]
    assert len(texture["palette"]) >= 2 and sum(colour["share"] for colour in texture["palette"]) == pytest.approx(1)
    assert min(apart(colour["lab"], DARK) for colour in texture["palette"]) < 1.5
    said = run("read", pictures["plate"], "--finish", both, "--texture")[1]
    assert "\n    Made of " in said and "\n    Mottle strongest at " in said


def test_repeat_tells_how_well_the_set_up_repeats(told, run, tmp_path):
    names = []
    for number, exposure in enumerate((0.9, 1.0, 0.95)):
        names.append(written(tmp_path, f"take {number}.png", bench(seed=number), exposure=exposure))
    told_once = told("repeat", *names, "--finish", FINISH)
    found = told_once["repeatability"]
    assert found["count"] == 3 and 0 < found["mean_delta_e00"] < 0.5
    assert found["mean_delta_e00"] < found["smallest_delta_e00"] < 3
    assert [photo["name"] for photo in told_once["photos"]] == ["take 0.png", "take 1.png", "take 2.png"]
    each = told("repeat", *names, *["--finish", FINISH] * 3, *["--card-corners", CORNERS] * 3)
    assert each["repeatability"]["smallest_delta_e00"] == pytest.approx(found["smallest_delta_e00"], abs=0.5)
    out = run("repeat", *names, "--finish", FINISH)[1]
    assert out.startswith("take 0.png: L* 3") and "3 readings lie ΔE00" in out


CSV = "name,L*,a*,b*,light,observer\ndoor (invented),38.2,14.1,22.0,D50,2\nhandle (invented),30,9,11,D50,2\n"


def test_targets_come_from_an_instruments_file_and_from_munsell(told, run, tmp_path):
    (tmp_path / "colours.csv").write_text(CSV)
    added = told("targets", "--from", tmp_path / "colours.csv")
    assert added["added"] == [1, 2]
    assert [target["name"] for target in added["targets"]] == ["door (invented)", "handle (invented)"]
    one = told("targets", "--from", tmp_path / "colours.csv", "--sample", "Handle (invented)", "--add", "our handle")
    assert one["added"] == [3] and one["targets"][-1]["name"] == "our handle"
    assert one["targets"][-1]["reading"]["lab"] == [30.0, 9.0, 11.0]
    assert np.trace(one["targets"][-1]["reading"]["covariance"]) > 0
    eye = told("targets", "--munsell", "5YR 3/4", "--tolerance", 3)
    assert eye["targets"][-1]["name"] == "5YR 3/4" and eye["targets"][-1]["tolerance_delta_e00"] == 3
    assert [warning["code"] for warning in eye["warnings"]] == ["matched-by-eye"]
    with Studio.open(eye["studio"]) as opened:
        kept = opened.target(4).reading
    assert {term.name for term in kept.budget} == {"match by eye", "change of light"}
    assert "Warning: Munsell notation is a match by eye" in run("targets", "--munsell", "N 5/")[1]


BLACK = "nm,R\n" + "".join(f"{at},0.{70 + at // 10 % 5}\n" for at in range(380, 731, 10))
ANGLES = "name,25° L*,25° a*,25° b*,45° L*,45° a*,45° b*\nplate,40,13,21,36,13,20\n"


def test_what_an_instruments_file_leaves_open_is_settled_by_an_option(told, run, refused, tmp_path):
    (tmp_path / "black.csv").write_text(BLACK)
    assert "L* 88 or 7" in refused("targets", "--from", tmp_path / "black.csv")
    black = told("targets", "--from", tmp_path / "black.csv", "--white", 100)
    assert black["targets"][-1]["reading"]["lab"][0] == pytest.approx(6.5, abs=0.2)
    (tmp_path / "angles.csv").write_text(ANGLES)
    usual = run("targets", "--from", tmp_path / "angles.csv")[1]
    assert "L* 40.0" in usual and "--angle can be 25°, 45° for this file: 25° was taken." in usual
    chosen = told(
        *("targets", "--from", tmp_path / "angles.csv", "--angle", 45, "--illuminant", "D50", "--observer", 2)
    )
    assert chosen["targets"][-1]["reading"]["lab"] == [36, 13, 20]
    assert [warning["code"] for warning in chosen["warnings"]] == ["one-angle", "angle-chosen"]


def test_a_plate_is_logged_and_read_again_from_an_instruments_file(told, refused, tmp_path):
    (tmp_path / "colours.csv").write_text(CSV)
    plate = ("record", "--alloy", "bronze", "--coat", "ferric nitrate,0.5,4,105", "--from", tmp_path / "colours.csv")
    assert "Choose one with --sample" in refused(*plate)
    logged = told(*plate, "--sample", "door (invented)")
    assert logged["trial"]["reading"]["lab"] == [38.2, 14.1, 22.0]
    later = ("trials", "add-reading", logged["trial"]["id"], "--stage", "waxed", "--from", tmp_path / "colours.csv")
    read = told(*later, "--sample", "handle (invented)")
    assert read["trial"]["stages"][-1]["reading"]["lab"] == [30.0, 9.0, 11.0]
    assert "one source" in refused(*later, "--sample", "handle (invented)", "--lab", "38,14,22")


REFUSED = {
    "a photograph and an action": (("camera", "CHART", "--name", "x", "--retire", "x", "y"), "not both"),
    "two actions": (("camera", "--list", "--take-back", "x"), "not allowed"),
    "a chart without a name": (("camera", "CHART"), "--name"),
    "a profile named auto": (("camera", "CHART", "--name", "auto"), "other than auto"),
    "a profile named Auto": (("camera", "CHART", "--name", " Auto "), "other than auto"),
    "a profile renamed none": (("camera", "--rename", "x", "None"), "other than auto"),
    "an empty name to take back": (("camera", "--take-back", ""), "empty"),
    "corners of no card": (("read", "PLATE", "--finish", FINISH, "--no-card", "--card-corners", CORNERS), "not both"),
    "colours of no card": (("read", "PLATE", "--finish", FINISH, "--no-card", "--card-lab", "50,0,0"), "--card-lab"),
    "a name without a chart": (("camera", "--name", "x"), "--name"),
    "no chart in the picture": (("camera", "PLATE", "--name", "x"), "chart"),
    "three chart corners": (("camera", "CHART", "--name", "x", "--chart-corners", "1,2 3,4 5,6"), "four corners"),
    "a profile that is not there": (("camera", "--retire", "x", "gone"), "'x'"),
    "a profile that is no file": (("camera", "--import", "missing.json"), "missing.json"),
    "an unknown profile": (("read", "PLATE", "--finish", FINISH, "--camera", "x"), "'x'"),
    "a light of another kind": (("read", "PLATE", "--finish", FINISH, "--light", "tubes"), "daylight"),
    "a flat field that is missing": (("read", "PLATE", "--finish", FINISH, "--flat-field", "gone.jpg"), "gone.jpg"),
    "a flat field that is none": (("read", "PLATE", "--finish", FINISH, "--flat-field", "PLATE"), "bare, flat sheet"),
    "a flat field without a card": (
        ("read", "PLATE", "--finish", FINISH, "--no-card", "--flat-field", "PLATE"), "without one"),
    "two ways to level": (
        ("read", "PLATE", "--finish", FINISH, "--flat-field", "WARM", "--second-card-corners", CORNERS), "not allowed"),
    "the same card twice": (("read", "PLATE", "--finish", FINISH, "--second-card-corners", CORNERS), "apart"),
    "a neutral spot and a second card": (
        ("read", "PLATE", "--finish", FINISH, "--neutral", FINISH, "--second-card-corners", CORNERS), "both cards"),
    "a flat field for frames": (
        ("read", "PLATE", "--finish", FINISH, "--flat-field", "PLATE", "--more-frames", "WARM"), "not both"),
    "a frame twice": (("read", "PLATE", "--finish", FINISH, "--more-frames", "PLATE"), "once"),
    "two photographs to repeat": (("repeat", "PLATE", "WARM", "--finish", FINISH), "at least 3"),
    "outlines for some": (("repeat", *["PLATE"] * 3, *["--finish", FINISH] * 2), "once for each of the 3"),
    "a photograph thrice": (("repeat", *["PLATE"] * 3, "--finish", FINISH), "twice"),
    "a missing file of targets": (("targets", "--from", "missing.csv"), "missing.csv"),
    "an unknown sample": (("targets", "--from", "CSV", "--sample", "lintel"), "door .invented., handle"),
    "one name for two colours": (("targets", "--from", "CSV", "--add", "both"), "--sample"),
    "a sample of nothing": (("targets", "--sample", "x"), "--from"),
    "an angle of nothing": (("targets", "--angle", "45"), "--from"),
    "an angle that is not there": (("targets", "--from", "CSV", "--angle", "45"), "leaves no choice"),
    "two sources": (("targets", "--from", "CSV", "--munsell", "5YR 3/4"), "one source"),
    "a Munsell notation that is none": (("targets", "--munsell", "brown"), "5YR 3/4"),
    "a target without a name": (("targets", "--lab", "38,14,22"), "--add"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_errors_are_one_plain_sentence_with_exit_code_2(what, refused, pictures, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Studio.open(tmp_path / "default studio").close()
    (tmp_path / "colours.csv").write_text(CSV)
    files = {"CHART": pictures["chart"], "PLATE": pictures["plate"], "WARM": pictures["warm"], "CSV": "colours.csv"}
    arguments, words = REFUSED[what]
    said = refused(*(files.get(argument, argument) for argument in arguments))
    assert re.search(words, said), said


def test_a_retired_profile_is_not_read_with(refused, pictures, tmp_path):
    with Studio.open(tmp_path / "studio") as opened:
        opened.save_profile(a_profile())
        opened.retire_profile("shop tubes", "new lamps")
    how = ("--camera", "shop tubes", "--studio", tmp_path / "studio")
    assert "retired (new lamps)" in refused("read", pictures["plate"], "--finish", FINISH, *how)


def test_what_pale_spots_are_can_be_said(told, tmp_path):
    """A white bloom: unsure, the whole difference is in the budget; said to be the finish, it is kept and no doubt."""
    mottle = MOTTLES["brown with white bloom"]
    finish = mottled(np.random.default_rng(11), mottle.body, mottle.spots, 0.15)
    plate = np.repeat(np.repeat(finish, 2, 0), 2, 1)
    scene = scenes.Scene().lay(CARD, scenes.GREY).lay_picture(scenes.box(420, 120, 740, 460), plate)
    photo = written(tmp_path, "bloom.png", scene)
    command = ["read", photo, "--card-corners", CORNERS, "--finish", FINISH, "--light", "daylight"]
    (unsure,), (said,) = (told(*command, *more)["finishes"] for more in ((), ("--pale-spots", "finish")))
    assert "region-pale-spots" in {item["code"] for item in unsure["warnings"]}
    assert "pale spots" in {term["name"] for term in unsure["budget"]}
    assert "pale spots" not in {term["name"] for term in said["budget"]}
    assert said["within_delta_e00"] < unsure["within_delta_e00"] / 2


def test_a_plate_logged_before_its_camera_was_taught_is_read_again(pictures, told, run, refused, tmp_path):
    """It was read as of an unknown light; with the profile of that light, and its light said, it is surer."""
    studio = ("--studio", tmp_path / "studio")
    marks = ("--finish", FINISH, "--card-corners", CORNERS)
    told("record", pictures["plate"], *marks, "--alloy", "silicon bronze", *studio)
    told("camera", pictures["chart"], "--name", "tubes", *studio)
    looked = told("read-again", "--plate", "1", "--camera", "tubes", "--light", "profile", *studio)
    (one,) = looked["readings"]
    before, after = (np.trace(np.array(one[which]["covariance"])) for which in ("before", "after"))
    assert not looked["kept"] and after < before / 3 and apart(one["after"]["lab"], scenes.BROWN) < 2
    everything = ("read-again", "--all-that-fit", "tubes", "--light", "profile", "--keep", "taught since")
    assert "kept; the earlier reading stays in the history" in run(*everything, *studio)[1]
    with Studio.open(tmp_path / "studio") as opened:
        assert opened.trial(1).reading.lab.tolist() == one["after"]["lab"]
        assert [item.why for item in opened.readings.earlier("plate", 1)] == ["taught since"]
    assert "left to read again" in run("read-again", "--all-that-fit", "tubes", *studio)[1]
    for wrong, says in (
        (("--plate", "9"), "There is no plate 9"),
        (("--plate", "1", "--stage", "waxed"), "There is no reading of plate 1, waxed"),
        (("--plate", "1", "--camera", "lamp"), "lamp"),
        (("--all-that-fit", "tubes", "--finish", FINISH), "Leave out --finish"),
    ):
        assert says in refused("read-again", *wrong, *studio)


def test_read_proposes_outlines_that_it_reads_when_they_are_given_back_and_reads_none_of_itself(told, run, pictures):
    found = told("read", pictures["plate"], "--propose")
    assert found["card"]["kind"] == "grey card" and "finishes" not in found
    plate, dark = sorted(found["proposed"], key=lambda item: item["outline"][0][1])
    assert plate["kind"] == "plate" and 0.7 < plate["sureness"] <= 1
    read = told("read", pictures["plate"], "--finish", plate["finish"], "--finish", dark["finish"])
    by_hand = told("read", pictures["plate"], "--finish", FINISH, "--finish", SECOND)
    for proposed, marked in zip(read["finishes"], by_hand["finishes"], strict=True):
        assert apart(proposed["lab"], marked["lab"]) < 0.5
    said = run("read", pictures["plate"], "--propose")[1]
    assert f'--finish "{plate["finish"]}"' in said and "2 plates found, nothing read yet" in said and "L*" not in said


def test_where_no_plate_stands_out_none_is_proposed_and_propose_and_finish_exclude_each_other(
    told, run, refused, pictures
):
    bare = written(pictures["folder"], "bare.png", scenes.Scene().lay(CARD, scenes.GREY))
    assert told("read", bare, "--propose")["proposed"] == []
    assert "mark it yourself" in run("read", bare, "--propose")[1]
    assert "--propose" in refused("read", bare, "--propose", "--finish", FINISH)
    assert "--finish" in refused("read", bare)


def test_a_colour_that_is_neutral_is_not_said_to_be_minus_nothing():
    from matcher import Reading
    from matcher.typed_in.words import reading_line
    from ui.show.swatches import figures

    assert "a* 0.0" in reading_line("grey", Reading(lab=(50.0, -0.01, -0.04))) and "-0.0" not in reading_line(
        "grey", Reading(lab=(50.0, -0.01, -0.04))
    )
    assert figures((50.0, -0.01, -0.04)) == "L* 50.0, a* 0.0, b* 0.0"
