"""Commissions and all that hangs on them are carried from studio to studio, and merged by uid; everything invented.

In a folder and on a PostgreSQL server.
"""

from __future__ import annotations

import json
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from matcher.commissions.carried import CARRIED
from matcher.commissions.commission import DECISION, Area, JournalLine
from matcher.errors import StudioError
from matcher.storage.database import DATABASE_NAME
from matcher.storage.schema import (
    AreaRow,
    CastRow,
    CommissionRow,
    DeliveryRow,
    EarlierReadingRow,
    JournalRow,
    SignOffRow,
    SolutionUseRow,
    StockRow,
    Table,
    TableColumnsRow,
)
from matcher.studio import Studio
from matcher.tags.carried import CARRIED as TAGS_CARRIED
from matcher.trials.archive import Imported
from tests.plates import MADE_AT, a_photograph, a_reading, a_recipe, a_target, a_trial
from tests.test_commissions import a_commission, signed

TABLES: tuple[type[Table], ...] = (
    CommissionRow,
    AreaRow,
    SignOffRow,
    CastRow,
    DeliveryRow,
    JournalRow,
    EarlierReadingRow,
    SolutionUseRow,
)


@pytest.fixture
def filled(tmp_path: Path) -> Iterator[Studio]:
    """A studio with one of everything that hangs on a commission."""
    with Studio.open(tmp_path / "filled") as studio:
        fill(studio)
        yield studio


def fill(studio: Studio) -> None:
    studio.save_stock("Fe-1", "ferric nitrate", 400.0, made_at=MADE_AT)
    target = studio.save_target(a_target(uid="target"))
    photo = studio.keep_photo(a_photograph(3), "visit.jpg")
    plate = studio.record(a_trial(uid="plate", target_id=target.id, recipe=a_recipe(stock="Fe-1")), who="Ann")
    cast = studio.record(a_trial(41.0, uid="cast"), who="Ann")
    areas = (Area("bird", 12_000.0, target.id), Area("reeds"))
    kept = studio.commissions.save(a_commission(areas=areas), who="Ann")
    studio.commissions.change(replace(kept, casts=4), kept, who="Ben")
    studio.commissions.write(JournalLine(kept.id, "Warmer.", DECISION, kept.areas[0].id, photo, "Ben", MADE_AT))
    signed(studio, kept.areas[0], target.id, plate.id)
    studio.casts.deliver(kept.id or 0, [1, 3], "2026-05-02", "the park's mason", "Ben")
    studio.casts.take_delivery_back(studio.commissions.commission(kept.id or 0).deliveries[1].id, "Cleo")
    gone = studio.commissions.add_area(kept.id or 0, Area("plinth"), "Ann")
    studio.commissions.set_area_aside(gone.id or 0, "cast by others", "Ann")
    own = {"uid": "earlier", "trial_id": plate.id, "target_id": None, "stage": "finished", "replaced_at": MADE_AT}
    use = {"uid": "use", "at": MADE_AT, "who": "Ann", "stock": "Fe-1", "strength_of_stock": 0.5, "millilitres": 12.5}
    with studio.database.writing() as session:
        session.execute(sa.insert(CastRow), [{"trial_id": cast.id, "area_id": kept.areas[0].id, "number": 2}])
        whole = {"whole": a_reading().as_dict(), "who": "Ann", "why": "a better card"}
        session.execute(sa.insert(EarlierReadingRow), [{**own, **whole}])
        of = {"area_cm2": 300.0, "passes": 2, "application": "brush", "trial_id": plate.id, "notes": ""}
        session.execute(sa.insert(SolutionUseRow), [{**use, **of}])


