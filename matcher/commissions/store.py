"""Keeps commissions with their areas and journals: changed with a line of history each, never deleted.

A change says which version it changes, and is refused when that is no longer the one that is kept: of two people the
second is told, and nothing is overwritten in silence.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.commissions.commission import KINDS, Area, Commission, Delivery, JournalLine
from matcher.commissions.fields import AREA, COMMISSION, DELIVERY, taken_from, values_of
from matcher.dates import now
from matcher.errors import StudioError
from matcher.hands import Work, signed
from matcher.storage import checked
from matcher.storage.damaged import in_words, load_readable
from matcher.storage.database import Database
from matcher.storage.schema import (
    AreaRow,
    CastRow,
    CommissionRow,
    DeliveryRow,
    JournalRow,
    PhotoRow,
    SignOffRow,
    TargetRow,
    TrialRow,
)
from matcher.trials.log import MAX_ID, note, note_change
from matcher.words import listed

REORDERED, ADDED = "areas put in another order", "added"
"""What the history calls these; an area that was there from the start is "saved"."""


class Commissions:
    """The commissions of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def commissions(self, include_set_aside: bool = False) -> list[Commission]:
        """Return the commissions with their areas, oldest first; those set aside only when asked for."""
        which = None if include_set_aside else CommissionRow.set_aside_reason.is_(None)
        return self.database.load("commission", load_commissions, which)

    def worked_on(self) -> list[Commission]:
        """Return the commissions that wait for the workshop: neither set aside nor delivered, by the day."""
        return by_due_day([one for one in self.commissions() if not one.delivered])

    def commission(self, commission_id: int) -> Commission:
        """Return one commission, set aside or not. Raises StudioError when there is none of that number."""
        with self.database.reading() as session:
            return one_commission(session, commission_id)

    def area(self, area_id: int) -> tuple[Commission, Area]:
        """Return an area with the commission that it belongs to. Raises StudioError when there is none."""
        with self.database.reading() as session:
            return area_in(session, area_id)

    def of_target(self, target_id: int | None) -> list[tuple[Commission, Area]]:
        """Return the areas that are to match a target, each with its commission, those set aside too."""
        if target_id is None:
            return []
        found = self.commissions(include_set_aside=True)
        return [(each, area) for each in found for area in each.areas if area.target_id == target_id]

    def of_uid(self, uid: str | None) -> tuple[Commission, Area] | None:
        """Return the area of that uid with its commission; None when it is not in this studio."""
        if uid is None:
            return None
        with self.database.reading() as session:
            number = session.scalars(sa.select(AreaRow.id).where(AreaRow.uid == uid)).first()
            return None if number is None else area_in(session, number)

    def begin_repair(self, area_id: int, what: str, who: str = "") -> Commission:
        """Take on the repair of an area, years later, as a commission of its own, and return it.

        what: is to be repaired, which its notes say. Its area knows which it repairs, so that recipe, bottles and plate
        are found; its target is still to be read of the surface as it is by then. Raises StudioError when there is no
        such area, or nothing is to be repaired.
        """
        text = checked.line(what, "sentence on what is to be repaired", required=True)
        with self.database.writing() as session:
            commission, area = area_in(session, area_id)
            repair = Commission(
                f"{commission.title}, repair {now().year}",
                commission.alloy,
                client=commission.client,
                tolerance=commission.tolerance,
                notes=f"To repair: {text}",
                areas=(Area(area.name, repairs_uid=area.uid),),
                made_by=who,
            )
            kept = save_in(session, repair, who)
            note(session, "repair begun", "area", area.id, f"commission {kept.id}", who)
            return kept

    def save(self, commission: Commission, who: str = "") -> Commission:
        """Keep a commission with its areas and return it, with its number; one of a known uid is kept once.

        Raises StudioError for what cannot be kept; then nothing is.
        """
        with self.database.writing() as session:
            return save_in(session, commission, who)

    def change(self, now: Commission, instead_of: Commission, who: str = "") -> Commission:
        """Let a commission say what ``now`` says instead of ``instead_of``, its areas apart; return it.

        Making the same change again changes nothing. Raises StudioError for what cannot be kept, and when the
        commission no longer says ``instead_of``; then nothing is changed.
        """
        with self.database.writing() as session:
            kept = one_commission(session, instead_of.id)
            values = values_of(COMMISSION, now)
            if _changed(session, CommissionRow, kept.id, COMMISSION, kept, values, instead_of, kept.title):
                note_change(session, "commission", kept.id, values_of(COMMISSION, kept), values, who)
            return one_commission(session, kept.id)

    def set_aside(self, commission_id: int, reason: str, who: str = "") -> Commission:
        """Note that a commission is no longer worked on, with the reason. Raises StudioError."""
        return self._mark(commission_id, checked.line(reason, "reason for setting it aside", required=True), None, who)

    def take_back(self, commission_id: int, who: str = "", seen: str | None = None) -> Commission:
        """Let a commission be worked on again. seen: the reason for setting it aside, as seen. Raises StudioError."""
        return self._mark(commission_id, None, seen, who)

    def _mark(self, commission_id: int, reason: str | None, seen: str | None, who: str) -> Commission:
        with self.database.writing() as session:
            kept = one_commission(session, commission_id)
            if checked.is_marked_anew(kept.set_aside, reason, seen, f"the commission {kept.title}"):
                mark = sa.update(CommissionRow).where(CommissionRow.id == commission_id)
                session.execute(mark.values(set_aside_reason=reason))
                what = "taken back" if reason is None else "set aside"
                note(session, what, "commission", commission_id, reason or "", who)
            return one_commission(session, commission_id)

    # Areas

    def add_area(self, commission_id: int, area: Area, who: str = "") -> Area:
        """Add an area behind the others; one of a known uid is kept once. Raises StudioError."""
        with self.database.writing() as session:
            commission = one_commission(session, commission_id)
            same = [each for each in commission.every_area if area.uid is not None and each.uid == area.uid]
            behind = max((each.position for each in commission.every_area), default=-1) + 1
            return same[0] if same else _add_area(session, commission, area, behind, who, ADDED)

    def change_area(self, now: Area, instead_of: Area, who: str = "") -> Area:
        """Let an area have another name, surface or target; its place stays. Return it as kept.

        As ``change`` does. Raises StudioError also for another target while its finish is signed off.
        """
        with self.database.writing() as session:
            commission, kept = area_in(session, instead_of.id)
            values = values_of(AREA, now)
            _check_area(session, commission, now, kept)
            if _changed(session, AreaRow, kept.id, AREA, kept, values, instead_of, kept.name):
                before = values_of(AREA, kept)
                uids = [_target_uids(session, each) for each in (before, values)]
                note_change(session, "area", kept.id, {**before, **uids[0]}, {**values, **uids[1]}, who)
            return area_in(session, kept.id)[1]

    def set_area_aside(self, area_id: int, reason: str, who: str = "") -> Area:
        """Note that something is no longer an area of the piece, with the reason; its plates stay as they are.

        Raises StudioError, also while its finish is signed off or it is done on a cast: the client relies on that.
        """
        text = checked.line(reason, "reason for setting it aside", required=True)
        return self._mark_area(area_id, text, None, who)

    def take_area_back(self, area_id: int, who: str = "", seen: str | None = None) -> Area:
        """Let it be an area of the piece again. seen: the reason for setting it aside, as seen. Raises StudioError."""
        return self._mark_area(area_id, None, seen, who)

    def _mark_area(self, area_id: int, reason: str | None, seen: str | None, who: str) -> Area:
        with self.database.writing() as session:
            commission, kept = area_in(session, area_id)
            if checked.is_marked_anew(kept.set_aside, reason, seen, f"the area {kept.name}"):
                _check_mark(session, commission, kept, reason)
                mark = sa.update(AreaRow).where(AreaRow.id == kept.id)
                session.execute(mark.values(set_aside_reason=reason))
                note(session, "taken back" if reason is None else "set aside", "area", kept.id, reason or "", who)
            return area_in(session, area_id)[1]

    def reorder(self, commission_id: int, order: Sequence[int], instead_of: Sequence[int], who: str = "") -> Commission:
        """Put the areas, by their numbers, into another order. Raises StudioError.

        instead_of: the order as it was seen.
        """
        with self.database.writing() as session:
            commission = one_commission(session, commission_id)
            before = [area.id for area in commission.areas]
            if before == list(order):
                return commission
            if before != list(instead_of) or sorted(order) != sorted(instead_of):
                raise _changed_meanwhile(commission.title)
            every = [*order, *(area.id for area in commission.areas_set_aside)]
            for away in (1, 0):  # first out of one another's way: no two areas have one place
                for position, area_id in enumerate(every):
                    place = -1 - position if away else position
                    session.execute(sa.update(AreaRow).where(AreaRow.id == area_id).values(position=place))
            names = listed([commission.area(area_id).name for area_id in order])
            note(session, REORDERED, "commission", commission_id, names, who)
            return one_commission(session, commission_id)

    # Journal

    def write(self, line: JournalLine) -> JournalLine:
        """Keep a line of the journal and return it with its number; one of a known uid is kept once.

        Raises StudioError: it is empty, or its photograph, area or commission is not in the studio.
        """
        with self.database.writing(Work.NOTE) as session:
            return write_in(session, line)

    def journal(self, commission_id: int) -> list[JournalLine]:
        """Return what was written about a commission, oldest first."""
        return self.database.load("journal line", load_journal, JournalRow.commission_id == commission_id)


