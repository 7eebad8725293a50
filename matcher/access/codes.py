"""Codes that sign a device in once: a phone paired by what is on the screen, somebody new, the first owner.

Eight signs of 32, without those that are mistaken for others: 40 bits, good for minutes, used once, and guessing is
slowed by ``attempts``.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.access.devices import How, begin_in
from matcher.access.passphrase import hashed
from matcher.access.people import add_in, is_own, one_person, own_or_run, person_of
from matcher.errors import StudioError
from matcher.hands import Hand, Role, Work
from matcher.storage.database import Database
from matcher.storage.schema import PersonRow, SignInCodeRow
from matcher.trials.log import note

SIGNS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
LENGTH = 8
TO_PAIR, TO_INVITE, TO_BEGIN = timedelta(minutes=10), timedelta(days=3), timedelta(hours=1)
"""How long a code is good for: to pair a phone, to let somebody new in, to make the first owner."""
NOT_GOOD = "This code is not good (any more): it is used once and for a short time. Ask for a new one."


@dataclass(frozen=True)
class Code:
    """A code as it is shown: ``text`` in two groups of four."""

    text: str
    ends_at: datetime


@dataclass(frozen=True)
class Meant:
    """Whom a code would sign in. hand: None for the first owner. chooses: whether a passphrase is to be chosen."""

    hand: Hand | None
    chooses: bool


class Codes:
    """The codes of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def make(self, person_uid: str, good_for: timedelta | None = None) -> Code:
        """Make a code that signs a device in as a person: their own, or anybody's for an owner. Raises StudioError.

        good_for: TO_PAIR for who has a passphrase and TO_INVITE for who has none, when not given. Who made a code for
        somebody else stands in the history: they could sign in with it themselves.
        """
        with self.database.writing(own_or_run(person_uid)) as session:
            row = one_person(session, person_uid)
            if not is_own(person_uid):
                note(session, "code made", "person", row.name)
            return _make(session, row.id, good_for or (TO_PAIR if person_of(row).has_way_in else TO_INVITE))

    def make_first(self) -> Code:
        """Make the code by which the first owner comes in. Raises StudioError once there are people."""
        with self.database.writing(Work.RUN) as session:
            _need_nobody(session)
            waiting = SignInCodeRow.person_id.is_(None) & SignInCodeRow.used_at.is_(None)
            session.execute(sa.update(SignInCodeRow).where(waiting).values(used_at=datetime.now(UTC)))
            return _make(session, None, TO_BEGIN)

    def meant(self, text: str) -> Meant:
        """Return whom a code would sign in, without using it. Raises StudioError for one that is not good."""
        with self.database.reading() as session:
            row = _good(session, text)
            if row.person_id is None:
                _need_nobody(session)
                return Meant(None, True)
            person = session.get_one(PersonRow, row.person_id)
            return Meant(person_of(person).hand, not person_of(person).has_way_in)

    def use(self, text: str, device: str, name: str = "", passphrase: str = "") -> str:
        """Use a code up and sign the device in; return its secret. Raises StudioError; then the code is as it was.

        name, passphrase: what is chosen by the first owner, or a passphrase by somebody new.
        """
        meant = self.meant(text)
        whose = name if meant.hand is None else meant.hand.name
        kept = hashed(passphrase, whose) if meant.chooses else ""
        with self.database.writing(Work.OWN) as session:
            row = _good(session, text)
            if row.person_id is None:
                _need_nobody(session)
                person = one_person(session, add_in(session, name, Role.OWNER, kept).uid)
            else:
                person = session.get_one(PersonRow, row.person_id)
                if kept and not person.passphrase:
                    person.passphrase = kept
            row.used_at = datetime.now(UTC)
            return begin_in(session, person, How.CODE, device)


def plain(text: str) -> str:
    """Return a code as it is compared: capitals, nothing between them."""
    return "".join(sign for sign in text.upper() if sign in SIGNS)


def _make(session: Session, person_id: int | None, good_for: timedelta) -> Code:
    text = "".join(secrets.choice(SIGNS) for _ in range(LENGTH))
    now = datetime.now(UTC)
    session.execute(sa.delete(SignInCodeRow).where(SignInCodeRow.ends_at < now - timedelta(days=1)))
    row = SignInCodeRow(
        code_sha256=_digest(text), person_id=person_id, made_at=now, ends_at=now + good_for, used_at=None
    )
    session.add(row)
    session.flush()
    return Code(f"{text[:4]}-{text[4:]}", row.ends_at)


def _good(session: Session, text: str) -> SignInCodeRow:
    row = session.scalars(sa.select(SignInCodeRow).where(SignInCodeRow.code_sha256 == _digest(text))).one_or_none()
    if row is None or row.used_at is not None or row.ends_at <= datetime.now(UTC):
        raise StudioError(NOT_GOOD)
    if row.person_id is not None and session.get_one(PersonRow, row.person_id).left_at is not None:
        raise StudioError(NOT_GOOD)
    return row


def _need_nobody(session: Session) -> None:
    if session.scalars(sa.select(PersonRow.id).where(PersonRow.left_at.is_(None)).limit(1)).first() is not None:
        raise StudioError("This studio has its people already: sign in, or ask its owner for a code.")


def _digest(text: str) -> str:
    return hashlib.sha256(plain(text).encode()).hexdigest()