def rows(studio: Studio) -> dict[str, list[dict[str, Any]]]:
    """Return every row of these tables, numbers and links by uid, as an export writes them."""
    found = {}
    with studio.database.reading() as session:
        for table in TABLES:
            found[table.__tablename__] = [dict(row) for row in session.execute(sa.select(table.__table__)).mappings()]
    uids = {f"{name[:-1]}_id": {row["id"]: row.get("uid") for row in found[name]} for name in ("commissions", "areas")}
    uids["trial_id"] = {trial.id: trial.uid for trial in studio.trials(include_set_aside=True)}
    uids["target_id"] = {target.id: target.uid for target in studio.targets(include_set_aside=True)}
    return {
        name: [
            {key: uids[key][value] if key in uids and value else value for key, value in row.items() if key != "id"}
            for row in each
        ]
        for name, each in found.items()
    }


def exported(studio: Studio, path: Path) -> dict[str, Any]:
    studio.export(path)
    with zipfile.ZipFile(path) as archive:
        told: dict[str, Any] = json.loads(archive.read("studio.json"))
    return told


def rewritten(path: Path, change: Callable[[dict[str, Any]], object]) -> None:
    """Change the studio.json of an export in its place."""
    with zipfile.ZipFile(path) as archive:
        entries = {name: archive.read(name) for name in archive.namelist()}
    told = json.loads(entries["studio.json"])
    change(told)
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in {**entries, "studio.json": json.dumps(told).encode()}.items():
            archive.writestr(name, content)


def test_all_that_hangs_on_a_commission_arrives_and_links_hold(filled: Studio, studio: Studio, tmp_path: Path) -> None:
    for number in range(3):  # other numbers than there
        studio.record(a_trial(20.0 + number))
        studio.save_target(a_target(f"target {number}"))
        studio.commissions.save(a_commission(title=f"commission {number}", areas=(Area("base"),)))
    before = rows(studio)
    filled.export(tmp_path / "out.zip")
    brought = studio.import_file(tmp_path / "out.zip", who="Cleo")
    assert {one.kind: one.new for one in brought.besides} == {
        "bottle": 0,
        "commission": 1,
        "area": 3,
        "sign-off": 1,
        "cast plate": 1,
        "delivery": 2,
        "journal line": 1,
        "earlier reading": 1,
        "solution use": 1,
        "column mapping": 0,
        "line about a tag": 0,
        "outline by a tag": 0,
        "sighting": 0,
    }
    for name, arrived in rows(studio).items():
        assert [row for row in arrived if row not in before[name]] == rows(filled)[name]
    came = studio.commissions.commission(4)
    assert came.title == "Heron fountain" and studio.target(came.areas[0].target_id or 0).uid == "target"
    assert [line.text for line in studio.commissions.journal(4)] == ["Warmer."]
    photo = studio.commissions.journal(4)[0].photo
    assert photo is not None and studio.photo_path(photo).exists()
    assert [(line.who, line.what) for line in studio.history("commission", 4)] == [
        ("Ann", "saved"),
        ("Ben", "changed"),
        ("Ben", "delivered"),
        ("Ben", "delivered"),
        ("Cleo", "delivery taken back"),
    ]
    assert [(each.number, each.to) for each in came.deliveries] == [(1, "the park's mason")]
    assert [(area.name, area.set_aside) for area in came.areas_set_aside] == [("plinth", "cast by others")]
    assert [line.what for line in studio.history("area", came.areas[1].id)] == ["saved"]


def test_importing_the_same_file_again_changes_nothing(filled: Studio, studio: Studio, tmp_path: Path) -> None:
    filled.export(tmp_path / "out.zip")
    studio.import_file(tmp_path / "out.zip")
    before, lines = rows(studio), studio.history()
    again = studio.import_file(tmp_path / "out.zip")
    assert {(one.new, one.differing) for one in again.besides} == {(0, 0)} and again.problems == ()
    assert (rows(studio), studio.history()) == (before, lines)