def by_due_day(commissions: Sequence[Commission]) -> list[Commission]:
    """Return commissions with the one due first at the head; those without a day last, behind them the delivered, and
    those set aside behind all."""
    return sorted(
        commissions,
        key=lambda one: (
            one.set_aside is not None,
            one.delivered,
            one.due_on is None,
            one.due_on or date.min,
            one.id or 0,
        ),
    )


def load_commissions(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[Commission]:
    """Return the commissions for which ``which`` holds, in the order of their numbers, with areas and deliveries."""
    query = sa.select(CommissionRow.__table__).order_by(CommissionRow.id)
    found = session.execute(query if which is None else query.where(which)).mappings().all()
    wanted = sa.select(CommissionRow.id) if which is None else sa.select(CommissionRow.id).where(which)
    areas: defaultdict[int, list[Area]] = defaultdict(list)
    rows = sa.select(AreaRow.__table__).where(AreaRow.commission_id.in_(wanted)).order_by(AreaRow.position)
    for row in session.execute(rows).mappings():
        place = {name: row[name] for name in ("position", "id", "commission_id", "uid", "repairs_uid")}
        area = Area(**taken_from(AREA, dict(row)), **place, set_aside=row["set_aside_reason"])
        areas[row["commission_id"]].append(area)
    gone: defaultdict[int | None, list[Delivery]] = defaultdict(list)
    for delivery in load_deliveries(
        session, DeliveryRow.commission_id.in_(wanted) & DeliveryRow.taken_back_at.is_(None)
    ):
        gone[delivery.commission_id].append(delivery)
    return [
        Commission(
            **taken_from(COMMISSION, dict(row)),
            areas=tuple(area for area in areas[row["id"]] if area.set_aside is None),
            areas_set_aside=tuple(area for area in areas[row["id"]] if area.set_aside is not None),
            deliveries=tuple(gone[row["id"]]),
            set_aside=row["set_aside_reason"],
            **{name: row[name] for name in ("made_at", "made_by", "id", "uid")},
        )
        for row in found
    ]


def load_deliveries(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[Delivery]:
    """Return the deliveries for which ``which`` holds, by the casts' numbers, those taken back too."""
    query = sa.select(DeliveryRow.__table__).order_by(DeliveryRow.number, DeliveryRow.at, DeliveryRow.id)
    found = session.execute(query if which is None else query.where(which)).mappings()
    names = ("who", "at", "taken_back_at", "id", "commission_id", "uid")
    return [
        Delivery(
            **taken_from(DELIVERY, dict(row)),
            **{name: row[name] for name in names},
            taken_back_by=row["taken_back_by"] or "",
        )
        for row in found
    ]


def load_journal(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[JournalLine]:
    """Return the journal's lines for which ``which`` holds, oldest first."""
    query = sa.select(JournalRow).order_by(JournalRow.at, JournalRow.id)
    found = session.scalars(query if which is None else query.where(which))
    return [
        JournalLine(
            row.commission_id, row.text, row.kind, row.area_id, row.photo_sha256, row.who, row.at, row.id, row.uid
        )
        for row in found
    ]


def one_commission(session: Session, commission_id: int | None) -> Commission:
    """Return a commission within an open transaction. Raises StudioError."""
    valid = isinstance(commission_id, int) and 0 < commission_id <= MAX_ID
    here = CommissionRow.id == (commission_id if valid else 0)
    found, damaged = load_readable(session, "commission", load_commissions, here)
    if damaged:
        raise StudioError(in_words(damaged))
    if not found:
        raise StudioError(
            f"There is no commission {commission_id} in this studio: list the commissions to see their numbers."
        )
    return found[0]


def save_in(session: Session, commission: Commission, who: str = "") -> Commission:
    """Keep ``commission`` within an open transaction."""
    values = {
        **values_of(COMMISSION, commission),
        "uid": checked.uid_of(commission.uid),
        "made_at": checked.when(commission.made_at),
        "made_by": checked.line(commission.made_by, "name of who took it on"),
        "set_aside_reason": checked.reason(commission.set_aside),
    }
    known = load_commissions(session, CommissionRow.uid == values["uid"])
    if known:
        return known[0]
    number = session.scalars(sa.insert(CommissionRow).returning(CommissionRow.id), [values]).one()
    note(session, "saved", "commission", number, values["title"], who or values["made_by"])
    for position, area in enumerate(commission.areas):
        _add_area(session, one_commission(session, number), area, position, who or values["made_by"])
    return one_commission(session, number)


def write_in(session: Session, line: JournalLine) -> JournalLine:
    """Keep a line of the journal within an open transaction."""
    commission = one_commission(session, line.commission_id)
    if line.area_id is not None:
        commission.area(line.area_id)  # one that is set aside too: why it went is worth a line
    if line.kind not in KINDS:
        raise StudioError(f"Say what the line is, {listed(KINDS, 'or')}: {line.kind!r} is none of these.")
    text = checked.storable(line.text, "text of the line").strip()
    if not text and line.photo is None:
        raise StudioError("Write the line, or give it a photograph: it is empty.")
    if line.photo is not None and session.get(PhotoRow, line.photo) is None:
        raise StudioError(f"Keep the photograph first: {str(line.photo)[:12]}… is not in the studio.")
    values = {
        "uid": checked.uid_of(line.uid),
        "at": checked.when(line.at),
        "who": checked.line(signed(line.who), "name of who writes it"),
        "commission_id": commission.id,
        "area_id": line.area_id,
        "kind": line.kind,
        "text": text,
        "photo_sha256": line.photo,
    }
    if session.scalars(sa.select(JournalRow.id).where(JournalRow.uid == values["uid"])).first() is None:
        session.execute(sa.insert(JournalRow), [values])
    return load_journal(session, JournalRow.uid == values["uid"])[0]


def signed_off(session: Session, area_id: int | None) -> bool:
    """Tell whether a sign-off of an area stands, not withdrawn."""
    stands = sa.select(SignOffRow.id).where(SignOffRow.area_id == area_id, SignOffRow.withdrawn_at.is_(None))
    return session.scalars(stands.limit(1)).first() is not None


def _check_unsigned(session: Session, area: Area) -> None:
    """Raise StudioError when somebody relies on an area: it is signed off, or done on a cast."""
    if signed_off(session, area.id):
        raise StudioError(f"Withdraw the sign-off of {area.name} first: what is signed off stays an area of the piece.")
    counts = (CastRow.area_id == area.id) & TrialRow.set_aside_reason.is_(None)
    done = sa.select(CastRow).join(TrialRow, TrialRow.id == CastRow.trial_id).where(counts).order_by(CastRow.number)
    cast = session.scalars(done.limit(1)).first()
    if cast is not None:
        raise StudioError(
            f"{area.name} is done on cast {cast.number}, as plate {cast.trial_id}: it stays an area of the piece. If "
            "that plate was noted in error, set it aside first."
        )


def _check_mark(session: Session, commission: Commission, area: Area, reason: str | None) -> None:
    """Raise StudioError where an area can't be set aside, or with None be taken back."""
    if reason is None:
        _check_area(session, commission, area)
    else:
        _check_unsigned(session, area)


def may_be_marked(session: Session, area_id: int, reason: str | None) -> None:
    """Raise StudioError where an area can't be set aside, or with None be taken back, within an open transaction."""
    commission, area = area_in(session, area_id)
    _check_mark(session, commission, area, reason)


def take_back_if_wanted(session: Session, area_id: int) -> str:
    """Let an area that is set aside be one again where somebody relies on it, within an open transaction.

    It may have been signed off, or done on a cast, in another copy of the studio. Returns what a person should know of
    it, "" where nothing was done.
    """
    commission, area = area_in(session, area_id)
    if area.set_aside is None:
        return ""
    try:
        _check_unsigned(session, area)
    except StudioError:
        session.execute(sa.update(AreaRow).where(AreaRow.id == area.id).values(set_aside_reason=None))
        note(session, "taken back", "area", area.id, "", "")
        return (
            f"The area {area.name} of {commission.title} was set aside here ({area.set_aside}) and is taken back: in "
            "the file it is signed off, or done on a cast."
        )
    return ""


def area_in(session: Session, area_id: int | None) -> tuple[Commission, Area]:
    valid = isinstance(area_id, int) and 0 < area_id <= MAX_ID
    owner = session.scalars(
        sa.select(AreaRow.commission_id).where(AreaRow.id == (area_id if valid else 0))
    ).one_or_none()
    if owner is None:
        raise StudioError(f"There is no area {area_id} in this studio: look at the commission to see its areas.")
    commission = one_commission(session, owner)
    return commission, commission.area(area_id)


def _add_area(
    session: Session, commission: Commission, area: Area, position: int, who: str, what: str = "saved"
) -> Area:
    values = {**values_of(AREA, area), "uid": checked.uid_of(area.uid), "repairs_uid": area.repairs_uid}
    _check_area(session, commission, area)
    place = {"commission_id": commission.id, "position": position}
    number = session.scalars(sa.insert(AreaRow).returning(AreaRow.id), [{**values, **place}]).one()
    note(session, what, "area", number, values["name"], who)
    return area_in(session, number)[1]


def _check_area(session: Session, commission: Commission, now: Area, kept: Area | None = None) -> None:
    """Raise StudioError for a name taken, a target that is not there, or one that may not change any more."""
    name = checked.line(now.name, "area's name")
    others = [each.name.casefold() for each in commission.areas if kept is None or each.id != kept.id]
    if name.casefold() in others:
        raise StudioError(f"Give the area another name: {commission.title} has an area {name!r} already.")
    if now.target_id is not None and session.get(TargetRow, now.target_id) is None:
        raise StudioError(f"Save the target first, or leave it out: there is no target {now.target_id}.")
    if kept is not None and kept.target_id != now.target_id and signed_off(session, kept.id):
        raise StudioError(f"Withdraw the sign-off of {kept.name} first: it was signed off against its present target.")


def _changed(
    session: Session,
    table: type[CommissionRow] | type[AreaRow],
    number: int | None,
    fields: Any,
    kept: object,
    values: Mapping[str, Any],
    instead_of: object,
    name: str,
) -> bool:
    """Write ``values`` where they are new. Raises StudioError when what is kept is not what was seen."""
    if values_of(fields, kept) == values:
        return False
    if values_of(fields, kept) != values_of(fields, instead_of):
        raise _changed_meanwhile(name)
    session.execute(sa.update(table).where(table.id == number).values(**values))
    return True


def _changed_meanwhile(name: str) -> StudioError:
    return StudioError(f"Look at {name} again before you change it: it was changed meanwhile.")


def _target_uids(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return an area's target by its uid, as it holds in every studio, in the place of its number."""
    if values["target_id"] is None:
        return {}
    return {"target_id": session.scalars(sa.select(TargetRow.uid).where(TargetRow.id == values["target_id"])).one()}
