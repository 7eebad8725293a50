"""Photographs of a studio on a server: in the reach of every bench, whole or not at all, no wrong byte ever shown."""

from __future__ import annotations

import hashlib
import io
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Event
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from matcher.errors import StudioError
from matcher.storage import database, shared_photos
from matcher.storage.photos import PhotoStore, note_photo_in
from matcher.storage.schema import HEAD
from matcher.storage.shared_photos import SharedPhotos
from matcher.studio import Studio
from tests.plates import a_photograph, a_trial
from tests.postgres_server import emptied

Bench = Callable[[str], Studio]


@pytest.fixture
def bench(opened_database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """Open the one studio as a machine of a name does, with a folder of its own."""
    emptied(opened_database)

    def opened(machine: str) -> Studio:
        monkeypatch.setenv("MATCHER_PHOTOS", str(tmp_path / machine))
        return Studio.open(opened_database)

    return opened


def large(seed: int = 5, pieces: float = 2.5) -> bytes:
    """Return what is taken for a photograph and is cut in several pieces."""
    noise = np.random.default_rng(seed).bytes(int(pieces * shared_photos.CHUNK_BYTES))
    return a_photograph(seed) + noise


def test_what_one_bench_keeps_another_has(bench: Bench, tmp_path: Path) -> None:
    data = large()
    with bench("west") as west, bench("east") as east:
        sha256 = west.keep_photo(data, "plate.jpg")
        west.record(a_trial(photos=(sha256,)))
        assert east.photos.has(sha256)
        assert east.photo_path(sha256) == tmp_path / "east" / sha256[:2] / f"{sha256}.jpg"
        assert east.photo_path(sha256).read_bytes() == data
        assert east.photos.kept() == {sha256}


def test_the_folder_is_a_cache_that_anyone_may_empty(bench: Bench) -> None:
    with bench("west") as west:
        sha256 = west.keep_photo(large())
        west.photo_path(sha256).unlink()
        assert west.photo_path(sha256).read_bytes() == large()


def test_a_wrong_byte_in_the_cache_is_fetched_anew(bench: Bench) -> None:
    with bench("west") as west:
        sha256 = west.keep_photo(large())
        path = west.photo_path(sha256)
    path.write_bytes(large()[:-1] + b"x")
    with bench("west") as west:
        assert west.photo_path(sha256).read_bytes() == large()


DAMAGES = {
    "a byte is another": "UPDATE photo_chunks SET data = set_byte(data, 9, 255 - get_byte(data, 9)) WHERE position = 1",
    "a piece is gone": "DELETE FROM photo_chunks WHERE position = 1",
    "a piece is cut short": "UPDATE photo_chunks SET data = substr(data, 1, 100) WHERE position = 2",
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_wrong_byte_in_the_database_is_told_never_shown_and_mended_by_keeping_it_again(
    bench: Bench, damage: str, tmp_path: Path
) -> None:
    with bench("west") as west, bench("east") as east:
        sha256, other = west.keep_photo(large()), west.keep_photo(a_photograph(3))
        with west.database.writing() as session:
            session.execute(sa.text(DAMAGES[damage]))
        with pytest.raises(StudioError, match=r"damaged in the database .* restore it from a backup"):
            east.photo_path(sha256)
        assert not [path for path in (tmp_path / "east").rglob("*") if path.is_file()]
        assert isinstance(east.photos, SharedPhotos)
        assert east.photos.wrong() == [sha256]
        assert east.photo_path(other).read_bytes() == a_photograph(3)
        west.keep_photo(large())
        assert east.photo_path(sha256).read_bytes() == large()
        assert east.photos.wrong() == []


def test_a_photograph_that_was_kept_in_the_old_folder_is_taken_in_where_it_lies(bench: Bench, tmp_path: Path) -> None:
    store = PhotoStore(tmp_path / "west")
    kept, lost = store.keep(large(), "old.jpg"), PhotoStore(tmp_path / "elsewhere").keep(a_photograph(4))
    with bench("east") as east:
        with east.database.writing() as session:  # as the log was before the database kept photographs
            note_photo_in(session, kept, "old.jpg")
            note_photo_in(session, lost)
        assert not east.photos.has(kept.sha256)
        with pytest.raises(StudioError, match="open the studio on the machine where it was kept"):
            east.photo_path(kept.sha256)
        bench("west").close()
        assert east.photo_path(kept.sha256).read_bytes() == large()
        assert not east.photos.has(lost.sha256)


def test_a_photograph_is_there_whole_or_not_at_all(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def cut_off(file: Path) -> object:
        yield file.read_bytes()[:100]
        raise ZeroDivisionError

    with bench("west") as west, bench("east") as east:
        monkeypatch.setattr(shared_photos, "_pieces_of", cut_off)
        with pytest.raises(ZeroDivisionError):
            west.keep_photo(large())
        sha256 = hashlib.sha256(large()).hexdigest()
        assert not east.photos.has(sha256)
        assert east.photos.kept() == set()
        monkeypatch.undo()
        west.photos.keep_stream(io.BytesIO(large()), "again.jpg")
        assert east.photos.has(sha256)


def test_who_keeps_the_same_photograph_waits_for_the_other_however_long_that_takes(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Over a slow network the first may take longer than any writer does; a move alone is not waited for so long."""
    photograph, put, under_way = a_photograph(5), shared_photos.put_pieces_in, Event()

    def slowly(*given: Any) -> None:
        put(*given)
        if not under_way.is_set():
            under_way.set()
            time.sleep(2.5)

    monkeypatch.setattr(database, "BUSY_TIMEOUT_S", 1)
    monkeypatch.setattr(shared_photos, "put_pieces_in", slowly)
    with bench("west") as west, bench("east") as east, ThreadPoolExecutor() as hands:
        first = hands.submit(west.keep_photo, photograph)
        assert under_way.wait(30)
        assert east.keep_photo(photograph) == first.result(30)


def test_an_export_from_one_bench_holds_the_photographs_of_all(bench: Bench, tmp_path: Path) -> None:
    with bench("west") as west, bench("east") as east:
        sha256 = west.keep_photo(large())
        west.record(a_trial(photos=(sha256,)))
        exported = east.export(tmp_path / "studio.zip")
        assert (exported.photos, exported.missing_photos) == (1, ())
    with Studio.open(tmp_path / "folder") as folder:
        folder.import_file(tmp_path / "studio.zip")
        assert folder.photo_path(sha256).read_bytes() == large()


def test_a_damaged_file_of_a_studio_in_a_folder_is_told_and_mended_by_keeping_it_again(tmp_path: Path) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        sha256 = studio.keep_photo(large())
        path = studio.photo_path(sha256)
        path.write_bytes(large()[:-1] + b"x")
        with pytest.raises(StudioError, match=r"is damaged.*restore it from a backup"):
            studio.photo_path(sha256)
        studio.keep_photo(large())
        assert studio.photo_path(sha256).read_bytes() == large()


# Tables change only while nobody else has them open


def test_an_update_is_refused_while_another_has_the_studio_open(bench: Bench, opened_database: str) -> None:
    with bench("west") as west:
        with west.database.engine.begin() as connection:
            connection.execute(sa.text("UPDATE alembic_version SET version_num = 'r0002'"))
        with pytest.raises(StudioError, match=r"^The log of .* and 1 other program has it open: close the tool on ev"):
            Studio.open(opened_database)
        with pytest.raises(StudioError, match="was brought up to date by a newer version meanwhile"):
            west.record(a_trial())  # what an old program is told once the tables are others
        with west.database.engine.begin() as connection:
            connection.execute(sa.text("UPDATE alembic_version SET version_num = :head"), {"head": HEAD})
        west.record(a_trial())
