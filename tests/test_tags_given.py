"""Which plate carried which tag when, as the log keeps it; everything invented. In a folder and on a server."""

from __future__ import annotations

import os
import signal
import sqlite3
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import exc

from matcher.errors import StudioError, TagError
from matcher.storage.damaged import Damaged
from matcher.storage.database import DATABASE_NAME
from matcher.storage.schema import TagChangeRow
from matcher.studio import Studio
from matcher.tags.given import GIVEN, TAKEN, TagChange, history_of, tag_text
from matcher.tags.wording import ended_in_words, time_in_words
from tests.example_counts import examples
from tests.forked import forked
from tests.plates import MADE_AT, a_trial

TAG, OTHER = "K7QX2-88", "M3NB9-41"
DAY = timedelta(days=1)

changes = st.lists(
    st.builds(
        TagChange,
        st.sampled_from([GIVEN, GIVEN, TAKEN]),
        st.sampled_from(["A", "B", "C"]),
        st.integers(1, 3),
        st.integers(0, 8).map(lambda day: MADE_AT + day * DAY),
        st.integers(8, 12).map(lambda day: MADE_AT + day * DAY),
        uid=st.uuids().map(lambda uid: uid.hex),
    ),
    max_size=14,
    unique_by=lambda change: change.uid,
)


@examples(100)
@given(changes, st.randoms(use_true_random=False))
def test_whatever_was_said_in_whatever_order_a_tag_is_on_one_plate_and_a_plate_has_one_tag(
    said: list[TagChange], rng: object
) -> None:
    told = history_of(said)
    shuffled = list(said)
    rng.shuffle(shuffled)  # type: ignore[attr-defined]
    assert history_of(shuffled) == told  # so two studios that have heard the same agree
    assert sorted(told.changes, key=lambda one: one.uid or "") == sorted(said, key=lambda one: one.uid or "")
    for half_days in range(-1, 28):
        moment = MADE_AT + half_days * DAY / 2
        for standing in (told.in_force(moment), told.in_force()):
            assert len({one.tag for one in standing}) == len(standing) == len({one.trial_id for one in standing})
    for tag in "ABC":  # the last word on a tag holds, unless its plate was given another one since
        words = [one for one in told.changes if one.tag == tag]
        now = told.plate_of(tag)
        if now is not None:
            assert now.given in words and now.given.what == GIVEN
    times = told.times
    assert all(one.until is None or one.since <= one.until for one in times)


@examples(40)
@given(changes, changes)
def test_studios_that_tell_each_other_agree(one: list[TagChange], other: list[TagChange]) -> None:
    union = {change.uid: change for change in [*one, *other]}.values()
    assert history_of(union) == history_of(reversed(list(union)))


def two_plates(studio: Studio) -> tuple[int, int]:
    plates = [studio.record(a_trial(30.0 + n, made_at=MADE_AT + n * DAY), who="Ann").id for n in (0, 1)]
    return plates[0] or 0, plates[1] or 0


def test_a_tag_is_given_taken_and_given_to_another_and_each_moment_has_its_owner(studio: Studio) -> None:
    first, second = two_plates(studio)
    given = studio.give_tag(first, " k7qx2-88 ", who="Ann")
    assert given.ended == () and given.now is not None and given.now.since <= MADE_AT  # glued on before it is noted
    assert studio.plate_of("k7qx2-88") == first and studio.tag_of(first).tag == TAG  # type: ignore[union-attr]
    spring, summer = MADE_AT + 30 * DAY, MADE_AT + 120 * DAY
    with pytest.raises(StudioError, match="move the tag: K7QX2-88 is on plate 1"):
        studio.give_tag(second, TAG, who="Ben", why="glued on this one")
    with pytest.raises(StudioError, match="Say why K7QX2-88 goes from plate 1 to plate 2"):
        studio.give_tag(second, TAG, who="Ben", move=True)
    moved = studio.give_tag(second, TAG, who="Ben", why="plate 1 was melted", at=summer, move=True)
    assert [ended_in_words(one) for one in moved.ended] == ["K7QX2-88 left plate 1, and is on plate 2 now."]
    assert studio.plate_of(TAG, spring) == first and studio.plate_of(TAG) == second
    assert studio.plate_of(TAG, MADE_AT - 2 * DAY) is None and studio.tag_of(first) is None
    told = [(one.trial_id, one.how_ended) for one in studio.tags().of_tag(TAG)]
    assert told == [(first, "given to another plate"), (second, None)]
    taken = studio.take_tag(second, who="Cleo", why="lost")
    assert taken.now is None and [ended_in_words(one) for one in taken.ended] == ["K7QX2-88 was taken from plate 2."]
    assert "lost" in time_in_words(studio.tags().of_plate(second)[0])
    assert [(line.who, line.what, line.detail) for line in studio.history("trial", first)][1:] == [
        ("Ann", "tag given", "K7QX2-88"),
        ("Ben", "tag taken", "K7QX2-88, now on plate 2: plate 1 was melted"),
    ]


