"""The photographs of a studio on a server: kept in its database, in the reach of every bench that opens it.

The folder of `photos` becomes a cache: what lies there was checked by its hash on the way in, what a machine lacks it
fetches, and anyone may empty it. In the database a photograph is cut in pieces, kept in one transaction with its row.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import insert
from sqlalchemy.orm import Session

from matcher.errors import StudioError
from matcher.hands import Work
from matcher.storage.database import Database
from matcher.storage.photos import KeptPhoto, LostPhotoError, PhotoStore, WrongBytesError, photo_values
from matcher.storage.schema import PhotoChunkRow, PhotoRow

CHUNK_BYTES = 1024**2


def photos_of(database: Database) -> PhotoStore:
    """Return the photographs of a studio, wherever it keeps them."""
    return PhotoStore(database.photo_folder) if database.is_sqlite else SharedPhotos(database)


class SharedPhotos(PhotoStore):
    """Photographs in a server's ``database``, with copies in this machine's folder."""

    def __init__(self, database: Database) -> None:
        super().__init__(database.photo_folder)
        self._database = database
        self._there: set[str] = set()

    def keep_stream(self, stream: IO[bytes], name: str, expected: str | None = None) -> KeptPhoto:
        kept = super().keep_stream(stream, name, expected)
        self._put_there(kept, name, Work.NOTE)
        return kept

    def path(self, sha256: str) -> Path:
        """Return where a photograph lies on this machine, fetched when it did not. Raises StudioError."""
        found = self._find(sha256)
        if found is None or not self._is_sound(found):
            found = self._fetch(sha256)
        return found

    def has(self, sha256: str) -> bool:
        self._find(sha256)  # says so where it is no SHA-256
        if sha256 not in self._there:
            with self._database.reading() as session:
                if not _chunk_count(session, sha256):
                    return False
            self._there.add(sha256)
        return True

    def kept(self) -> set[str]:
        with self._database.reading() as session:
            return set(session.scalars(sa.select(PhotoRow.sha256).where(PhotoRow.chunk_count > 0)))

    def take_in(self) -> int:
        """Take in what was kept in this machine's folder before the database kept photographs; return how many."""
        wanted = sa.select(PhotoRow.sha256, PhotoRow.suffix, PhotoRow.name, PhotoRow.size_bytes)
        with self._database.reading() as session:
            rows = session.execute(wanted.where(PhotoRow.chunk_count == 0)).all()
        found = [row for row in rows if (file := self._find(row.sha256)) is not None and self._is_sound(file)]
        for row in found:
            self._put_there(KeptPhoto(row.sha256, row.suffix, row.size_bytes), row.name, Work.OWN)
        return len(found)

    def wrong(self) -> list[str]:
        """Return the SHA-256s of photographs whose bytes in the database are others; the server adds them up."""
        with self._database.reading() as session:
            return wrong_in(session)

    def _put_there(self, kept: KeptPhoto, name: str, work: Work) -> None:
        """Put a photograph from this machine's folder into the database, unless it is there."""
        file = self._find(kept.sha256)
        assert file is not None
        with self._database.adding(work) as session:
            row = insert(PhotoRow).values(photo_values(kept, name))
            session.execute(row.on_conflict_do_nothing())  # waits for whoever keeps the same one at this moment
            if _chunk_count(session, kept.sha256, lock=True):
                if _is_sound_there(session, kept.sha256):
                    return
                session.execute(sa.delete(PhotoChunkRow).where(PhotoChunkRow.sha256 == kept.sha256))
            put_pieces_in(session, kept.sha256, file)

    def _fetch(self, sha256: str) -> Path:
        """Copy a photograph from the database into the folder; return where it lies. Raises StudioError."""
        with self._database.reading() as session:
            count = _chunk_count(session, sha256)
            if not count:
                raise LostPhotoError(
                    f"The photograph {sha256[:12]}… is not in the database {self._database.name}: open the studio on "
                    "the machine where it was kept, or restore it from a backup."
                )
            name = session.scalars(sa.select(PhotoRow.name).where(PhotoRow.sha256 == sha256)).one()
            try:
                with io.BufferedReader(_Pieces(session, sha256, count), CHUNK_BYTES) as stream:
                    self._put_here(stream, name, expected=sha256)
            except WrongBytesError as error:
                raise WrongBytesError(
                    f"The photograph {sha256[:12]}… is damaged in the database {self._database.name}, its bytes are "
                    "no longer those that were kept: restore it from a backup, or keep it again."
                ) from error
        found = self._find(sha256)
        assert found is not None
        return found


def put_pieces_in(session: Session, sha256: str, file: Path) -> None:
    """Put the bytes of a photograph that is noted into a server's database, within an open transaction."""
    digest, count = hashlib.sha256(), 0
    for count, piece in enumerate(_pieces_of(file), start=1):
        digest.update(piece)
        session.execute(sa.insert(PhotoChunkRow), [{"sha256": sha256, "position": count - 1, "data": piece}])
    if digest.hexdigest() != sha256:
        raise StudioError(f"{file} changed while it was kept: keep the photograph again.")
    session.execute(sa.update(PhotoRow).where(PhotoRow.sha256 == sha256).values(chunk_count=count))


def wrong_in(session: Session) -> list[str]:
    """Return the SHA-256s of photographs whose bytes in a server's database are others by now."""
    some = sa.select(PhotoRow.sha256).where(PhotoRow.chunk_count > 0).order_by(PhotoRow.sha256)
    return [sha256 for sha256 in session.scalars(some).all() if not _is_sound_there(session, sha256)]


class _Pieces(io.RawIOBase):
    """The bytes of a photograph in the database, read piece by piece."""

    def __init__(self, session: Session, sha256: str, count: int) -> None:
        self._pieces = (_piece(session, sha256, position) for position in range(count))
        self._rest = b""

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        self._rest = self._rest or next(self._pieces, b"")
        some, self._rest = self._rest[: len(buffer)], self._rest[len(buffer) :]
        buffer[: len(some)] = some
        return len(some)


def _piece(session: Session, sha256: str, position: int) -> bytes:
    """Return one piece; nothing where it is lacking, which the hash will tell."""
    driver: Any = session.connection().connection.dbapi_connection
    with driver.cursor(binary=True) as cursor:  # as it is, not twice as long as text
        query = "SELECT data FROM photo_chunks WHERE sha256 = %s AND position = %s"
        found = cursor.execute(query, (sha256, position)).fetchone()
    return bytes(found[0]) if found else b""


def _pieces_of(file: Path) -> Iterator[bytes]:
    with file.open("rb") as stream:
        while piece := stream.read(CHUNK_BYTES):
            yield piece


def _chunk_count(session: Session, sha256: str, lock: bool = False) -> int:
    query = sa.select(PhotoRow.chunk_count).where(PhotoRow.sha256 == sha256)
    return session.scalars(query.with_for_update() if lock else query).first() or 0


def _is_sound_there(session: Session, sha256: str) -> bool:
    """Tell whether the pieces of a photograph have its hash; the server works it out, and sends none of them."""
    added_up = sa.text(
        "SELECT encode(sha256(string_agg(data, ''::bytea ORDER BY position)), 'hex') "
        "FROM photo_chunks WHERE sha256 = :sha256"
    )
    return bool(session.execute(added_up, {"sha256": sha256}).scalar_one() == sha256)
