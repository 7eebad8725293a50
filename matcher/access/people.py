"""The people of a studio: who may sign in, with which role. One owner at least is always left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.access.passphrase import hashed
from matcher.errors import StudioError
from matcher.hands import Hand, Role, Work, whose
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import DeviceRow, PersonRow, SignInCodeRow
from matcher.trials.log import note

LONGEST_NAME = 80


@dataclass(frozen=True)
class Person:
    """Somebody who may sign in. has_passphrase: whether they chose one yet. openid: "" unless they sign in by it."""

    uid: str
    name: str
    role: Role
    has_passphrase: bool
    openid: str
    made_at: datetime
    left_at: datetime | None = None

    @property
    def has_way_in(self) -> bool:
        """Tell whether they can sign in without a code."""
        return self.has_passphrase or bool(self.openid)

    @property
    def hand(self) -> Hand:
        return Hand(self.uid, self.name, self.role)


class People:
    """The people of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def people(self, include_left: bool = False) -> list[Person]:
        """Return who belongs to the studio, in the order in which they came."""
        query = sa.select(PersonRow).order_by(PersonRow.id)
        with self.database.reading() as session:
            rows = session.scalars(query if include_left else query.where(PersonRow.left_at.is_(None)))
            return [person_of(row) for row in rows]

    def find(self, name: str) -> Person | None:
        """Return who has a name, however it is capitalised; None for nobody."""
        with self.database.reading() as session:
            row = session.scalars(sa.select(PersonRow).where(PersonRow.key == key_of(name))).one_or_none()
            return None if row is None else person_of(row)

    def named(self, name: str) -> Person:
        """Return who has a name. Raises StudioError when nobody has."""
        found = self.find(name)
        if found is None:
            known = ", ".join(person.name for person in self.people()) or "nobody yet"
            raise StudioError(f"Nobody of the name {checked.line(name, 'name')!r} belongs to this studio: {known}.")
        return found

    def add(self, name: str, role: Role, passphrase: str | None = None, email: str = "") -> Person:
        """Let somebody belong to the studio. Raises StudioError.

        passphrase: None where they choose it themselves, with a code. email: by which an OpenID provider knows them.
        """
        kept = hashed(passphrase, name) if passphrase is not None else ""
        with self.database.writing(Work.RUN) as session:
            return add_in(session, name, role, kept, expected(email) if email.strip() else "")

    def set_role(self, uid: str, role: Role) -> Person:
        """Give somebody another role. Raises StudioError when no owner would be left."""
        with self.database.writing(Work.RUN) as session:
            row = one_person(session, uid)
            if row.role == Role.OWNER and role is not Role.OWNER:
                _need_another_owner(session, row)
            if row.role != role:
                note(session, "role given", "person", row.name, str(role))
            row.role = str(role)
            session.flush()
            return person_of(row)

    def set_passphrase(self, uid: str, passphrase: str, keep_device: str = "") -> None:
        """Give somebody a passphrase; every device of theirs but one is signed out. Raises StudioError."""
        with self.database.reading() as session:
            name = one_person(session, uid).name
        kept = hashed(passphrase, name)
        with self.database.writing(own_or_run(uid)) as session:
            row = one_person(session, uid)
            row.passphrase = kept
            _sign_out(session, row.id, keep_device)
            void_codes(session, row.id)
            if not is_own(uid):
                note(session, "passphrase given", "person", row.name)

    def forget_passphrase(self, uid: str) -> Person:
        """Take away a passphrase that somebody has forgotten: with the next code they choose another.

        Every device of theirs is signed out. For an owner. Raises StudioError.
        """
        with self.database.writing(Work.RUN) as session:
            row = one_person(session, uid)
            row.passphrase = ""
            _sign_out(session, row.id)
            void_codes(session, row.id)
            note(session, "passphrase taken away", "person", row.name, "")
            session.flush()
            return person_of(row)

    def let_go(self, uid: str) -> Person:
        """Let somebody no longer belong here: what they wrote stays theirs, their devices are signed out at once.

        Raises StudioError when no owner would be left.
        """
        with self.database.writing(Work.RUN) as session:
            row = one_person(session, uid)
            if row.role == Role.OWNER:
                _need_another_owner(session, row)
            row.left_at, row.key, row.openid = datetime.now(UTC), None, None
            note(session, "let go", "person", row.name, row.role)
            _sign_out(session, row.id)
            void_codes(session, row.id)
            session.flush()
            return person_of(row)


