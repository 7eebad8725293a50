"""The shelf of pieces on the bench: any number at once, each kept in the studio's database as soon as it changes.

A change is made on what is kept, while nobody else changes it: two screens that count at once both count.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.bench.taps import Tap, pressed
from matcher.bench.work import Piece
from matcher.errors import StudioError
from matcher.hands import Work, own
from matcher.recipe.recipe import need_all_noted
from matcher.storage import checked
from matcher.storage.damaged import load_readable
from matcher.storage.database import Database
from matcher.storage.drafts import Drafts, load_kept
from matcher.storage.schema import DraftRow

PIECE = "bench piece "
READING = "bench reading "
_PIECES = DraftRow.form.startswith(PIECE, autoescape=True)
_GONE = "This piece is no longer on the bench: it was recorded, or taken off on another screen."


class Shelf:
    """The pieces on the bench of one studio."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._drafts = Drafts(database)

    def pieces(self) -> list[Piece]:
        """Return every piece on the bench, the one begun first at the head; damaged ones are named, and left out."""
        found = self._database.load("piece on the bench", _load, _PIECES)
        return sorted(found, key=lambda piece: (piece.begun_at, piece.uid))

    def find(self, uid: str | None) -> Piece | None:
        """Return a piece, or None when it is not on the bench."""
        body = None if not uid else self._drafts.draft(_form(uid))
        return None if body is None else Piece.from_dict(body)

    def piece(self, uid: str) -> Piece:
        """Return a piece. Raises StudioError when it is not on the bench."""
        found = self.find(uid)
        if found is None:
            raise StudioError(_GONE)
        return found

    def put(self, piece: Piece) -> Piece:
        """Put a piece on the bench; return it as it is kept. One that is there already stays as it is there.

        Raises RecipeError while its recipe is not all known.
        """
        need_all_noted(piece.recipe, "the bench starts")
        with self._database.writing(Work.NOTE) as session:  # two who put pieces at once give them two numbers
            if session.scalars(sa.select(DraftRow.form).where(DraftRow.form == _form(piece.uid))).first() is None:
                there, _ = load_readable(session, "piece on the bench", _load, _PIECES)
                number = piece.number or max((other.number for other in there), default=0) + 1
                kept = _storable(replace(piece, begun_at=piece.begun_at or now(), number=number))
                body = checked.plain_json(kept.as_dict(), "piece")
                session.add(DraftRow(form=_form(piece.uid), body=body, saved_at=datetime.now(UTC)))
        return self.piece(piece.uid)

    def change(self, uid: str, change: Callable[[Piece], Piece]) -> Piece:
        """Keep what ``change`` makes of a piece as it stands now. Raises StudioError when it is gone."""
        made: list[Piece] = []

        def changed(body: dict[str, object] | None) -> dict[str, object]:
            if body is None:
                raise StudioError(_GONE)
            made.append(_storable(change(Piece.from_dict(body))))
            return made[-1].as_dict()

        self._drafts.change(_form(uid), changed, Work.NOTE)
        return made[-1]

    def tap(self, tap: Tap) -> Piece:
        """Take in a tap, once however often it comes. Raises StudioError, also when the piece is gone."""
        return self.change(tap.piece, lambda piece: pressed(piece, tap))

    def take_off(self, uid: str, seen: Piece | None = None) -> None:
        """Take a piece off the bench, with the reading of it that is half taken; none there is no error.

        seen: the piece as it was seen. Raises StudioError when it was worked on meanwhile; then it stays.
        """

        def gone(body: dict[str, Any] | None) -> None:
            if body is not None and seen is not None and Piece.from_dict(body).as_dict() != seen.as_dict():
                raise StudioError("Look at the piece again before you take it off: it was worked on meanwhile.")

        if seen is None:
            self._drafts.drop(_form(uid), Work.NOTE)
        else:
            self._drafts.change(_form(uid), gone, Work.NOTE)
        self._drafts.drop(own(READING + uid))


def _load(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[Piece]:
    return [Piece.from_dict(kept.body) for kept in load_kept(session, which)]


def _storable(piece: Piece) -> Piece:
    """Return a piece whose mark can be kept, and logged. Raises StudioError."""
    return replace(piece, name=checked.line(piece.name, "mark on the plate"))


def new_uid() -> str:
    return checked.new_uid()[:12]


def now() -> str:
    """Return this moment as pieces keep it."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def _form(uid: str) -> str:
    return PIECE + uid
