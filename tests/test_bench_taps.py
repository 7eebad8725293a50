"""Taps that a phone sends when it can: each taken in once and in order, or refused in a sentence."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher import Coat, Recipe, Studio
from matcher.bench.shelf import new_uid
from matcher.bench.taps import REMEMBERED, Pressed, Tap, pressed
from matcher.bench.work import Piece
from matcher.errors import StudioError
from matcher.hands import Hand, Role, at_work
from tests.example_counts import examples

NOW = datetime.now(UTC).replace(microsecond=0)
RECIPE = Recipe("bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0), Coat("cupric nitrate", 0.5, 3, 95.0)))


def tap(uid: str, press: Pressed = Pressed.COUNT, at: int = 0, piece: str = "p", when: datetime = NOW) -> Tap:
    return Tap(uid.ljust(8, "-"), piece, press, at, when)


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio.open(tmp_path / "studio") as studio:
        yield studio


@given(st.lists(st.integers(0, 4), max_size=30))
@examples(60)
def test_however_often_each_is_sent_it_counts_once(sent: list[int]) -> None:
    piece = Piece("p", RECIPE)
    for number in sent:
        piece = pressed(piece, tap(f"tap {number}"))
    assert piece.counts[0] == min(len(set(sent)), 5)


def test_counting_going_on_and_taking_back(studio: Studio) -> None:
    piece = studio.shelf.put(Piece(new_uid(), RECIPE))
    for k in range(4):
        studio.shelf.tap(tap(f"a{k}", piece=piece.uid))
    studio.shelf.tap(tap("b", Pressed.UNDO, piece=piece.uid))
    studio.shelf.tap(tap("c", Pressed.GO_ON, piece=piece.uid))
    studio.shelf.tap(tap("d", at=1, piece=piece.uid))
    assert studio.shelf.piece(piece.uid).counts == (3, 1)


def test_a_tap_that_no_longer_fits_is_told_and_changes_nothing(studio: Studio) -> None:
    piece = studio.shelf.put(Piece(new_uid(), RECIPE))
    studio.shelf.tap(tap("a", Pressed.GO_ON, piece=piece.uid))
    with pytest.raises(StudioError, match="at another step now"):
        studio.shelf.tap(tap("b", at=0, piece=piece.uid))
    assert studio.shelf.piece(piece.uid).counts == (0, 0)
    studio.shelf.take_off(piece.uid)
    with pytest.raises(StudioError, match="no longer on the bench"):
        studio.shelf.tap(tap("c", at=1, piece=piece.uid))


def test_a_pass_has_the_moment_of_the_tap_as_far_as_the_phone_is_to_be_believed() -> None:
    before = NOW - timedelta(minutes=7)
    piece = pressed(Piece("p", RECIPE), tap("a", when=before))
    assert datetime.fromisoformat(piece.counted_at) == before
    ahead = pressed(piece, tap("b", when=NOW + timedelta(days=3)))
    assert before < datetime.fromisoformat(ahead.counted_at) <= datetime.now(UTC)
    assert pressed(piece, tap("c", when=before - timedelta(minutes=1))).counted_at == piece.counted_at
    wrong = pressed(Piece("p", RECIPE), tap("d", when=NOW - timedelta(days=400)))
    assert datetime.fromisoformat(wrong.counted_at) >= NOW


def test_a_piece_remembers_more_taps_than_a_phone_keeps_waiting_and_no_more() -> None:
    piece = Piece("p", RECIPE)
    for k in range(REMEMBERED + 50):
        piece = pressed(piece, tap(f"{k}", Pressed.UNDO if k % 2 else Pressed.COUNT))
    assert len(piece.heard) == REMEMBERED and piece.counts[0] == 0
    assert Piece.from_dict(piece.as_dict()).heard == piece.heard


@pytest.mark.parametrize(
    "sent",
    [
        {},
        {"uid": "12345678", "piece": "p", "pressed": "jump", "at": 0, "when": NOW.isoformat()},
        {"uid": "short", "piece": "p", "pressed": "count", "at": 0, "when": NOW.isoformat()},
        {"uid": "1" * 65, "piece": "p", "pressed": "count", "at": 0, "when": NOW.isoformat()},
        {"uid": "12345678", "piece": "p", "pressed": "count", "at": "x", "when": NOW.isoformat()},
        {"uid": "12345678", "piece": "p", "pressed": "count", "at": 0, "when": "yesterday"},
        {"uid": "12345678", "piece": "p", "pressed": "count", "at": 0, "when": "2026-01-01T10:00:00"},
        {"uid": "12345678", "piece": "p", "pressed": "count", "at": 1e400, "when": NOW.isoformat()},
    ],
    ids=lambda sent: str(sent)[:60],
)
def test_what_is_no_tap_is_refused_in_a_sentence(sent: dict[str, object]) -> None:
    with pytest.raises(StudioError, match="Reload the page"):
        Tap.from_dict(sent)


def test_a_reader_taps_in_vain(studio: Studio) -> None:
    piece = studio.shelf.put(Piece(new_uid(), RECIPE))
    with at_work(Hand("r", "Rui", Role.READER)), pytest.raises(StudioError, match="as a reader"):
        studio.shelf.tap(tap("a", piece=piece.uid))
    with at_work(Hand("h", "Marek", Role.HELPER)):
        studio.shelf.tap(tap("a", piece=piece.uid))
    assert studio.shelf.piece(piece.uid).counts == (1, 0)
