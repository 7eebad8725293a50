"""What happened with a commission, in one list, oldest first: fields, of which `wording` makes sentences."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

import sqlalchemy as sa

from matcher.bench.work import Piece
from matcher.commissions.casts import Cast
from matcher.commissions.commission import Delivery, JournalLine
from matcher.commissions.known import Compared, Known, compared
from matcher.commissions.sign_off import SignOff
from matcher.commissions.store import ADDED, REORDERED, load_deliveries, load_journal
from matcher.dates import moment
from matcher.storage.database import Database
from matcher.storage.schema import DeliveryRow, HistoryRow, JournalRow, PhotoRow
from matcher.trials.log import CHANGED, CORRECTED, READ_AGAIN, Change, load_history
from matcher.trials.trial import Target, Trial

What = Literal[
    "begun",
    "photograph",
    "target",
    "plate",
    "bench",
    "sign-off",
    "withdrawn",
    "cast",
    "delivered",
    "delivery taken back",
    "journal",
    "change",
]
SET_ASIDE, TAKEN_BACK = "set aside", "taken back"
_CHANGES = {
    "commission": (CHANGED, SET_ASIDE, TAKEN_BACK, REORDERED),
    "area": (CHANGED, ADDED, SET_ASIDE, TAKEN_BACK),
    "target": (CHANGED, SET_ASIDE, TAKEN_BACK, READ_AGAIN),
    "trial": (CORRECTED, SET_ASIDE, TAKEN_BACK, READ_AGAIN),
}
"""Of each kind of thing, what its history tells that stands nowhere else."""


@dataclass(frozen=True, eq=False)
class Event:
    """One thing that happened. area_ids: the areas that it is about, none of them for the whole commission.

    plate: beside its target, where it has one of the commission's; trial: a plate without. photo: SHA-256.
    """

    at: datetime
    what: What
    who: str = ""
    area_ids: tuple[int, ...] = ()
    target: Target | None = None
    trial: Trial | None = None
    plate: Compared | None = None
    piece: Piece | None = None
    signed: SignOff | None = None
    cast: Cast | None = None
    delivery: Delivery | None = None
    line: JournalLine | None = None
    photo: str | None = None
    change: Change | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return its facts as plain JSON types."""
        trial = self.trial or (self.plate.trial if self.plate else None)
        number = trial.id if trial else (self.signed.trial_id if self.signed else None)
        return {
            "at": self.at.isoformat(),
            "what": self.what,
            "who": self.who,
            "area_ids": list(self.area_ids),
            "target_id": self.target.id if self.target else None,
            "trial_id": number,
            "delta_e00": self.plate.delta_e00 if self.plate else None,
            "delta_e00_interval": list(self.plate.interval) if self.plate else None,
            "standing": self.plate.standing if self.plate else None,
            "piece": self.piece.uid if self.piece else None,
            "signed_by": self.signed.signed_by if self.signed else None,
            "cast": next((one.number for one in (self.cast, self.delivery) if one), None),
            "delivered_on": self.delivery.on.isoformat() if self.delivery else None,
            "delivered_to": self.delivery.to if self.delivery else None,
            "kind": self.line.kind if self.line else None,
            "text": self.line.text if self.line else None,
            "photo": self.photo,
            "change": None if self.change is None else {**vars(self.change), "at": self.change.at.isoformat()},
        }


def what_happened(database: Database, known: Known) -> list[Event]:
    """Return what happened with a commission, oldest first."""
    commission = known.commission
    events = [Event(commission.made_at, "begun", commission.made_by)]
    events += _of_targets(database, known)
    events += _of_plates(known)
    events += [
        Event(moment(piece.begun_at), "bench", "", _areas(known, piece.target_id), piece=piece)
        for piece in known.pieces
    ]
    events += _of_sign_offs(known)
    events += _of_deliveries(database, known)
    events += _of_the_journal(database, known)
    events += _of_history(database, known)
    return sorted(events, key=lambda event: event.at)


