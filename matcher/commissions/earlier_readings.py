"""A reading of the log replaced by a better one of the same photograph; the earlier one stays in the history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.dates import in_utc, moment
from matcher.errors import StudioError
from matcher.reading.reading import Reading
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import EarlierReadingRow, ReadingRow, TargetRow, TrialRow
from matcher.trials import rows
from matcher.trials.log import note, row_number, touch
from matcher.trials.targets import check_unsigned
from matcher.trials.trial import FINISHED

Kind = Literal["plate", "target"]
READ_AGAIN = "read again"
"""What the history calls it."""


@dataclass(frozen=True, order=True)
class Owner:
    """Whose reading it is: a plate's at a stage, or a target's, by its number."""

    kind: Kind
    number: int
    stage: str = FINISHED


@dataclass(frozen=True, eq=False)
class EarlierReading:
    """A reading as it stood until it was replaced, and why it was."""

    owner: Owner
    reading: Reading
    replaced_at: datetime
    who: str = ""
    why: str = ""


class Readings:
    """The readings of one studio's plates and targets: replaced, and as they were."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def replace(self, owner: Owner, reading: Reading, instead_of: Reading, why: str, who: str = "") -> None:
        """Let a plate or a target have ``reading`` from now on; the earlier one is kept.

        instead_of: the reading that was looked at when the new one was made. Raises StudioError when there is no such
        reading, when it is another one by now, or when a sign-off holds the target; then nothing is changed.
        """
        text = checked.line(why, "reason for reading it again", required=True)
        with self.database.writing() as session:
            row = _row(session, owner)
            if row.whole != checked.plain_json(instead_of.as_dict(), "reading"):
                raise StudioError(f"Look at {owner.kind} {owner.number} again first: it was read anew meanwhile.")
            if owner.kind == "target":
                check_unsigned(session, owner.number, f"target {owner.number}")
            session.execute(sa.insert(EarlierReadingRow), [_earlier_values(row, owner, text, who)])
            key = "trial_id" if owner.kind == "plate" else "target_id"
            values = rows.reading_values(reading, row.stage, row.position, **{key: owner.number})
            session.execute(sa.update(ReadingRow).where(ReadingRow.id == row.id).values(**values))
            kind = "trial" if owner.kind == "plate" else "target"
            note(session, READ_AGAIN, kind, owner.number, text, who)
            touch(session)

    def of(self, owner: Owner) -> Reading:
        """Return the reading that counts of a plate at a stage, or of a target. Raises StudioError for none."""
        with self.database.reading() as session:
            return Reading.from_dict(_row(session, owner).whole)

    def earlier(self, kind: Kind, number: int) -> list[EarlierReading]:
        """Return the readings that a plate or a target had before, the oldest first."""
        column = EarlierReadingRow.trial_id if kind == "plate" else EarlierReadingRow.target_id
        query = sa.select(EarlierReadingRow).where(column == row_number(number))
        with self.database.reading() as session:
            return [
                _earlier_of(row, kind, number) for row in session.scalars(query.order_by(EarlierReadingRow.replaced_at))
            ]


def all_earlier(session: Session) -> list[dict[str, Any]]:
    """Return every earlier reading as plain JSON, its plate or target by uid, for an export."""
    query = (
        sa.select(EarlierReadingRow, TrialRow.uid, TargetRow.uid)
        .outerjoin(TrialRow, TrialRow.id == EarlierReadingRow.trial_id)
        .outerjoin(TargetRow, TargetRow.id == EarlierReadingRow.target_id)
        .order_by(EarlierReadingRow.id)
    )
    return [
        {
            "uid": row.uid,
            "trial_uid": trial_uid,
            "target_uid": target_uid,
            "stage": row.stage,
            "replaced_at": in_utc(row.replaced_at).isoformat(),
            "who": row.who,
            "why": row.why,
            "reading": row.whole,
        }
        for row, trial_uid, target_uid in session.execute(query)
    ]


def take_in(
    session: Session, found: list[Mapping[str, Any]], trials: Mapping[str, int], targets: Mapping[str, int]
) -> int:
    """Keep exported earlier readings; those that are here stay. Returns how many were new. Raises StudioError."""
    known = set(session.scalars(sa.select(EarlierReadingRow.uid)))
    new = [_values_of(item, trials, targets) for item in found if item.get("uid") not in known]
    if new:
        session.execute(sa.insert(EarlierReadingRow), new)
    return len(new)


def _values_of(item: Mapping[str, Any], trials: Mapping[str, int], targets: Mapping[str, int]) -> dict[str, Any]:
    try:
        trial, target = item["trial_uid"], item["target_uid"]
        return {
            "uid": checked.uid_of(item["uid"]),
            "trial_id": None if trial is None else trials[trial],
            "target_id": None if target is None else targets[target],
            "stage": checked.line(item["stage"], "stage", required=True),
            "replaced_at": moment(item["replaced_at"]),
            "who": checked.line(item["who"], "name"),
            "why": checked.line(item["why"], "reason"),
            "whole": checked.plain_json(Reading.from_dict(item["reading"]).as_dict(), "reading"),
        }
    except (KeyError, TypeError) as error:
        raise StudioError(f"Check the earlier readings against an exported studio: {error!r}.") from error


def _row(session: Session, owner: Owner) -> ReadingRow:
    number = row_number(owner.number)
    if owner.kind == "target":
        which = ReadingRow.target_id == number
    else:
        which = (ReadingRow.trial_id == number) & (ReadingRow.stage == owner.stage)
    found = session.scalars(sa.select(ReadingRow).where(which).order_by(ReadingRow.position.desc())).first()
    if found is None:
        at = "" if owner.stage == FINISHED else f", {owner.stage}"
        raise StudioError(f"There is no reading of {owner.kind} {owner.number}{at}: look at it in the log.")
    return found


def _earlier_values(row: ReadingRow, owner: Owner, why: str, who: str) -> dict[str, Any]:
    return {
        "uid": checked.new_uid(),
        "trial_id": row.trial_id,
        "target_id": row.target_id,
        "stage": owner.stage,
        "replaced_at": datetime.now(UTC),
        "who": checked.line(who, "name of who does it"),
        "why": why,
        "whole": row.whole,
    }


def _earlier_of(row: EarlierReadingRow, kind: Kind, number: int) -> EarlierReading:
    return EarlierReading(
        Owner(kind, number, row.stage), Reading.from_dict(row.whole), row.replaced_at, row.who, row.why
    )
