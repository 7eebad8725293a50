"""A reading of the log replaced by a better one of the same photograph; the earlier one stays in the history."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.errors import StudioError
from matcher.reading.reading import Reading
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import EarlierReadingRow, ReadingRow
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
