"""Half-typed forms: kept as they stand, so that a reload or a crash loses nothing that was typed."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from matcher.errors import StudioError
from matcher.trials import rows
from matcher.trials.database import Database
from matcher.trials.schema import DraftRow

MAX_DRAFT_CHARACTERS = 4_000_000


class Drafts:
    """The drafts of one studio, one for each form."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def draft(self, form: str) -> dict[str, Any] | None:
        """Return what was saved of a form, or None."""
        with self.database.reading() as session:
            row = session.get(DraftRow, rows.line(form, "form's name", required=True))
            return None if row is None else dict(row.body)

    def save(self, form: str, body: dict[str, Any]) -> None:
        """Keep a form as it stands, over what was kept of it before. Raises StudioError when it is not plain JSON."""
        name = rows.line(form, "form's name", required=True)
        plain = _plain(body)
        with self.database.writing() as session:
            session.merge(DraftRow(form=name, body=plain, saved_at=datetime.now(UTC)))

    def drop(self, form: str) -> None:
        """Forget what was kept of a form; nothing kept is no error."""
        with self.database.writing() as session:
            session.execute(sa.delete(DraftRow).where(DraftRow.form == rows.line(form, "form's name", required=True)))


def _plain(body: dict[str, Any]) -> dict[str, Any]:
    if not isinstance(body, dict):
        raise StudioError(f"Keep a draft as one dictionary: {type(body).__name__} is another thing.")
    try:
        text = json.dumps(body, allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
        raise StudioError(f"Keep only text, numbers, lists and dictionaries in a draft: {error}.") from error
    if len(text) > MAX_DRAFT_CHARACTERS:
        raise StudioError(
            f"Shorten the form: a draft holds {MAX_DRAFT_CHARACTERS} characters and this has {len(text)}."
        )
    plain: dict[str, Any] = _storable(json.loads(text))
    return plain


def _storable(value: Any) -> Any:
    if isinstance(value, str):
        return rows.storable(value, "text", MAX_DRAFT_CHARACTERS)
    if isinstance(value, list):
        return [_storable(item) for item in value]
    if isinstance(value, dict):
        return {_storable(name): _storable(item) for name, item in value.items()}
    return value
