"""Half-typed forms: kept as they stand, so that a reload or a crash loses nothing that was typed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.hands import Work
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import DraftRow


@dataclass(frozen=True)
class Kept:
    """What is kept of one form, and since when."""

    form: str
    body: dict[str, Any]
    saved_at: datetime


class Drafts:
    """The drafts of one studio, one for each form."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def draft(self, form: str) -> dict[str, Any] | None:
        """Return what was saved of a form, or None."""
        with self.database.reading() as session:
            row = session.get(DraftRow, checked.line(form, "form's name", required=True))
            return None if row is None else dict(row.body)

    def save(self, form: str, body: dict[str, Any], work: Work = Work.OWN) -> None:
        """Keep a form as it stands, over what was kept of it before. Raises StudioError when it is not plain JSON."""
        name = checked.line(form, "form's name", required=True)
        plain = checked.plain_json(body, "draft")
        with self.database.writing(work) as session:
            session.execute(sa.delete(DraftRow).where(DraftRow.form == name))  # unread: it may be damaged
            session.execute(sa.insert(DraftRow).values(form=name, body=plain, saved_at=datetime.now(UTC)))

    def change(
        self, form: str, change: Callable[[dict[str, Any] | None], dict[str, Any] | None], work: Work = Work.OWN
    ) -> None:
        """Put what ``change`` makes of a form in its place, None for nothing; nobody else changes it meanwhile."""
        name = checked.line(form, "form's name", required=True)
        with self.database.writing(work) as session:
            row = session.get(DraftRow, name)
            made = change(None if row is None else dict(row.body))
            if row is not None and made == row.body:
                return
            plain = None if made is None else checked.plain_json(made, "draft")
            session.execute(sa.delete(DraftRow).where(DraftRow.form == name))
            if plain is not None:
                session.execute(sa.insert(DraftRow).values(form=name, body=plain, saved_at=datetime.now(UTC)))

    def kept(self, beginning: str) -> list[Kept]:
        """Return all forms whose name begins so, the one saved last at the end; damaged ones are left out."""
        which = DraftRow.form.startswith(beginning, autoescape=True)
        found = self.database.load("half-typed form", load_kept, which)
        return sorted(found, key=lambda one: (one.saved_at, one.form))

    def drop(self, form: str, work: Work = Work.OWN) -> None:
        """Forget what was kept of a form; nothing kept is no error."""
        with self.database.writing(work) as session:
            session.execute(
                sa.delete(DraftRow).where(DraftRow.form == checked.line(form, "form's name", required=True))
            )


def load_kept(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[Kept]:
    """Return the forms for which ``which`` holds."""
    query = sa.select(DraftRow)
    found = session.scalars(query if which is None else query.where(which))
    return [Kept(row.form, dict(row.body), row.saved_at) for row in found]
