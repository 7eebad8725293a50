"""Sign-off, casts and the control chart of an edition."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from matcher.colour.uncertainty import BudgetTerm
from matcher.commissions.casts import next_cast
from matcher.commissions.commission import Area, Commission
from matcher.commissions.control_chart import (
    BEYOND,
    FEWEST_FOR_RUNS,
    SURELY,
    chance_of_a_run,
    control_chart,
    how_finely_judged,
    in_words,
    runs,
    widened_by,
)
from matcher.commissions.known import what_is_repaired
from matcher.commissions.read_again import Owner
from matcher.commissions.sign_off import approved_reading
from matcher.commissions.wording import repaired_in_words
from matcher.errors import StudioError
from matcher.process.residual import PRIOR_LOG_PLATE_SD
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.studio import Studio
from matcher.trials.facts import facts_of
from matcher.trials.trial import StageReading, Target, Trial
from tests.example_counts import examples

SMITH = "A. Quill-Marsh (invented)"
DAYLIGHT = "daylight, north window"
TAG = "K7QX2-88"


def reading(*lab: float, sd: float = 0.3) -> Reading:
    return Reading(lab=lab, covariance=np.diag([sd**2] * 3))


def plate(*lab: float, waxed: tuple[float, ...] | None = None, stock: str | None = "Fe 1", uid: str = "") -> Trial:
    recipe = Recipe(
        "silicon bronze", Undercoat("liver of sulphur", 0.5), (Coat("ferric nitrate", 0.5, 6, 105.0, stock=stock),)
    )
    stages = () if waxed is None else (StageReading("waxed", reading(*waxed)),)
    return Trial(recipe, reading(*lab), stages=stages, uid=uid or None)


def commissioned(studio: Studio) -> tuple[Commission, Area, Target]:
    """A commission with two areas, of which the head has a target, and a bottle of ferric nitrate."""
    studio.save_stock("Fe 1", "ferric nitrate", 400.0, lot="7")
    target = studio.save_target(Target("heron, head (invented)", reading(40, 14, 22), tolerance=2.0))
    areas = (Area("head", target_id=target.id), Area("reeds"))
    kept = studio.commissions.save(Commission("Heron fountain (invented)", "silicon bronze", casts=3, areas=areas))
    return kept, kept.areas[0], target


def test_what_is_signed_is_kept_as_it_stood_and_becomes_what_the_next_cast_is_aimed_at(studio: Studio) -> None:
    commission, head, target = commissioned(studio)
    trial = studio.record(plate(42, 13, 21, waxed=(39.5, 14.2, 22.3)))
    signed = studio.sign_offs.sign(head.id or 0, trial.id or 0, SMITH, DAYLIGHT, "as the maquette", "R. O. (invented)")
    assert (signed.stage, signed.plate.lab.tolist()) == ("waxed", [39.5, 14.2, 22.3]), "a sealed piece is judged sealed"
    assert signed.target.lab.tolist() == [40, 14, 22] and signed.stands == "within" and signed.delta_e00 < 1
    assert signed.recipe == trial.recipe and [bottle.label for bottle in signed.bottles] == ["Fe 1"]
    assert studio.sign_offs.standing(head.id) is not None
    aim = studio.target(signed.aim_id or 0)
    assert aim.reading.lab.tolist() == [39.5, 14.2, 22.3] and aim.name == f"{commission.title}, head: as signed off"
    assert [line.what for line in studio.history("area", head.id)][-1] == "signed off"
    document = signed.as_dict()
    assert document["stands"] == "within" and document["bottles"][0]["grams_per_litre"] == 400.0
    with pytest.raises(StudioError, match="signed off"):
        studio.readings.replace(Owner("target", target.id or 0), reading(41, 14, 22), target.reading, "read anew")
    with pytest.raises(StudioError, match="signed off"):
        studio.readings.replace(
            Owner("target", aim.id or 0), reading(41, 14, 22), aim.reading, "what casts are aimed at"
        )
    with pytest.raises(StudioError, match="signed off already"):
        studio.sign_offs.sign(head.id or 0, trial.id or 0, SMITH, DAYLIGHT)
    with pytest.raises(StudioError, match="Withdraw the sign-off"):
        studio.commissions.change_area(replace(head, target_id=aim.id), head)


def test_a_sign_off_is_withdrawn_with_a_reason_and_stays_in_the_record(studio: Studio) -> None:
    _, head, target = commissioned(studio)
    trial = studio.record(plate(42, 13, 21))
    signed = studio.sign_offs.sign(head.id or 0, trial.id or 0, SMITH, DAYLIGHT)
    with pytest.raises(StudioError, match="reason"):
        studio.sign_offs.withdraw(signed.id or 0, " ")
    gone = studio.sign_offs.withdraw(signed.id or 0, "the client saw it outdoors")
    assert gone.withdrawn_reason == "the client saw it outdoors" and studio.sign_offs.standing(head.id) is None
    assert studio.sign_offs.withdraw(signed.id or 0, "the client saw it outdoors").withdrawn_at == gone.withdrawn_at
    with pytest.raises(StudioError, match=r"was withdrawn already \(the client saw it outdoors\)"):
        studio.sign_offs.withdraw(signed.id or 0, "twice")
    second = studio.sign_offs.sign(head.id or 0, trial.id or 0, SMITH, "daylight outdoors")
    assert [one.id for one in studio.sign_offs.of_area(head.id)] == [signed.id, second.id]
    with pytest.raises(StudioError, match="no sign-off 99"):
        studio.sign_offs.withdraw(99, "why")
    assert studio.target(target.id or 0).set_aside is None


def test_what_cannot_be_signed_says_why_and_changes_nothing(studio: Studio) -> None:
    commission, head, _ = commissioned(studio)
    trial, aside = studio.record(plate(42, 13, 21)), studio.record(plate(50, 13, 21, uid="aside"))
    studio.set_aside(aside.id or 0, "streaky")
    before = len(studio.targets())
    for area, number, by, light, says in (
        (commission.areas[1].id, trial.id, SMITH, DAYLIGHT, "Give reeds a target first"),
        (head.id, 99, SMITH, DAYLIGHT, "no plate 99"),
        (head.id, aside.id, SMITH, DAYLIGHT, "set aside"),
        (head.id, trial.id, " ", DAYLIGHT, "who signs"),
        (head.id, trial.id, SMITH, "", "light"),
        (99, trial.id, SMITH, DAYLIGHT, "no area 99"),
    ):
        with pytest.raises(StudioError, match=says):
            studio.sign_offs.sign(area or 0, number or 0, by, light)
    assert len(studio.targets()) == before and studio.sign_offs.of_area(head.id) == []


def test_a_sign_off_far_from_its_target_says_so(studio: Studio) -> None:
    """A sculptor may approve what the figures would not: that is theirs to say, and the record says how far it is."""
    _, head, _ = commissioned(studio)
    trial = studio.record(plate(55, 5, 10))
    signed = studio.sign_offs.sign(head.id or 0, trial.id or 0, SMITH, DAYLIGHT)
    assert signed.stands == "outside" and "lighter" in signed.difference


def test_casts_are_counted_area_by_area(studio: Studio) -> None:
    commission, head, target = commissioned(studio)
    first, second = (studio.record(plate(40 + n, 14, 22, uid=f"cast {n}")) for n in range(2))
    assert next_cast(commission, ()) == 1, "areas without a target don't count"
    studio.casts.note(first.id or 0, head.id or 0, 1)
    assert studio.casts.note(first.id or 0, head.id or 0, 1) == studio.casts.of_area(head.id)[0]
    assert next_cast(commission, studio.casts.of_area(head.id)) == 2
    with pytest.raises(StudioError, match="cast 1 is plate"):
        studio.casts.note(second.id or 0, head.id or 0, 1)
    with pytest.raises(StudioError, match="part of cast 1 already"):
        studio.casts.note(first.id or 0, head.id or 0, 2)
    with pytest.raises(StudioError, match="from 1"):
        studio.casts.note(second.id or 0, head.id or 0, 0)
    studio.set_aside(first.id or 0, "burnt")
    studio.casts.note(second.id or 0, head.id or 0, 1)
    assert studio.casts.of_trial(second.id) is not None and studio.casts.of_trial(99) is None
    reeds = studio.commissions.change_area(replace(commission.areas[1], target_id=target.id), commission.areas[1])
    both = studio.commissions.commission(commission.id or 0)
    assert next_cast(both, studio.casts.of_area(head.id)) == 1, f"{reeds.name} of cast 1 is still to be done"
    done = [cast for area in both.areas for cast in studio.casts.of_area(area.id)]
    assert next_cast(replace(both, casts=1, areas=both.areas[:1]), done) is None


def test_the_next_cast_is_judged_against_the_approved_plate(studio: Studio) -> None:
    _, head, _ = commissioned(studio)
    assert studio.edition(head.id or 0) is None
    trial = studio.record(plate(42, 13, 21, waxed=(39.5, 14.2, 22.3)))
    studio.sign_offs.sign(head.id or 0, trial.id or 0, SMITH, DAYLIGHT)
    for number, lab in ((1, (39.9, 14.0, 22.0)), (2, (30.0, 9.0, 15.0))):
        cast = studio.record(plate(*lab, uid=f"cast {number}"))
        studio.casts.note(cast.id or 0, head.id or 0, number)
    chart = studio.edition(head.id or 0)
    assert chart is not None
    assert [(point.label, point.stands, point.beyond) for point in chart.points] == [
        ("cast 1", "within", False), ("cast 2", "outside", True),
    ]  # fmt: skip
    assert "Cast 2 differs from the approved plate by more than chance" in in_words(chart)
    assert chart.centre is None and "no drift" in in_words(chart)
    assert chart.as_dict()["words"] == in_words(chart)


def casts(labs: np.ndarray, sd: float = 0.3) -> list[tuple[int, datetime, Reading]]:
    start = datetime(2026, 1, 5, tzinfo=UTC)
    return [
        (n, start + timedelta(days=90 * n), Reading(lab=lab, covariance=np.diag([sd**2] * 3)))
        for n, lab in enumerate(labs, start=1)
    ]


def test_the_limit_is_that_of_three_standard_deviations_of_one_quantity() -> None:
    """Source: SciPy's chi-squared distribution; 0.27 % is Shewhart's limit of three."""
    assert pytest.approx(chi2.ppf(0.9973, 3), abs=0.01) == BEYOND


def test_a_point_is_beyond_the_limits_as_often_as_chance_has_it_and_a_real_fault_is_seen() -> None:
    rng = np.random.default_rng(5)
    scatter, sd, truth = np.diag([0.7, 0.5, 0.6]) ** 2, 0.3, np.array([40.0, 14.0, 22.0])
    own = scatter + sd**2 * np.eye(3)
    distances, seen = [], []
    for _ in range(800):
        approved = Reading(lab=truth + rng.multivariate_normal(np.zeros(3), own), covariance=sd**2 * np.eye(3))
        lab = truth + rng.multivariate_normal(np.zeros(3), own, 1)
        distances.append(control_chart(approved, casts(lab), scatter, 2.0).points[0].t_squared)
        seen.append(control_chart(approved, casts(lab + [5.0, 0.0, 3.0]), scatter, 2.0).points[0].beyond)
    assert np.mean(distances) == pytest.approx(3.0, abs=0.3), "the mean of chi-squared with 3 degrees of freedom"
    assert np.mean(np.array(distances) > chi2.ppf(0.95, 3)) == pytest.approx(0.05, abs=0.022)
    assert np.mean(np.array(distances) > BEYOND) < 0.009, "0.27 % is expected"
    assert np.mean(seen) > 0.7


@given(
    lab=st.tuples(st.floats(30, 50), st.floats(4, 24), st.floats(12, 32)),
    approved_sd=st.floats(0.1, 6.0),
    cast_sd=st.floats(0.1, 6.0),
    together=st.floats(-0.9, 0.9),
)
@examples(60)
def test_what_is_drawn_and_what_is_said_are_one_rule(
    lab: tuple[float, float, float], approved_sd: float, cast_sd: float, together: float
) -> None:
    """Outside a dashed line is always more than chance, however unsure the approved plate's reading is; and the lines
    touch the region that the verdict leaves to chance, so that they are no wider than they must be."""
    scatter = np.diag([0.49, 0.25, 0.36])
    scatter[0, 2] = scatter[2, 0] = together * 0.7 * 0.6
    approved = reading(40, 14, 22, sd=approved_sd)
    chart = control_chart(approved, casts(np.array([lab]), cast_sd), scatter, 2.0)
    (point,) = chart.points
    outside = [not low <= lab[axis] <= high for axis in range(3) for low, high in chart.limits(axis)]
    assert point.beyond or not any(outside)
    apart = 2 * scatter + (approved_sd**2 + cast_sd**2) * np.eye(3)
    for axis in range(3):  # where the region reaches farthest along this axis
        farthest = apart[axis] / apart[axis, axis] * point.reach[axis]
        for share, beyond in ((0.99, False), (1.01, True)):
            there = casts((approved.lab + share * farthest)[None], cast_sd)
            assert control_chart(approved, there, scatter, 2.0).points[0].beyond is beyond


def test_an_unsure_reading_sets_the_limits_wider_for_that_cast_alone() -> None:
    sure, unsure = casts(np.array([[40.0, 14.0, 22.0]]), 0.3), casts(np.array([[40.0, 14.0, 22.0]]), 4.0)
    chart = control_chart(reading(40, 14, 22), [*sure, *unsure], np.diag([0.25, 0.16, 0.25]), 2.0)
    (low, high), (lower, higher) = chart.limits(0)
    assert lower < low < 40 < high < higher
    assert chart.as_dict()["points"][1]["reach"] == chart.points[1].reach.tolist()


def test_readings_that_blunt_the_chart_are_said_with_how_much() -> None:
    """Where an instrument read both, the limits are those of the plates: nothing is advised."""
    scatter, five = np.diag([0.25, 0.16, 0.36]), np.tile([40.0, 14.0, 22.0], (5, 1))
    for sd, blunt in ((0.05, False), (0.5, False), (1.5, True), (4.0, True)):
        chart = control_chart(reading(40, 14, 22, sd=sd), casts(five, sd), scatter, 2.0)
        assert chart.widened == pytest.approx(np.sqrt((2 * 0.16 + 2 * sd**2) / (2 * 0.16)))
        assert ("judged more finely" in in_words(chart)) is blunt
        assert f"{chart.widened:.0f} times" in in_words(chart) or not blunt
    assert control_chart(reading(40, 14, 22), [], scatter, 2.0).as_dict()["widened"] == 1.0


def test_before_a_plate_is_signed_an_unsure_reading_of_it_is_said() -> None:
    usual = np.diag(np.exp(2 * PRIOR_LOG_PLATE_SD))
    assert how_finely_judged(reading(40, 14, 22, sd=0.3)) == ""
    for sd in (2.0, 5.0):
        same = control_chart(reading(40, 14, 22, sd=sd), casts(np.array([[40.0, 14.0, 22.0]]), sd), usual, 2.0)
        assert widened_by(reading(40, 14, 22, sd=sd)) == pytest.approx(same.widened)
        cancels = BudgetTerm("camera", 9.0 * np.eye(3), shared="one camera in daylight")
        own = BudgetTerm("region", sd * np.eye(3))
        by_one_camera = Reading((40, 14, 22), (81 + sd**2) * np.eye(3), budget=(cancels, own))
        assert widened_by(by_one_camera) == pytest.approx(same.widened), "that camera reads every cast too"
        alone = replace(cancels, shared=f"the card of {'a' * 64}")
        of_one_photograph = replace(by_one_camera, photo="a" * 64, budget=(alone, own))
        whole = np.hypot(9.0, sd)
        wide = control_chart(reading(40, 14, 22, sd=whole), casts(np.array([[40.0, 14.0, 22.0]]), whole), usual, 2.0)
        assert widened_by(of_one_photograph) == pytest.approx(wide.widened), "that photograph reads no cast"
        assert f"differ {same.widened:.0f} times as far" in how_finely_judged(reading(40, 14, 22, sd=sd))


def test_chance_makes_few_runs_and_a_drift_is_found() -> None:
    rng = np.random.default_rng(3)
    chance, drift = [], []
    for _ in range(300):
        values = rng.normal(size=(SURELY, 3))
        chance.append(bool(runs(values - values.mean(axis=0))))
        values[:, 0] += np.linspace(-2.2, 2.2, SURELY)
        drift.append(bool(runs(values - values.mean(axis=0))))
    assert np.mean(chance) < 0.08 and np.mean(drift) > 0.65
    assert 0.08 < chance_of_a_run(20) < 0.3, "longer charts show more of them, and the words say so"


@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ([0.1, 2.3, 0.2, 2.4, 0.0, -0.1], "two of three beyond two"),
        ([1.2, 1.3, -0.2, 1.1, 1.4, 0.0], "four of five beyond one"),
        ([-0.1, 0.1, 0.2, 0.3, 0.1, 0.4, 0.2, 0.1, 0.3, -0.2], "eight on one side"),
    ],
)
def test_each_rule_is_that_of_the_handbook(values: list[float], rule: str) -> None:
    """Source: Western Electric Company, Statistical Quality Control Handbook, 1956, tests for unnatural patterns
    (from memory)."""
    for side in (1, -1):
        standard = np.zeros((len(values), 3))
        standard[:, 1] = np.array(values) * side
        found = [one for one in runs(standard) if one.rule == rule]
        assert [(one.axis, one.side) for one in found] == [(1, side)]
        assert found[0].points == tuple(k for k, v in enumerate(values) if v > {"t": 2, "f": 1, "e": 0}[rule[0]])


def test_one_faulty_cast_makes_no_drift_of_the_others() -> None:
    """One far cast pulls the mean to its side: then all the others would lie on the other."""
    labs = np.tile([40.0, 14.0, 22.0], (8, 1)) + np.random.default_rng(8).normal(0, 0.2, (8, 3))
    labs[4] += [14.0, 2.0, 16.0]
    chart = control_chart(reading(40, 14, 22), casts(labs), np.diag([0.25, 0.16, 0.25]), 2.0)
    assert in_words(chart) == "Cast 5 differs from the approved plate by more than chance."
    labs[3:] += [6.0, 0.0, 0.0]  # most of them are beyond: then it is no fault of one
    assert control_chart(reading(40, 14, 22), casts(labs), np.diag([0.25, 0.16, 0.25]), 2.0).drifts


def test_a_drift_is_said_with_its_side_and_from_when() -> None:
    labs = np.tile([40.0, 14.0, 22.0], (10, 1))
    labs[:, 0] -= np.linspace(0, 6, 10)
    chart = control_chart(reading(40, 14, 22), casts(labs), np.diag([0.25, 0.16, 0.25]), 2.0)
    said = in_words(chart)
    assert chart.drifts and "lighter" in said and "darker" in said and "a drift, not chance" in said
    steady = np.tile([40.0, 14.0, 22.0], (FEWEST_FOR_RUNS, 1))
    calm = control_chart(reading(40, 14, 22), casts(steady), np.diag([0.25, 0.16, 0.25]), 2.0)
    assert not calm.drifts and in_words(calm).endswith("no more than chance.")
    assert in_words(control_chart(reading(40, 14, 22), [], np.eye(3), 2.0)) == "No cast is logged yet."


def test_the_approved_reading_is_the_last_sealed_one() -> None:
    stages = (StageReading("pass 3", reading(60, 1, 1)), StageReading("waxed", reading(39, 1, 1)))
    assert approved_reading(replace(plate(42, 13, 21), stages=stages))[0] == "waxed"
    assert approved_reading(plate(42, 13, 21))[0] == "finished"


def test_a_plate_that_was_begun_as_a_cast_is_noted_as_that_cast_when_it_is_logged(told: Any, tmp_path: Path) -> None:
    place = ("--studio", tmp_path / "studio")
    with Studio.open(tmp_path / "studio") as studio:
        _, head, target = commissioned(studio)
        approved = studio.record(plate(40, 14, 22))
        aim = studio.sign_offs.sign(head.id or 0, approved.id or 0, SMITH, DAYLIGHT).aim_id
    coat = ("--alloy", "silicon bronze", "--coat", "ferric nitrate,0.5,1,105")
    for number, target_id, wanted in ((2, aim, 2), (2, aim, None), (1, target.id, None)):
        cast = ("--cast", number) if target_id == aim else ()
        told("bench", "--put", "--target", target_id, *coat, "--mark", "H", *cast, *place)
        told("bench", "--count", "H", *place)
        logged = told("record", "--from-bench", "H", "--lab", "40,14,22", *place)
        assert logged["cast"] == wanted, "a cast that is done already, and a trial, are left for the person to say"
    with Studio.open(tmp_path / "studio") as studio:
        assert [(one.area_id, one.number) for one in studio.casts.of_area(head.id or 0)] == [(head.id, 2)]


def test_the_command_line_signs_casts_and_prints(run: Any, told: Any, refused: Any, tmp_path: Path) -> None:
    place = ("--studio", tmp_path / "studio")
    with Studio.open(tmp_path / "studio") as studio:
        _, head, _ = commissioned(studio)
        for number, lab in enumerate(((39.5, 14.2, 22.3), (39.9, 14.0, 22.0)), start=1):
            studio.record(plate(*lab, uid=f"plate {number}"))
    part = ("commissions", *place)
    assert told(*part, "edition", head.id)["edition"] is None
    signed = told(*part, "sign-off", head.id, "1", "--signed-by", SMITH, "--light", DAYLIGHT)["sign_off"]
    assert signed["stands"] == "within" and signed["aim_id"] == 2
    assert told(*part, "cast", head.id, "2", "1")["cast"] == {"area_id": head.id, "number": 1, "trial_id": 2}
    assert "no more than chance" in run(*part, "edition", head.id)[1]
    assert "signed off already" in refused(*part, "sign-off", head.id, "1", "--signed-by", SMITH, "--light", DAYLIGHT)
    for name, which in (("sign-off-sheet", head.id), ("record", 1)):
        assert "Wrote" in run(*part, name, which, tmp_path / f"{name}.pdf")[1]
        assert (tmp_path / f"{name}.pdf").read_bytes().startswith(b"%PDF")
    assert told(*part, "withdraw", signed["id"], "seen outdoors")["sign_off"]["withdrawn_reason"] == "seen outdoors"
    shown = run(*part, "show", "1")[1]
    assert "withdrawn" in shown.casefold() and "Cast 1 for head" in shown


def test_a_repair_is_a_commission_of_its_own_that_knows_what_it_repairs(studio: Studio) -> None:
    commission, head, _ = commissioned(studio)
    trial = studio.record(plate(42, 13, 21))
    studio.sign_offs.sign(head.id or 0, trial.id or 0, SMITH, DAYLIGHT)
    repair = studio.commissions.begin_repair(head.id or 0, "a scratch", "R. O. (invented)")
    assert repair.notes == "To repair: a scratch" and repair.made_by == "R. O. (invented)"
    assert (repair.alloy, repair.casts, repair.areas[0].name) == (commission.alloy, 1, "head")
    found = studio.commissions.of_uid(repair.areas[0].repairs_uid)
    assert found is not None and found[1].id == head.id
    assert studio.sign_offs.standing(found[1].id) is not None, "recipe, bottles and plate are found"
    assert studio.commissions.of_uid(None) is None and studio.commissions.of_uid("elsewhere") is None
    assert studio.history("area", head.id)[-1].what == "repair begun"
    with pytest.raises(StudioError, match="no area 99"):
        studio.commissions.begin_repair(99, "a scratch")
    with pytest.raises(StudioError, match="what is to be repaired"):
        studio.commissions.begin_repair(head.id or 0, " ")
    assert len(studio.commissions.commissions()) == 2, "nothing is made by what is refused"


def repaired(studio: Studio, area: Area) -> str:
    one = what_is_repaired(studio.database, area)
    assert one is not None
    return " ".join(repaired_in_words(one))


def test_a_repair_tells_how_the_approved_plate_and_its_bottles_are_found(studio: Studio) -> None:
    _, head, _ = commissioned(studio)
    trial = studio.record(replace(plate(42, 13, 21), piece="H-7", notes="drawer 3"))
    assert what_is_repaired(studio.database, head) is None
    never = studio.commissions.begin_repair(head.id or 0, "a scratch").areas[0]
    assert repaired(studio, never) == "Nothing is signed off for head of Heron fountain (invented): search the log."
    studio.sign_offs.sign(head.id or 0, trial.id or 0, SMITH, DAYLIGHT)
    studio.give_tag(trial.id or 0, TAG)
    said = repaired(studio, never)
    assert f"plate {trial.id}, approved by {SMITH}." in said
    assert f"To find plate {trial.id}: marked H-7 and tag {TAG}. Noted of it: drawer 3." in said
    assert "Fe 1: ferric nitrate, 400 g/L, on the shelf" in said
    studio.correct(trial.id or 0, replace(facts_of(trial), piece="", notes=""), facts_of(trial))
    studio.take_tag(trial.id or 0, why="lost")
    studio.bottles.change("Fe 1", used_up_at=datetime.now(UTC))
    said = repaired(studio, never)
    assert f"To find plate {trial.id}: no mark and no tag is noted. Where it is kept is not noted." in said
    assert "used up: mix it anew" in said
    assert "not in this studio" in repaired(studio, replace(never, repairs_uid="elsewhere"))


def test_a_repair_is_told_as_one_on_the_command_line(run: Any, told: Any, refused: Any, tmp_path: Path) -> None:
    place = ("--studio", tmp_path / "studio")
    with Studio.open(tmp_path / "studio") as studio:
        _, head, _ = commissioned(studio)
        trial = studio.record(replace(plate(42, 13, 21), piece="H-7"))
        studio.sign_offs.sign(head.id or 0, trial.id or 0, SMITH, DAYLIGHT)
    assert "TEXT" in refused("commissions", "repair", head.id, *place)
    assert "what is to be repaired" in refused("commissions", "repair", head.id, " ", *place)
    made = told("commissions", "repair", head.id, "a scratch", *place)
    assert made["state"]["in_words"] == "The surface is still to be read"
    (facts,) = made["repairs"]
    assert (facts["trial_id"], facts["piece"], facts["repairs_area_id"]) == (trial.id, "H-7", head.id)
    shown = run("commissions", "show", made["commission"]["id"], *place)[1]
    for line in (
        "Next: Read the surface of head as it is today.",
        "head: its surface is still to be read",
        f"plate {trial.id}, approved by {SMITH}.",
        f"To find plate {trial.id}: marked H-7.",
        "Recipe: ",
    ):
        assert line in shown
