"""A damaged row keeps nothing else from being read, exported or backed up, and is itself carried along as it stands."""

from __future__ import annotations

import json
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from matcher.errors import StudioError
from matcher.storage.damaged import Damaged, in_words
from matcher.storage.database import DATABASE_NAME
from matcher.studio import Studio
from tests.plates import MADE_AT, a_photograph, a_profile, a_recipe, a_target, a_trial

MAIN = "WHERE trial_id = 2 AND position = 0"
SPOILT = {
    "the reading is no longer JSON": f"UPDATE readings SET whole = '}}' || substr(whole, 2) {MAIN}",
    "the reading is no longer text": "UPDATE readings SET whole = CAST(x'7bff' AS TEXT) WHERE trial_id = 2",
    "the reading lacks its colour": f"""UPDATE readings SET whole = replace(whole, '"lab"', '"lib"') {MAIN}""",
    "the reading nests without end": f"UPDATE readings SET whole = replace(hex(zeroblob(99999)), '0', '[') {MAIN}",
    "the reading is gone": "DELETE FROM readings WHERE trial_id = 2",
    "the date is none": "UPDATE trials SET made_at = '2025-93-31 14:30' WHERE id = 2",
    "a note is no longer text": "UPDATE trials SET notes = CAST(x'ff' AS TEXT) WHERE id = 2",
    "a strength is a word": "UPDATE trials SET undercoat_strength_of_stock = 'half' WHERE id = 2",
}


def a_studio(folder: Path) -> Studio:
    studio = Studio.open(folder)
    studio.save_stock("Fe-1", "ferric nitrate", 400.0, made_at=MADE_AT)
    target = studio.save_target(a_target())
    studio.save_target(a_target("the door"))
    photo = studio.keep_photo(a_photograph(1))
    studio.record(a_trial(30.0, photos=(photo,), recipe=a_recipe(stock="Fe-1"), target_id=target.id))
    for lightness in range(31, 42):
        studio.record(a_trial(lightness, uid=f"plate {lightness}"))
    studio.save_card("bench card", "grey card", (49.1, -0.2, 0.3), measured_at=MADE_AT)
    studio.save_profile(a_profile())
    return studio


def spoil(folder: Path, statement: str) -> None:
    with closing(sqlite3.connect(folder / DATABASE_NAME)) as connection:
        connection.execute("PRAGMA ignore_check_constraints = ON")
        assert connection.execute(statement).rowcount
        connection.commit()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    a_studio(tmp_path / "studio").close()
    return tmp_path / "studio"


@pytest.mark.parametrize("statement", SPOILT.values(), ids=SPOILT)
def test_the_other_plates_are_listed_and_the_damaged_one_is_named(folder: Path, statement: str) -> None:
    spoil(folder, statement)
    with Studio.open(folder) as studio:
        assert studio.damaged() == ()
        assert [trial.id for trial in studio.trials()] == [1, *range(3, 13)]
        assert studio.damaged() == (Damaged("plate", 2),)
        assert [trial.id for trial in studio.log.some([1])] == [1] and studio.log.newest(1)
        assert studio.damaged() == (Damaged("plate", 2),), "what was read of a few says nothing of the others"
        with pytest.raises(StudioError, match="plate 2 is damaged"):
            studio.trial(2)
        assert studio.record(a_trial(60.0)).id == 13
        with pytest.raises(StudioError, match="plate 2 is damaged"):
            studio.record(a_trial(31.0, uid="plate 31"))


@pytest.mark.parametrize("statement", SPOILT.values(), ids=SPOILT)
@pytest.mark.parametrize("way", ["export", "backup"])
def test_everything_else_is_written_and_the_row_is_kept_as_it_is(
    folder: Path, tmp_path: Path, statement: str, way: str
) -> None:
    spoil(folder, statement)
    with Studio.open(folder) as studio:
        before = [trial.as_dict() for trial in studio.trials()]
        write: Callable[[Path], object] = getattr(studio, way)
        written = write(tmp_path / "out.zip")
    assert written.damaged == (Damaged("plate", 2),)  # type: ignore[attr-defined]
    assert written.trials == 11  # type: ignore[attr-defined]
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        (kept,) = json.loads(archive.read("studio.json"))["damaged"]
        assert (DATABASE_NAME in archive.namelist()) == (way == "backup")
    assert kept["rows"]["trials"][0]["uid"] == "plate 31"
    with closing(sqlite3.connect(folder / DATABASE_NAME)) as connection:
        for table, key in (("readings", "trial_id"), ("trials", "id")):
            kept_rows = [
                {name: bytes.fromhex(cell["hex"]) if isinstance(cell, dict) else cell for name, cell in row.items()}
                for row in kept["rows"][table]
            ]
            connection.text_factory = bytes
            column = "whole" if table == "readings" else "notes"
            raw = [row[0] for row in connection.execute(f"SELECT {column} FROM {table} WHERE {key} = 2")]
            said = [cell.encode() if isinstance(cell, str) else cell for cell in (row[column] for row in kept_rows)]
            assert said == raw
    with Studio.open(tmp_path / "other") as other:
        brought = other.import_file(tmp_path / "out.zip")
        assert (brought.trials, len(brought.problems)) == (11, 1)
        assert "plate 2 was damaged" in brought.problems[0]
        assert [{**trial.as_dict(), "id": None} for trial in other.trials()] == [
            {**trial, "id": None} for trial in before
        ]
    if way == "backup":
        with Studio.restore(tmp_path / "out.zip", tmp_path / "restored") as restored:
            assert len(restored.trials()) == 11
            assert restored.damaged() == (Damaged("plate", 2),)
            assert restored.restored_with == ()