def test_what_was_changed_here_stays_and_what_is_new_is_added(filled: Studio, studio: Studio, tmp_path: Path) -> None:
    filled.export(tmp_path / "out.zip")
    studio.import_file(tmp_path / "out.zip")
    was = studio.commissions.commission(1)
    studio.commissions.change(replace(was, client="another"), was)
    here = studio.commissions.add_area(1, Area("plinth"))
    filled.commissions.add_area(1, Area("base"))
    filled.export(tmp_path / "later.zip")
    brought = {one.kind: one for one in studio.import_file(tmp_path / "later.zip").besides}
    assert (brought["commission"].differing, brought["area"].new, brought["area"].differing) == (1, 1, 0)
    again = {one.kind: one for one in studio.import_file(tmp_path / "later.zip").besides}
    assert (again["area"].new, again["area"].differing) == (0, 0)  # its place here is another, what it says is not
    now = studio.commissions.commission(1)
    assert now.client == "another"
    assert [(area.name, area.position) for area in now.areas][2:] == [("plinth", here.position), ("base", 4)]


def test_the_use_of_a_bottle_that_is_another_one_here_goes_to_its_own(
    filled: Studio, studio: Studio, tmp_path: Path
) -> None:
    studio.save_stock("Fe-1", "ferric nitrate", 250.0, made_at=MADE_AT)
    filled.title = "the weir"
    filled.export(tmp_path / "out.zip")
    for _ in range(2):
        again = studio.import_file(tmp_path / "out.zip")
    assert {(one.new, one.differing) for one in again.besides} == {(0, 0)}
    assert [row["stock"] for row in rows(studio)["solution_uses"]] == ["Fe-1 (the weir)"]
    with studio.database.reading() as session:
        assert set(session.scalars(sa.select(StockRow.label))) == {"Fe-1", "Fe-1 (the weir)"}


def test_an_export_of_the_version_before_is_read(filled: Studio, studio: Studio, tmp_path: Path) -> None:
    filled.export(tmp_path / "out.zip")

    def as_before(told: dict[str, Any]) -> None:
        told["version"] = 1
        for table in TABLES:
            del told[table.__tablename__]

    rewritten(tmp_path / "out.zip", as_before)
    assert studio.import_file(tmp_path / "out.zip").trials == 2
    assert studio.commissions.commissions() == []


@pytest.mark.parametrize(
    ("name", "wrong", "said"),
    [
        ("commissions", {"casts": 0}, "number of casts"),
        ("commissions", {"casts": "3"}, "damaged"),
        ("commissions", {"due_on": "in May"}, "damaged"),
        ("commissions", {"tolerance_delta_e00": -1}, "tolerance"),
        ("commissions", {"title": None}, "damaged"),
        ("areas", {"name": ""}, "area's name"),
        ("journal", {"kind": "rumour"}, "none of these"),
        ("journal", {"photo_sha256": "ab" * 32}, "Keep the photograph first"),
        ("sign_offs", {"at": "yesterday"}, "Give the date"),
        ("sign_offs", {"body": []}, "dictionary"),
        ("sign_offs", {"body": {}}, "Check the sign-off"),
        ("casts", {"number": 1.5}, "damaged"),
        ("casts", {"number": 0}, "nothing was changed"),
        ("earlier_readings", {"whole": {}}, "reading"),
        ("solution_uses", {"millilitres": "much"}, "millilitres"),
    ],
)
def test_a_row_that_cannot_be_kept_is_refused_and_nothing_is_taken_in(
    filled: Studio, tmp_path: Path, name: str, wrong: dict[str, Any], said: str
) -> None:
    filled.export(tmp_path / "out.zip")
    rewritten(tmp_path / "out.zip", lambda told: told[name][0].update(wrong))
    with Studio.open(tmp_path / "other") as other:
        with pytest.raises(StudioError, match=said):
            other.import_file(tmp_path / "out.zip")
        assert other.trials(include_set_aside=True) == [] and not any(rows(other).values())


def test_a_row_that_names_what_is_not_there_stays_out_and_is_named(
    filled: Studio, studio: Studio, tmp_path: Path
) -> None:
    filled.export(tmp_path / "out.zip")

    def without_plate(told: dict[str, Any]) -> None:
        told["trials"] = [trial for trial in told["trials"] if trial["uid"] != "plate"]

    rewritten(tmp_path / "out.zip", without_plate)
    problems = studio.import_file(tmp_path / "out.zip").problems
    assert sorted(problems) == [
        "The earlier reading earlier stays out: what it belongs to is not in this file.",
        "The sign-off signed stays out: what it belongs to is not in this file.",
    ]
    assert rows(studio)["solution_uses"][0]["trial_id"] is None  # it may stand without its plate


