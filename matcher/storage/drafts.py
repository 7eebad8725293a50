"""Half-typed forms: kept as they stand, so that a reload or a crash loses nothing that was typed."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import DraftRow


class Drafts:
    """The drafts of one studio, one for each form."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def draft(self, form: str) -> dict[str, Any] | None:
        """Return what was saved of a form, or None."""
        with self.database.reading() as session:
            row = session.get(DraftRow, checked.line(form, "form's name", required=True))
            return None if row is None else dict(row.body)

    def save(self, form: str, body: dict[str, Any]) -> None:
        """Keep a form as it stands, over what was kept of it before. Raises StudioError when it is not plain JSON."""
        name = checked.line(form, "form's name", required=True)
        plain = checked.plain_json(body, "draft")
        with self.database.writing() as session:
            session.execute(sa.delete(DraftRow).where(DraftRow.form == name))  # unread: it may be damaged
            session.execute(sa.insert(DraftRow).values(form=name, body=plain, saved_at=datetime.now(UTC)))

    def drop(self, form: str) -> None:
        """Forget what was kept of a form; nothing kept is no error."""
        with self.database.writing() as session:
            session.execute(
                sa.delete(DraftRow).where(DraftRow.form == checked.line(form, "form's name", required=True))
            )
