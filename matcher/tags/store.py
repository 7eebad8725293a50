"""The tags of one studio as its log keeps them: who carries which, where finishes lie by them, where they were seen.

Nothing is ever deleted. A sighting goes to the plate that carried its tag when it was seen, and follows when what was
said of the tag is put right.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from numpy.typing import ArrayLike
from sqlalchemy.orm import Session

from matcher.colour.types import Floats
from matcher.dates import TO_THE_MINUTE, in_utc, local, now, shown
from matcher.errors import StudioError
from matcher.hands import Work, signed
from matcher.storage import checked
from matcher.storage.damaged import load_readable
from matcher.storage.database import Database
from matcher.storage.schema import FinishOutlineRow, SightingRow, StudioRow, TagChangeRow
from matcher.tags import wording
from matcher.tags.code import studio_signs
from matcher.tags.given import GIVEN, TAKEN, TagChange, TagHistory, TagOnPlate, check_change, history_of, tag_text
from matcher.tags.outlines import FinishOutline, beside_its_tag, body_of, outline_in_tag, points_of
from matcher.tags.sighting_rows import keep_sighting, load_sightings, put_right
from matcher.tags.sightings import KeptSighting, SightingPage
from matcher.trials.log import note, one_trial, record_in
from matcher.trials.trial import Trial

A_PAGE = 50
LINE, OUTLINE, SIGHTING = "line about a tag", "outline by a tag", "sighting"
"""The kinds of rows, as `storage.damaged` names them."""


@dataclass(frozen=True)
class Given:
    """What giving or taking a tag came to. now: what came of it, None when it was taken; ended: what stood before and
    no longer does, which a person should be told."""

    now: TagOnPlate | None
    ended: tuple[TagOnPlate, ...] = ()


class Tags:
    """The tags of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def revision(self) -> tuple[int, ...]:
        """Return figures that change with whatever is said of tags, marked by them, or seen."""
        tables = (TagChangeRow, FinishOutlineRow, SightingRow)
        with self.database.reading() as session:
            return tuple(session.scalar(sa.select(sa.func.coalesce(sa.func.max(table.id), 0))) or 0 for table in tables)

    # Which plate carries which tag

    def history(self) -> TagHistory:
        """Return which plate carried which tag when. What is damaged is left out and named by the database."""
        return history_of(self.database.load(LINE, load_changes))

    def give(
        self, trial_id: int, tag: str, who: str = "", why: str = "", at: datetime | None = None, move: bool = False
    ) -> Given:
        """Give a tag to a plate; the one that it had is taken back.

        Parameters
        ----------
        trial_id : int
            The plate's number.
        tag : str
            The tag's code; of a tag of the studio's own the number will do.
        who, why : str
            Who says so, and why: needed when something that stood ends by it.
        at : datetime or None
            Since when it holds; None is now, or, for a new tag on a plate that never had one, the day that the plate
            was made: a tag is glued on before it is noted.
        move : bool
            Whether it may be taken from another plate.

        Returns
        -------
        Given
            Giving what is given already changes nothing.

        Raises
        ------
        StudioError
            There is no such plate, the moment is to come, the tag is on another plate and ``move``
            was not said, or a reason is needed; then nothing is changed.
        TagError
            The code is none.
        """
        with self.database.writing(Work.NOTE) as session:
            return give_in(session, trial_id, tag, who, why, at, move)

    def take(
        self, trial_id: int, who: str = "", why: str = "", at: datetime | None = None, seen: str | None = None
    ) -> Given:
        """Take a plate's tag back, now or from a moment that has been.

        seen: the tag that was seen on it. Raises StudioError: it has none, another one by now, or no reason is given.
        """
        with self.database.writing() as session:
            trial = one_trial(session, trial_id)
            moment = _has_been(at)
            before = _history_in(session)
            standing = before.tag_of(trial.id or 0, None if at is None else moment)
            if standing is None:
                raise StudioError(
                    f"There is no tag to take: plate {trial_id} carries none{'' if at is None else ' then'}."
                )
            if seen is not None and seen != standing.tag:
                raise StudioError(
                    f"Look at plate {trial_id} again first: it was given the tag {standing.tag} meanwhile."
                )
            change = _change(TAKEN, standing.tag, trial_id, moment, who, why)
            if not change.why:
                raise StudioError(f"Say why {standing.tag} is taken from plate {trial_id}: lost, broken, …")
            return _said(session, before, change)

    def record(
        self,
        trial: Trial,
        tag: str,
        who: str = "",
        corners: ArrayLike | None = None,
    ) -> Trial:
        """Keep a trial and give it its tag, both or neither, and return it as logged.

        corners: (4, 2) of the tag in the photograph that its reading is of, so that where its finish lies by the tag is
        kept too. Raises StudioError as ``TrialLog.record`` and ``give`` do.
        """
        with self.database.writing(Work.NOTE) as session:
            kept = record_in(session, [trial], who)[0]
            give_in(session, kept.id or 0, tag, who or trial.made_by)
            if corners is not None and trial.reading.region is not None:
                points = beside_its_tag(outline_in_tag(corners, trial.reading.region))
                _keep_outline(session, kept.id or 0, points, who or trial.made_by)
            return kept

    # Where finishes lie

    def keep_outline(
        self, trial_id: int, corners: ArrayLike, region: ArrayLike, who: str = "", at: datetime | None = None
    ) -> FinishOutline:
        """Keep where a plate's finish lies by the tag that it carries, for every photograph since it carries it.

        corners: (4, 2) of the tag, region: (n, 2) outline of the finish, pixels of one photograph. at: when that was
        taken; now, when not given. Raises StudioError, also for one taken before the tag was put where it is by now.
        """
        points = beside_its_tag(outline_in_tag(corners, region))
        with self.database.writing(Work.NOTE) as session:
            one_trial(session, trial_id)
            time = _history_in(session).tag_of(trial_id)
            if at is not None and time is not None and not time.at(in_utc(at)):
                raise StudioError(
                    f"Mark the finish of plate {trial_id} in a later photograph: {time.tag} has been where it is since "
                    f"{shown(time.since, TO_THE_MINUTE)}, and this one was taken before, as its file says."
                )
            return _keep_outline(session, trial_id, points, who)

    def outlines(self, at: datetime | None = None) -> dict[str, FinishOutline]:
        """Return where finishes lie, by the tags that plates carry now, or carried at a moment.

        Of what was marked while a plate carried its tag the last counts, for photographs from before it too: it puts a
        bad mark right. A tag that was taken off and given again may lie elsewhere on the plate, so that what was marked
        by it before counts for photographs from before, and what is marked since for those since. Where a tag was put
        elsewhere and nobody said that it was off, nothing tells a new place from a mark put right.
        """
        given = {one.tag: one for one in self.history().in_force(at)}
        found = {}
        for outline in self.database.load(OUTLINE, load_outlines):
            time = given.get(outline.tag)
            if time is not None and time.trial_id == outline.trial_id and time.knew(outline.noted_at):
                found[outline.tag] = outline
        return found

    # Where tags were seen

    def keep_sightings(self, sightings: Iterable[KeptSighting]) -> list[KeptSighting]:
        """Keep what was seen in photographs that are read for keeps; return it as kept.

        A photograph that was kept before and is read again: its sightings take the place of the earlier ones, which
        stay in the log; one of a known uid is kept once. Whose plate it was follows from who carried the tag then,
        where the sighting does not say. Raises StudioError: a photograph or plate is not in the studio.
        """
        with self.database.writing(Work.NOTE) as session:
            history = _history_in(session)
            return [keep_sighting(session, history, one) for one in sightings]

    def sightings(
        self,
        trial_id: int | None = None,
        photo: str | None = None,
        tag: str | None = None,
        start: int = 0,
        count: int | None = A_PAGE,
        replaced: bool = False,
    ) -> SightingPage:
        """Return sightings, the newest first, of a plate, a photograph or a tag, or all of them.

        start, count: which of them; count None is all that follow. replaced: those too whose photograph was read again.
        """
        which: sa.ColumnElement[bool] = sa.true()
        for column, wanted in (
            (SightingRow.trial_id, trial_id),
            (SightingRow.photo_sha256, photo),
            (SightingRow.tag, None if tag is None else tag_text(tag)),
        ):
            if wanted is not None:
                which &= column == wanted
        if not replaced:
            which &= SightingRow.replaced_at.is_(None)
        with self.database.reading() as session:
            total = session.scalar(sa.select(sa.func.count()).select_from(SightingRow).where(which)) or 0
            if start > 0 or count is not None:
                order = (SightingRow.seen_at.desc(), SightingRow.id.desc())
                some = sa.select(SightingRow.id).where(which).order_by(*order).offset(max(0, start)).limit(count)
                which = SightingRow.id.in_(some)
            found, self.database.damaged[SIGHTING] = load_readable(session, SIGHTING, load_sightings, which)
        return SightingPage(tuple(reversed(found)), total)

    def last_seen(self) -> dict[int, tuple[int, datetime]]:
        """Return how often each plate was seen, and when last, by its number."""
        with self.database.reading() as session:
            rows = session.execute(
                sa.select(SightingRow.trial_id, sa.func.count(), sa.func.max(SightingRow.seen_at))
                .where(SightingRow.trial_id.is_not(None), SightingRow.replaced_at.is_(None))
                .group_by(SightingRow.trial_id)
            )
            return {int(number or 0): (count, seen) for number, count, seen in rows}


