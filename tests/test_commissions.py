"""Commissions with their areas and journals: kept, changed with a line of history each, nothing overwritten in silence.

In a folder and on a PostgreSQL server; commissions are invented.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from matcher.commissions.commission import DECISION, Area, Commission, JournalLine
from matcher.commissions.fields import AREA, COMMISSION, what_changed
from matcher.errors import StudioError
from matcher.storage.damaged import Damaged
from matcher.storage.database import DATABASE_NAME
from matcher.storage.schema import SignOffRow
from matcher.studio import Studio
from matcher.trials.log import CHANGED
from tests.plates import MADE_AT, a_photograph, a_sign_off_body, a_target, a_trial


def a_commission(**changed: Any) -> Commission:
    """Every field is filled in, so that one lost on the way is seen."""
    told: dict[str, Any] = {
        "title": "Heron fountain",
        "alloy": "silicon bronze",
        "client": "Park of Aldmere (invented)",
        "size": "1.8 m high",
        "area_cm2": 21_000.0,
        "casts": 3,
        "due_on": date(2026, 5, 4),
        "tolerance": 1.5,
        "notes": "Stands in spray.",
        "areas": (Area("bird", 12_000.0), Area("reeds")),
        "made_at": MADE_AT,
        "made_by": "Ann",
    }
    return Commission(**{**told, **changed})


def signed(studio: Studio, area: Area, target_id: int | None, trial_id: int | None, uid: str = "signed") -> None:
    """Write down that an area's finish was signed off, as it is kept."""
    with studio.database.writing() as session:
        session.execute(
            sa.insert(SignOffRow),
            [
                {
                    "uid": uid,
                    "at": MADE_AT,
                    "who": "Ann",
                    "area_id": area.id,
                    "target_id": target_id,
                    "trial_id": trial_id,
                    "signed_by": "the sculptor",
                    "light": "north light",
                    "body": a_sign_off_body(),
                }
            ],
        )


def test_a_commission_comes_back_as_it_was_kept(studio: Studio) -> None:
    target = studio.save_target(a_target())
    areas = (Area("bird", 12_000.0, target.id), Area("reeds"))
    kept = studio.commissions.save(a_commission(areas=areas))
    assert studio.commissions.commission(1) == kept
    assert studio.commissions.commissions() == [kept]
    assert Commission.from_dict(json.loads(json.dumps(kept.as_dict()))) == kept
    bare = [replace(area, id=None, uid=None, commission_id=None) for area in kept.areas]
    assert bare == [replace(areas[0], position=0), replace(areas[1], position=1)]
    assert replace(kept, id=None, uid=None, areas=areas) == a_commission(areas=areas)
    assert studio.commissions.save(kept) == kept and len(studio.commissions.commissions()) == 1


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"title": " "}, "title of the piece"),
        ({"alloy": ""}, "alloy"),
        ({"casts": 0}, "number of casts"),
        ({"casts": 2.5}, "number of casts"),
        ({"casts": True}, "number of casts"),
        ({"tolerance": None}, "tolerance"),
        ({"tolerance": 0.0}, "tolerance"),
        ({"area_cm2": -1.0}, "surface"),
        ({"due_on": "in May"}, "due"),
        ({"areas": (Area("head"), Area("Head"))}, "another name"),
        ({"areas": (Area("head", target_id=7),)}, "no target 7"),
        ({"areas": (Area(""),)}, "area's name"),
    ],
)
def test_what_cannot_be_kept_is_said_in_a_sentence_and_nothing_is(
    studio: Studio, wrong: dict[str, Any], said: str
) -> None:
    with pytest.raises(StudioError, match=said):
        studio.commissions.save(a_commission(**wrong))
    assert studio.commissions.commissions() == [] and studio.history("commission") == []


def test_a_change_is_kept_and_its_history_says_what_it_was(studio: Studio) -> None:
    was = studio.commissions.save(a_commission())
    now = studio.commissions.change(replace(was, title="Heron", casts=5, due_on=None), was, who="Ben")
    assert (now.title, now.casts, now.due_on, now.areas) == ("Heron", 5, None, was.areas)
    line = studio.history("commission", 1)[-1]
    assert (line.what, line.who) == (CHANGED, "Ben")
    told = json.loads(line.detail)
    assert told["was"] == {"title": "Heron fountain", "casts": 3, "due_on": "2026-05-04"}
    assert what_changed(COMMISSION, told["was"], told["now"], {}) == (
        "The piece: Heron, was Heron fountain",
        "Casts in the edition: 5, was 3",
        "Due on: not noted, was 4 May 2026",
    )


def test_of_two_who_change_one_commission_the_second_is_told(studio: Studio) -> None:
    seen = studio.commissions.save(a_commission())
    studio.commissions.change(replace(seen, casts=5), seen)
    with pytest.raises(StudioError, match=r"Look at Heron fountain again"):
        studio.commissions.change(replace(seen, client="another"), seen)
    assert studio.commissions.change(replace(seen, casts=5), seen).casts == 5  # the same once more
    assert studio.commissions.commission(1).client == seen.client
    assert len(studio.history("commission", 1)) == 2


