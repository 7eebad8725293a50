"""What a studio's database holds, told table by table in a few digits: two places can be compared by content."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from matcher.dates import in_utc
from matcher.storage.copy import rows_of, tables


@dataclass(frozen=True)
class TableContents:
    """The rows of a table, in any order: how many there are, and the sum of their hashes."""

    rows: int = 0
    digest: int = 0

    def with_row(self, values: Mapping[str, Any]) -> TableContents:
        text = json.dumps(values, sort_keys=True, default=_plain)
        hashed = int.from_bytes(hashlib.sha256(text.encode()).digest(), "big")
        return TableContents(self.rows + 1, (self.digest + hashed) % 2**256)


def contents_of(session: Session) -> dict[str, TableContents]:
    """Return what every table holds, in one state of the log. Raises StudioError for a row that cannot be read."""
    found = {}
    for table in tables():
        held = TableContents()
        for rows in rows_of(session, table):
            for row in rows:
                held = held.with_row(row)
        found[table.name] = held
    return found


def differing(one: Mapping[str, TableContents], other: Mapping[str, TableContents]) -> tuple[str, ...]:
    """Return the names of the tables that hold something else in two places."""
    return tuple(name for name in sorted({*one, *other}) if one.get(name) != other.get(name))


def _plain(value: object) -> str:
    if isinstance(value, datetime):
        return in_utc(value).isoformat(timespec="microseconds")
    if isinstance(value, bytes | memoryview):
        return bytes(value).hex()
    raise TypeError(f"{type(value).__name__} is kept in no table")
