"""Moves a studio to another place: from a folder to a server's database, from there to a folder; all of it, checked.

The new place gets everything in one step or nothing: a server's database in one transaction, a folder under another
name until it is whole. The old place stays as it was; it is only marked, so that nothing more is written there.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.errors import StudioError
from matcher.files import whole_folder
from matcher.hands import Work
from matcher.storage.copy import copy_rows
from matcher.storage.database import PHOTO_FOLDER, Database
from matcher.storage.photos import LostPhotoError, PhotoStore, WrongBytesError
from matcher.storage.schema import PhotoRow, StudioRow
from matcher.storage.shared_photos import put_pieces_in, wrong_in
from matcher.studio import Studio
from matcher.studio.keeping.contents import TableContents, contents_of, differing
from matcher.words import counted


@dataclass(frozen=True)
class Moved:
    """What was moved, once both places were compared. rows: by table. photos: how many photographs.

    lacking: SHA-256s of photographs that the old place has lost or that are damaged there, and were not moved.
    """

    to: str
    rows: dict[str, int]
    photos: int
    lacking: tuple[str, ...] = ()


def move(studio: Studio, to: str | Path) -> Moved:
    """Move an open studio to an empty folder or an empty database, and mark the old place.

    Numbers, uids, history, half-typed forms and people stay as they are. Raises StudioError when the new place is not
    empty, and when both do not hold the same in the end; then nothing was moved. Nobody else writes meanwhile.
    """
    if str(to).startswith("sqlite"):
        raise StudioError("Name a folder to move the studio into, or a PostgreSQL database.")
    with studio.database.writing(Work.RUN) as old:
        studio.database.alone_adding(old)
        if Database.is_there(to):
            moved = _moved_before(studio, to)
        else:
            with studio.database.reading() as source:
                moved = (_into_database if "://" in str(to) else _into_folder)(studio, source, to)
        old.execute(sa.update(StudioRow).values(moved_to=moved.to))
    return moved


def _moved_before(studio: Studio, to: str | Path) -> Moved:
    """Return what was moved when this was begun before and stopped just before its end. Raises StudioError."""
    with Studio.open(to) as there, studio.database.reading() as old, there.database.reading() as new:
        same = there.uid == studio.uid and there.moved_to is None and there.database.engine.url != _url(studio)
        if not same or differing(contents_of(old), contents_of(new)) or studio.photos.kept() - there.photos.kept():
            raise StudioError(
                f"{there.name} holds a studio already: name an empty folder, or an empty database, to move this one to."
            )
        return Moved(there.name, _counts(contents_of(new)), len(there.photos.kept()))


def _url(studio: Studio) -> sa.URL:
    return studio.database.engine.url


def _into_database(studio: Studio, source: Session, to: str | Path) -> Moved:
    with Database.made(to) as (database, session):
        copy_rows(source, session)
        photos, lacking = 0, []
        for sha256 in source.scalars(sa.select(PhotoRow.sha256).order_by(PhotoRow.sha256)).all():
            path = _sound(studio.photos, sha256)
            if path is None:
                lacking.append(sha256)
                continue
            put_pieces_in(session, sha256, path)
            photos += 1
        wrong = wrong_in(session)
        if wrong:
            came = f"{counted(len(wrong), 'photograph')} came to {database.name} damaged"
            raise StudioError(f"{came}: try again; nothing was moved.")
        held = _compared(source, session)
        return Moved(database.name, _counts(held), photos, tuple(lacking))


def _into_folder(studio: Studio, source: Session, to: str | Path) -> Moved:
    folder = Path(to).expanduser().absolute()
    with whole_folder(folder, "Move the studio into") as draft:
        with Database.made(draft) as (_, session):
            copy_rows(source, session)
        store, photos, lacking = PhotoStore(draft / PHOTO_FOLDER), 0, []
        for sha256 in source.scalars(sa.select(PhotoRow.sha256).order_by(PhotoRow.sha256)).all():
            path = _sound(studio.photos, sha256)
            if path is None:
                lacking.append(sha256)
                continue
            with path.open("rb") as stream:
                store.keep_stream(stream, path.name, expected=sha256)
            PhotoStore(store.folder).path(sha256)  # read back from the disk, by its hash
            photos += 1
        made = Database.open(draft)
        try:
            with made.reading() as session:
                held = _compared(source, session)
        finally:
            made.close()
    return Moved(str(folder), _counts(held), photos, tuple(lacking))


def _sound(photos: PhotoStore, sha256: str) -> Path | None:
    """Return where a photograph lies, None where it is lost or damaged."""
    try:
        return photos.path(sha256)
    except (LostPhotoError, WrongBytesError):
        return None


def _compared(old: Session, new: Session) -> dict[str, TableContents]:
    """Return what both places hold. Raises StudioError where they differ."""
    held = contents_of(new)
    unlike = differing(contents_of(old), held)
    if unlike:
        raise StudioError(f"The new place came to hold something else in {', '.join(unlike)}: nothing was moved.")
    return held


def _counts(held: dict[str, TableContents]) -> dict[str, int]:
    return {name: one.rows for name, one in held.items()}
