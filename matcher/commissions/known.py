"""All that is known of a commission besides what was typed of it: targets, plates, pieces, sign-offs and casts.

Loaded in one go; the timeline, the state and the next steps are made of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.bench.shelf import Shelf
from matcher.bench.work import Piece
from matcher.colour.difference import delta_e_2000
from matcher.colour.verdict import Standing, standing
from matcher.commissions.commission import Area, Commission
from matcher.reading.comparison import chance_within, delta_e_interval
from matcher.storage.database import Database
from matcher.storage.schema import CastRow, SignOffRow, TargetRow, TrialRow
from matcher.trials.log import load_trials
from matcher.trials.targets import load_targets
from matcher.trials.trial import Target, Trial


@dataclass(frozen=True)
class Signed:
    """A sign-off in short: which plate for which area and target, by whom, in which light, when; or withdrawn."""

    id: int
    at: datetime
    who: str
    area_id: int
    target_id: int
    trial_id: int
    signed_by: str
    light: str
    withdrawn_at: datetime | None
    withdrawn_reason: str | None


@dataclass(frozen=True)
class CastArea:
    """A logged piece that is an area of a cast of the edition; number: of the cast, from 1."""

    trial_id: int
    area_id: int
    number: int


@dataclass(frozen=True, eq=False)
class Compared:
    """A plate beside its target: ΔE00, its 95 % interval, and how surely they match within the target's tolerance."""

    trial: Trial
    target: Target
    delta_e00: float
    interval: tuple[float, float]
    standing: Standing


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of a commission. plates: all that were made for its targets or are casts of it, oldest first, those
    set aside too. signed: every sign-off, oldest first, withdrawn ones too. pieces: on the bench for its targets."""

    commission: Commission
    targets: Mapping[int, Target]
    plates: tuple[Trial, ...]
    pieces: tuple[Piece, ...]
    signed: tuple[Signed, ...]
    casts: tuple[CastArea, ...]

    def target_of(self, area: Area) -> Target | None:
        """Return an area's target, None where it has none or it cannot be read."""
        return None if area.target_id is None else self.targets.get(area.target_id)

    def sign_off_of(self, area: Area) -> Signed | None:
        """Return the sign-off of an area that stands, None where there is none."""
        stands = [one for one in self.signed if one.area_id == area.id and one.withdrawn_at is None]
        return stands[-1] if stands else None

    def plates_for(self, area: Area) -> list[Trial]:
        """Return the sample plates that count and were made for an area's target, oldest first."""
        return [
            trial
            for trial in self.plates
            if area.target_id is not None
            and trial.target_id == area.target_id
            and trial.set_aside is None
            and trial.id not in self._cast_of
        ]

    def nearest_for(self, area: Area) -> Compared | None:
        """Return the plate nearest to an area's target of those made for it, None where there is none."""
        target, plates = self.target_of(area), self.plates_for(area)
        if target is None or not plates:
            return None
        return compared(
            min(plates, key=lambda trial: float(delta_e_2000(target.reading.lab, trial.reading.lab))), target
        )

    def piece_for(self, area: Area) -> Piece | None:
        """Return the piece on the bench for an area's target that was counted last, None where there is none."""
        own = [piece for piece in self.pieces if area.target_id is not None and piece.target_id == area.target_id]
        return max(own, key=lambda piece: piece.counted_at or piece.begun_at, default=None)

    def casts_done(self, area: Area) -> set[int]:
        """Return the numbers of the casts on which an area is done."""
        standing = {trial.id for trial in self.plates if trial.set_aside is None}
        return {cast.number for cast in self.casts if cast.area_id == area.id and cast.trial_id in standing}

    @cached_property
    def _cast_of(self) -> dict[int, CastArea]:
        return {cast.trial_id: cast for cast in self.casts}


def compared(trial: Trial, target: Target) -> Compared:
    """Return a plate beside a target; what both readings share of their errors cancels."""
    delta = float(delta_e_2000(target.reading.lab, trial.reading.lab))
    interval = delta_e_interval(target.reading, trial.reading)
    chance = chance_within(target.reading, trial.reading, target.tolerance)
    return Compared(trial, target, delta, interval, standing(interval, chance, target.tolerance))


def all_known(database: Database, commission: Commission) -> Known:
    """Return what is known of a commission now."""
    areas = [area.id for area in commission.areas]
    with database.reading() as session:
        signed, casts = _signed(session, areas), _casts(session, areas)
    targets = {area.target_id for area in commission.areas} | {one.target_id for one in signed}
    wanted = sorted(target for target in targets if target is not None)
    made = TrialRow.target_id.in_(wanted) | TrialRow.id.in_([cast.trial_id for cast in casts])
    found = database.load("target", load_targets, TargetRow.id.in_(wanted))
    return Known(
        commission,
        {target.id or 0: target for target in found},
        tuple(sorted(database.load("plate", load_trials, made), key=lambda trial: (trial.made_at, trial.id or 0))),
        tuple(piece for piece in Shelf(database).pieces() if piece.target_id in wanted),
        signed,
        casts,
    )


def _signed(session: Session, areas: list[int | None]) -> tuple[Signed, ...]:
    columns = [getattr(SignOffRow, name) for name in Signed.__dataclass_fields__]
    query = sa.select(*columns).where(SignOffRow.area_id.in_(areas)).order_by(SignOffRow.at, SignOffRow.id)
    return tuple(Signed(*row) for row in session.execute(query))


def _casts(session: Session, areas: list[int | None]) -> tuple[CastArea, ...]:
    query = sa.select(CastRow.trial_id, CastRow.area_id, CastRow.number).where(CastRow.area_id.in_(areas))
    return tuple(CastArea(*row) for row in session.execute(query.order_by(CastRow.number, CastRow.trial_id)))
