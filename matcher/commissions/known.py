"""All that is known of a commission besides what was typed of it: targets, plates, pieces, sign-offs and casts.

Loaded in one go; the timeline, the state and the next steps are made of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Literal

import sqlalchemy as sa

from matcher.bench.shelf import Shelf
from matcher.bench.work import Piece
from matcher.colour.difference import delta_e_2000
from matcher.colour.verdict import Standing, standing
from matcher.commissions.casts import Cast, load_casts
from matcher.commissions.commission import Area, Commission
from matcher.commissions.sign_off import SignOff, SignOffs, load_sign_offs
from matcher.commissions.store import Commissions, load_commissions
from matcher.reading.comparison import chance_within, delta_e_interval
from matcher.storage.database import Database
from matcher.storage.schema import AreaRow, CastRow, CommissionRow, SignOffRow, TargetRow, TrialRow
from matcher.storage.settings import Settings
from matcher.tags.store import Tags
from matcher.trials.log import load_trials
from matcher.trials.stocks import Stock, StockShelf
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
class OnBench:
    """A piece on the bench as what it is for an area: a cast of the edition, with its number; a sample; or a trial, for
    what the area was to match before."""

    commission: Commission
    area: Area
    piece: Piece
    use: Literal["sample", "cast", "trial"]
    cast: int | None = None


@dataclass(frozen=True, eq=False)
class Repaired:
    """What is known of what an area repairs.

    commission, area, signed: what is repaired and its sign-off; None for what is not in this studio. plate: the one
    approved, None where it cannot be read. tag: what it carries, None for none. on_chart: whether it is one of the
    studio's own chart. seen_at: when it was last seen in a photograph. bottles: those of its recipe as they were, each
    with what it is by now, None where it is gone.
    """

    commission: Commission | None = None
    area: Area | None = None
    signed: SignOff | None = None
    plate: Trial | None = None
    tag: str | None = None
    on_chart: bool = False
    seen_at: datetime | None = None
    bottles: tuple[tuple[Stock, Stock | None], ...] = ()


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of a commission, of its areas that are set aside too.

    plates: all that were made for its targets or are casts of it, oldest first, those set aside too. signed: every
    sign-off, oldest first, withdrawn ones too. pieces: on the bench for its targets. approved: the plates that were
    signed off, by their numbers, whatever they were made for.
    """

    commission: Commission
    targets: Mapping[int, Target]
    plates: tuple[Trial, ...]
    pieces: tuple[Piece, ...]
    signed: tuple[SignOff, ...]
    casts: tuple[Cast, ...]
    approved: Mapping[int, Trial]

    def target_of(self, area: Area) -> Target | None:
        """Return an area's target, None where it has none or it cannot be read."""
        return None if area.target_id is None else self.targets.get(area.target_id)

    def sign_off_of(self, area: Area) -> SignOff | None:
        """Return the sign-off of an area that stands, None where there is none."""
        stands = [one for one in self.signed if one.area_id == area.id and one.withdrawn_at is None]
        return stands[-1] if stands else None

    def approved_for(self, area: Area) -> Trial | None:
        """Return the plate that is approved for an area, None where none is or it cannot be read."""
        signed = self.sign_off_of(area)
        return None if signed is None else self.approved.get(signed.trial_id)

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

    def aim_of(self, area: Area) -> int | None:
        """Return the target that an area is coloured for now: its own, and once a plate is approved that plate."""
        signed = self.sign_off_of(area)
        return area.target_id if signed is None else signed.cast_target_id

    def pieces_for(self, area: Area) -> list[Piece]:
        """Return the pieces on the bench that an area is coloured on now, the one begun first at the head.

        Once a plate is approved these are its casts; what still lies there for the old target is a trial.
        """
        aim = self.aim_of(area)
        return [piece for piece in self.pieces if aim is not None and piece.target_id == aim]

    def trials_for(self, area: Area) -> list[Piece]:
        """Return the pieces on the bench for what an area was to match before, and that no area is coloured on now."""
        own = [one for one in self.signed if one.area_id == area.id]
        before = {area.target_id, *(target for one in own for target in (one.target_id, one.aim_id))}
        now = {self.aim_of(other) for other in self.commission.areas}
        return [piece for piece in self.pieces if piece.target_id in before - now]

    def casts_on_bench(self, area: Area) -> dict[int, Piece]:
        """Return the casts of an approved area that lie on the bench, by their numbers.

        A piece is the cast that it was begun as; any other, in the order in which they were begun, the first one that
        is still to be done. Those beyond the edition are none of its casts.
        """
        if self.sign_off_of(area) is None:
            return {}
        pieces, to_do = self.pieces_for(area), self.casts_to_do(area)
        begun_as = {piece.cast: piece for piece in reversed(pieces) if piece.cast in to_do}  # of two the first
        there = {piece.uid for piece in begun_as.values()}
        others = (piece for piece in pieces if piece.uid not in there)
        free = (number for number in to_do if number not in begun_as)
        found = {**begun_as, **dict(zip(free, others, strict=False))}
        return {number: found[number] for number in to_do if number in found}

    def on_bench(self, area: Area) -> list[OnBench]:
        """Return what lies on the bench for an area: its casts by their numbers, samples, then trials."""
        casts = self.casts_on_bench(area)
        numbered = {piece.uid for piece in casts.values()}
        found = [OnBench(self.commission, area, piece, "cast", number) for number, piece in casts.items()]
        samples = (piece for piece in self.pieces_for(area) if piece.uid not in numbered)
        found += [OnBench(self.commission, area, piece, "sample") for piece in samples]
        return found + [OnBench(self.commission, area, piece, "trial") for piece in self.trials_for(area)]

    @property
    def pieces_wanted(self) -> list[Piece]:
        """Pieces on the bench that an area of the piece is coloured on now."""
        wanted = {self.aim_of(area) for area in self.commission.areas}
        return [piece for piece in self.pieces if piece.target_id in wanted]

    def casts_done(self, area: Area) -> set[int]:
        """Return the numbers of the casts on which an area is done."""
        standing = {trial.id for trial in self.plates if trial.set_aside is None}
        return {cast.number for cast in self.casts if cast.area_id == area.id and cast.trial_id in standing}

    def casts_to_do(self, area: Area) -> list[int]:
        """Return the numbers of the edition's casts on which an area is still to be done."""
        done = self.casts_done(area)
        return [number for number in range(1, self.commission.casts + 1) if number not in done]

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
    cast_plates, approved = {cast.trial_id for cast in casts}, {one.trial_id for one in signed}
    asked = TrialRow.target_id.in_(wanted) | TrialRow.id.in_(cast_plates | approved)
    trials = sorted(database.load("plate", load_trials, asked), key=lambda trial: (trial.made_at, trial.id or 0))
    found = database.load("target", load_targets, TargetRow.id.in_(wanted))
    return Known(
        commission,
        {target.id or 0: target for target in found},
        tuple(trial for trial in trials if trial.target_id in wanted or trial.id in cast_plates),
        tuple(piece for piece in Shelf(database).pieces() if piece.target_id in wanted),
        signed,
        casts,
        {trial.id: trial for trial in trials if trial.id in approved},
    )


