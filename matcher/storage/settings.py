"""What a studio says of itself: its title, and whether it is a demo with invented trials."""

from __future__ import annotations

import sqlalchemy as sa

from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import StudioRow


class Settings:
    """The settings of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    @property
    def title(self) -> str:
        return self._row().title

    @title.setter
    def title(self, text: str) -> None:
        self._update(title=checked.line(text, "studio's title"))

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

    def _row(self) -> StudioRow:
        with self.database.reading() as session:
            return session.scalars(sa.select(StudioRow)).one()

    def _update(self, **values: object) -> None:
        with self.database.writing() as session:
            session.execute(sa.update(StudioRow).values(**values))
