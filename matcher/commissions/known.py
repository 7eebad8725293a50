"""All that is known of a commission besides what was typed of it: targets, plates, pieces, sign-offs and casts.

Loaded in one go; the timeline, the state and the next steps are made of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from matcher.bench.shelf import Shelf
from matcher.bench.work import Piece
from matcher.colour.difference import delta_e_2000
from matcher.colour.verdict import Standing, standing
from matcher.commissions.casts import Cast, load_casts
from matcher.commissions.commission import Area, Commission
from matcher.commissions.sign_off import SignOff, load_sign_offs
from matcher.reading.comparison import chance_within, delta_e_interval
from matcher.storage.database import Database
from matcher.storage.schema import CastRow, SignOffRow, TargetRow, TrialRow
from matcher.trials.log import load_trials
from matcher.trials.targets import load_targets
from matcher.trials.trial import Target, Trial


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
    """What is known of a commission, of its areas that are set aside too.

    plates: all that were made for its targets or are casts of it, oldest first, those set aside too. signed: every
    sign-off, oldest first, withdrawn ones too. pieces: on the bench for its targets.
    """

    commission: Commission
    targets: Mapping[int, Target]
    plates: tuple[Trial, ...]
    pieces: tuple[Piece, ...]
    signed: tuple[SignOff, ...]
    casts: tuple[Cast, ...]

    def target_of(self, area: Area) -> Target | None:
        """Return an area's target, None where it has none or it cannot be read."""
        return None if area.target_id is None else self.targets.get(area.target_id)

    def sign_off_of(self, area: Area) -> SignOff | None:
        """Return the sign-off of an area that stands, None where there is none."""
        stands = [one for one in self.signed if one.area_id == area.id and one.withdrawn_at is None]
        return stands[-1] if stands else None

    def aims_of(self, area: Area) -> frozenset[int]:
        """Return the targets that plates and pieces for an area are made for: its own, and the approved plate."""
        signed = self.sign_off_of(area)
        aims = (area.target_id, None if signed is None else signed.aim_id)
        return frozenset(target for target in aims if target is not None)

    def plates_for(self, area: Area) -> list[Trial]:
        """Return the sample plates that count and were made for an area's target, oldest first."""
        return [
            trial
            for trial in self.plates
            if trial.target_id in self.aims_of(area) and trial.set_aside is None and trial.id not in self._cast_of
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
        own = [piece for piece in self.pieces if piece.target_id in self.aims_of(area)]
        return max(own, key=lambda piece: piece.counted_at or piece.begun_at, default=None)

    @property
    def pieces_wanted(self) -> list[Piece]:
        """Pieces on the bench, but for those that only an area set aside wanted."""
        aside = {target for area in self.commission.areas_set_aside for target in self.aims_of(area)}
        aside -= {target for area in self.commission.areas for target in self.aims_of(area)}
        return [piece for piece in self.pieces if piece.target_id not in aside]

    def casts_done(self, area: Area) -> set[int]:
        """Return the numbers of the casts on which an area is done."""
        standing = {trial.id for trial in self.plates if trial.set_aside is None}
        return {cast.number for cast in self.casts if cast.area_id == area.id and cast.trial_id in standing}

    @cached_property
    def _cast_of(self) -> dict[int, Cast]:
        return {cast.trial_id: cast for cast in self.casts}


def compared(trial: Trial, target: Target) -> Compared:
    """Return a plate beside a target; what both readings share of their errors cancels."""
    delta = float(delta_e_2000(target.reading.lab, trial.reading.lab))
    interval = delta_e_interval(target.reading, trial.reading)
    chance = chance_within(target.reading, trial.reading, target.tolerance)
    return Compared(trial, target, delta, interval, standing(interval, chance, target.tolerance))


def all_known(database: Database, commission: Commission) -> Known:
    """Return what is known of a commission now."""
    areas = [area.id for area in commission.every_area]
    signed = tuple(database.load("sign-off", load_sign_offs, SignOffRow.area_id.in_(areas)))
    casts = tuple(database.load("cast plate", load_casts, CastRow.area_id.in_(areas)))
    targets = {area.target_id for area in commission.every_area} | {
        target for one in signed for target in (one.target_id, one.aim_id)
    }
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