def what_is_repaired(database: Database, area: Area) -> Repaired | None:
    """Return what is known of what an area repairs; None for one that repairs nothing."""
    if area.repairs_uid is None:
        return None
    found = Commissions(database).of_uid(area.repairs_uid)
    if found is None:
        return Repaired()
    signed = SignOffs(database).standing(found[1].id)
    if signed is None:
        return Repaired(*found)
    number, tags = signed.trial_id, Tags(database)
    plate = next(iter(database.load("plate", load_trials, TrialRow.id == number)), None)
    tag, seen = tags.history().tag_of(number), tags.last_seen().get(number)
    now = {stock.label: stock for stock in StockShelf(database).stocks()}
    return Repaired(
        *found,
        signed,
        plate,
        None if tag is None else tag.tag,
        plate is not None and plate.uid in Settings(database).board,
        None if seen is None else seen[1],
        tuple((bottle, now.get(bottle.label)) for bottle in signed.bottles),
    )


def uses_on_bench(database: Database, pieces: Sequence[Piece]) -> dict[str, OnBench]:
    """Return what pieces on the bench are for, by their uid; those that no commission wants are left out."""
    wanted = {piece.uid: piece.target_id for piece in pieces if piece.target_id is not None}
    if not wanted:
        return {}
    found: dict[str, OnBench] = {}
    for commission in database.load("commission", load_commissions, _served_by(set(wanted.values()))):
        known = all_known(database, commission)
        for one in (one for area in commission.areas for one in known.on_bench(area)):
            if one.piece.uid in wanted:
                found.setdefault(one.piece.uid, one)
    return found


def _served_by(targets: set[int]) -> sa.ColumnElement[bool]:
    """Tell which commissions have an area for one of these targets, or a plate approved that is one of them."""
    uids = sa.select(TargetRow.uid).where(TargetRow.id.in_(targets))
    aimed = SignOffRow.body["aim_uid"].as_string().in_(uids)
    signed = sa.select(SignOffRow.area_id).where(SignOffRow.target_id.in_(targets) | aimed)
    areas = sa.select(AreaRow.commission_id).where(AreaRow.target_id.in_(targets) | AreaRow.id.in_(signed))
    return CommissionRow.id.in_(areas) & CommissionRow.set_aside_reason.is_(None)
