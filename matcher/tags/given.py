"""Which plate carried which tag when: what follows from all that was said of tags, in the order of its moments.

What was said is only ever added to. From a moment on a tag is given to a plate, or taken from it; a tag that is given
to another plate leaves the first, and a plate that is given another tag loses the one that it had. So at any moment a
tag is on one plate at most, and a plate has one tag at most, whatever was said and in whatever order it came in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Literal

from matcher.dates import in_utc, now
from matcher.errors import StudioError, TagError
from matcher.tags.code import typed_tag

GIVEN, TAKEN = "given", "taken"
Ended = Literal["taken off", "given to another plate", "another tag"]


@dataclass(frozen=True)
class TagChange:
    """One thing that was said: from ``at`` on the tag is ``what`` ("given" to or "taken" from) of a plate.

    at: may lie before noted_at, the moment when it was noted, when something was put right later.
    """

    what: str
    tag: str
    trial_id: int
    at: datetime = field(default_factory=now)
    noted_at: datetime = field(default_factory=now)
    who: str = ""
    why: str = ""
    uid: str | None = None

    @property
    def order(self) -> tuple[datetime, datetime, str]:
        """Its place among the others, the same in every studio."""
        return self.at, self.noted_at, self.uid or ""


@dataclass(frozen=True)
class TagOnPlate:
    """A tag on a plate for a time. given: what put it there; ended: what ended it, None while it is in force."""

    tag: str
    trial_id: int
    given: TagChange
    ended: TagChange | None = None

    @property
    def since(self) -> datetime:
        return self.given.at

    @property
    def until(self) -> datetime | None:
        return None if self.ended is None else self.ended.at

    @property
    def how_ended(self) -> Ended | None:
        """Why it carries the tag no more."""
        if self.ended is None:
            return None
        if self.ended.what == TAKEN:
            return "taken off"
        return "given to another plate" if self.ended.tag == self.tag else "another tag"

    def at(self, moment: datetime) -> bool:
        """Tell whether it was in force at a moment."""
        return self.since <= moment and (self.until is None or moment < self.until)

    def knew(self, noted_at: datetime) -> bool:
        """Tell whether what was noted at a moment was noted of this time: after it was said that it began, and before
        it was said that it ended."""
        return self.given.noted_at <= noted_at and (self.ended is None or noted_at < self.ended.noted_at)

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "tag": self.tag,
            "trial": self.trial_id,
            "since": in_utc(self.since).isoformat(),
            "given_by": self.given.who,
            "given_why": self.given.why,
            "until": None if self.until is None else in_utc(self.until).isoformat(),
            "how_ended": self.how_ended,
            "ended_by": None if self.ended is None else self.ended.who,
            "ended_why": None if self.ended is None else self.ended.why,
        }


@dataclass(frozen=True)
class TagHistory:
    """All that follows from what was said. times: every time that a plate carried a tag, in the order of their ends
    and beginnings; changes: what was said, in its order."""

    times: tuple[TagOnPlate, ...] = ()
    changes: tuple[TagChange, ...] = ()

    def in_force(self, at: datetime | None = None) -> list[TagOnPlate]:
        """Return which plates carry a tag, by tag: now, or at a moment."""
        found = [one for one in self.times if (one.ended is None if at is None else one.at(in_utc(at)))]
        return sorted(found, key=lambda one: one.tag)

    def tag_of(self, trial_id: int, at: datetime | None = None) -> TagOnPlate | None:
        """Return the tag of a plate, now or at a moment; None when it had none."""
        return next((one for one in self.in_force(at) if one.trial_id == trial_id), None)

    def plate_of(self, tag: str, at: datetime | None = None) -> TagOnPlate | None:
        """Return which plate a tag is on, now or at a moment; None when it was on none."""
        return next((one for one in self.in_force(at) if one.tag == tag), None)

    def of_plate(self, trial_id: int) -> list[TagOnPlate]:
        """Return every tag that a plate had, the oldest first."""
        return sorted((one for one in self.times if one.trial_id == trial_id), key=lambda one: one.given.order)

    def of_tag(self, tag: str) -> list[TagOnPlate]:
        """Return every plate that a tag was on, the oldest first."""
        return sorted((one for one in self.times if one.tag == tag), key=lambda one: one.given.order)


def history_of(changes: Iterable[TagChange]) -> TagHistory:
    """Return who carried which tag when, from all that was said, in whatever order it comes.

    Examples
    --------
    >>> from datetime import UTC
    >>> day = [datetime(2026, 3, n, tzinfo=UTC) for n in (1, 2, 3)]
    >>> said = [TagChange(GIVEN, "K7QX2-88", 5, day[0]), TagChange(GIVEN, "K7QX2-88", 6, day[2])]
    >>> told = history_of(said)
    >>> told.plate_of("K7QX2-88", day[1]).trial_id, told.plate_of("K7QX2-88").trial_id, told.tag_of(5)
    (5, 6, None)
    """
    ordered = sorted(changes, key=lambda one: one.order)
    over: list[TagOnPlate] = []
    of_tag: dict[str, TagOnPlate] = {}
    of_plate: dict[int, TagOnPlate] = {}

    def end(time: TagOnPlate, by: TagChange) -> None:
        over.append(replace(time, ended=by))
        del of_tag[time.tag], of_plate[time.trial_id]

    for change in ordered:
        standing = of_tag.get(change.tag)
        if change.what == TAKEN:
            if standing is not None and standing.trial_id == change.trial_id:
                end(standing, change)
            continue
        if standing is not None and standing.trial_id == change.trial_id:
            continue  # it was there already
        for time in (standing, of_plate.get(change.trial_id)):
            if time is not None:
                end(time, change)
        of_tag[change.tag] = of_plate[change.trial_id] = TagOnPlate(change.tag, change.trial_id, change)
    return TagHistory((*over, *of_tag.values()), tuple(ordered))


def tag_text(tag: str, signs: str | None = None) -> str:
    """Return a tag's code as it is kept, K7QX2-88. signs: the studio's, whose number alone will do. Raises TagError."""
    if not isinstance(tag, str):
        raise TagError(f"Type the tag as it is printed, K7QX2-88: {tag!r} is not one.")
    return str(typed_tag(tag, signs))


@dataclass(frozen=True)
class TagLookedFor:
    """A tag among the words that plates are looked for by. trial_id: of the plate that carries it, None for none.

    sure: it can be nothing else, for it is written out or was scanned; a number alone may be a plate's, a day's too.
    """

    tag: str
    trial_id: int | None
    sure: bool


def looked_for(words: str, signs: str, history: TagHistory) -> TagLookedFor | None:
    """Return the tag that all the words together are, as typed or as scanned; None where they are none.

    "brown 12" could be one of another studio's: such a code is taken for words unless this log knows it, or "tag" or an
    address stands before it. signs: of this studio's own tags.
    """
    try:
        code = typed_tag(words, signs)
    except TagError:
        return None
    owner = history.plate_of(str(code))
    plain = words.strip()
    number_alone = plain.isascii() and plain.isdigit()
    ours = code.studio == signs or plain.casefold().startswith(("tag", "http"))
    if owner is None and (number_alone or not ours):
        return None
    return TagLookedFor(str(code), None if owner is None else owner.trial_id, not number_alone)


def check_change(columns: Mapping[str, Any]) -> None:
    """Raise StudioError for the columns of a line that no studio can have written."""
    if columns["what"] not in (GIVEN, TAKEN):
        raise StudioError(f"A tag is given or taken: {columns['what']!r} is neither.")
    if tag_text(columns["tag"]) != columns["tag"]:
        raise StudioError(f"A tag's code is kept as it is printed: {columns['tag']!r} is not.")


def differing(one: Sequence[TagOnPlate], other: Sequence[TagOnPlate]) -> list[tuple[TagOnPlate, TagOnPlate]]:
    """Return the pairs of two lists of what is in force that cannot both hold: one tag on two plates, or one plate with
    two tags."""
    tags, plates = ({getattr(each, name): each for each in other} for name in ("tag", "trial_id"))
    pairs = []
    for mine in one:
        theirs = [tags.get(mine.tag), plates.get(mine.trial_id)]
        same = [each for each in theirs if each is not None and (each.tag, each.trial_id) != (mine.tag, mine.trial_id)]
        pairs += [(mine, each) for each in dict.fromkeys(same)]
    return pairs