def give_in(
    session: Session,
    trial_id: int,
    tag: str,
    who: str = "",
    why: str = "",
    at: datetime | None = None,
    move: bool = False,
) -> Given:
    """Give a tag within an open transaction."""
    trial = one_trial(session, trial_id)
    code = tag_text(tag, studio_signs(session.scalars(sa.select(StudioRow.uid)).one()))
    before = _history_in(session)
    fresh = not before.of_tag(code) and not before.of_plate(trial_id)
    moment = _day_made(trial) if at is None and fresh else _has_been(at)
    then = None if at is None else moment
    here, there = before.tag_of(trial_id, then), before.plate_of(code, then)
    if here is not None and here.tag == code:
        return Given(here)
    if there is not None and not move:
        raise StudioError(wording.on_another_plate(there))
    change = _change(GIVEN, code, trial_id, moment, who, why)
    if (here is not None or there is not None) and not change.why:
        raise StudioError(wording.reason_needed(change, here, there))
    return _said(session, before, change)


def load_changes(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[TagChange]:
    """Return what was said of tags, in the order in which it was kept."""
    query = sa.select(TagChangeRow.__table__).order_by(TagChangeRow.id)
    found = []
    for row in session.execute(query if which is None else query.where(which)).mappings():
        check_change(dict(row))
        found.append(TagChange(**{name: row[name] for name in _OF_A_CHANGE}))
    return found


def load_outlines(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[FinishOutline]:
    """Return where finishes lie, the ones that were marked last at the end."""
    query = sa.select(FinishOutlineRow.__table__).order_by(FinishOutlineRow.noted_at, FinishOutlineRow.id)
    return [
        FinishOutline(row["trial_id"], row["tag"], points_of(row["body"]), row["noted_at"], row["who"], row["uid"])
        for row in session.execute(query if which is None else query.where(which)).mappings()
    ]


_OF_A_CHANGE = ("what", "tag", "trial_id", "at", "noted_at", "who", "why", "uid")


def _history_in(session: Session) -> TagHistory:
    return history_of(load_readable(session, LINE, load_changes)[0])


def _has_been(at: datetime | None) -> datetime:
    moment = now()
    if at is None:
        return moment
    if checked.when(at) > moment:
        raise StudioError(f"Give a moment that has been: {shown(at, TO_THE_MINUTE)} is yet to come.")
    return checked.when(at)


def _day_made(trial: Trial) -> datetime:
    """Return the beginning of the day that a plate was made, here."""
    return min(now(), in_utc(local(trial.made_at).replace(hour=0, minute=0, second=0, microsecond=0)))


def _change(what: str, tag: str, trial_id: int, at: datetime, who: str, why: str) -> TagChange:
    by, reason = checked.line(signed(who), "name of who says so"), checked.line(why, "reason")
    return TagChange(what, tag, trial_id, at, max(at, now()), by, reason, checked.new_uid())


def _said(session: Session, before: TagHistory, change: TagChange) -> Given:
    """Keep what was said, with a line in the history of every plate that it touches."""
    session.execute(sa.insert(TagChangeRow), [{name: getattr(change, name) for name in _OF_A_CHANGE}])
    after = history_of([*before.changes, change])
    ended = tuple(time for time in after.times if time.ended == change)
    for time in ended:
        note(session, "tag taken", "trial", time.trial_id, wording.ended_in_short(time), change.who)
    if change.what == GIVEN:
        why = f": {change.why}" if change.why else ""
        note(session, "tag given", "trial", change.trial_id, f"{change.tag}{why}", change.who)
    put_right(session, after, {change.tag, *(time.tag for time in ended)}, change.at)
    return Given(next((time for time in after.times if time.given == change), None), ended)


def _keep_outline(session: Session, trial_id: int, points: Floats, who: str) -> FinishOutline:
    given = _history_in(session).tag_of(trial_id)
    if given is None:
        raise StudioError(f"Give plate {trial_id} its tag first: where its finish lies is kept by the tag.")
    kept = FinishOutline(
        trial_id, given.tag, points, now(), checked.line(signed(who), "name of who marks it"), checked.new_uid()
    )
    values = {"uid": kept.uid, "trial_id": trial_id, "tag": kept.tag, "noted_at": kept.noted_at, "who": kept.who}
    session.execute(sa.insert(FinishOutlineRow), [{**values, "body": body_of(points)}])
    return kept
