"""A studio's database as a whole: a SQLite file copied while others write, or made safe to open when it came in; and
every row of one database put into another."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import exc
from sqlalchemy.orm import Session

from matcher.errors import StudioError
from matcher.storage.schema import PhotoChunkRow, PhotoRow, StudioRow, Table

BUSY_TIMEOUT_S = 20.0
_AT_ONCE = 500
_OF_THE_PLACE = frozenset({(PhotoRow.__tablename__, "chunk_count"), (StudioRow.__tablename__, "moved_to")})
"""Columns that say where a studio lies and nothing of what is in it."""


def copy_sqlite(source: Path, destination: Path) -> None:
    """Copy a SQLite database as it stands at one moment, while others may write to it."""
    with closing(sqlite3.connect(source, timeout=BUSY_TIMEOUT_S)) as old, closing(sqlite3.connect(destination)) as new:
        old.backup(new)
        new.execute("PRAGMA journal_mode = DELETE")  # one file that can be carried anywhere


def fault_of(file: Path) -> str:
    """Return the first thing that SQLite finds wrong with a database's file; "" when all is well."""
    try:
        with closing(sqlite3.connect(file)) as connection:
            found = str(connection.execute("PRAGMA integrity_check(1)").fetchone()[0])
    except sqlite3.DatabaseError as error:
        return str(error)
    return "" if found == "ok" else found


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


def tables() -> list[sa.Table]:
    """Return the tables that a studio's contents lie in, those that others name before them.

    Photographs' pieces are not among them: where they lie differs, and each is known by its own hash.
    """
    return [table for table in Table.metadata.sorted_tables if table is not PhotoChunkRow.__table__]


def rows_of(session: Session, table: sa.Table) -> Iterator[list[dict[str, Any]]]:
    """Yield the rows of a table, some at a time, by its key. Raises StudioError for one that cannot be read."""
    columns = [column for column in table.columns if (table.name, column.name) not in _OF_THE_PLACE]
    query = sa.select(*columns).order_by(*table.primary_key.columns)
    try:
        found = session.execute(query, execution_options={"yield_per": _AT_ONCE}).mappings()
        for some in found.partitions():
            yield [dict(row) for row in some]
    except exc.SQLAlchemyError:
        raise  # the database itself is told of elsewhere
    except (ValueError, TypeError, LookupError, RecursionError) as error:
        raise StudioError(
            f"A row of the table {table.name} is damaged and cannot be read: set it right with an older backup first."
        ) from error


def copy_rows(source: Session, session: Session) -> None:
    """Put every row of one studio's database into the empty tables of another, as it is."""
    for table in tables():
        for rows in rows_of(source, table):
            session.execute(sa.insert(table), rows)
        _count_on(session, table)


def _count_on(session: Session, table: sa.Table) -> None:
    """Let a server give the numbers after those that are taken."""
    column = table.autoincrement_column
    if column is None or session.connection().dialect.name != "postgresql":
        return
    sequence = sa.func.pg_get_serial_sequence(table.name, column.name)
    last = sa.select(sa.func.max(column)).scalar_subquery()
    session.execute(sa.select(sa.func.setval(sequence, sa.func.coalesce(last, 1), last.is_not(None))))
