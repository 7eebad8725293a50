"""Whether all of a studio is as it was kept: every row of its log, every photograph by its hash."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.errors import StudioError
from matcher.storage.damaged import Damaged
from matcher.storage.photos import LostPhotoError, PhotoStore, WrongBytesError
from matcher.storage.schema import PhotoRow
from matcher.storage.shared_photos import SharedPhotos
from matcher.studio import Studio
from matcher.studio.keeping.contents import contents_of


@dataclass(frozen=True)
class Checked:
    """What a check found. rows, photos: how many were looked at.

    damaged: things in the log that cannot be read. unreadable: a sentence for what stopped the database from being
    read through. links: rows that name what is not there. faults: what the database itself says is wrong with its file.
    lost, wrong: SHA-256s of photographs that are nowhere, and whose bytes are no longer those that were kept.
    """

    rows: int
    photos: int
    damaged: tuple[Damaged, ...] = ()
    unreadable: str = ""
    links: int = 0
    faults: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()
    wrong: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        return not (self.damaged or self.unreadable or self.links or self.faults or self.lost or self.wrong)


def check(studio: Studio) -> Checked:
    """Look through all of a studio; nothing is changed. Raises StudioError where it cannot be opened at all."""
    with studio.database.reading() as session:
        faults, links = _of_the_file(session) if studio.database.is_sqlite else ((), 0)
        unreadable, rows = "", 0
        try:
            rows = sum(one.rows for one in contents_of(session).values())
        except (StudioError, sa.exc.DBAPIError) as error:
            unreadable = str(error) if isinstance(error, StudioError) else f"The log cannot be read: {error.orig}."
        noted = session.scalars(sa.select(PhotoRow.sha256).order_by(PhotoRow.sha256)).all()
    lost, wrong = _photographs(studio.photos, noted)
    return Checked(rows, len(noted), _damaged(studio), unreadable, links, faults, lost, wrong)


def _of_the_file(session: Session) -> tuple[tuple[str, ...], int]:
    """Return what SQLite finds wrong with its file, and how many rows name what is not there."""
    try:
        found = session.execute(sa.text("PRAGMA integrity_check(20)")).scalars().all()
        links = session.execute(sa.text("PRAGMA foreign_key_check")).fetchall()
    except sa.exc.DBAPIError as error:
        return (str(error.orig),), 0
    return tuple(str(line) for line in found if line != "ok"), len(links)


def _photographs(photos: PhotoStore, noted: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return those that are lost, and those with wrong bytes."""
    lost, wrong = [], []
    if isinstance(photos, SharedPhotos):
        there = photos.kept()
        return tuple(sha256 for sha256 in noted if sha256 not in there), tuple(photos.wrong())
    store = PhotoStore(photos.folder)  # which has looked at none of them yet
    for sha256 in noted:
        try:
            store.path(sha256)
        except LostPhotoError:
            lost.append(sha256)
        except (WrongBytesError, StudioError):
            wrong.append(sha256)
    return tuple(lost), tuple(wrong)


def _damaged(studio: Studio) -> tuple[Damaged, ...]:
    """Return what of the log cannot be read as what it should be."""
    studio.trials(include_set_aside=True)
    studio.targets(include_set_aside=True)
    studio.stocks()
    studio.own_cards()
    studio.profiles(include_retired=True)
    studio.history()
    studio.shelf.pieces()
    studio.commissions.commissions(include_set_aside=True)
    studio.sightings(count=None)
    return studio.damaged()
