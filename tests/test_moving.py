"""A studio moved from a folder to a server's database and back: all of it, compared by content, or nothing."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, wait
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from matcher.access.devices import How
from matcher.bench.work import Piece
from matcher.demo import make_demo_studio
from matcher.errors import StudioError, UnavailableError
from matcher.hands import Role
from matcher.storage import shared_photos
from matcher.storage.database import Database
from matcher.storage.schema import DeviceRow, Table
from matcher.studio import Studio
from matcher.studio.keeping.contents import contents_of, differing
from matcher.studio.keeping.move import Moved, move
from tests.forked import forked
from tests.plates import a_photograph, a_recipe, a_trial
from tests.postgres_server import fresh_database


@pytest.fixture(scope="module")
def whole_studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo studio, with something in every table that it leaves empty."""
    folder = tmp_path_factory.mktemp("moving") / "demo"
    with make_demo_studio(folder) as studio:
        studio.keep_photo(a_photograph(8) + bytes(3 * shared_photos.CHUNK_BYTES), "large.jpg")
        studio.set_aside(5, "streaky, ≥ 3 mm")
        studio.take_back(5)
        studio.save_draft("record of Δ", {"typed": ["dark", 0.1 + 0.2, None, {"b": 1, "a": -0.0}]})
        studio.shelf.put(Piece("piece", a_recipe(), name="H-7"))
        studio.save_card("my card", "grey card", (49.0, 0.0, 0.0))
    return folder


@pytest.fixture
def studio(whole_studio: Path, tmp_path: Path) -> Iterator[Studio]:
    """A copy of it, to be moved."""
    with Studio.open(whole_studio) as whole:
        whole.backup(tmp_path / "whole.zip")
    with Studio.restore(tmp_path / "whole.zip", tmp_path / "studio") as studio:
        yield studio


@pytest.fixture
def server(postgres_server: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """An empty database, and a machine that has no photographs yet."""
    monkeypatch.setenv("MATCHER_PHOTOS", str(tmp_path / "photographs"))
    with fresh_database(postgres_server) as url:
        yield url


def held(studio: Studio) -> dict[str, Any]:
    with studio.database.reading() as session:
        return dict(contents_of(session))


def said(studio: Studio) -> list[dict[str, Any]]:
    return [trial.as_dict() for trial in studio.trials(include_set_aside=True)]


def test_all_of_a_studio_goes_to_a_server_and_back(studio: Studio, server: str, tmp_path: Path) -> None:
    before, photos = held(studio), studio.photos.kept()
    moved = move(studio, server)
    assert isinstance(moved, Moved)
    assert moved.photos == len(photos)
    assert moved.lacking == ()
    assert moved.rows["trials"] == len(studio.trials(include_set_aside=True))
    with Studio.open(server) as there:
        assert held(there) == before
        assert there.photos.kept() == photos
        assert said(there) == said(studio)
        assert there.draft("record of Δ") == studio.draft("record of Δ")
        assert there.uid == studio.uid
        newest = max(trial.id or 0 for trial in there.trials(include_set_aside=True))
        assert there.record(a_trial()).id == newest + 1, "numbers go on where they were"
        at_the_server = held(there)
        back = move(there, tmp_path / "back")
        assert back.photos == len(photos)
    with Studio.open(tmp_path / "back") as here:
        assert held(here) == at_the_server
        assert here.photos.kept() == photos
        assert here.record(a_trial(20.0)).id == newest + 2
        assert all(here.photo_path(sha256).is_file() for sha256 in photos)


def test_the_old_place_stays_as_it_was_and_is_written_to_no_more(studio: Studio, server: str, tmp_path: Path) -> None:
    before, plates = held(studio), said(studio)
    with Studio.open(tmp_path / "studio") as open_before:
        move(studio, server)
        for old in (studio, open_before):
            for write in (lambda at: at.record(a_trial()), lambda at: at.save_draft("record", {"a": 1})):
                with pytest.raises(StudioError, match=r"^This studio was moved to postgresql://.*: open it there"):
                    write(old)
    with Studio.open(tmp_path / "studio") as again:
        assert again.moved_to is not None
        assert ":" not in again.moved_to.removeprefix("postgresql://").split("@")[0], "no password is told"
        assert said(again) == plates
        assert held(again) == before
    with Studio.open(server) as there:
        assert there.moved_to is None


def test_the_old_place_can_be_looked_at_by_who_is_signed_in(studio: Studio, tmp_path: Path) -> None:
    """It shut everybody out two minutes later: when a device was seen could not be noted any more."""
    uid = studio.access.people.add("Ines", Role.OWNER).uid
    secret = studio.access.devices.begin(uid, How.PASSPHRASE, "Computer")
    before = datetime.now(UTC) - timedelta(minutes=5)
    with studio.database.writing() as session:
        session.execute(sa.update(DeviceRow).values(seen_at=before))
    move(studio, tmp_path / "new")
    found = studio.access.devices.signed_in(secret)
    assert found is not None and found.hand.name == "Ines"


def test_a_place_that_is_not_empty_is_refused(studio: Studio, server: str, tmp_path: Path) -> None:
    Studio.open(server).close()
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "note.txt").write_text("mine")
    with Studio.open(tmp_path / "another") as another:
        another.record(a_trial())
    for place in (server, tmp_path / "full", tmp_path / "another", tmp_path / "studio"):
        with pytest.raises(StudioError, match=r"holds .*"):
            move(studio, place)
    assert studio.moved_to is None
    studio.record(a_trial())


