"""A studio looked through for what has gone wrong: told thing by thing, in sentences and as data."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from matcher.storage.database import DATABASE_NAME
from matcher.studio import Studio
from matcher.studio.keeping.check import check
from matcher.studio.keeping.wording import checked_in_words
from tests.plates import a_photograph, a_trial


def filled(studio: Studio) -> list[str]:
    photos = [studio.keep_photo(a_photograph(n)) for n in range(3)]
    for n, sha256 in enumerate(photos):
        studio.record(a_trial(30.0 + n, photos=(sha256,)))
    return photos


def test_a_sound_studio_is_called_so_with_what_was_read(studio: Studio) -> None:
    filled(studio)
    checked = check(studio)
    assert checked.sound
    assert checked.photos == 3
    (said,) = checked_in_words(checked)
    assert said.startswith("All is as it was kept: ")
    assert "3 photographs" in said


def test_lost_and_damaged_photographs_are_named(studio: Studio) -> None:
    lost, wrong, _ = filled(studio)
    if studio.database.is_sqlite:
        studio.photo_path(lost).unlink()
        studio.photo_path(wrong).write_bytes(b"something else")
    else:
        with studio.database.writing() as session:
            for change in (
                "DELETE FROM photo_chunks WHERE sha256 = :lost",
                "UPDATE photos SET chunk_count = 0 WHERE sha256 = :lost",
                "UPDATE photo_chunks SET data = set_byte(data, 9, 255 - get_byte(data, 9)) WHERE sha256 = :wrong",
            ):
                session.execute(sa.text(change), {"lost": lost, "wrong": wrong})
    checked = check(studio)
    assert (checked.lost, checked.wrong, checked.sound) == ((lost,), (wrong,), False)
    said = checked_in_words(checked)
    assert "Restore what is named here from a backup." in said[0]
    assert f"1 photograph is lost: {lost[:12]}…." in said
    assert f"1 photograph is damaged: {wrong[:12]}…." in said


def test_damaged_rows_and_broken_links_are_named(tmp_path: Path, run: Any) -> None:
    with Studio.open(tmp_path) as studio:
        filled(studio)
    with closing(sqlite3.connect(tmp_path / DATABASE_NAME)) as connection:
        connection.execute("UPDATE readings SET whole = '{' WHERE trial_id = 2")
        connection.execute("DELETE FROM photos WHERE sha256 = (SELECT sha256 FROM trial_photos WHERE trial_id = 3)")
        connection.commit()
    with Studio.open(tmp_path) as studio:
        checked = check(studio)
    assert [(one.kind, one.key) for one in checked.damaged] == [("plate", 2)]
    assert checked.links == 1
    assert "readings is damaged" in checked.unreadable
    code, out, _ = run("studio", "check", "--studio", tmp_path, "--json")
    document = json.loads(out)
    assert code == 0
    assert document["sound"] is False
    assert document["damaged"] == [{"kind": "plate", "key": 2}]


def test_a_damaged_file_is_told(tmp_path: Path) -> None:
    with Studio.open(tmp_path) as studio:
        studio.record_all([a_trial(20 + n / 10, piece="x" * 100) for n in range(200)])
    file = tmp_path / DATABASE_NAME
    with closing(sqlite3.connect(file)) as connection:
        (root,) = connection.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'uq_trials_uid' OR name LIKE 'sqlite_autoindex_trials_1'"
        ).fetchone()
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    with file.open("r+b") as raw:  # an index alone: every row can still be read
        raw.seek(root * size - 200)
        raw.write(b"\xa5" * 200)
    with Studio.open(tmp_path) as studio:
        checked = check(studio)
    assert checked.faults
    assert not checked.sound
    assert any(line.startswith("The database's file is damaged") for line in checked_in_words(checked))