def test_a_plate_given_a_second_tag_loses_the_first_and_it_is_said(studio: Studio) -> None:
    plate, _ = two_plates(studio)
    studio.give_tag(plate, TAG)
    assert studio.give_tag(plate, TAG) == studio.give_tag(plate, TAG)  # said again: nothing changes
    with pytest.raises(StudioError, match=f"Say why plate 1 gets {OTHER}: it carries {TAG}"):
        studio.give_tag(plate, OTHER)
    again = studio.give_tag(plate, OTHER, why="the first came off")
    said = f"{TAG} was taken back from plate 1, which carries {OTHER} now."
    assert [ended_in_words(one) for one in again.ended] == [said]
    assert studio.plate_of(TAG) is None and studio.plate_of(OTHER) == plate
    assert len(studio.tags().changes) == 2


def test_what_cannot_be_is_refused_and_nothing_is_kept(studio: Studio) -> None:
    plate, _ = two_plates(studio)
    for wrong in ("", "  ", "--", "K7 ÅÄ", "A" * 60, "A/B", "K7QX2-0", 88):
        with pytest.raises(TagError):
            studio.give_tag(plate, wrong)  # type: ignore[arg-type]
    with pytest.raises(StudioError, match=r"There is no (trial|plate) 99"):
        studio.give_tag(99, TAG)
    with pytest.raises(StudioError, match="yet to come"):
        studio.give_tag(plate, TAG, at=datetime.now(UTC) + DAY)
    with pytest.raises(StudioError, match="There is no tag to take"):
        studio.take_tag(plate, why="lost")
    studio.give_tag(plate, TAG)
    with pytest.raises(StudioError, match="Say why"):
        studio.take_tag(plate)
    assert len(studio.tags().changes) == 1


def test_a_plate_is_logged_with_its_tag_or_not_at_all(studio: Studio) -> None:
    plate = studio.record(a_trial(), who="Ann", tag="k7qx2-88")
    assert studio.plate_of(TAG) == plate.id
    with pytest.raises(StudioError, match="is on plate 1"):
        studio.record(a_trial(50.0), tag=TAG)
    assert len(studio.trials()) == 1
    assert studio.record(plate, tag=TAG).id == plate.id and len(studio.tags().changes) == 1


def test_the_database_itself_refuses_what_no_line_about_a_tag_can_be(studio: Studio) -> None:
    plate, _ = two_plates(studio)
    good = {"uid": "x", "what": "given", "tag": "A", "trial_id": plate, "at": MADE_AT, "noted_at": MADE_AT}
    for wrong in ({"what": "lent"}, {"at": MADE_AT + DAY}, {"trial_id": 99}):
        with pytest.raises((StudioError, exc.IntegrityError)), studio.database.writing() as session:
            session.execute(sa.insert(TagChangeRow), [{**good, "who": "", "why": "", **wrong}])
    assert studio.tags().changes == ()