def test_a_backup_restores_everything_and_says_where_its_two_copies_differ(filled: Studio, tmp_path: Path) -> None:
    filled.backup(tmp_path / "backup.zip")
    with Studio.restore(tmp_path / "backup.zip", tmp_path / "one") as same:
        assert same.restored_with == () and rows(same) == rows(filled)
    rewritten(tmp_path / "backup.zip", lambda told: told["commissions"][0].update(client="somebody else"))
    with Studio.restore(tmp_path / "backup.zip", tmp_path / "two") as other:
        (found,) = other.restored_with
        assert str(found).startswith("The backup's database and its studio.json differ about commission")
    filled.export(tmp_path / "export.zip")
    with Studio.restore(tmp_path / "export.zip", tmp_path / "three") as again:
        assert rows(again) == rows(filled)


def test_a_damaged_row_is_carried_as_it_stands_and_keeps_no_other(filled: Studio, tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "filled" / DATABASE_NAME)) as connection:
        connection.execute("""UPDATE sign_offs SET body = '}'""")
        connection.execute("UPDATE areas SET area_cm2 = 'wide' WHERE id = 2")
        connection.commit()
    told = exported(filled, tmp_path / "out.zip")
    assert [area["name"] for area in told["areas"]] == ["bird", "plinth"] and told["sign_offs"] == []
    kept = {one["kind"]: one["rows"] for one in told["damaged"]}
    assert kept["area"]["areas"][0]["area_cm2"] == "wide" and kept["sign-off"]["sign_offs"][0]["body"] == "}"


def test_every_table_of_the_whole_job_is_carried() -> None:
    carried = {table.row for table in CARRIED} | {EarlierReadingRow, SolutionUseRow}
    assert carried == set(TABLES)
    carried |= {TableColumnsRow}  # of the log, whatever it is for
    carried |= {table.row for table in TAGS_CARRIED}
    uncarried = {"drafts", "studio", "coats", "readings", "trial_photos", "own_card_patches"}  # with what they are of
    uncarried |= {"plate_colours", "photo_chunks"}
    uncarried |= {"people", "devices", "sign_in_codes", "sign_in_attempts"}  # who may come in is each place's own
    plain = {"photos", "stocks", "targets", "trials", "history", "own_cards", "camera_profiles"}
    assert {table.__tablename__ for table in carried} | uncarried | plain == set(Table.metadata.tables)


# What may be said again and again: set aside, taken back


@pytest.fixture
def copies(filled: Studio, studio: Studio, tmp_path: Path) -> Callable[[], tuple[Imported, Imported]]:
    """Two copies of one studio; called, each takes in what the other knows."""
    filled.export(tmp_path / "first.zip")
    studio.import_file(tmp_path / "first.zip")

    def exchange() -> tuple[Imported, Imported]:
        there, here = tmp_path / "there.zip", tmp_path / "here.zip"
        for file in (there, here):
            file.unlink(missing_ok=True)
        filled.export(there)
        studio.export(here)
        return studio.import_file(there, who="Cleo"), filled.import_file(here, who="Dora")

    return exchange


def counts(brought: Imported, kind: str) -> tuple[int, int]:
    return next((one.caught_up, one.differing) for one in brought.besides if one.kind == kind)


def area_named(studio: Studio, name: str) -> Area:
    (kept,) = studio.commissions.commissions(include_set_aside=True)
    return next(area for area in kept.every_area if area.name == name)


def test_an_area_set_aside_in_one_copy_is_set_aside_in_the_other(
    filled: Studio, studio: Studio, copies: Callable[[], tuple[Imported, Imported]]
) -> None:
    filled.commissions.set_area_aside(area_named(filled, "reeds").id or 0, "left bare", "Ann")
    here, there = copies()
    assert (counts(here, "area"), counts(there, "area")) == ((1, 0), (0, 0))
    assert area_named(studio, "reeds").set_aside == area_named(filled, "reeds").set_aside == "left bare"
    said = [(line.who, line.what, line.detail) for line in studio.history("area", area_named(studio, "reeds").id)]
    assert said.count(("Ann", "set aside", "left bare")) == 1, "who said it, and when, is known here too"
    assert {counts(one, "area") for one in copies()} == {(0, 0)}, "and then there is nothing left to say"


