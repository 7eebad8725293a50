"""Devices that are signed in: each shows a secret that only it has, until its person or time signs it out.

The secret has 256 bits and is kept as its SHA-256 alone, so that who reads the database cannot sign in with it.
OWASP Session Management Cheat Sheet: a new secret at each sign-in, an end when idle and an end in any case.
"""

from __future__ import annotations

import hashlib
import secrets
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.access.people import key_of, one_person, own_or_run, person_of, void_codes
from matcher.errors import UnavailableError
from matcher.hands import Hand, Work
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import DeviceRow, PersonRow


class How(StrEnum):
    """How a device was signed in."""

    PASSPHRASE = "passphrase"
    CODE = "code"
    OPENID = "openid"


IDLE = {How.PASSPHRASE: timedelta(hours=12), How.CODE: timedelta(days=7), How.OPENID: timedelta(hours=12)}
"""How long a device stays signed in that nobody uses: a working day, a week for a phone that was paired."""
LONGEST = {How.PASSPHRASE: timedelta(days=30), How.CODE: timedelta(days=90), How.OPENID: timedelta(days=30)}
"""How long it stays signed in at most."""
_SEEN_EVERY = timedelta(minutes=2)  # a write of the time when it was last seen, no oftener


@dataclass(frozen=True)
class Device:
    """A device that is, or was, signed in."""

    uid: str
    person_uid: str
    person: str
    name: str
    how: How
    made_at: datetime
    seen_at: datetime
    signed_out_at: datetime | None

    def is_signed_in(self, now: datetime | None = None) -> bool:
        """Tell whether it still is: nobody has signed it out, and neither end has come."""
        moment = now or datetime.now(UTC)
        if self.signed_out_at is not None:
            return False
        return moment < self.seen_at + IDLE[self.how] and moment < self.made_at + LONGEST[self.how]


@dataclass(frozen=True)
class SignedIn:
    """A device and whose hand it is."""

    device: Device
    hand: Hand


class Devices:
    """The devices of one studio's people."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def begin(self, person_uid: str, how: How, name: str) -> str:
        """Sign a device in; return the secret that it shows from now on. Raises StudioError."""
        with self.database.writing(Work.OWN) as session:
            return begin_in(session, one_person(session, person_uid), how, name)

    def signed_in(self, secret: str | None) -> SignedIn | None:
        """Return the device that shows a secret, and whose it is; None for one that is not signed in."""
        if not secret:
            return None
        with self.database.reading() as session:
            query = sa.select(DeviceRow, PersonRow).join(PersonRow, DeviceRow.person_id == PersonRow.id)
            found = session.execute(query.where(DeviceRow.secret_sha256 == digest(secret))).one_or_none()
            if found is None or found[1].left_at is not None:
                return None
            known = SignedIn(_device(*found), person_of(found[1]).hand)
        now = datetime.now(UTC)
        if not known.device.is_signed_in(now):
            return None
        if now - known.device.seen_at > _SEEN_EVERY:
            self._seen(known.device.uid, now)
        return known

    def known(self, secret: str | None, name: str | None = None) -> str | None:
        """Return the uid of a device that was signed in by a secret, though its time may have ended, else None.

        name: whose it must be. None too where somebody signed it out, or its person has left.
        """
        if not secret:
            return None
        query = sa.select(DeviceRow.uid).join(PersonRow, DeviceRow.person_id == PersonRow.id)
        query = query.where(DeviceRow.secret_sha256 == digest(secret), DeviceRow.signed_out_at.is_(None))
        query = query.where(PersonRow.left_at.is_(None))
        if name is not None:
            query = query.where(PersonRow.key == key_of(name))
        with self.database.reading() as session:
            return session.scalars(query).one_or_none()

    def devices(self, person_uid: str | None = None) -> list[Device]:
        """Return the devices that are signed in, of one person or of all, the one seen last at the head."""
        query = sa.select(DeviceRow, PersonRow).join(PersonRow, DeviceRow.person_id == PersonRow.id)
        if person_uid is not None:
            query = query.where(PersonRow.uid == person_uid)
        with self.database.reading() as session:
            found = session.execute(query.where(DeviceRow.signed_out_at.is_(None)).order_by(DeviceRow.seen_at.desc()))
            return [device for row in found if (device := _device(*row)).is_signed_in()]

    def sign_out(self, device_uid: str) -> None:
        """Sign a device out; one that is out already is no error. Raises StudioError when it is another person's."""
        with self.database.reading() as session:
            query = sa.select(PersonRow.uid).join(DeviceRow, DeviceRow.person_id == PersonRow.id)
            whose = session.scalars(query.where(DeviceRow.uid == device_uid)).one_or_none()
        if whose is None:
            return
        with self.database.writing(own_or_run(whose)) as session:
            out = sa.update(DeviceRow).where(DeviceRow.uid == device_uid, DeviceRow.signed_out_at.is_(None))
            session.execute(out.values(signed_out_at=datetime.now(UTC)))

    def sign_out_everywhere(self, person_uid: str, keep: str = "") -> int:
        """Sign all devices of a person out, but the one whose uid is ``keep``; return how many. Raises StudioError.

        Those whose time has ended are no longer known either (``known``), and not counted. Codes that wait go too.
        """
        with self.database.writing(own_or_run(person_uid)) as session:
            row = session.scalars(sa.select(PersonRow).where(PersonRow.uid == person_uid)).one_or_none()
            if row is None:
                return 0
            void_codes(session, row.id)
            theirs = sa.select(DeviceRow, PersonRow).join(PersonRow).where(DeviceRow.person_id == row.id)
            there = [device for device in (_device(*one) for one in session.execute(theirs)) if device.is_signed_in()]
            out = sa.update(DeviceRow).where(DeviceRow.person_id == row.id, DeviceRow.signed_out_at.is_(None))
            session.execute(out.where(DeviceRow.uid != keep).values(signed_out_at=datetime.now(UTC)))
            return sum(device.uid != keep for device in there)

    def _seen(self, uid: str, now: datetime) -> None:
        """Note when a device was seen; a studio that can only be looked at shuts nobody out for it."""
        with suppress(UnavailableError), self.database.writing(Work.OWN) as session:
            session.execute(sa.update(DeviceRow).where(DeviceRow.uid == uid).values(seen_at=now))


def begin_in(session: Session, row: PersonRow, how: How, name: str) -> str:
    """Sign a device in within an open transaction; return its secret."""
    secret, now = secrets.token_urlsafe(32), datetime.now(UTC)
    device = DeviceRow(
        uid=checked.new_uid(),
        person_id=row.id,
        secret_sha256=digest(secret),
        name=checked.line(name, "name of the device", longest=120),
        how=str(how),
        made_at=now,
        seen_at=now,
        signed_out_at=None,
    )
    session.add(device)
    session.flush()
    return secret


def digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def _device(row: DeviceRow, person: PersonRow) -> Device:
    return Device(row.uid, person.uid, person.name, row.name, How(row.how), row.made_at, row.seen_at, row.signed_out_at)