def test_a_damaged_line_is_named_and_the_others_are_read(tmp_path: Path) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        one, two = two_plates(studio)
        studio.give_tag(one, TAG)
        studio.give_tag(two, OTHER)
    with closing(sqlite3.connect(tmp_path / "studio" / DATABASE_NAME)) as connection:
        connection.execute("UPDATE tag_changes SET noted_at = 'then' WHERE id = 1")
        connection.commit()
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.plate_of(OTHER) == two and studio.plate_of(TAG) is None
        assert studio.damaged() == (Damaged("line about a tag", 1),)
        studio.export(tmp_path / "out.zip")
    with Studio.open(tmp_path / "other") as other:
        brought = other.import_file(tmp_path / "out.zip")
        assert "line about a tag 1 was damaged" in " ".join(brought.problems) and other.plate_of(OTHER) == 2


def test_codes_are_kept_in_one_way_and_the_number_of_an_own_tag_will_do(tmp_path: Path) -> None:
    assert tag_text(" k7qx2 - 88\n") == TAG
    with Studio.open(tmp_path / "studio") as studio:
        plate, _ = two_plates(studio)
        given = studio.give_tag(plate, "88").now
        assert given is not None and given.tag == f"{studio.tag_signs}-88"
        assert studio.plate_of("88") == studio.plate_of(given.tag) == plate


def give_on_and_on(folder: str, said_in: str) -> None:
    """Move one tag to and fro, and say each move once it is kept."""
    with Path(said_in).open("w") as said, Studio.open(folder) as studio:
        for n in range(100_000):
            studio.give_tag(1 + n % 2, TAG, why=f"move {n}", move=True)
            print(n, file=said, flush=True)


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL there")
def test_a_process_killed_while_it_moves_a_tag_leaves_whole_moves_only(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    with Studio.open(folder) as studio:
        two_plates(studio)
    for number, wait_s in enumerate(np.random.default_rng(3).uniform(0.0, 0.15, 3)):
        said_in = tmp_path / f"said {number}"
        os.mkfifo(said_in)
        child = forked(give_on_and_on, str(folder), str(said_in))
        with said_in.open() as told:
            lines = [told.readline()]
            time.sleep(float(wait_s))
            assert child.pid is not None
            os.kill(child.pid, signal.SIGKILL)
            lines += [line for line in told if line.endswith("\n")]
        child.join(60)
        with Studio.open(folder) as studio:
            history = studio.tags()
            assert len(history.in_force()) == 1
            kept = [change.why for change in history.changes]
            assert f"move {int(lines[-1])}" in kept
            noted = [line for line in studio.history("trial") if line.what == "tag given"]
            assert len(noted) == len(history.changes)  # each with its line of history


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    """A studio with three plates, for many histories one after the other."""
    with Studio.open(tmp_path_factory.mktemp("kept") / "studio") as opened:
        for n in range(3):
            opened.record(a_trial(30.0 + n))
        yield opened


hands = st.lists(
    st.tuples(
        st.sampled_from(["give", "move", "take"]),
        st.integers(1, 3),
        st.sampled_from([TAG, OTHER]),
        st.none() | st.integers(0, 300),
    ),
    max_size=8,
)


@examples(30)
@given(hands)
def test_whoever_gives_moves_and_takes_leaves_one_owner_and_loses_nothing(
    kept: Studio, done: list[tuple[str, int, str, int | None]]
) -> None:
    with kept.database.writing() as session:
        session.execute(sa.delete(TagChangeRow))
    said: list[TagChange] = []
    for way, plate, tag, day in done:
        at = None if day is None else MADE_AT + day * DAY
        before = kept.tags()
        try:
            if way == "take":
                came = kept.take_tag(plate, "Ann", "lost", at)
            else:
                came = kept.give_tag(plate, tag, "Ann", "so it is", at, move=way == "move")
        except StudioError:
            assert kept.tags() == before  # refused: nothing was changed
            continue
        now = kept.tags()
        assert set(said) <= set(now.changes) and set(before.changes) <= set(now.changes)
        said = list(now.changes)
        if way != "take":
            assert came.now is not None and (came.now.tag, came.now.trial_id) == (tag, plate)
        if at is None and way != "take":
            assert kept.plate_of(tag) == plate
        standing = now.in_force()
        assert len({one.tag for one in standing}) == len(standing) == len({one.trial_id for one in standing})
        for one in came.ended:
            assert ended_in_words(one)