def test_what_was_said_last_of_an_area_or_a_commission_stands_in_both_copies(
    filled: Studio, studio: Studio, copies: Callable[[], tuple[Imported, Imported]]
) -> None:
    filled.commissions.set_area_aside(area_named(filled, "reeds").id or 0, "left bare")
    studio.commissions.set_area_aside(area_named(studio, "reeds").id or 0, "gilded by others")
    studio.commissions.take_area_back(area_named(studio, "plinth").id or 0, "Ben")
    for each, reason in ((filled, "no money"), (studio, "withdrawn by the client")):
        (kept,) = each.commissions.commissions()
        each.commissions.set_aside(kept.id or 0, reason)
    copies()
    for each in (filled, studio):
        assert area_named(each, "reeds").set_aside == "gilded by others"
        assert area_named(each, "plinth").set_aside is None
        (kept,) = each.commissions.commissions(include_set_aside=True)
        assert kept.set_aside == "withdrawn by the client"
    filled.commissions.take_back(filled.commissions.commissions(include_set_aside=True)[0].id or 0)
    copies()
    assert len(studio.commissions.commissions()) == len(filled.commissions.commissions()) == 1


def test_what_else_differs_of_an_area_still_stays_and_is_counted(
    filled: Studio, studio: Studio, copies: Callable[[], tuple[Imported, Imported]]
) -> None:
    reeds = area_named(studio, "reeds")
    studio.commissions.change_area(replace(reeds, name="rushes"), reeds)
    filled.commissions.set_area_aside(area_named(filled, "reeds").id or 0, "left bare")
    here, _ = copies()
    assert counts(here, "area") == (1, 1)
    assert area_named(studio, "rushes").set_aside == "left bare"


def test_an_area_that_is_signed_off_stays_one_whatever_another_copy_said(
    filled: Studio, studio: Studio, copies: Callable[[], tuple[Imported, Imported]]
) -> None:
    """Set aside in one copy, signed off in the other: the client relies on the signature, whichever came first."""
    for first, then in ((filled, studio), (studio, filled)):
        name = f"wing of {first is filled}"
        (kept,) = filled.commissions.commissions()
        filled.commissions.add_area(kept.id or 0, Area(name, None, filled.targets()[0].id))
        copies()
        first.commissions.set_area_aside(area_named(first, name).id or 0, "not wanted")
        wing = area_named(then, name)
        plate = next(trial for trial in then.trials() if trial.uid == "plate")
        signed(then, wing, wing.target_id, plate.id, uid=f"signed {name}")
        told = " ".join(line for one in copies() for line in one.problems)
        assert f"The area {name} of Heron fountain was set aside here (not wanted) and is taken back" in told
        assert f"What was said last of the area {name} stays out. Withdraw the sign-off of {name} first" in told
        copies()
        assert area_named(filled, name).set_aside is area_named(studio, name).set_aside is None


def test_a_sign_off_withdrawn_before_its_area_was_set_aside_is_no_hindrance(
    filled: Studio, studio: Studio, copies: Callable[[], tuple[Imported, Imported]]
) -> None:
    bird = area_named(filled, "bird")
    (standing,) = [one for one in filled.sign_offs.of_area(bird.id) if one.withdrawn_at is None]
    filled.sign_offs.withdraw(standing.id or 0, "too red", "Ann")
    with filled.database.writing() as session:
        session.execute(sa.delete(CastRow))
    with studio.database.writing() as session:
        session.execute(sa.delete(CastRow))
    filled.commissions.set_area_aside(bird.id or 0, "left bare", "Ann")
    here, _ = copies()
    assert here.problems == () and area_named(studio, "bird").set_aside == "left bare"
