"""Signing in: a name and passphrase, or a code, becomes a device that is signed in; tried too often, it is refused."""

from __future__ import annotations

import sqlalchemy as sa

from matcher.access.attempts import Attempts
from matcher.access.codes import Codes, Meant
from matcher.access.devices import Devices, How, begin_in
from matcher.access.passphrase import is_dated, matches, rehashed
from matcher.access.people import People, expected, key_of, one_person
from matcher.errors import StudioError
from matcher.hands import Work
from matcher.storage.database import Database
from matcher.storage.schema import PersonRow

WRONG = "The name or the passphrase is not right: type them again, or ask the studio's owner for a code."


class Access:
    """Who may come into one studio, and who is in."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self.people = People(database)
        self.devices = Devices(database)
        self.codes = Codes(database)
        self.attempts = Attempts(database)

    def sign_in(self, name: str, passphrase: str, device: str, address: str, shown: str | None = None) -> str:
        """Sign a device in by name and passphrase; return its secret. Raises StudioError, TooOften among them.

        shown: the secret that the device still shows from when that person was signed in on it before, if any.
        What it says, and how long it takes, does not tell whether there is somebody of that name.
        """
        known = self.devices.known(shown, name)
        with self.attempts.attempt(How.PASSPHRASE, name, address, known) as attempt:
            with self._database.reading() as session:
                row = session.scalars(sa.select(PersonRow).where(PersonRow.key == key_of(name))).one_or_none()
                uid, kept = (row.uid, row.passphrase) if row is not None else ("", "")
            if not matches(kept, passphrase):
                raise StudioError(WRONG)
            attempt.succeeded = True
        with self._database.writing(Work.OWN) as session:
            row = one_person(session, uid)
            if row.passphrase != kept:  # changed meanwhile
                raise StudioError(WRONG)
            if is_dated(kept):
                row.passphrase = rehashed(passphrase)
            return begin_in(session, row, How.PASSPHRASE, device)

    def change_passphrase(self, uid: str, old: str, new: str, keep_device: str = "") -> None:
        """Let somebody change their own passphrase by the one that they have; other devices are signed out.

        OWASP Authentication Cheat Sheet, "Require Re-authentication for Sensitive Features": an unlocked phone is not
        enough. Raises StudioError, TooOften among them.
        """
        with self._database.reading() as session:
            row = one_person(session, uid)
            name, kept = row.name, row.passphrase
        if kept:
            with self.attempts.attempt(How.PASSPHRASE, name, "", keep_device) as attempt:
                if not matches(kept, old):
                    raise StudioError("Type the passphrase that you have now: this is not it.")
                attempt.succeeded = True
        self.people.set_passphrase(uid, new, keep_device)

    def meant_by(self, code: str, address: str, shown: str | None = None) -> Meant:
        """Return whom a code would sign in, without using it up; shown: the secret that the device still shows, if any.

        Raises StudioError, TooOften among them.
        """
        with self.attempts.attempt(How.CODE, "", address, self.devices.known(shown)) as attempt:
            meant = self.codes.meant(code)
            attempt.succeeded = True
        return meant

    def sign_in_by_code(
        self, code: str, device: str, address: str, name: str = "", passphrase: str = "", shown: str | None = None
    ) -> str:
        """Sign a device in by a code; return its secret. Raises StudioError, TooOften among them."""
        self.meant_by(code, address, shown)
        return self.codes.use(code, device, name, passphrase)

    def sign_in_by_openid(self, issuer: str, subject: str, email: str, device: str) -> str:
        """Sign a device in as whom an OpenID provider vouches for; return its secret. Raises StudioError.

        email: as the provider has verified it. It counts once, for somebody whom the owner expects by it; from then on
        issuer and subject do (OpenID Connect Core 1.0, 5.7: these two alone name a person for good).
        """
        openid = f"{issuer} {subject}"
        with self._database.writing(Work.OWN) as session:
            row = session.scalars(sa.select(PersonRow).where(PersonRow.openid == openid)).one_or_none()
            if row is None:
                row = session.scalars(sa.select(PersonRow).where(PersonRow.openid == expected(email))).one_or_none()
                if row is None:
                    raise StudioError(f"{email} is not expected in this studio: ask its owner to add that address.")
                row.openid = openid
                session.flush()
            return begin_in(session, row, How.OPENID, device)
