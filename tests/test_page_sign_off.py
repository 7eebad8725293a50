"""Sign-off, casts and repair on the commissions page, from the approved plate to the repair; all invented."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher.bench.work import Piece
from matcher.commissions.commission import Area
from matcher.commissions.known import all_known
from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.trials.trial import Target
from tests.plates import a_trial
from tests.test_commissions import a_commission
from tests.test_page_commissions import field, the_page
from tests.test_page_suggestions import page, said
from ui.recipe.recipe_form import fields_of

SCULPTOR = "A. Quill-Marsh (invented)"


def a_job(folder: Path) -> None:
    """Keep a commission with one area, its target and two plates that were made for it."""
    with Studio.open(folder / "studio") as studio:
        target = studio.save_target(Target("bird (invented)", Reading((40.0, 14.0, 22.0)), tolerance=2.0))
        for number, lab in enumerate(((45.0, 12.0, 20.0), (40.3, 14.1, 22.2)), start=1):
            studio.record(a_trial(reading=Reading(lab), stages=(), uid=f"made {number}", target_id=target.id))
        studio.commissions.save(a_commission(areas=(Area("bird", 900.0, target.id),)))


def press(app: AppTest, label: str) -> AppTest:
    assert not app.exception
    return next(button for button in app.button if button.label == label).click().run()


def test_a_plate_is_signed_off_cast_and_repaired(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    a_job(tmp_path)
    app = press(the_page(monkeypatch, tmp_path, commission="1"), "Have plate 2 signed off for bird")
    assert "frozen" in said(app) and "matches within" in said(app)
    assert "judges them more finely" not in said(app), "an instrument read it"
    app = press(app, "Sign off plate 2")
    assert "who signs" in said(app), "nothing is signed without a name"
    field(app, "Approved by").set_value(SCULPTOR).run()
    field(app, "In what light it was judged").set_value("daylight, north window").run()
    again = the_page(monkeypatch, tmp_path, commission="1", sign="1")
    assert field(again, "Approved by").value == SCULPTOR, "kept over a reload"
    app = press(again, "Sign off plate 2")
    assert f"approved by {SCULPTOR}" in said(app)
    assert "Print the sign-off" in [button.label for button in app.get("download_button")]
    with Studio.open(tmp_path / "studio") as studio:
        aim = studio.sign_offs.standing(1).aim_id  # type: ignore[union-attr]
        cast = studio.record(a_trial(reading=Reading((40.5, 14.2, 22.0)), stages=(), uid="cast", target_id=aim))
    app = the_page(monkeypatch, tmp_path, commission="1")
    next(folded for folded in app.expander if folded.label == "Casts and drift")
    app.session_state["area.edition.1"] = True
    app = press(app.run(), f"Yes, plate {cast.id} is that cast")
    with Studio.open(tmp_path / "studio") as studio:
        assert [(one.number, one.trial_id) for one in studio.casts.of_area(1)] == [(1, cast.id)]
    assert "no more than chance" in said(app) and "fewer than 5 casts" in said(app)
    app = press(app, "Take on the repair")
    assert "what is to be repaired" in said(app)
    with Studio.open(tmp_path / "studio") as studio:
        assert len(studio.commissions.commissions()) == 1, "nothing is made before it was said and confirmed"
    field(app, "What is to be repaired").set_value("a scratch").run()
    app = press(app, "Take on the repair")
    with Studio.open(tmp_path / "studio") as studio:
        repair = studio.commissions.commission(2)
        assert repair.areas[0].repairs_uid is not None
    app = the_page(monkeypatch, tmp_path, commission="2")
    assert f"approved by {SCULPTOR}" in said(app) and "as it is today" in said(app) and "a scratch" in said(app)
    assert "To find plate 2: marked " in said(app) and "The surface is still to be read" in said(app)
    assert app.button(key=f"area.next.{repair.areas[0].id}").label == "Read the surface of bird as it is today"
    assert "Take the approved recipe to the bench" in [button.label for button in app.button]


def test_an_approved_plate_that_was_made_for_something_else_has_its_picture_on_its_commission(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    a_job(tmp_path)
    with Studio.open(tmp_path / "studio") as studio:
        other = studio.save_target(Target("gate (invented)", Reading((41.0, 14.0, 22.0))))
        for target in (other.id, None):
            trial = studio.record(a_trial(reading=Reading((40.2, 14.0, 22.0)), stages=(), target_id=target))
            signed = studio.sign_offs.sign(1, trial.id or 0, SCULPTOR, "daylight")
            assert f"plate {trial.id}, approved" in said(the_page(monkeypatch, tmp_path, commission="1"))
            known = all_known(studio.database, studio.commissions.commission(1))
            assert [plate.id for plate in known.plates] == [1, 2], "it was still made for something else"
            studio.sign_offs.withdraw(signed.id or 0, "seen outdoors")


def test_a_sign_off_is_withdrawn_only_with_a_reason(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    a_job(tmp_path)
    with Studio.open(tmp_path / "studio") as studio:
        studio.sign_offs.sign(1, 2, SCULPTOR, "daylight")
    app = press(the_page(monkeypatch, tmp_path, commission="1"), "Withdraw the sign-off")
    assert "reason" in said(app)
    field(app, "Reason to withdraw the sign-off").set_value("seen outdoors").run()
    app = press(app, "Withdraw the sign-off")
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.sign_offs.standing(1) is None
    assert "Have plate 2 signed off for bird" in [button.label for button in app.button]


def test_what_no_sheet_can_print_is_said_before(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    a_job(tmp_path)
    with Studio.open(tmp_path / "studio") as studio:
        studio.sign_offs.sign(1, 2, "Ηρώ Чайка", "daylight")
    assert "stands for each" not in said(the_page(monkeypatch, tmp_path, commission="1"))
    with Studio.open(tmp_path / "studio") as studio:
        kept = studio.commissions.commission(1)
        studio.commissions.change(replace(kept, client="鷺"), kept)
    assert "print 鷺: a ? stands for each." in said(the_page(monkeypatch, tmp_path, commission="1"))


def test_before_signing_the_page_says_that_an_unsure_reading_judges_no_cast_finely(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    a_job(tmp_path)
    with Studio.open(tmp_path / "studio") as studio:
        by_phone = Reading((40.1, 14.1, 22.0), 16.0 * np.eye(3))
        studio.record(a_trial(reading=by_phone, stages=(), uid="by a phone", target_id=1))
    app = the_page(monkeypatch, tmp_path, commission="1", sign="1")
    field(app, "Plate that is approved").set_value("3").run()
    assert "before it is signed off, a plate judges them more finely" in said(app)


def test_a_cast_logged_from_the_bench_is_noted_and_leads_back_to_its_commission(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    a_job(tmp_path)
    with Studio.open(tmp_path / "studio") as studio:
        signed = studio.sign_offs.sign(1, 2, SCULPTOR, "daylight, north window")
        piece = Piece("c1", signed.recipe, target_id=signed.aim_id, cast=1)
        studio.shelf.put(piece)
        colour = {"way": "typed", "lab_l": 40.0, "lab_a": 14.0, "lab_b": 22.0}
        of_bench = {"bench_piece": "c1", "cast": 1, "target_id": signed.aim_id}
        studio.save_draft("plate", {**fields_of(signed.recipe), **colour, **of_bench})
    app = press(page(monkeypatch, tmp_path, target=None, screen="record"), "Log this plate")
    assert app.query_params["commission"] == "1" and not app.exception
    with Studio.open(tmp_path / "studio") as studio:
        assert [(one.number, one.trial_id) for one in studio.casts.of_area(1)] == [(1, studio.trials()[-1].id)]
        assert studio.shelf.pieces() == []


def test_a_repair_of_what_was_never_signed_says_so_sign_for_sign(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    a_job(tmp_path)
    with Studio.open(tmp_path / "studio") as studio:
        studio.commissions.begin_repair(1, "a scratch")
    shown = said(the_page(monkeypatch, tmp_path, commission="2"))
    assert "Nothing is signed off for bird of " in shown and ": search the log." in shown
    assert "\\" not in shown.split("Nothing is signed off for")[1][:120]