def test_areas_are_added_renamed_and_given_another_target(studio: Studio) -> None:
    targets = [studio.save_target(a_target(name)) for name in ("brown", "green")]
    studio.commissions.save(a_commission())
    base = studio.commissions.add_area(1, Area("base", target_id=targets[0].id), who="Ann")
    assert base.position == 2
    now = studio.commissions.change_area(replace(base, name="plinth", target_id=targets[1].id), base, who="Ben")
    assert (now.name, now.target_id, now.position, now.uid) == ("plinth", targets[1].id, 2, base.uid)
    assert [(each.id, area.name) for each, area in studio.commissions.of_target(targets[1].id)] == [(1, "plinth")]
    told = json.loads(studio.history("area", base.id)[-1].detail)
    assert told["was"]["target_id"] == targets[0].uid  # a number is this studio's own
    names = {targets[0].uid: "brown", targets[1].uid: "green"}
    assert what_changed(AREA, told["was"], told["now"], names) == (
        "Area: plinth, was base",
        "Target: green, was brown",
    )
    with pytest.raises(StudioError, match="Look at plinth again"):
        studio.commissions.change_area(replace(base, area_cm2=5.0), base)
    with pytest.raises(StudioError, match="has an area 'bird' already"):
        studio.commissions.change_area(replace(now, name="bird"), now)


def test_areas_are_put_in_another_order_once(studio: Studio) -> None:
    kept = studio.commissions.save(a_commission(areas=(Area("a"), Area("b"), Area("c"))))
    one, two, three = (area.id or 0 for area in kept.areas)
    now = studio.commissions.reorder(1, [three, one, two], [one, two, three], who="Ann")
    assert [(area.name, area.position) for area in now.areas] == [("c", 0), ("a", 1), ("b", 2)]
    for order, seen in (([two, one, three], [one, two, three]), ([three, one], [three, one, two])):
        with pytest.raises(StudioError, match="again before you change it"):
            studio.commissions.reorder(1, order, seen)
    assert studio.history("commission", 1)[-1].detail == "c, a and b"


def test_an_area_keeps_the_target_that_it_was_signed_off_against(studio: Studio) -> None:
    target, other = (studio.save_target(a_target(name)) for name in ("brown", "green"))
    trial = studio.record(a_trial(target_id=target.id))
    kept = studio.commissions.save(a_commission(areas=(Area("bird", target_id=target.id),)))
    area = kept.areas[0]
    signed(studio, area, target.id, trial.id)
    with pytest.raises(StudioError, match="Withdraw the sign-off of bird first"):
        studio.commissions.change_area(replace(area, target_id=other.id), area)
    assert studio.commissions.change_area(replace(area, name="heron"), area).name == "heron"
    with studio.database.writing() as session:
        session.execute(sa.update(SignOffRow).values(withdrawn_at=MADE_AT, withdrawn_reason="another light"))
    area = studio.commissions.area(area.id or 0)[1]
    assert studio.commissions.change_area(replace(area, target_id=other.id), area).target_id == other.id


def test_a_commission_is_set_aside_and_taken_back_with_its_history(studio: Studio) -> None:
    studio.commissions.save(a_commission())
    assert studio.commissions.set_aside(1, "postponed", who="Ann").set_aside == "postponed"
    assert studio.commissions.commissions() == [] and len(studio.commissions.commissions(include_set_aside=True)) == 1
    assert studio.commissions.take_back(1).set_aside is None
    assert [line.what for line in studio.history("commission", 1)] == ["saved", "set aside", "taken back"]
    with pytest.raises(StudioError, match="There is no commission 2"):
        studio.commissions.set_aside(2, "done")


def test_the_journal_keeps_who_wrote_what_when_and_the_photograph(studio: Studio) -> None:
    kept = studio.commissions.save(a_commission())
    photo = studio.keep_photo(a_photograph())
    at = datetime(2026, 2, 3, 10, 0, tzinfo=UTC)
    line = JournalLine(1, "Warmer than the picture.", DECISION, kept.areas[0].id, photo, "Ben", at)
    written = studio.commissions.write(line)
    assert studio.commissions.journal(1) == [written]
    assert replace(written, id=None, uid=None) == line
    assert JournalLine.from_dict(json.loads(json.dumps(written.as_dict()))) == written
    assert studio.commissions.write(written) == written and len(studio.commissions.journal(1)) == 1
    for wrong, said in (
        ({"text": " ", "photo": None}, "empty"),
        ({"kind": "rumour"}, "none of these"),
        ({"area_id": 99}, "no area 99"),
        ({"photo": "ab" * 32}, "Keep the photograph first"),
        ({"commission_id": 2}, "no commission 2"),
    ):
        with pytest.raises(StudioError, match=said):
            studio.commissions.write(replace(line, **wrong))


def test_a_damaged_commission_or_line_keeps_no_other_from_being_read(tmp_path: Path) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        for title in ("one", "two", "three"):
            kept = studio.commissions.save(a_commission(title=title))
            studio.commissions.write(JournalLine(kept.id, f"first of {title}"))
            studio.commissions.write(JournalLine(kept.id, f"second of {title}"))
        with closing(sqlite3.connect(tmp_path / "studio" / DATABASE_NAME)) as connection:
            connection.execute("UPDATE commissions SET due_on = 'in May' WHERE id = 2")
            connection.execute("UPDATE journal SET at = '2025-93-31 14:30' WHERE id = 1")
            connection.commit()
        assert [each.title for each in studio.commissions.commissions()] == ["one", "three"]
        assert [line.text for line in studio.commissions.journal(1)] == ["second of one"]
        assert set(studio.damaged()) == {Damaged("commission", 2), Damaged("journal line", 1)}
        with pytest.raises(StudioError, match="older backup: commission 2 is damaged"):
            studio.commissions.commission(2)
