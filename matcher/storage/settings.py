"""What a studio says of itself: its title, whether it is a demo with invented trials, which plates make its board."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.storage import checked
from matcher.storage.damaged import load_readable
from matcher.storage.database import Database
from matcher.storage.drafts import load_kept
from matcher.storage.schema import DraftRow, StudioRow

BOARD = "board of the studio"
"""The form under which it is kept."""
TAGS_PRINTED = "tags that were printed"
"""The form under which it is kept up to which number tags for plates to come were printed."""


class Settings:
    """The settings of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    @property
    def title(self) -> str:
        return self._row().title

    @property
    def is_demo(self) -> bool:
        return self._row().is_demo

    @is_demo.setter
    def is_demo(self, value: bool) -> None:
        self._update(is_demo=bool(value))

    @property
    def uid(self) -> str:
        """What names this studio among all, 32 hex digits; it stays when the title changes."""
        return self._row().uid

    @uid.setter
    def uid(self, value: str) -> None:
        self._update(uid=checked.uid_of(value))

    @property
    def moved_to(self) -> str | None:
        """Where the studio was moved, None where it still is."""
        return self._row().moved_to

    @property
    def board(self) -> tuple[str, ...]:
        """The uids of the plates on the studio's own board, in their order; none where none was chosen."""
        with self.database.reading() as session:
            return board_in(session)

    def _row(self) -> StudioRow:
        with self.database.reading() as session:
            return session.scalars(sa.select(StudioRow)).one()

    def _update(self, **values: object) -> None:
        with self.database.writing() as session:
            session.execute(sa.update(StudioRow).values(**values))


def board_in(session: Session) -> tuple[str, ...]:
    """Return the uids of the plates on the studio's own board; none where what is kept of it can't be read."""
    found, _ = load_readable(session, "half-typed form", load_kept, DraftRow.form == BOARD)
    plates = found[0].body.get("plates") if found else None
    return tuple(map(str, plates)) if isinstance(plates, list) else ()


def keep_board_in(session: Session, uids: Sequence[str]) -> None:
    """Keep which plates make the board, over what was kept before; no plates is no board."""
    session.execute(sa.delete(DraftRow).where(DraftRow.form == BOARD))
    if uids:
        body = {"plates": [checked.uid_of(uid) for uid in uids]}
        session.execute(sa.insert(DraftRow).values(form=BOARD, body=body, saved_at=datetime.now(UTC)))
