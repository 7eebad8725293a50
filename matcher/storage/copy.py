"""A SQLite file copied as it stands, while others may be writing to it."""

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
