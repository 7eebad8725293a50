"""What the client has: casts delivered and taken back, areas set aside and taken back, and what follows from both.

In a folder and on a PostgreSQL server; commissions are invented.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from matcher.bench.shelf import new_uid
from matcher.bench.work import Piece
from matcher.commissions.commission import Area, Commission
from matcher.commissions.known import Known, all_known
from matcher.commissions.state import next_steps, state_of
from matcher.commissions.timeline import what_happened
from matcher.commissions.wording import deliver_in_words, event_in_words, state_in_words
from matcher.dates import local, now
from matcher.errors import StudioError
from matcher.storage.schema import CastRow
from matcher.studio import Studio
from tests.plates import a_target, a_trial
from tests.test_commissions import a_commission, signed

DAY = date(2026, 5, 2)


def known(studio: Studio, number: int = 1) -> Known:
    return all_known(studio.database, studio.commissions.commission(number))


def story(studio: Studio) -> list[str]:
    return [event_in_words(event, known(studio)) for event in what_happened(studio.database, known(studio))]


def finished(studio: Studio, casts: int = 2) -> Commission:
    """Keep a commission whose one area is signed off and done on every cast."""
    target = studio.save_target(a_target())
    plate = studio.record(a_trial(target_id=target.id))
    kept = studio.commissions.save(a_commission(casts=casts, areas=(Area("bird", target_id=target.id),)))
    signed(studio, kept.areas[0], target.id, plate.id)
    done = [studio.record(a_trial(40.0 + number)) for number in range(casts)]
    with studio.database.writing() as session:
        rows = [{"trial_id": one.id, "area_id": kept.areas[0].id, "number": at} for at, one in enumerate(done, 1)]
        session.execute(sa.insert(CastRow), rows)
    return kept


def test_a_commission_is_delivered_once_the_client_has_every_cast(studio: Studio) -> None:
    finished(studio)
    assert state_in_words(state_of(known(studio))) == "All 2 casts are done"
    assert deliver_in_words(known(studio)) == "Deliver casts 1 and 2, and note the day"
    one = studio.casts.deliver(1, [1], DAY, "the gallery", "Ann")
    assert [(each.number, each.on, each.to, each.who) for each in one.deliveries] == [(1, DAY, "the gallery", "Ann")]
    assert not one.delivered and one.casts_with_us == [2]
    assert state_in_words(state_of(known(studio))) == "All 2 casts are done, 1 delivered"
    assert [each.id for each in studio.commissions.worked_on()] == [1]
    both = studio.casts.deliver(1, [2], "2026-06-01", "", "Ann")
    assert both.delivered and state_of(known(studio)).stage == "delivered"
    assert (next_steps(known(studio)), deliver_in_words(known(studio))) == ([], "")
    assert studio.commissions.worked_on() == [] and studio.commissions.commissions() == [both]  # found, not gone
    assert story(studio)[-2:] == [
        "Cast 1 was delivered on 2 May 2026 to the gallery.",
        "Cast 2 was delivered on 1 June 2026.",
    ]
    assert Commission.from_dict(json.loads(json.dumps(both.as_dict()))) == both


def test_a_delivery_is_taken_back_and_the_record_keeps_both(studio: Studio) -> None:
    finished(studio, casts=1)
    gone = studio.casts.deliver(1, [1], DAY, "", "Ann")
    back = studio.casts.take_delivery_back(gone.deliveries[0].id, "Ben")
    assert back.taken_back_by == "Ben" and studio.casts.take_delivery_back(back.id) == back  # once
    assert state_of(known(studio)).stage == "finished" and len(studio.commissions.worked_on()) == 1
    assert story(studio)[-2:] == [
        "Heron fountain was delivered on 2 May 2026.",
        "Taken back: Heron fountain was delivered on 2 May 2026.",
    ]
    assert studio.casts.deliver(1, [1], date(2026, 5, 3)).delivered
    assert [line.what for line in studio.history("commission", 1)] == [
        "saved",
        "delivered",
        "delivery taken back",
        "delivered",
    ]


def test_an_edition_that_grows_is_worked_on_again(studio: Studio) -> None:
    kept = finished(studio, casts=1)
    now_kept = studio.casts.deliver(1, [1], DAY)
    studio.commissions.change(replace(now_kept, casts=2), now_kept)
    assert [each.id for each in studio.commissions.worked_on()] == [kept.id]
    assert state_in_words(state_of(known(studio))) == "Casting: 1 of 2 done, 1 delivered"


def test_a_piece_of_which_little_was_logged_may_be_delivered_too(studio: Studio) -> None:
    studio.commissions.save(a_commission(casts=1))
    assert studio.casts.deliver(1, [1], DAY).delivered and state_of(known(studio)).stage == "delivered"


def test_what_cannot_be_delivered_is_said_in_a_sentence_and_nothing_is_noted(studio: Studio) -> None:
    finished(studio)
    tomorrow = local(now()).date() + timedelta(days=2)
    for numbers, on, to, said in (
        ([], DAY, "", "Say which casts"),
        ([1, 3], DAY, "", "from 1 to 2: 3 is none of Heron fountain"),
        ([True], DAY, "", "Number the casts"),
        ([1], tomorrow, "", "is yet to come"),
        ([1], "in May", "", "as 2026-03-31"),
        ([1], "", "", "it is empty"),
        ([1], DAY, "x" * 201, "Shorten the name of who has it"),
    ):
        with pytest.raises(StudioError, match=said):
            studio.casts.deliver(1, numbers, on, to)
    assert studio.casts.deliveries(1) == []
    studio.casts.deliver(1, [1], DAY, "the gallery")
    studio.casts.deliver(1, [1], DAY, "the gallery")  # the same once more
    with pytest.raises(StudioError, match="Cast 1 was delivered on 2 May 2026 to the gallery already"):
        studio.casts.deliver(1, [1, 2], DAY, "the client")
    assert len(studio.casts.deliveries(1)) == 1
    studio.commissions.set_aside(1, "postponed")
    with pytest.raises(StudioError, match="is set aside"):
        studio.casts.deliver(1, [2], DAY)
    with pytest.raises(StudioError, match="no such delivery"):
        studio.casts.take_delivery_back(7)


def test_a_repair_begins_from_a_delivered_commission(studio: Studio) -> None:
    kept = finished(studio, casts=1)
    studio.casts.deliver(1, [1], DAY)
    repair = studio.commissions.begin_repair(kept.areas[0].id or 0, "a scratch", "Ann")
    assert repair.areas[0].repairs_uid == kept.areas[0].uid and not repair.delivered
    assert [each.id for each in studio.commissions.worked_on()] == [repair.id]


def test_what_was_taken_back_or_withdrawn_elsewhere_is_so_after_an_import_in_both_directions(
    studio: Studio, tmp_path: Path
) -> None:
    finished(studio)
    studio.casts.deliver(1, [1, 2], DAY)
    studio.export(tmp_path / "one.zip")
    with Studio.open(tmp_path / "other") as other:
        other.import_file(tmp_path / "one.zip")
        other.casts.take_delivery_back(other.commissions.commission(1).deliveries[0].id, "Cleo")
        other.sign_offs.withdraw(1, "seen outdoors", "Cleo")
        other.export(tmp_path / "two.zip")
        back = studio.import_file(tmp_path / "two.zip", who="Ann")
        assert {one.kind: one.caught_up for one in back.besides if one.caught_up} == {"sign-off": 1, "delivery": 1}
        assert not [one for one in back.besides if one.differing]
        assert studio.commissions.commission(1) == other.commissions.commission(1)
        assert studio.casts.deliveries(1)[0].taken_back_by == "Cleo"
        assert studio.sign_offs.of_area(1)[0].withdrawn_reason == "seen outdoors"
        again = studio.import_file(tmp_path / "two.zip")
        assert {(one.new, one.differing, one.caught_up) for one in again.besides} == {(0, 0, 0)}
        older = studio.import_file(
            tmp_path / "one.zip"
        )  # what is known here is later: it stays, and is no contradiction
        assert {(one.new, one.differing, one.caught_up) for one in older.besides} == {(0, 0, 0)}
        assert studio.commissions.commission(1).casts_with_us == [1]


def test_an_area_is_set_aside_and_taken_back_with_its_history(studio: Studio) -> None:
    target = studio.save_target(a_target())
    areas = (Area("bird"), Area("reeds", target_id=target.id), Area("base"))
    reeds = studio.commissions.save(a_commission(areas=areas)).areas[1]
    studio.record(a_trial(target_id=target.id))
    gone = studio.commissions.set_area_aside(reeds.id or 0, "cast without", "Ann")
    assert gone.set_aside == "cast without"
    now_kept = studio.commissions.commission(1)
    assert [area.name for area in now_kept.areas] == ["bird", "base"] and now_kept.areas_set_aside == (gone,)
    assert state_of(known(studio)).areas == 2 and state_of(known(studio)).stage == "no target"
    assert studio.commissions.of_target(target.id) == []
    said = story(studio)
    assert said[-1] == "The area reeds was set aside: cast without." and any("for reeds" in line for line in said)
    studio.commissions.add_area(1, Area("Reeds"))  # a name that is free again
    with pytest.raises(StudioError, match="has an area 'reeds' already"):
        studio.commissions.take_area_back(gone.id or 0)
    ids = [area.id or 0 for area in studio.commissions.commission(1).areas]
    studio.commissions.reorder(1, ids[::-1], ids)
    studio.commissions.set_area_aside(ids[-1], "a mistake")
    back = studio.commissions.take_area_back(gone.id or 0, "Ben", "cast without")
    assert back.set_aside is None and back.target_id == target.id
    assert [area.name for area in studio.commissions.commission(1).areas] == ["base", "bird", "reeds"]
    assert [line.what for line in studio.history("area", reeds.id)] == ["saved", "set aside", "taken back"]


def test_an_area_that_somebody_relies_on_is_not_set_aside(studio: Studio) -> None:
    kept = finished(studio, casts=1)
    area = kept.areas[0].id or 0
    with pytest.raises(StudioError, match="Withdraw the sign-off of bird first"):
        studio.commissions.set_area_aside(area, "not wanted")
    studio.sign_offs.withdraw(1, "another light")
    with pytest.raises(StudioError, match="bird is done on cast 1, as plate 2"):
        studio.commissions.set_area_aside(area, "not wanted")
    studio.set_aside(2, "noted in error")
    with pytest.raises(StudioError, match="reason"):
        studio.commissions.set_area_aside(area, " ")
    studio.commissions.set_area_aside(area, "not wanted")
    with pytest.raises(StudioError, match="set aside already"):
        studio.commissions.set_area_aside(area, "another reason")
    for refused in (
        lambda: studio.sign_offs.sign(area, 1, "the client", "daylight"),
        lambda: studio.casts.note(1, area, 1),
    ):
        with pytest.raises(StudioError, match=r"bird is set aside \(not wanted\): take it back first"):
            refused()


def test_a_piece_for_an_area_that_is_set_aside_keeps_the_commission_from_nothing(studio: Studio) -> None:
    target = studio.save_target(a_target())
    kept = studio.commissions.save(a_commission(areas=(Area("bird", target_id=target.id), Area("base"))))
    other = studio.save_target(a_target("base"))
    studio.commissions.change_area(Area("base", target_id=other.id, id=kept.areas[1].id), kept.areas[1])
    studio.shelf.put(Piece(new_uid(), a_trial().recipe, target_id=target.id))
    assert state_of(known(studio)).stage == "bench"
    studio.commissions.set_area_aside(kept.areas[0].id or 0, "not wanted")
    assert state_of(known(studio)).stage == "looking"
    assert any("put on the bench" in line for line in story(studio))


def test_the_command_line_delivers_takes_back_sets_aside_and_repairs(told: Callable[..., Any], tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    with Studio.open(folder) as studio:
        finished(studio)
        studio.commissions.add_area(1, Area("base"))

    def commissions(*typed: str) -> Any:
        return told("commissions", *typed, "--studio", folder)

    gone = commissions("set-area-aside", "2", "cast without")
    assert [area["name"] for area in gone["commission"]["areas_set_aside"]] == ["base"]
    assert [area["name"] for area in commissions("take-area-back", "2")["commission"]["areas"]] == ["bird", "base"]
    commissions("set-area-aside", "2", "cast without")
    one = commissions("deliver", "1", "--cast", "2", "--on", "2026-05-02", "--to", "the gallery")
    assert one["state"]["in_words"] == "All 2 casts are done, 1 delivered"
    both = commissions("deliver", "1", "--on", "2026-05-03")
    assert both["state"]["stage"] == "delivered" and both["next"] == []
    assert commissions("list")["commissions"] == []
    assert [each["state"]["stage"] for each in commissions("list", "--all")["commissions"]] == ["delivered"]
    repair = commissions("repair", "1", "a scratch")["commission"]
    assert repair["title"].startswith("Heron fountain, repair")
    assert commissions("take-delivery-back", "1", "--cast", "2")["state"]["stage"] == "finished"
