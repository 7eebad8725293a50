"""The finishes that clients want, kept in the log: saved once, set aside when done, never deleted.

What a sign-off was given against stays as it was signed: `check_unsigned` is the one place that says so.
"""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.errors import StudioError
from matcher.storage import checked
from matcher.storage.damaged import in_words, load_readable
from matcher.storage.database import Database
from matcher.storage.schema import PhotoRow, ReadingRow, SignOffRow, TargetRow
from matcher.trials import rows
from matcher.trials.log import MAX_ID, note, note_change
from matcher.trials.trial import Target

_TYPED = ("name", "tolerance_delta_e00", "notes")
"""What a person typed of a target, by its columns."""


class TargetList:
    """The targets of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def targets(self, include_set_aside: bool = False) -> list[Target]:
        """Return the targets, oldest first; those set aside only when asked for."""
        which = None if include_set_aside else TargetRow.set_aside_reason.is_(None)
        return self.database.load("target", load_targets, which)

    def target(self, target_id: int) -> Target:
        """Return one target, set aside or not. Raises StudioError when there is none of that number."""
        with self.database.reading() as session:
            return _one(session, target_id)

    def save(self, target: Target, who: str = "") -> Target:
        """Keep a target and return it with its number; one of a known uid is kept once. Raises StudioError."""
        with self.database.writing() as session:
            return save_in(session, target, who)

    def change(self, now: Target, instead_of: Target, who: str = "") -> Target:
        """Let a target have another name, tolerance or notes than ``instead_of`` has; return it as kept.

        Making the same change again changes nothing. Raises StudioError for what cannot be kept, when the target is
        signed off, and when it no longer says ``instead_of``; then nothing is changed.
        """
        with self.database.writing() as session:
            kept = _one(session, instead_of.id or 0)
            was, wanted, seen = (_typed(each) for each in (kept, now, instead_of))
            if was == wanted:
                return kept
            check_unsigned(session, kept.id, kept.name)
            if was != seen:
                raise StudioError(
                    f"Look at the target {kept.name} again before you change it: it was changed meanwhile."
                )
            session.execute(sa.update(TargetRow).where(TargetRow.id == kept.id).values(**wanted))
            note_change(session, "target", kept.id, was, wanted, who)
            return _one(session, kept.id or 0)

    def set_aside(self, target_id: int, reason: str, who: str = "") -> Target:
        """Note that a target is no longer worked on ("done"). Raises StudioError."""
        return self._mark(target_id, checked.line(reason, "reason for setting it aside", required=True), None, who)

    def take_back(self, target_id: int, who: str = "", seen: str | None = None) -> Target:
        """Let a target that was set aside be worked on again. seen: the reason that was seen. Raises StudioError."""
        return self._mark(target_id, None, seen, who)

    def _mark(self, target_id: int, reason: str | None, seen: str | None, who: str) -> Target:
        with self.database.writing() as session:
            target = _one(session, target_id)
            if not checked.is_marked_anew(target.set_aside, reason, seen, f"the target {target.name}"):
                return target
            session.execute(sa.update(TargetRow).where(TargetRow.id == target_id).values(set_aside_reason=reason))
            note(session, "taken back" if reason is None else "set aside", "target", target_id, reason or "", who)
            return _one(session, target_id)


def save_in(session: Session, target: Target, who: str = "") -> Target:
    """Keep ``target`` within an open transaction."""
    values = rows.target_values(target)
    known = load_targets(session, TargetRow.uid == values["uid"])
    if known:
        return known[0]
    if target.photo is not None and session.get(PhotoRow, target.photo) is None:
        raise StudioError(f"Keep the photograph first: {str(target.photo)[:12]}… is not in the studio.")
    target_id = session.scalars(sa.insert(TargetRow).returning(TargetRow.id), [values]).one()
    session.execute(sa.insert(ReadingRow), [rows.reading_values(target.reading, "target", target_id=target_id)])
    note(session, "saved", "target", target_id, values["name"], who)
    return _one(session, target_id)


def check_unsigned(session: Session, target_id: int | None, name: str) -> None:
    """Raise StudioError when a sign-off that stands was given against a target, or made it of the approved plate.

    What was signed stays as it was, and so does what further casts are aimed at.
    """
    uid = session.scalars(sa.select(TargetRow.uid).where(TargetRow.id == target_id)).first()
    query = sa.select(SignOffRow.target_id, SignOffRow.signed_by, SignOffRow.body)
    standing = session.execute(query.where(SignOffRow.withdrawn_at.is_(None)))
    of_it = [row for row in standing if row.target_id == target_id or row.body.get("aim_uid") == uid]
    if of_it:
        by = f" by {of_it[0].signed_by}" if of_it[0].signed_by else ""
        raise StudioError(
            f"Keep another target beside it, or withdraw the sign-off first: {name} was signed off{by}, and "
            "stays as it was signed."
        )


def load_targets(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[Target]:
    """Return the targets for which ``which`` holds, in the order of their numbers."""
    query = sa.select(TargetRow.__table__, ReadingRow.whole).join(ReadingRow, ReadingRow.target_id == TargetRow.id)
    if which is not None:
        query = query.where(which)
    return [rows.target_of(row, row["whole"]) for row in session.execute(query.order_by(TargetRow.id)).mappings()]


def _typed(target: Target) -> dict[str, object]:
    values = rows.target_values(target)
    return {name: values[name] for name in _TYPED}


def _one(session: Session, target_id: int) -> Target:
    valid = isinstance(target_id, int) and 0 < target_id <= MAX_ID
    found, damaged = load_readable(session, "target", load_targets, TargetRow.id == (target_id if valid else 0))
    if damaged:
        raise StudioError(in_words(damaged))
    if not found:
        raise StudioError(f"There is no target {target_id} in this studio: list the targets to see their numbers.")
    return found[0]
