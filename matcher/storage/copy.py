"""A SQLite file as a whole: copied as it stands while others may write to it; made safe to open when it came in."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

BUSY_TIMEOUT_S = 20.0


def copy_sqlite(source: Path, destination: Path) -> None:
    """Copy a SQLite database as it stands at one moment, while others may write to it."""
    with closing(sqlite3.connect(source, timeout=BUSY_TIMEOUT_S)) as old, closing(sqlite3.connect(destination)) as new:
        old.backup(new)
        new.execute("PRAGMA journal_mode = DELETE")  # one file that can be carried anywhere


def without_what_runs(file: Path) -> tuple[str, ...]:
    """Drop the triggers, views and virtual tables of a SQLite file and return their names: no studio has any.

    A trigger would change what is logged later on, a view stand in for a table. Raises sqlite3.DatabaseError.
    """
    with closing(sqlite3.connect(file, isolation_level=None)) as connection:
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("BEGIN IMMEDIATE")
        found = connection.execute(
            "SELECT type, name FROM sqlite_master WHERE type IN ('trigger', 'view') "
            "OR (type = 'table' AND sql LIKE 'CREATE VIRTUAL%') ORDER BY type = 'table', type, name"
        ).fetchall()
        for kind, name in found:
            quoted = '"' + name.replace('"', '""') + '"'
            connection.execute(f"DROP {kind} IF EXISTS {quoted}")  # a view's own triggers go with it
        connection.execute("COMMIT")
    return tuple(name for _, name in found)
