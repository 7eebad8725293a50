"""Whose hand it is that writes: a person with a role, where several people share a studio; nobody in particular else.

Who serves a studio to several people says whose hand it is (``at_work``, or ``ask`` for one who knows); the log asks
before it writes, and signs each line of history with the name. On one's own machine nobody is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from enum import StrEnum

from matcher.errors import StudioError


class Work(StrEnum):
    """What kind of writing it is; each role may do some of them."""

    OWN = "keep what is half typed"
    NOTE = "note what was done"
    CHANGE = "change what is logged"
    RUN = "run the studio"


class Role(StrEnum):
    """What a person may do in a studio."""

    OWNER = "owner"
    PATINEUR = "patineur"
    HELPER = "helper"
    READER = "reader"

    @property
    def with_article(self) -> str:
        """Return it as a sentence says it: "an owner", "a helper"."""
        return f"an {self}" if self is Role.OWNER else f"a {self}"


MAY: dict[Role, frozenset[Work]] = {
    Role.READER: frozenset({Work.OWN}),
    Role.HELPER: frozenset({Work.OWN, Work.NOTE}),
    Role.PATINEUR: frozenset({Work.OWN, Work.NOTE, Work.CHANGE}),
    Role.OWNER: frozenset(Work),
}
"""A reader looks. A helper logs plates, works at the bench, notes what was used. A patineur changes what is logged,
targets and commissions too. An owner decides who belongs here."""

ABOUT = {
    Role.OWNER: "may do everything, and says who belongs here",
    Role.PATINEUR: "may do everything at the bench and in the log",
    Role.HELPER: "may log plates, work at the bench and note what was used",
    Role.READER: "may look at everything and change nothing",
}


@dataclass(frozen=True)
class Hand:
    """A person at work. uid: theirs in the studio."""

    uid: str
    name: str
    role: Role

    def may(self, work: Work) -> bool:
        return work in MAY[self.role]


_at_work: ContextVar[Hand | None] = ContextVar("hand at work", default=None)
_asked: list[Callable[[], Hand | None]] = []


def whose() -> Hand | None:
    """Return whose hand it is, None for nobody in particular. Raises StudioError where somebody must be signed in."""
    return _at_work.get() or next((hand for ask in _asked if (hand := ask()) is not None), None)


@contextmanager
def at_work(hand: Hand | None) -> Iterator[None]:
    """Let what is written meanwhile be of ``hand``."""
    before = _at_work.set(hand)
    try:
        yield
    finally:
        _at_work.reset(before)


def ask(who: Callable[[], Hand | None]) -> Callable[[], None]:
    """Ask ``who`` from now on whose hand it is; return what takes that back."""
    _asked.append(who)
    return lambda: _asked.remove(who)


def need(work: Work) -> None:
    """Refuse what the one at work may not do. Raises StudioError, in a sentence."""
    hand = whose()
    if hand is not None and not hand.may(work):
        able = [role for role in (Role.HELPER, Role.PATINEUR, Role.OWNER) if work in MAY[role]]
        raise StudioError(
            f"{hand.name}, as {hand.role.with_article} you {ABOUT[hand.role]}: to {work}, ask the studio's owner to "
            f"make you {able[0].with_article}. Nothing was changed."
        )


def signed(who: str) -> str:
    """Return the name that a line of history carries: of the one at work, else the one that was given."""
    hand = whose()
    return who if hand is None else hand.name


def own(form: str) -> str:
    """Return the name by which a half-typed form of the one at work is kept: nobody else sees it."""
    hand = whose()
    return form_of("" if hand is None else hand.uid, form)


def form_of(uid: str, form: str) -> str:
    """Return the name by which a half-typed form of a person is kept; uid: "" for nobody in particular."""
    return f"of {uid}: {form}" if uid else form
