"""The index by which PostgreSQL finds near colours: GiST over cubes, an extension that travels with the server."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import array

from matcher.errors import StudioError
from matcher.hands import Work
from matcher.storage.database import Database
from matcher.storage.schema import PlateColourRow

NAME = "ix_plate_colours_near"
POINT: sa.ColumnElement[object] = sa.func.cube(
    array([PlateColourRow.near_l, PlateColourRow.near_a, PlateColourRow.near_b])
)
_NOT_THERE = (
    "Every colour is looked at for this list, which takes longer in a long log: let whoever runs the database server "
    "make the extension “cube” in it (CREATE EXTENSION cube)."
)


@dataclass(frozen=True)
class NoIndex:
    """Why a log has no index of colours, as a sentence that says what to do; "" where it has one."""

    why: str = ""


def colour_index(database: Database) -> NoIndex:
    """Make the index where it is not there yet; on a long log that takes a minute, once."""
    with database.reading() as session:
        if _is_there(session.connection()):
            return NoIndex()
    try:
        with database.writing(Work.OWN) as session:
            connection = session.connection()
            if not _is_there(connection):
                connection.execute(sa.text("CREATE EXTENSION IF NOT EXISTS cube"))
                of = "cube(ARRAY[near_l, near_a, near_b])"
                connection.execute(sa.text(f"CREATE INDEX {NAME} ON plate_colours USING gist ({of})"))
    except StudioError:
        return NoIndex(_NOT_THERE)
    return NoIndex()


def _is_there(connection: sa.Connection) -> bool:
    return connection.execute(sa.select(sa.func.to_regclass(NAME))).scalar() is not None
