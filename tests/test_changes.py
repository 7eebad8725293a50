"""What one bench logs is heard by the others: within this process, by another process, after the server was away."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest
import sqlalchemy as sa

from matcher.bench.work import Piece
from matcher.changes import LOOK_EVERY_S
from matcher.studio import Studio
from tests.forked import forked
from tests.plates import a_recipe, a_target, a_trial

SOON_S = 2.0
"""Within which another bench must see what was logged."""


def _record_when_told(place: str, told: str) -> None:
    with Studio.open(place) as studio:
        Path(told).with_suffix(".open").touch()
        while not Path(told).exists():
            time.sleep(0.01)
        studio.record(a_trial(uid="from the other bench"))


def test_what_another_process_logs_is_there_within_two_seconds(studio: Studio, place: str, tmp_path: Path) -> None:
    told = tmp_path / "told"
    child = forked(_record_when_told, place, str(told))
    deadline = time.monotonic() + 60
    while not told.with_suffix(".open").exists():
        assert time.monotonic() < deadline
        time.sleep(0.01)
    before = studio.changes.count
    begun = time.monotonic()
    told.touch()
    heard = studio.changes.wait(before, 30.0)
    took_s = time.monotonic() - begun
    child.join(60)
    assert heard > before
    assert took_s < SOON_S
    assert [trial.uid for trial in studio.trials()] == ["from the other bench"]


def test_a_change_made_before_one_waits_is_not_missed(studio: Studio, place: str) -> None:
    before = studio.changes.count
    with Studio.open(place) as other:
        other.record(a_trial())
    assert studio.changes.wait(before, 5.0) > before
    again = studio.changes.count
    assert studio.changes.wait(again, 2.5 * LOOK_EVERY_S) == again, "one change counts once"


def test_whoever_is_behind_waits_for_nothing(studio: Studio) -> None:
    before = studio.changes.count
    studio.record(a_trial())
    now = studio.changes.wait(before, 5.0)
    begun = time.monotonic()
    assert studio.changes.wait(before, 60.0) == now
    assert time.monotonic() - begun < 1.0


def test_half_typed_forms_tell_nobody_and_pieces_on_the_bench_do(studio: Studio) -> None:
    studio.save_target(a_target())
    count = studio.changes.wait(0, 5.0)
    studio.save_draft("record", {"typed": "dark brown"})
    studio.drop_draft("record")
    assert studio.changes.wait(count, 2.5 * LOOK_EVERY_S) == count
    piece = studio.shelf.put(Piece("a piece", a_recipe(), name="H-7"))
    after = studio.changes.wait(count, 5.0)
    assert after > count
    studio.shelf.take_off(piece.uid)
    assert studio.changes.wait(after, 5.0) > after


def test_what_changes_nothing_tells_nobody(studio: Studio) -> None:
    studio.record(a_trial(uid="once"))
    count = studio.changes.wait(0, 5.0)
    studio.record(a_trial(uid="once"))
    with pytest.raises(ZeroDivisionError), studio.database.writing() as session:
        session.execute(sa.text("UPDATE studio SET title = 'undone'"))
        raise ZeroDivisionError
    assert studio.changes.wait(count, 2.5 * LOOK_EVERY_S) == count


def test_whoever_waits_goes_on_when_the_studio_is_closed(place: str) -> None:
    studio = Studio.open(place)
    count = studio.changes.count
    waiting = threading.Thread(target=studio.changes.wait, args=(count, 600.0))
    waiting.start()
    studio.close()
    waiting.join(10)
    assert not waiting.is_alive()


def test_a_lost_connection_comes_back_and_what_was_missed_counts_as_one_change(opened_database: str) -> None:
    with Studio.open(opened_database) as studio:
        count = studio.changes.count
        ends = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> "
        engine = sa.create_engine(sa.make_url(opened_database).set(drivername="postgresql+psycopg"))
        with engine.begin() as connection:
            connection.execute(sa.text(ends + "pg_backend_pid()"))
        engine.dispose()
        back = studio.changes.wait(count, 10.0)
        assert back == count + 1
        studio.record(a_trial(uid="after it came back"))
        assert studio.changes.wait(back, 10.0) == back + 1
