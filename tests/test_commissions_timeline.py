"""What happened with a commission in one list, how far it has come, and what to do next; everything invented.

In a folder and on a PostgreSQL server.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa

from matcher.bench.shelf import new_uid
from matcher.bench.work import Piece
from matcher.commissions.commission import DECISION, Area, JournalLine
from matcher.commissions.known import Known, all_known, uses_on_bench
from matcher.commissions.state import next_steps, state_of
from matcher.commissions.timeline import what_happened
from matcher.commissions.wording import (
    event_in_words,
    goal_in_words,
    on_bench_in_words,
    state_in_words,
    step_in_words,
    use_in_words,
)
from matcher.reading.reading import Reading
from matcher.storage.schema import CastRow, SignOffRow
from matcher.studio import Studio
from matcher.trials.facts import facts_of
from matcher.trials.trial import Target, Trial
from tests.plates import a_photograph, a_recipe
from tests.test_commissions import a_commission, signed

DAY = datetime(2026, 2, 1, 9, 0, tzinfo=UTC)
SURE = 0.01 * np.eye(3)


def read(lightness: float, covariance: Any = SURE) -> Reading:
    return Reading(lab=np.array([lightness, 14.0, 22.0]), covariance=covariance)


def target(studio: Studio, name: str = "bird brown", **changed: Any) -> Target:
    return studio.save_target(Target(name, read(40.0), made_at=DAY + timedelta(days=1), **changed))


def plate(studio: Studio, lightness: float, target_id: int | None, day: int = 2, **changed: Any) -> Trial:
    told = {"made_at": DAY + timedelta(days=day), "made_by": "Ann", "target_id": target_id, **changed}
    return studio.record(Trial(a_recipe(), read(lightness), **told))


def now(studio: Studio) -> Known:
    return all_known(studio.database, studio.commissions.commission(1))


def words(studio: Studio) -> tuple[str, list[str]]:
    known = now(studio)
    return state_in_words(state_of(known)), [step_in_words(step) for step in next_steps(known)]


def cast(studio: Studio, trial: Trial, area: Area, number: int) -> None:
    with studio.database.writing() as session:
        session.execute(sa.insert(CastRow), [{"trial_id": trial.id, "area_id": area.id, "number": number}])


def test_state_and_next_steps_follow_from_what_happens(studio: Studio) -> None:
    kept = studio.commissions.save(a_commission(casts=2, made_at=DAY))
    bird, reeds = kept.areas
    assert words(studio) == ("No target yet", ["Give bird a target", "Give reeds a target"])
    wanted = target(studio)
    bird = studio.commissions.change_area(replace(bird, target_id=wanted.id), bird)
    looking = "Looking for the finish (1 area without a target)"
    assert words(studio) == (looking, ["Make a first plate for bird", "Give reeds a target"])
    plate(studio, 48.0, wanted.id)
    assert words(studio)[1][0] == "Make another plate for bird"
    near = plate(studio, 40.3, wanted.id, day=3)
    assert words(studio)[1][0] == f"Have plate {near.id} signed off for bird"
    piece = studio.shelf.put(Piece(new_uid(), a_recipe(), target_id=wanted.id))
    assert words(studio)[0].startswith("On the bench") and words(studio)[1][0] == "Go on at the bench with bird"
    studio.shelf.take_off(piece.uid)
    reeds = studio.commissions.change_area(replace(reeds, target_id=wanted.id), reeds)
    signed(studio, bird, wanted.id, near.id)
    assert words(studio) == (
        "Looking for the finish (1 of 2 areas approved)",
        ["Colour bird on cast 1", f"Have plate {near.id} signed off for reeds"],
    )
    signed(studio, reeds, wanted.id, near.id, "signed too")
    assert words(studio)[0] == "Approved, ready to cast"
    pieces = {(area.name, n): plate(studio, 40.1, wanted.id, day=4) for n in (1, 2) for area in (bird, reeds)}
    cast(studio, pieces["bird", 1], bird, 1)
    assert words(studio) == ("Casting: 0 of 2 done", ["Colour bird on cast 2", "Colour reeds on cast 1"])
    for name, number in (("reeds", 1), ("bird", 2), ("reeds", 2)):
        cast(studio, pieces[name, number], bird if name == "bird" else reeds, number)
    assert words(studio) == ("All 2 casts are done", ["Bird is done on every cast", "Reeds is done on every cast"])
    studio.set_aside(pieces["bird", 2].id or 0, "dropped")  # a cast that is spoilt is to be done again
    assert words(studio) == ("Casting: 1 of 2 done", ["Colour bird on cast 2", "Reeds is done on every cast"])
    studio.commissions.set_aside(1, "delivered")
    assert words(studio) == ("Set aside: delivered", [])


def test_a_sign_off_that_is_withdrawn_no_longer_stands(studio: Studio) -> None:
    wanted = target(studio)
    kept = studio.commissions.save(a_commission(areas=(Area("bird", target_id=wanted.id),), made_at=DAY))
    near = plate(studio, 40.0, wanted.id)
    signed(studio, kept.areas[0], wanted.id, near.id)
    assert words(studio)[0] == "Approved, ready to cast"
    with studio.database.writing() as session:
        session.execute(sa.update(SignOffRow).values(withdrawn_at=DAY + timedelta(days=400), withdrawn_reason="light"))
    assert words(studio) == ("Looking for the finish", [f"Have plate {near.id} signed off for bird"])
    told = [event_in_words(event, now(studio)) for event in what_happened(studio.database, now(studio))]
    assert "The sign-off for bird was withdrawn: light." in told


def approved(studio: Studio, casts: int = 3) -> tuple[Area, int, int]:
    """Sign a plate off for the one area of a commission; return it, its target and what its casts are aimed at."""
    wanted = target(studio)
    kept = studio.commissions.save(a_commission(areas=(Area("bird", target_id=wanted.id),), casts=casts, made_at=DAY))
    near = plate(studio, 40.0, wanted.id)
    signed = studio.sign_offs.sign(kept.areas[0].id or 0, near.id or 0, "the sculptor", "north light")
    return kept.areas[0], wanted.id or 0, signed.aim_id or 0


def put(studio: Studio, target_id: int, **changed: Any) -> Piece:
    return studio.shelf.put(Piece(new_uid(), a_recipe(), target_id=target_id, **changed))


def on_bench(studio: Studio) -> list[str]:
    known = now(studio)
    return [on_bench_in_words(one) for one in known.on_bench(known.commission.areas[0])]


def test_a_trial_for_the_old_target_is_no_cast_once_a_plate_is_approved(studio: Studio) -> None:
    wanted = target(studio)
    kept = studio.commissions.save(a_commission(areas=(Area("bird", target_id=wanted.id),), made_at=DAY))
    near = plate(studio, 40.0, wanted.id)
    old = put(studio, wanted.id or 0, name="H-1", begun_at="2026-02-02T09:00:00+00:00")
    assert words(studio) == ("On the bench", ["Go on at the bench with bird"]) and on_bench(studio)[0].startswith("H-1")
    studio.sign_offs.sign(kept.areas[0].id or 0, near.id or 0, "the sculptor", "north light")
    assert words(studio) == ("Approved, ready to cast", ["Colour bird on cast 1"])
    (listed,) = on_bench(studio)
    assert listed.startswith("Trial: H-1, ")
    assert (
        use_in_words(uses_on_bench(studio.database, [old])[old.uid], wanted.name) == "a trial for Heron fountain, bird"
    )
    assert goal_in_words(uses_on_bench(studio.database, [old])[old.uid], wanted) == (
        "A trial for Heron fountain, bird, to match bird brown within ΔE00 2: the piece itself is coloured to another "
        "target by now."
    )
    assert goal_in_words(None, wanted) == "To match bird brown within ΔE00 2." and "no target" in goal_in_words(
        None, None
    )
    withdrawn = studio.sign_offs.standing(kept.areas[0].id)
    studio.sign_offs.withdraw(withdrawn.id or 0, "seen outdoors")  # type: ignore[union-attr]
    assert words(studio) == ("On the bench", ["Go on at the bench with bird"]), "it counts again"
    put(studio, withdrawn.aim_id or 0, name="H-2")  # type: ignore[union-attr]
    assert [line[:10] for line in on_bench(studio)] == [on_bench(studio)[0][:10], "Trial: H-2"]


def test_the_casts_of_an_edition_lie_on_the_bench_together(studio: Studio) -> None:
    area, _, aim = approved(studio)
    first = put(studio, aim, cast=1, begun_at="2026-02-02T09:00:00+00:00")
    assert words(studio) == (
        "Casting: 0 of 3 done",
        ["Go on at the bench with bird, cast 1", "Colour bird on cast 2"],
    )
    second = put(studio, aim, begun_at="2026-02-02T10:00:00+00:00")  # by the command line: nobody said which
    assert words(studio)[1] == ["Go on at the bench with bird, cast 2", "Colour bird on cast 3"]
    studio.shelf.change(first.uid, lambda piece: piece.count(piece.at, "2026-02-02T11:00:00+00:00"))
    assert words(studio)[1][0] == "Go on at the bench with bird, cast 1", "the one counted last"
    third = put(studio, aim, cast=3, begun_at="2026-02-02T08:00:00+00:00")  # whichever was begun first
    assert words(studio)[1] == ["Go on at the bench with bird, cast 1"], "all three are there"
    assert [line.split(":")[0] for line in on_bench(studio)] == ["Cast 1", "Cast 2", "Cast 3"]
    uses = uses_on_bench(studio.database, studio.shelf.pieces())
    assert {uid: one.cast for uid, one in uses.items()} == {first.uid: 1, second.uid: 2, third.uid: 3}
    assert use_in_words(uses[third.uid], None) == "for Heron fountain, bird, cast 3"
    aimed = studio.target(aim)
    assert goal_in_words(uses[third.uid], aimed).startswith(
        f"Cast 3 of Heron fountain, bird, to match {aimed.name} within "
    )
    cast(studio, plate(studio, 40.1, aim, day=4), area, 1)
    studio.shelf.take_off(first.uid)
    assert words(studio)[1] == ["Go on at the bench with bird, cast 2"] and len(on_bench(studio)) == 2
    for number in (2, 3):
        cast(studio, plate(studio, 40.1, aim, day=4 + number), area, number)
    assert words(studio) == ("All 3 casts are done", ["Bird is done on every cast"])
    assert not any(line.startswith("Cast") for line in on_bench(studio)), "what still lies there is none of them"


def test_of_two_pieces_begun_as_one_cast_the_second_is_the_next_one(studio: Studio) -> None:
    _, _, aim = approved(studio, casts=2)
    for hour in (9, 10, 11):
        put(studio, aim, cast=1, name=f"H-{hour}", begun_at=f"2026-02-02T{hour:02}:00:00+00:00")
    assert [line.split(",")[0] for line in on_bench(studio)] == ["Cast 1: H-9", "Cast 2: H-10", "H-11"]
    assert words(studio)[1] == ["Go on at the bench with bird, cast 2"]


def test_a_target_that_another_area_is_coloured_for_makes_no_trial(studio: Studio) -> None:
    wanted = target(studio)
    areas = (Area("bird", target_id=wanted.id), Area("reeds", target_id=wanted.id))
    kept = studio.commissions.save(a_commission(areas=areas, made_at=DAY))
    near = plate(studio, 40.0, wanted.id)
    piece = put(studio, wanted.id or 0)
    studio.sign_offs.sign(kept.areas[0].id or 0, near.id or 0, "the sculptor", "north light")
    assert words(studio)[1] == ["Colour bird on cast 1", "Go on at the bench with reeds"]
    assert on_bench(studio) == []
    assert uses_on_bench(studio.database, [piece])[piece.uid].area.name == "reeds"


def test_the_command_line_tells_casts_from_trials(run: Any, told: Any, refused: Any, tmp_path: Path) -> None:
    place = ("--studio", tmp_path / "by command")
    with Studio.open(tmp_path / "by command") as studio:
        wanted = target(studio)
        kept = studio.commissions.save(a_commission(areas=(Area("bird", target_id=wanted.id),), casts=2, made_at=DAY))
        near = plate(studio, 40.0, wanted.id)
        put(studio, wanted.id or 0, name="H-1")
        signed = studio.sign_offs.sign(kept.areas[0].id or 0, near.id or 0, "the sculptor", "north light")
    told("bench", "--put", "--target", signed.aim_id, "--trial", near.id, "--mark", "H-2", "--cast", 2, *place)
    shown = run("commissions", "show", 1, *place)[1]
    for line in (
        "On the bench for bird: Cast 2: H-2, ",
        "On the bench for bird: Trial: H-1, ",
        "Next: Go on at the bench with bird, cast 2.",
        "Next: Colour bird on cast 1.",
    ):
        assert line in shown
    facts = told("commissions", "show", 1, *place)
    assert [(one["step"], one["cast"]) for one in facts["next"]] == [("bench", 2), ("cast", 1)]
    assert [(one["use"], one["cast"], one["area_id"]) for one in facts["on_bench"]] == [
        ("cast", 2, 1),
        ("trial", None, 1),
    ]
    listed = run("bench", "--list", *place)[1]
    assert "H-2" in listed and ", for Heron fountain, bird, cast 2" in listed
    assert ", a trial for Heron fountain, bird" in listed
    assert "A trial for Heron fountain, bird, to match " in run("bench", "--show", "H-1", *place)[1]
    assert "Number the casts from 1" in refused("bench", "--put", "--target", 1, "--trial", 1, "--cast", 0, *place)
    said = refused("bench", "--put", "--target", wanted.id, "--trial", near.id, "--cast", 1, *place)
    assert f"Target {wanted.id} is no approved plate" in said


def test_an_approved_plate_is_of_the_alloy_of_what_it_was_approved_for(studio: Studio) -> None:
    from ui.state.open_studio import alloy_for

    wanted = target(studio)
    areas = (Area("bird", target_id=wanted.id),)
    kept = studio.commissions.save(a_commission(areas=areas, casts=2, made_at=DAY, alloy="tin bronze"))
    signed = studio.sign_offs.sign(kept.areas[0].id or 0, plate(studio, 40.0, wanted.id).id or 0, "the sculptor", "day")
    assert signed.aim_id not in (None, wanted.id)
    assert alloy_for(studio, signed.aim_id) == alloy_for(studio, wanted.id) == "tin bronze"
    assert alloy_for(studio, None) is None and alloy_for(studio, 99) is None


def test_a_plate_is_offered_for_signing_by_its_interval_and_never_by_the_estimate_alone(studio: Studio) -> None:
    wanted = target(studio)
    studio.commissions.save(a_commission(areas=(Area("bird", target_id=wanted.id),), made_at=DAY))
    studio.record(Trial(a_recipe(), read(40.5, 400.0 * np.eye(3)), target_id=wanted.id))  # near, but hardly known
    known = now(studio)
    assert known.nearest_for(known.commission.areas[0]).delta_e00 < wanted.tolerance  # type: ignore[union-attr]
    assert words(studio)[1] == ["Make another plate for bird"]


def test_the_timeline_tells_everything_once_and_in_its_order(studio: Studio) -> None:
    photo = studio.keep_photo(a_photograph())
    wanted = target(studio, photo=photo)
    kept = studio.commissions.save(a_commission(areas=(Area("bird", target_id=wanted.id),), made_at=DAY, made_by="Ann"))
    bird = kept.areas[0]
    far, near = plate(studio, 48.0, wanted.id, day=2), plate(studio, 40.2, wanted.id, day=3)
    plate(studio, 40.0, None)  # another job's
    signed(studio, bird, wanted.id, near.id)
    done = plate(studio, 40.4, None, day=5)
    cast(studio, done, bird, 1)
    line = JournalLine(1, "Warmer towards the beak.", DECISION, bird.id, who="Ben", at=DAY + timedelta(days=4))
    studio.commissions.write(line)
    studio.commissions.change(replace(kept, casts=5), kept, who="Ann")
    studio.commissions.add_area(1, Area("reeds"), who="Ann")
    was = facts_of(studio.trial(far.id or 0))
    studio.correct(far.id or 0, replace(was, notes="streaky"), instead_of=was, who="Ben")
    studio.set_aside(far.id or 0, "streaky")
    known = now(studio)
    events = what_happened(studio.database, known)
    assert [event.at for event in events] == sorted(event.at for event in events)
    told = {event_in_words(event, known): event.who for event in events}
    assert len(told) == len(events) == 12
    assert told["The commission was taken on."] == "Ann"
    assert "A photograph of the finish wanted for bird was kept." in told
    assert "The target bird brown for bird was read: within ΔE00 2." in told
    lighter = "does not match yet, much lighter than the target (set aside: streaky)"
    assert told[f"Plate {far.id} for bird: {lighter}."] == "Ann"
    assert any(sentence.startswith(f"Plate {near.id} for bird: matches within ΔE00 2, ") for sentence in told)
    assert f"Plate {near.id} for bird was signed off by the sculptor, in north light." in told
    assert any(sentence.startswith(f"Cast 1 for bird, logged as plate {done.id}: matches") for sentence in told)
    assert told["Decided for bird: Warmer towards the beak."] == "Ben"
    assert told["The commission was changed. Casts in the edition: 5, was 3."] == "Ann"
    assert told["The area reeds was added."] == "Ann"
    assert told[f"Plate {far.id} for bird was corrected."] == "Ben"
    assert f"Plate {far.id} was set aside: streaky." in told


def test_a_photograph_is_no_younger_than_the_target_that_was_read_from_it_also_in_a_copy(studio: Studio) -> None:
    wanted = target(studio, photo=studio.keep_photo(a_photograph()))  # read on DAY, taken into this database today
    studio.commissions.save(a_commission(areas=(Area("bird", target_id=wanted.id),), made_at=DAY))
    told = [(each.what, each.at) for each in what_happened(studio.database, now(studio))]
    assert told[-2:] == [("photograph", wanted.made_at), ("target", wanted.made_at)]


def test_the_facts_of_an_event_are_fields(studio: Studio) -> None:
    wanted = target(studio)
    studio.commissions.save(a_commission(areas=(Area("bird", target_id=wanted.id),), made_at=DAY))
    near = plate(studio, 40.2, wanted.id)
    (told,) = [each.as_dict() for each in what_happened(studio.database, now(studio)) if each.what == "plate"]
    assert (told["trial_id"], told["standing"], told["area_ids"], told["who"]) == (near.id, "within", [1], "Ann")
    low, high = told["delta_e00_interval"]
    assert low <= told["delta_e00"] <= high


def test_a_line_of_history_that_cannot_be_read_keeps_no_timeline_from_being_told(studio: Studio) -> None:
    kept = studio.commissions.save(a_commission(made_at=DAY))
    studio.commissions.change(replace(kept, casts=5), kept)
    with studio.database.writing() as session:
        session.execute(sa.text("UPDATE history SET detail = '{' WHERE what = 'changed'"))
    known = now(studio)
    assert "The commission was changed." in [event_in_words(e, known) for e in what_happened(studio.database, known)]


def test_the_command_line_takes_a_commission_from_its_start_to_its_end(
    told: Any, run: Any, refused: Any, tmp_path: Path
) -> None:
    where = ("--studio", tmp_path / "by command")
    told("targets", *where, "--add", "bird brown (invented)", "--lab", "38,14,22")
    about = ("--casts", 3, "--due", "2026-05-04", "--surface", 21000, "--tolerance", 1.5, "--by", "Ann")
    added = told("commissions", "add", "Heron fountain", "--alloy", "silicon bronze", "--area", "bird", *about, *where)
    kept = added["commission"]
    assert (kept["casts"], kept["due_on"], kept["area_cm2"], kept["made_by"]) == (3, "2026-05-04", 21000.0, "Ann")
    assert added["state"]["in_words"] == "No target yet"
    later = told("commissions", "add", "Door", "--alloy", "tin bronze", "--due", "2026-01-02", *where)
    assert [one["title"] for one in told("commissions", *where)["commissions"]] == ["Door", "Heron fountain"]
    told("commissions", "add-area", 1, "reeds", "--target", 1, *where)
    told("commissions", "change-area", 1, "--target", 1, "--name", "heron", *where)
    ordered = told("commissions", "order-areas", 1, 2, 1, *where)
    assert [area["name"] for area in ordered["commission"]["areas"]] == ["reeds", "heron"]
    assert told("commissions", "change-area", 2, "--target", "none", *where)["next"][0]["step"] == "target"
    changed = told("commissions", "change", 1, "--casts", 5, "--due", "none", "--surface", "none", *where)
    assert [changed["commission"][name] for name in ("casts", "due_on", "area_cm2")] == [5, None, None]
    photo = tmp_path / "visit.jpg"
    photo.write_bytes(a_photograph())
    told("commissions", "note", 1, "Wax it twice a year.", "--kind", "handover", "--photo", photo, *where)
    aside = told("commissions", "set-aside", later["commission"]["id"], "postponed", *where)
    assert aside["state"]["in_words"] == "Set aside: postponed"
    assert len(told("commissions", *where)["commissions"]) == 1
    assert len(told("commissions", "list", "--all", *where)["commissions"]) == 2
    assert told("commissions", "take-back", 2, *where)["commission"]["set_aside"] is None
    code, out, _ = run("commissions", "show", 1, *where)
    assert code == 0 and "Next: Make a first plate for heron." in out
    assert "To hand over: Wax it twice a year." in out and "area 1, heron: target 1, bird brown (invented)" in out
    for wrong, said in (
        (("show", 9), "There is no commission 9"),
        (("change", 1), "Say what changes"),
        (("change", 1, "--due", "in May"), "2026-03-31"),
        (("change", 1, "--casts", 0), "whole number from 1"),
        (("add-area", 1, "heron"), "another name"),
        (("change-area", 1), "Say what changes of the area"),
        (("change-area", 1, "--target", 7), "no target 7"),
        (("order-areas", 1, 2), "Name each area once"),
        (("note", 1, " "), "it is empty"),
    ):
        assert said in refused("commissions", *wrong, *where)
