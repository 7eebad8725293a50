"""Backups: whole, read back, made once a day, kept for a stated time, restored to the same content in one command."""

from __future__ import annotations

import json
import os
import time
import zipfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from matcher.access.devices import How
from matcher.dates import now
from matcher.errors import StudioError
from matcher.hands import Role
from matcher.studio import Studio
from matcher.studio.keeping import backups
from matcher.studio.keeping.backups import back_up, back_up_when_due, backups_of, restore, settle, there
from matcher.studio.keeping.contents import contents_of
from matcher.studio.keeping.daily import DailyBackups
from matcher.studio.keeping.wording import backups_in_words
from tests.plates import a_photograph, a_target, a_trial
from tests.postgres_server import fresh_database


@pytest.fixture(autouse=True)
def by_themselves(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("MATCHER_BACKUPS")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


@pytest.fixture
def filled(studio: Studio, tmp_path: Path) -> Studio:
    sha256 = studio.keep_photo(a_photograph(2))
    studio.save_target(a_target())
    for n in range(3):
        studio.record(a_trial(30.0 + n, photos=(sha256,)))
    studio.set_aside(2, "streaky")
    studio.save_draft("record", {"passes": "6"})
    settle(studio, tmp_path / "backups")
    return studio


def held(studio: Studio) -> dict[str, Any]:
    with studio.database.reading() as session:
        return dict(contents_of(session))


def test_a_backup_is_restored_to_the_same_content_whatever_it_was_made_of(filled: Studio, tmp_path: Path) -> None:
    before = held(filled)
    made = back_up(filled)
    assert made.path.parent == tmp_path / "backups"
    name, differences = restore(made.path, tmp_path / "restored")
    assert (name, differences) == (str(tmp_path / "restored"), ())
    with Studio.open(tmp_path / "restored") as restored:
        assert held(restored) == before
        assert restored.photos.kept() == filled.photos.kept()
        assert restored.draft("record") == {"passes": "6"}
        assert restored.record(a_trial(50.0)).id == 4


def test_a_lost_phone_that_was_signed_out_is_not_back_with_the_backup(run: Any, tmp_path: Path) -> None:
    """OWASP Session Management Cheat Sheet: a session that was ended stays ended."""
    with Studio.open(tmp_path / "studio") as studio:
        uid = studio.access.people.add("Ines", Role.OWNER).uid
        studio.record(a_trial())
        lost, code = studio.access.devices.begin(uid, How.CODE, "Phone"), studio.access.codes.make(uid)
        settle(studio, tmp_path / "backups")
        made = back_up(studio)
        studio.access.devices.sign_out_everywhere(uid)
    done, said, _ = run("restore", made.path, tmp_path / "restored")
    assert done == 0
    assert "belonged to it on that day does again: Ines." in said and "Every device is signed out." in said
    with Studio.open(tmp_path / "restored") as restored:
        assert restored.access.devices.signed_in(lost) is None and restored.access.devices.known(lost) is None
        with pytest.raises(StudioError, match="code"):
            restored.access.codes.meant(code.text)


def test_a_backup_is_restored_into_a_servers_database_too(
    tmp_path: Path, postgres_server: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MATCHER_PHOTOS", str(tmp_path / "photographs"))
    with Studio.open(tmp_path / "studio") as studio:
        studio.record(a_trial(photos=(studio.keep_photo(a_photograph(2)),)))
        before = held(studio)
        made = back_up(studio)
    with fresh_database(postgres_server) as url:
        restore(made.path, url)
        with Studio.open(url) as restored:
            assert held(restored) == before
            assert restored.photos.kept() == studio.photos.kept()


def test_one_is_made_a_day_whoever_looks(filled: Studio, place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert backups_of(filled).due
    assert back_up_when_due(filled) is not None
    with Studio.open(place) as another:
        assert not backups_of(another).due
        assert back_up_when_due(another) is None
    day_later = now() + timedelta(hours=24, minutes=1)
    monkeypatch.setattr(backups, "now", lambda: day_later)
    assert back_up_when_due(filled) is not None
    assert len(there(filled)) == 2


def test_of_two_who_look_at_once_one_makes_it(filled: Studio, place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def another_looks_meanwhile(studio: Studio) -> Any:
        with Studio.open(place) as another:
            assert back_up_when_due(another) is None
        return back_up(studio)

    monkeypatch.setattr(backups, "back_up", another_looks_meanwhile)
    assert back_up_when_due(filled) is not None
    assert len(there(filled)) == 1


def test_they_are_kept_for_the_stated_time_and_the_newest_always(
    filled: Studio, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    settle(filled, keep_days=3)
    (tmp_path / "backups" / "my own.zip").write_bytes(b"mine")
    (tmp_path / "backups" / "studio-00000000-20010101T000000Z.zip").write_bytes(b"another studio's")
    begun, made = now().replace(microsecond=0), []
    for day in (0, 1, 2, 3, 4, 40):
        at = begun + timedelta(days=day)
        monkeypatch.setattr(backups, "now", lambda at=at: at)
        made.append((at, back_up(filled).path))
        young = [path for when, path in made if at - when <= timedelta(days=3)]
        assert there(filled) == young[::-1], "those of the last three days; of the 40th day the newest alone"
    assert sorted(path.name for path in (tmp_path / "backups").iterdir() if path not in there(filled)) == [
        "my own.zip",
        "studio-00000000-20010101T000000Z.zip",
    ]


def test_one_that_cannot_be_read_back_is_none_and_is_told(filled: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    good = back_up(filled)
    write = Studio.backup

    def damaged(self: Studio, path: Path, overwrite: bool = False) -> Any:
        written = write(self, path, overwrite)
        raw = bytearray(path.read_bytes())
        raw[len(raw) // 2] ^= 0xFF
        path.write_bytes(bytes(raw))
        return written

    later = now() + timedelta(days=2)
    monkeypatch.setattr(backups, "now", lambda: later)
    monkeypatch.setattr(Studio, "backup", damaged)
    assert back_up_when_due(filled) is None
    stand = backups_of(filled)
    assert there(filled) == [good.path]
    assert stand.last == good
    assert stand.failure is not None
    assert backups_in_words(stand)[0].startswith("The backup of ")
    assert " failed. No" not in backups_in_words(stand)[0]
    assert not stand.due, "it is tried again in an hour"
    monkeypatch.setattr(backups, "now", lambda: later + timedelta(hours=1, minutes=1))
    monkeypatch.setattr(Studio, "backup", write)
    assert back_up_when_due(filled) is not None
    assert backups_of(filled).failure is None


@pytest.mark.parametrize("at", [0.05, 0.3, 0.6, 0.9, 0.99])
def test_a_changed_byte_anywhere_is_found_on_reading_back(tmp_path: Path, at: float) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        studio.record(a_trial(photos=(studio.keep_photo(a_photograph(2)),)))
        studio.backup(tmp_path / "backup.zip")
    Studio.read_back(tmp_path / "backup.zip")
    with zipfile.ZipFile(tmp_path / "backup.zip") as archive:
        entries = [
            (entry.header_offset + 30 + len(entry.filename), entry.compress_size) for entry in archive.infolist()
        ]
    raw = bytearray((tmp_path / "backup.zip").read_bytes())
    for begin, size in entries:
        damaged = raw.copy()
        damaged[begin + 40 + int(at * (size - 60))] ^= 0x10
        (tmp_path / "damaged.zip").write_bytes(bytes(damaged))
        with pytest.raises(StudioError):
            Studio.read_back(tmp_path / "damaged.zip")


def test_a_folder_that_cannot_be_used_is_refused_and_a_lost_one_is_told(filled: Studio, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(StudioError, match="for backups cannot be made"):
        settle(filled, tmp_path / "file" / "backups")
    with pytest.raises(StudioError, match="Keep backups for 1 to"):
        settle(filled, keep_days=0)
    settle(filled, tmp_path / "disk")
    (tmp_path / "disk").rmdir()
    (tmp_path / "disk").write_text("unplugged")
    with pytest.raises(StudioError, match="No backup could be made"):
        back_up(filled)
    assert backups_of(filled).failure is not None


def test_no_backup_is_made_of_a_demo_of_an_empty_studio_or_where_it_is_switched_off(
    place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Studio.open(place) as studio:
        assert back_up_when_due(studio) is None, "nothing is logged yet"
        studio.record(a_trial())
        monkeypatch.setenv("MATCHER_BACKUPS", "no")
        assert back_up_when_due(studio) is None
        assert "None is made without being asked for" in backups_in_words(backups_of(studio))[-1]
        monkeypatch.delenv("MATCHER_BACKUPS")
        studio.is_demo = True
        assert back_up_when_due(studio) is None


def test_the_page_that_is_served_makes_the_days_backup(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        studio.record(a_trial())
        settle(studio, tmp_path / "backups")
        monkeypatch.setattr("matcher.studio.keeping.daily.FIRST_AFTER_S", 0.05)
        daily = DailyBackups(tmp_path / "studio")
        daily.start()
        deadline = time.monotonic() + 30
        while backups_of(studio).last is None:
            assert time.monotonic() < deadline
            time.sleep(0.05)
        daily.stop()
        assert len(there(studio)) == 1


@pytest.fixture
def by_command(tmp_path: Path) -> Iterator[Path]:
    with Studio.open(tmp_path / "studio") as studio:
        studio.record(a_trial(photos=(studio.keep_photo(a_photograph(2)),)))
        settle(studio, tmp_path / "backups")
    yield tmp_path / "studio"


def test_the_commands_settle_make_list_and_restore(run: Any, by_command: Path, tmp_path: Path) -> None:
    def told(*arguments: object) -> dict[str, Any]:
        code, out, _ = run(*arguments, "--json")
        assert code == 0
        return dict(json.loads(out))

    stand = told("studio", "backups", "--keep-days", 7, "--folder", tmp_path / "disk", "--now", "--studio", by_command)
    assert (stand["keep_days"], stand["folder"], len(stand["files"])) == (7, str(tmp_path / "disk"), 1)
    assert stand["last"]["path"] == stand["files"][0]
    again = told("studio", "backups", "--when-due", "--studio", by_command)
    assert again["files"] == stand["files"], "there is one of today"
    restored = told("restore", stand["files"][0], tmp_path / "restored")
    assert (restored["trials"], restored["photos"], restored["differences"]) == (1, 1, [])
    assert told("trials", "list", "--studio", tmp_path / "restored")


def test_a_command_begins_the_days_backup_and_waits_for_nothing(run: Any, by_command: Path, tmp_path: Path) -> None:
    assert run("trials", "list", "--studio", by_command)[0] == 0
    deadline = time.monotonic() + 60
    with Studio.open(by_command) as studio:
        while backups_of(studio).last is None:
            assert time.monotonic() < deadline
            time.sleep(0.1)
        settle(studio, tmp_path / "disk")
        (tmp_path / "disk").rmdir()
        (tmp_path / "disk").write_text("unplugged")
        with pytest.raises(StudioError):
            back_up(studio)
    _, _, err = run("trials", "list", "--studio", by_command)
    assert err.startswith("The backup of ")
    assert err.count("\n") == 1


def test_a_backup_of_a_studio_that_was_moved_is_a_studio_that_may_be_written_to(filled: Studio, tmp_path: Path) -> None:
    from matcher.studio.keeping.move import move

    filled.backup(tmp_path / "before.zip")
    move(filled, tmp_path / "moved")
    filled.backup(tmp_path / "after.zip")
    for name in ("before", "after"):
        with Studio.restore(tmp_path / f"{name}.zip", tmp_path / name) as restored:
            assert restored.moved_to is None
            restored.record(a_trial(60.0))
    assert os.environ.get("MATCHER_BACKUPS") is None
