"""Taps at the bench: what a hand pressed, kept on its phone until the studio has it, and taken in once however often
it is sent.

A phone at the bench loses its connection, is locked, runs flat. So a tap has a name of its own, and a piece remembers
the names of the last ones that it has heard.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import Any

from matcher.bench.work import Piece
from matcher.errors import StudioError

REMEMBERED = 200
"""How many taps a piece remembers: more than a phone would keep waiting."""
_LONGEST_ID = 64


class Pressed(StrEnum):
    """What was pressed."""

    COUNT = "count"
    GO_ON = "go on"
    UNDO = "undo"


@dataclass(frozen=True)
class Tap:
    """One press. uid: its own name. at: the step that the screen showed. when: the moment of the press."""

    uid: str
    piece: str
    pressed: Pressed
    at: int
    when: datetime

    @classmethod
    def from_dict(cls, sent: Mapping[str, Any]) -> Tap:
        """Take in what a phone sent. Raises StudioError for what is no tap."""
        try:
            when = datetime.fromisoformat(str(sent["when"]))
            tap = cls(str(sent["uid"]), str(sent["piece"]), Pressed(sent["pressed"]), int(sent["at"]), when)
        except (KeyError, TypeError, ValueError, OverflowError) as error:
            raise StudioError("Reload the page and tap again: what was sent is no tap.") from error
        if not 8 <= len(tap.uid) <= _LONGEST_ID or not tap.uid.isprintable() or when.tzinfo is None:
            raise StudioError("Reload the page and tap again: what was sent is no tap.")
        return tap


def pressed(piece: Piece, tap: Tap) -> Piece:
    """Return the piece after a tap; one that it has heard already changes nothing. Raises StudioError."""
    if tap.uid in piece.heard:
        return piece
    if tap.pressed is Pressed.COUNT:
        after = piece.count(tap.at, _moment(piece, tap))
    else:
        after = piece.gone_on(tap.at) if tap.pressed is Pressed.GO_ON else piece.undone()
    return replace(after, heard=(*piece.heard, tap.uid)[-REMEMBERED:])


def _moment(piece: Piece, tap: Tap) -> str:
    """Return when a pass was counted: as the phone says, but not ahead of us, nor before the pass that came before.

    A phone's clock may be wrong; one that is a day behind is not believed.
    """
    now = datetime.now(UTC)
    when = min(tap.when.astimezone(UTC), now)
    if when < now - timedelta(days=1):
        when = now
    if piece.counted_at:
        when = max(when, datetime.fromisoformat(piece.counted_at))
    return when.isoformat(timespec="microseconds")