def _areas(known: Known, target_id: int | None) -> tuple[int, ...]:
    return tuple(area.id for area in known.commission.every_area if area.id and target_id in known.aims_of(area))


def _of_targets(database: Database, known: Known) -> Iterator[Event]:
    photos = [target.photo for target in known.targets.values() if target.photo is not None]
    with database.reading() as session:
        query = sa.select(PhotoRow.sha256, PhotoRow.kept_at).where(PhotoRow.sha256.in_(photos))
        kept = {row.sha256: row.kept_at for row in session.execute(query)}
    approved = {one.aim_id for one in known.signed}  # the sign-off tells of them
    for target in known.targets.values():
        if target.id in approved:
            continue
        areas = _areas(known, target.id)
        if target.photo in kept:
            here_by = min(kept[target.photo], target.made_at)  # what was read from it was here, in whichever copy
            yield Event(here_by, "photograph", "", areas, target=target, photo=target.photo)
        yield Event(target.made_at, "target", "", areas, target=target, photo=target.photo)


def _of_plates(known: Known) -> Iterator[Event]:
    casts = {cast.trial_id: cast for cast in known.casts}
    for trial in known.plates:
        cast, target = casts.get(trial.id or 0), known.targets.get(trial.target_id or 0)
        areas = _areas(known, trial.target_id) if cast is None else (cast.area_id,)
        if cast is not None and target is None:
            own = next((area for area in known.commission.every_area if area.id == cast.area_id), None)
            target = None if own is None else known.target_of(own)
        yield Event(
            trial.made_at,
            "plate" if cast is None else "cast",
            trial.made_by,
            areas,
            trial=trial,
            plate=None if target is None else compared(trial, target),
            cast=cast,
            photo=trial.photos[0] if trial.photos else None,
        )


def _of_sign_offs(known: Known) -> Iterator[Event]:
    for one in known.signed:
        yield Event(one.at, "sign-off", one.who, (one.area_id,), signed=one)
        if one.withdrawn_at is not None:
            yield Event(one.withdrawn_at, "withdrawn", "", (one.area_id,), signed=one)


def _of_deliveries(database: Database, known: Known) -> Iterator[Event]:
    every = database.load("delivery", load_deliveries, DeliveryRow.commission_id == known.commission.id)
    for one in every:
        yield Event(one.at, "delivered", one.who, delivery=one)
        if one.taken_back_at is not None:
            yield Event(one.taken_back_at, "delivery taken back", one.taken_back_by, delivery=one)


def _of_the_journal(database: Database, known: Known) -> Iterator[Event]:
    for line in database.load("journal line", load_journal, JournalRow.commission_id == known.commission.id):
        areas = () if line.area_id is None else (line.area_id,)
        yield Event(line.at, "journal", line.who, areas, line=line, photo=line.photo)


def _of_history(database: Database, known: Known) -> Iterator[Event]:
    subjects: dict[str, dict[str, tuple[int, ...]]] = {
        "commission": {str(known.commission.id): ()},
        "area": {str(area.id): (area.id or 0,) for area in known.commission.every_area},
        "target": {str(number): _areas(known, number) for number in known.targets},
        "trial": {str(trial.id): _areas(known, trial.target_id) for trial in known.plates},
    }
    which = sa.or_(
        *(
            (HistoryRow.kind == kind) & HistoryRow.subject.in_(list(own)) & HistoryRow.what.in_(_CHANGES[kind])
            for kind, own in subjects.items()
        )
    )
    for row in database.load("line of history", load_history, which):
        change = Change(row.at, row.who, row.what, row.kind, row.subject, row.detail)
        yield Event(row.at, "change", row.who, subjects[row.kind][row.subject], change=change)


def columns_changed(change: Change) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return what a line of history says of a change: the columns that differ, before and after.

    Both are empty for a line that another program has mangled.
    """
    try:
        told = json.loads(change.detail)
        return dict(told["was"]), dict(told["now"])
    except (ValueError, KeyError, TypeError):
        return {}, {}