def test_a_photograph_that_comes_while_it_is_moved_is_not_left_behind(
    studio: Studio, server: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was said to be kept, and lay at the old place alone; now it stays on the phone that sends it."""
    from matcher.studio.keeping import move as moving

    move(studio, server)
    copy, sent = moving.copy_rows, []
    with Studio.open(server) as old, Studio.open(server) as bench, ThreadPoolExecutor() as phones:

        def meanwhile(source: Any, session: Any) -> None:
            copy(source, session)
            sent.append(phones.submit(bench.keep_photo, a_photograph(77), "late.jpg"))
            wait(sent, timeout=2)

        monkeypatch.setattr(moving, "copy_rows", meanwhile)
        move(old, tmp_path / "new")
        with pytest.raises(UnavailableError, match="was moved to"):
            sent[0].result(60)
    with Studio.open(server) as old, Studio.open(tmp_path / "new") as new:
        assert old.photos.kept() == new.photos.kept()


def test_what_differs_in_the_end_is_noticed_and_nothing_is_moved(
    studio: Studio, server: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from matcher.studio.keeping import move as moving

    copy = moving.copy_rows

    def one_cell_short(source: Any, session: Any) -> None:
        copy(source, session)
        session.execute(sa.text("UPDATE trials SET notes = notes || ' ' WHERE id = 3"))

    monkeypatch.setattr(moving, "copy_rows", one_cell_short)
    for place in (server, tmp_path / "folder"):
        with pytest.raises(StudioError, match="hold something else in trials"):
            move(studio, place)
        assert not Database.is_there(place)
    assert studio.moved_to is None


def test_a_photograph_that_was_lost_before_is_named(studio: Studio, server: str) -> None:
    lost, wrong = sorted(studio.photos.kept())[:2]
    studio.photo_path(lost).unlink()
    studio.photo_path(wrong).write_bytes(b"something else")
    assert set(move(studio, server).lacking) == {lost, wrong}


def _move_slowly(folder: str, to: str, under_way: str) -> None:
    put = shared_photos.put_pieces_in
    keep = shared_photos.PhotoStore.keep_stream

    def slowly(*given: Any, **named: Any) -> Any:
        Path(under_way).touch()
        time.sleep(30)
        return (put if len(given) == 3 and isinstance(given[1], str) else keep)(*given, **named)

    from matcher.studio.keeping import move as moving

    moving.put_pieces_in = slowly
    moving.PhotoStore.keep_stream = slowly  # type: ignore[method-assign]
    with Studio.open(folder) as studio:
        move(studio, to)


@pytest.mark.parametrize("kind", ["server", "folder"])
def test_a_move_that_was_killed_half_way_leaves_no_studio_there_and_can_be_made_again(
    studio: Studio, server: str, tmp_path: Path, kind: str
) -> None:
    to = server if kind == "server" else str(tmp_path / "new")
    child = forked(_move_slowly, str(tmp_path / "studio"), to, str(tmp_path / "under way"))
    deadline = time.monotonic() + 60
    while not (tmp_path / "under way").exists():
        assert time.monotonic() < deadline
        time.sleep(0.02)
    assert child.pid is not None
    os.kill(child.pid, signal.SIGKILL)
    child.join(30)
    while kind == "server" and Database.is_there(to):
        assert time.monotonic() < deadline, "what was half written is there"
    assert not Database.is_there(to)
    assert studio.moved_to is None
    studio.record(a_trial())
    move(studio, to)
    with Studio.open(to) as there:
        assert not differing(held(there), held(studio))


def test_a_move_that_was_stopped_just_before_its_end_is_ended_by_the_same_command(studio: Studio, server: str) -> None:
    moved = move(studio, server)
    with studio.database.engine.begin() as connection:
        connection.execute(sa.text("UPDATE studio SET moved_to = NULL"))
    again = move(studio, server)
    assert again == moved
    assert studio.moved_to == moved.to


def test_every_table_is_compared() -> None:
    from matcher.storage.copy import tables

    assert {table.name for table in tables()} == set(Table.metadata.tables) - {"photo_chunks"}


def test_the_command_moves_and_tells_where(told: Any, studio: Studio, server: str, tmp_path: Path) -> None:
    document = told("studio", "move", "--to", server, "--studio", tmp_path / "studio")
    assert document["photos"] == len(studio.photos.kept())
    assert told("studio", "--studio", tmp_path / "studio")["moved_to"] == document["to"]
    assert told("studio", "check", "--studio", server)["sound"]
