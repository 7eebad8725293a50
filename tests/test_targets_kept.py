"""Targets are renamed, corrected, set aside and taken back, in the log, by command and on the page; plates invented.

What was signed off stays as it was signed.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from matcher.commissions.commission import Area
from matcher.commissions.fields import TARGET, what_changed
from matcher.errors import StudioError
from matcher.studio import Studio
from matcher.trials.log import CHANGED
from tests.plates import a_target, a_trial
from tests.test_commissions import a_commission, signed
from tests.test_page_suggestions import page, said, unfold


def test_a_target_gets_another_name_and_its_history_says_what_it_was(studio: Studio) -> None:
    was = studio.save_target(a_target("bird"))
    now = studio.change_target(replace(was, name="heron", tolerance=2.5, notes="In spray."), was, who="Ben")
    assert (now.name, now.tolerance, now.notes, now.uid) == ("heron", 2.5, "In spray.", was.uid)
    assert now.reading.as_dict() == was.reading.as_dict()
    line = studio.history("target", 1)[-1]
    told = json.loads(line.detail)
    assert (line.what, line.who) == (CHANGED, "Ben")
    assert what_changed(TARGET, told["was"], told["now"], {}) == (
        "Name: heron, was bird",
        "Tolerance: 2.5 ΔE00, was 1.5 ΔE00",
        "Notes: In spray., was not noted",
    )
    studio.change_target(now, was)  # the same once more
    assert len(studio.history("target", 1)) == 2


def test_of_two_who_change_one_target_the_second_is_told(studio: Studio) -> None:
    seen = studio.save_target(a_target("bird"))
    studio.change_target(replace(seen, name="heron"), seen)
    with pytest.raises(StudioError, match="Look at the target heron again"):
        studio.change_target(replace(seen, tolerance=3.0), seen)
    assert studio.target(1).tolerance == seen.tolerance


@pytest.mark.parametrize("wrong", [{"name": " "}, {"tolerance": 0.0}, {"tolerance": None}])
def test_a_target_never_gets_what_cannot_be_kept(studio: Studio, wrong: dict[str, Any]) -> None:
    seen = studio.save_target(a_target("bird"))
    with pytest.raises(StudioError):
        studio.change_target(replace(seen, **wrong), seen)
    assert studio.target(1).name == "bird" and len(studio.history("target", 1)) == 1


def test_a_target_that_is_signed_off_stays_as_it_was_signed(studio: Studio) -> None:
    target = studio.save_target(a_target("bird"))
    other = studio.save_target(a_target("reeds"))
    trial = studio.record(a_trial(target_id=target.id))
    kept = studio.commissions.save(a_commission(areas=(Area("bird", target_id=target.id),)))
    signed(studio, kept.areas[0], target.id, trial.id)
    with pytest.raises(StudioError, match="bird was signed off by the sculptor, and stays as it was signed"):
        studio.change_target(replace(target, tolerance=9.0), target)
    assert studio.change_target(replace(other, tolerance=9.0), other).tolerance == 9.0
    assert studio.set_target_aside(1, "delivered").set_aside == "delivered"  # that changes nothing that was signed


def test_the_command_line_changes_sets_aside_and_takes_back_a_target(told: Any, refused: Any, tmp_path: Path) -> None:
    studio = tmp_path / "studio"
    told("targets", "--studio", studio, "--add", "bird (invented)", "--lab", "31,9,11", "--notes", "in spray")
    changed = told("targets", "--studio", studio, "--change", 1, "--rename", "heron (invented)", "--tolerance", 3)
    (target,) = changed["targets"]
    assert (target["name"], target["tolerance_delta_e00"], target["notes"]) == ("heron (invented)", 3.0, "in spray")
    assert told("targets", "--studio", studio, "--set-aside", 1, "--reason", "postponed")["targets"] == []
    assert told("targets", "--studio", studio, "--all")["targets"][0]["set_aside"] == "postponed"
    assert len(told("targets", "--studio", studio, "--take-back", 1)["targets"]) == 1
    for wrong in (("--change", 1), ("--rename", "x"), ("--tolerance", 2), ("--change", 7, "--rename", "x")):
        refused("targets", "--studio", studio, *wrong)


def test_the_page_renames_a_target_sets_it_aside_and_takes_it_back(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = unfold(page(monkeypatch, tmp_path, [a_trial()], a_target("bird")), "target")
    next(field for field in app.text_input if field.label == "Its name").set_value("heron").run()
    app.button(key="target.save.1").click().run()
    assert "Plates nearest to heron" in said(app)
    app.button(key="target.aside.1").click().run()
    assert "There is no target yet" in said(app)
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.targets() == [] and studio.target(1).set_aside == "done"
        assert [line.what for line in studio.history("target", 1)] == ["saved", CHANGED, "set aside"]
    app.switch_page("screens/target.py").run()
    app.button(key="target.back.1").click().run()
    assert "Plates nearest to heron" in said(app)


def test_of_two_screens_that_change_one_target_the_second_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = unfold(page(monkeypatch, tmp_path, [a_trial()], a_target("bird")), "target")
    next(field for field in app.text_input if field.label == "Its name").set_value("heron").run()
    with Studio.open(tmp_path / "studio") as studio:
        target = studio.target(1)
        studio.change_target(replace(target, name="egret"), target)
    app.button(key="target.save.1").click().run()
    assert "Look at the target egret again before you change it" in said(app)
    app.button(key="target.discard.1").click().run()
    assert next(field for field in app.text_input if field.label == "Its name").value == "egret"
