"""The rows of sightings: read, kept once a photograph, and following what is said of their tags.

Below ``store``, in whose transactions they are written.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np
import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.colour.uncertainty import slimmed
from matcher.dates import now
from matcher.errors import Caveat, StudioError
from matcher.reading.reading import Reading
from matcher.storage import checked
from matcher.storage.schema import PhotoRow, SightingRow
from matcher.tags import wording
from matcher.tags.given import TagHistory, tag_text
from matcher.tags.sightings import NO_PLATE, KeptSighting, of_columns, place_of
from matcher.trials.log import one_trial


def load_sightings(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[KeptSighting]:
    """Return the sightings for which ``which`` holds, the oldest first."""
    query = sa.select(SightingRow.__table__).order_by(SightingRow.seen_at, SightingRow.id)
    return [of_columns(dict(row)) for row in session.execute(query if which is None else query.where(which)).mappings()]


def keep_sighting(session: Session, history: TagHistory, one: KeptSighting) -> KeptSighting:
    tag, uid = tag_text(one.tag), checked.uid_of(one.uid)
    known = load_sightings(session, SightingRow.uid == uid)
    if known:
        return known[0]
    noted_at = now()
    seen_at = min(checked.when(one.seen_at), noted_at)  # a camera's clock may go ahead of this one
    if one.photo is not None and session.get(PhotoRow, one.photo) is None:
        raise StudioError(f"Keep the photograph first: {str(one.photo)[:12]}… is not in the studio.")
    plate = history.plate_of(tag, seen_at)
    whose = one.trial_id if one.trial_id is not None else None if plate is None else plate.trial_id
    if whose is not None:
        one_trial(session, whose)
    left_out = one.left_out
    if whose is None and left_out is None:
        left_out = Caveat(NO_PLATE, wording.no_plate(tag, history))
    place = checked.plain_json(place_of(replace(one, corners=np.asarray(one.corners, float))), "sighting")
    if len(place["corners"]) != 4:
        raise StudioError(f"Give the 4 corners of {tag}: there are {len(place['corners'])}.")
    values = {
        "uid": uid,
        "seen_at": seen_at,
        "noted_at": noted_at,
        "photo_sha256": one.photo,
        "tag": tag,
        "trial_id": whose,
        "place": place,
        "whole": None if one.reading is None else checked.plain_json(_slim(one.reading).as_dict(), "reading"),
        "left_out_code": "" if left_out is None else checked.line(left_out.code, "code", required=True, longest=40),
        "left_out_message": "" if left_out is None else checked.storable(left_out.message, "reason"),
        "replaced_at": None,
    }
    if one.photo is not None:
        earlier = (SightingRow.photo_sha256 == one.photo, SightingRow.tag == tag, SightingRow.replaced_at.is_(None))
        session.execute(sa.update(SightingRow).where(*earlier).values(replaced_at=noted_at))
    session.execute(sa.insert(SightingRow), [values])
    return load_sightings(session, SightingRow.uid == uid)[0]


def _slim(reading: Reading) -> Reading:
    return replace(reading, budget=slimmed(reading.budget))


def put_right(
    session: Session, history: TagHistory, tags: Iterable[str], since: datetime, only_known: bool = False
) -> None:
    """Let the sightings of some tags since a moment go to the plates that carried them.

    only_known: leave those alone whose tag was on no plate then.
    """
    for tag in set(tags):
        rows = sa.select(SightingRow.id, SightingRow.seen_at, SightingRow.trial_id)
        for row in session.execute(rows.where(SightingRow.tag == tag, SightingRow.seen_at >= since)).all():
            plate = history.plate_of(tag, row.seen_at)
            whose = None if plate is None else plate.trial_id
            if whose != row.trial_id and not (only_known and whose is None):
                session.execute(sa.update(SightingRow).where(SightingRow.id == row.id).values(trial_id=whose))


def one_of_each_photograph(session: Session, photos: Sequence[str]) -> None:
    """Of the sightings of one tag in one photograph let the one that was noted last stand."""
    for photo in sorted(set(photos)):
        standing = sa.select(SightingRow.id, SightingRow.tag, SightingRow.noted_at, SightingRow.uid).where(
            SightingRow.photo_sha256 == photo, SightingRow.replaced_at.is_(None)
        )
        last: dict[str, int] = {}
        for row in sorted(session.execute(standing).all(), key=lambda one: (one.noted_at, one.uid)):
            if row.tag in last:
                older = sa.update(SightingRow).where(SightingRow.id == last[row.tag])
                session.execute(older.values(replaced_at=row.noted_at))
            last[row.tag] = row.id
