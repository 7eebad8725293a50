"""How often signing in may be tried: an attempt counts as failed from its beginning until it has succeeded.

Counted by name and address together, so that nobody is locked out by what a stranger types elsewhere; by address;
and over all, against many addresses at once. OWASP Authentication Cheat Sheet, "Login Throttling". A device on which
somebody was signed in before is counted by itself, so that strangers shut no one out who belongs here (OWASP, "Slow
Down Online Guessing Attacks with Device Cookies").
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.access.people import key_of
from matcher.errors import StudioError
from matcher.hands import Work
from matcher.storage.database import Database
from matcher.storage.schema import SignInAttemptRow
from matcher.words import counted

WITHIN = timedelta(minutes=15)
MOST_BY_NAME, MOST_BY_ADDRESS, MOST_OVER_ALL = 5, 20, 200
_KEPT = timedelta(days=1)


class TooOften(StudioError):
    """Signing in was tried too often. seconds: how long to wait."""

    def __init__(self, seconds: int) -> None:
        minutes = max(1, round(seconds / 60))
        super().__init__(
            f"Wait {counted(minutes, 'minute')}, then try again: signing in was tried too often from here."
        )
        self.seconds = seconds


@dataclass
class Attempt:
    """An attempt under way; it has failed unless it is said to have succeeded."""

    succeeded: bool = False


class Attempts:
    """The attempts to sign in to one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    @contextmanager
    def attempt(self, how: str, name: str, address: str, device: str | None = None) -> Iterator[Attempt]:
        """Count an attempt before it is made; once it has succeeded it is not counted. Raises TooOften.

        Nor are those then counted that failed before it by the same name. One without a name forgets no other: who has
        a good code could look at it between guesses at somebody else's. device: the uid of one that is known here.
        """
        key, now = key_of(name), datetime.now(UTC)
        place = _network(address) if device is None else f"device {device}"
        with self.database.writing(Work.OWN) as session:
            session.execute(sa.delete(SignInAttemptRow).where(SignInAttemptRow.at < now - _KEPT))
            _refuse_too_many(session, how, key, place, now, over_all=device is None)
            row = SignInAttemptRow(at=now, how=how, name=key, address=place)
            session.add(row)
            session.flush()
            number = row.id
        attempt = Attempt()
        yield attempt
        if attempt.succeeded:
            with self.database.writing(Work.OWN) as session:
                same = SignInAttemptRow.name == key, SignInAttemptRow.how == how, SignInAttemptRow.address == place
                forgotten = (SignInAttemptRow.id == number) | (sa.and_(*same) if key else sa.false())
                session.execute(sa.delete(SignInAttemptRow).where(forgotten))


def _network(address: str) -> str:
    """Return an address as attempts are counted by it.

    Of an IPv6 address the first 64 bits: one machine has all that begin so (RFC 4291, 2.5.1; RFC 8981).
    """
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:100]
    found = getattr(found, "ipv4_mapped", None) or found
    return str(found) if found.version == 4 else str(ipaddress.ip_network((int(found), 64), strict=False))


def _refuse_too_many(session: Session, how: str, key: str, place: str, now: datetime, over_all: bool) -> None:
    recent = sa.select(SignInAttemptRow.at).where(SignInAttemptRow.at > now - WITHIN)
    here = recent.where(SignInAttemptRow.address == place)
    bounds = [(here, MOST_BY_ADDRESS)]
    if over_all:
        bounds.append((recent, MOST_OVER_ALL))
    if key:
        bounds.append((here.where(SignInAttemptRow.name == key, SignInAttemptRow.how == how), MOST_BY_NAME))
    waits = [0.0]
    for query, most in bounds:
        times = sorted(session.scalars(query))
        if len(times) >= most:
            waits.append((times[-most] + WITHIN - now).total_seconds())
    if max(waits) > 0:
        raise TooOften(int(max(waits)) + 1)