def add_in(session: Session, name: str, role: Role, kept_passphrase: str = "", openid: str = "") -> Person:
    """Add somebody within an open transaction. Raises StudioError when the name is taken."""
    text = checked.line(name, "name", required=True, longest=LONGEST_NAME)
    if session.scalars(sa.select(PersonRow.id).where(PersonRow.key == key_of(text))).one_or_none() is not None:
        raise StudioError(f"Choose another name: somebody in this studio is called {text} already.")
    values: dict[str, Any] = {"uid": checked.new_uid(), "name": text, "key": key_of(text), "role": str(role)}
    row = PersonRow(
        **values, passphrase=kept_passphrase, openid=openid or None, made_at=datetime.now(UTC), left_at=None
    )
    session.add(row)
    session.flush()
    note(session, "added", "person", text, str(role), text if whose() is None else "")
    return person_of(row)


def expected(email: str) -> str:
    """Return what is kept of somebody who is expected by an address, until they have signed in."""
    return f"expected {checked.line(email, 'address', required=True, longest=320).strip().casefold()}"


def one_person(session: Session, uid: str) -> PersonRow:
    """Return a person's row. Raises StudioError for nobody, or for who has left."""
    row = session.scalars(sa.select(PersonRow).where(PersonRow.uid == uid)).one_or_none()
    if row is None or row.left_at is not None:
        raise StudioError("This person no longer belongs to the studio: reload the list.")
    return row


def person_of(row: PersonRow) -> Person:
    return Person(row.uid, row.name, Role(row.role), bool(row.passphrase), row.openid or "", row.made_at, row.left_at)


def key_of(name: str) -> str:
    """Return a name as names are compared."""
    # Half a sign and a NUL are in nobody's name, and no database takes them.
    plain = name.replace("\0", " ").encode("utf-8", "replace").decode("utf-8")
    return " ".join(plain.split()).casefold()[:200]


def own_or_run(uid: str) -> Work:
    """Return what kind of work it is to change what is a person's: their own, or the owner's."""
    return Work.OWN if is_own(uid) else Work.RUN


def is_own(uid: str) -> bool:
    """Tell whether it is the person's own hand that is at work."""
    hand = whose()
    return hand is not None and hand.uid == uid


def _need_another_owner(session: Session, row: PersonRow) -> None:
    others: Sequence[PersonRow] = session.scalars(
        sa.select(PersonRow).where(
            PersonRow.role == str(Role.OWNER), PersonRow.left_at.is_(None), PersonRow.id != row.id
        )
    ).all()
    if not others:
        raise StudioError(f"Make somebody else an owner first: {row.name} is the only one.")


def _sign_out(session: Session, person_id: int, keep_device: str = "") -> None:
    theirs = sa.update(DeviceRow).where(DeviceRow.person_id == person_id, DeviceRow.signed_out_at.is_(None))
    session.execute(theirs.where(DeviceRow.uid != keep_device).values(signed_out_at=datetime.now(UTC)))


def void_codes(session: Session, person_id: int) -> None:
    """Let no code that was made for a person be used any more."""
    theirs = sa.update(SignInCodeRow).where(SignInCodeRow.person_id == person_id, SignInCodeRow.used_at.is_(None))
    session.execute(theirs.values(used_at=datetime.now(UTC)))
