"""What an export carries of tags, and what is set right when two studios' tags meet: the newest word stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.dates import moment
from matcher.storage.carried import CarriedTable
from matcher.storage.damaged import load_readable
from matcher.storage.schema import FinishOutlineRow, SightingRow, TagChangeRow, TrialRow
from matcher.tags.given import TagChange, TagHistory, check_change, differing, history_of
from matcher.tags.outlines import points_of
from matcher.tags.sighting_rows import one_of_each_photograph, put_right
from matcher.tags.sightings import check_sighting
from matcher.tags.store import LINE, load_changes
from matcher.tags.wording import two_studios_differ

Plain = Mapping[str, Any]


def _settle_changes(session: Session, here: Sequence[Plain], new: Sequence[Plain]) -> tuple[str, ...]:
    """Tell where the two studios put a tag on two plates, or two tags on one; let sightings follow."""
    numbers = {row.uid: row.id for row in session.execute(sa.select(TrialRow.uid, TrialRow.id))}
    mine, theirs = _history(here, numbers), _history(new, numbers)
    now = history_of(load_readable(session, LINE, load_changes)[0])
    put_right(session, now, {one.tag for one in theirs.changes}, min(one.at for one in theirs.changes))
    told = []
    for ours, other in differing(mine.in_force(), theirs.in_force()):
        told.append(two_studios_differ(ours, other, now))
    return tuple(dict.fromkeys(told))


def _history(rows: Sequence[Plain], numbers: Mapping[str, int]) -> TagHistory:
    return history_of(
        TagChange(
            row["what"],
            row["tag"],
            numbers[row["trial_uid"]],
            moment(row["at"]),
            moment(row["noted_at"]),
            row["who"],
            row["why"],
            row["uid"],
        )
        for row in rows
        if row["trial_uid"] in numbers
    )


def _settle_sightings(session: Session, _here: Sequence[Plain], new: Sequence[Plain]) -> tuple[str, ...]:
    """Let one sighting of a photograph stand, and each go to the plate that carried its tag."""
    one_of_each_photograph(session, [row["photo_sha256"] for row in new if row["photo_sha256"] is not None])
    history = history_of(load_readable(session, LINE, load_changes)[0])
    for tag in {row["tag"] for row in new}:
        since = min(moment(row["seen_at"]) for row in new if row["tag"] == tag)
        put_right(session, history, [tag], since, only_known=True)
    return ()


CARRIED = (
    CarriedTable("tag_changes", "line about a tag", TagChangeRow, check_change, settle=_settle_changes),
    CarriedTable("finish_outlines", "outline by a tag", FinishOutlineRow, lambda row: _checked(row["body"])),
    CarriedTable("sightings", "sighting", SightingRow, check_sighting, settle=_settle_sightings),
)


def _checked(body: Plain) -> None:
    points_of(body)