OTHERS = {
    "target": ("UPDATE readings SET whole = 'x' WHERE target_id = 1", Damaged("target", 1)),
    "stock": ("UPDATE stocks SET made_at = 'long ago'", Damaged("stock", "Fe-1")),
    "card": ("DELETE FROM own_card_patches", Damaged("card", "bench card")),
    "camera profile": ("UPDATE camera_profiles SET body = '{'", Damaged("camera profile", "shop tubes")),
    "history": ("UPDATE history SET at = 'then' WHERE id = 1", Damaged("line of history", 1)),
}


@pytest.mark.parametrize("kind", OTHERS)
def test_whatever_else_is_damaged_is_named_too(folder: Path, tmp_path: Path, kind: str) -> None:
    statement, damaged = OTHERS[kind]
    spoil(folder, statement)
    with Studio.open(folder) as studio:
        studio.targets(include_set_aside=True)
        studio.stocks()
        studio.own_cards()
        studio.profiles()
        studio.history()
        assert studio.damaged() == (damaged,)
        written = studio.export(tmp_path / "out.zip")
        assert written.damaged == (damaged,)
        assert written.trials == 12
    with Studio.open(tmp_path / "other") as other:
        assert other.import_file(tmp_path / "out.zip").trials == 12


def test_a_draft_that_cannot_be_read_gets_one_sentence(folder: Path) -> None:
    with Studio.open(folder) as studio:
        studio.save_draft("record", {"passes": 6})
        spoil(folder, "UPDATE drafts SET body = '{'")
        with pytest.raises(StudioError, match="a row in its log is damaged"):
            studio.draft("record")
        studio.save_draft("record", {"passes": 7})
        assert studio.draft("record") == {"passes": 7}


def test_what_is_damaged_is_said_in_one_sentence() -> None:
    assert in_words([]) == ""
    assert "plate 2 is damaged" in in_words([Damaged("plate", 2)])
    many = in_words([Damaged("plate", number) for number in range(1, 9)])
    assert "plate 5 and 3 more are damaged" in many
    assert many.count(".") == 1


def test_the_command_line_lists_exports_and_says_what_is_damaged(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from matcher.cli.main import main

    spoil(folder, SPOILT["the reading is no longer JSON"])
    out, back = str(tmp_path / "out.zip"), str(tmp_path / "back.zip")
    for command in (("trials", "list"), ("trials", "export", out), ("backup", back)):
        assert main([*command, "--studio", str(folder)]) == 0
        said = capsys.readouterr()
        assert "plate 2 is damaged" in said.out + said.err
        assert "Traceback" not in said.err


# A restore


def test_a_restore_says_in_what_database_and_document_differ(folder: Path, tmp_path: Path) -> None:
    with Studio.open(folder) as studio:
        studio.backup(tmp_path / "backup.zip")

    def change(data: dict) -> None:  # type: ignore[type-arg]
        data["trials"][0]["notes"] = "another"
        del data["trials"][1]
        data["targets"].append({**data["targets"][0], "uid": "not in the database"})

    rewritten(tmp_path / "backup.zip", tmp_path / "changed.zip", change)
    with Studio.restore(tmp_path / "backup.zip", tmp_path / "as it was") as restored:
        assert restored.restored_with == ()
    with Studio.restore(tmp_path / "changed.zip", tmp_path / "restored") as restored:
        found = {(one.kind, one.in_database, one.in_json) for one in restored.restored_with}
        assert found == {("plate", True, True), ("plate", True, False), ("target", False, True)}
        assert restored.trial(1).notes != "another"
        assert len(restored.trials()) == 12
        assert all(str(one).endswith(".") for one in restored.restored_with)


def test_triggers_and_views_of_a_backup_are_dropped(folder: Path, tmp_path: Path) -> None:
    with Studio.open(folder) as studio:
        studio.backup(tmp_path / "backup.zip")
    with zipfile.ZipFile(tmp_path / "backup.zip") as archive:
        archive.extract(DATABASE_NAME, tmp_path)
    with closing(sqlite3.connect(tmp_path / DATABASE_NAME)) as connection:
        connection.executescript(
            """
            CREATE TRIGGER "a ""sly"" one" AFTER INSERT ON trials BEGIN UPDATE trials SET notes = 'spoilt'; END;
            CREATE VIEW seen AS SELECT * FROM trials;
            CREATE TRIGGER through INSTEAD OF INSERT ON seen BEGIN DELETE FROM trials; END;
            """
        )
    rewritten(tmp_path / "backup.zip", tmp_path / "sly.zip", lambda data: None, (tmp_path / DATABASE_NAME).read_bytes())
    with Studio.restore(tmp_path / "sly.zip", tmp_path / "restored") as restored:
        assert {one.key for one in restored.restored_with} == {'a "sly" one', "seen", "through"}
        restored.record(a_trial(70.0))
        assert not [trial for trial in restored.trials() if trial.notes == "spoilt"]
    with closing(sqlite3.connect(tmp_path / "restored" / DATABASE_NAME)) as connection:
        kinds = {row[0] for row in connection.execute("SELECT type FROM sqlite_master")}
    assert kinds == {"table", "index"}


def rewritten(
    source: Path,
    target: Path,
    change: Callable[[dict], None],  # type: ignore[type-arg]
    database: bytes | None = None,
) -> None:
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "studio.json":
                document = json.loads(data)
                change(document)
                data = json.dumps(document).encode()
            elif name == DATABASE_NAME and database is not None:
                data = database
            new.writestr(name, data)
