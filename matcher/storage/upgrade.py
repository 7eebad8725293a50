"""Brings a studio made by an older version up to date: a copy beside it first, then the Alembic migrations.

Only `database` calls this, and only when the schema is not the newest: importing Alembic takes a quarter second.
There are no downgrades: the copy is the way back.
"""

from __future__ import annotations

import sqlite3
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy.orm import Session

from matcher.errors import StudioError
from matcher.storage import schema
from matcher.storage.copy import copy_sqlite
from matcher.storage.schema import schema_version


class Migratable(Protocol):
    """What an upgrade needs of an open database: its name, its file if it has one, and a session to migrate in."""

    @property
    def name(self) -> str: ...

    @property
    def file(self) -> Path | None: ...

    def migrating(self) -> AbstractContextManager[Session]: ...

    def need_to_be_alone(self, connection: sa.Connection) -> None: ...


def migrations() -> Config:
    """Return Alembic's configuration for the migrations that travel in this package."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def upgrade(database: Migratable) -> None:
    """Migrate ``database`` to the newest schema.

    Raises StudioError when it is newer than we are, or on a server while others have it open.
    """
    config = migrations()
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    with database.migrating() as session:  # a second process waits here, and then finds it done
        version = schema_version(session.connection(), database.name)
        if version == schema.HEAD:
            return
        if version not in known:
            raise StudioError(
                f"The studio {database.name} was made by a newer version (log {version or 'unknown'}, this one knows "
                f"{schema.HEAD}): update this program, then open it again."
            )
        database.need_to_be_alone(session.connection())
        if database.file is not None:
            _copy_beside(database.file, version)
        _run(config, session)


def _copy_beside(file: Path, version: str) -> None:
    """Copy the log as it stands; the copy has its name only when it is whole."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
    copy = file.with_name(f"{file.stem}-before-{schema.HEAD}-was-{version}-{stamp}{file.suffix}")
    half = copy.with_suffix(".half")
    try:
        copy_sqlite(file, half)
        half.replace(copy)
    except (OSError, sqlite3.DatabaseError) as error:
        raise StudioError(f"No copy of {file} could be made before its update: free some room beside it.") from error
    finally:
        half.unlink(missing_ok=True)


def _run(config: Config, session: Session) -> None:
    connection = session.connection()
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
    if connection.dialect.name == "sqlite":
        broken = connection.execute(sa.text("PRAGMA foreign_key_check")).fetchall()
        if broken:
            raise StudioError(
                f"The update left {len(broken)} broken links and was undone: keep the copy and report it."
            )
