"""For which commissions the plates of a log were made: what a search by commission asks, in memory or in a long log."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import sqlalchemy as sa

from matcher.storage.database import Database
from matcher.storage.schema import AreaRow, CastRow, CommissionRow, SignOffRow, TargetRow


class Job(NamedTuple):
    """An area of a commission, as a plate made for it is found by: title, client and the area's name."""

    commission: str
    client: str
    area: str


@dataclass(frozen=True)
class MadeFor:
    """The areas that plates were made for. of_target: by the number of their target, that of an approved plate too.
    of_plate: by the number of a plate that is a cast, whatever its target is."""

    of_target: Mapping[int, tuple[Job, ...]] = field(default_factory=dict)
    of_plate: Mapping[int, tuple[Job, ...]] = field(default_factory=dict)

    def jobs(self, plate: int | None, target: int | None) -> tuple[Job, ...]:
        """Return the areas that a plate was made for; none for a sample of the workshop's own."""
        return tuple(dict.fromkeys((*self.of_plate.get(plate or 0, ()), *self.of_target.get(target or 0, ()))))

    def numbers(self, commission: str | None) -> tuple[list[int], list[int]]:
        """Return the numbers of the targets and of the casts that are a commission's; None for those of any."""
        targets, plates = (
            [number for number, jobs in of.items() if any(commission in (None, job.commission) for job in jobs)]
            for of in (self.of_target, self.of_plate)
        )
        return targets, plates

    @property
    def titles(self) -> tuple[str, ...]:
        """The commissions' titles, each once, by name."""
        every = (*self.of_target.values(), *self.of_plate.values())
        return tuple(sorted({job.commission for jobs in every for job in jobs}))


def made_for(database: Database) -> MadeFor:
    """Return what the plates of a studio were made for, commissions and areas that are set aside too."""
    job = (CommissionRow.title, CommissionRow.client, AreaRow.name)
    of_area = sa.select(AreaRow.target_id, *job).join_from(AreaRow, CommissionRow).where(AreaRow.target_id.is_not(None))
    approved = (
        sa.select(TargetRow.id, *job)
        .join_from(AreaRow, CommissionRow)
        .join(SignOffRow, SignOffRow.area_id == AreaRow.id)
        .join(TargetRow, TargetRow.uid == SignOffRow.body["aim_uid"].as_string())
    )
    signed = sa.select(SignOffRow.target_id, *job).join_from(AreaRow, CommissionRow).join(SignOffRow)
    casts = sa.select(CastRow.trial_id, *job).join_from(AreaRow, CommissionRow).join(CastRow)
    with database.reading() as session:
        rows = [row for query in (of_area, approved, signed) for row in session.execute(query.order_by(AreaRow.id))]
        return MadeFor(_gathered(rows), _gathered(session.execute(casts.order_by(AreaRow.id))))


def _gathered(rows: Iterable[Sequence[Any]]) -> dict[int, tuple[Job, ...]]:
    found: dict[int, dict[Job, None]] = {}
    for number, title, client, area in rows:
        found.setdefault(number, {})[Job(title, client or "", area)] = None
    return {number: tuple(jobs) for number, jobs in found.items()}
