"""How far a commission has come, and what to do next for each area: always worked out from what has happened."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from matcher.bench.work import Piece
from matcher.commissions.commission import Area
from matcher.commissions.known import Compared, Known

Stage = Literal["no target", "looking", "bench", "approved", "casting", "finished", "delivered", "set aside"]
"""The words for them are in `wording`."""
Step = Literal["target", "bench", "first plate", "another plate", "sign-off", "cast", "done"]


@dataclass(frozen=True)
class State:
    """How far a commission has come. areas, with_target, approved: counts of areas. to_read: those that repair another,
    and whose surface is still to be read. casts_done: of ``casts``, those on
    which every area is done; casts_delivered: those that the client has. reason: why it was set aside."""

    stage: Stage
    areas: int
    with_target: int
    approved: int
    casts: int
    casts_done: int
    casts_delivered: int = 0
    reason: str | None = None
    to_read: int = 0


@dataclass(frozen=True, eq=False)
class NextStep:
    """What to do next for an area. nearest: the plate nearest to its target. piece_uid: of those on the bench for it
    the one counted last. cast: the number of the cast that is meant."""

    step: Step
    area: Area
    nearest: Compared | None = None
    piece_uid: str | None = None
    cast: int | None = None


def state_of(known: Known) -> State:
    """Return how far a commission has come."""
    commission, areas = known.commission, known.commission.areas
    with_target = sum(known.target_of(area) is not None for area in areas)
    approved = sum(known.sign_off_of(area) is not None for area in areas)
    on_each = [known.casts_done(area) for area in areas]
    done = len(set.intersection(*on_each) & set(range(1, commission.casts + 1))) if on_each else 0
    return State(
        _stage(known, with_target, approved, done, any(on_each)),
        len(areas),
        with_target,
        approved,
        commission.casts,
        done,
        commission.casts - len(commission.casts_with_us),
        commission.set_aside,
        sum(area.repairs_uid is not None and known.target_of(area) is None for area in areas),
    )


def _stage(known: Known, with_target: int, approved: int, done: int, begun: bool) -> Stage:
    commission, areas = known.commission, known.commission.areas
    if commission.set_aside is not None:
        return "set aside"
    if commission.delivered:  # whatever was noted of how it was made: the client has it
        return "delivered"
    if not with_target:
        return "no target"
    if approved == len(areas):
        if done >= commission.casts:
            return "finished"
        return "casting" if begun or known.pieces_wanted else "approved"
    return "bench" if known.pieces_wanted else "looking"


def next_steps(known: Known) -> list[NextStep]:
    """Return what to do next for each area, in their order; nothing once it is delivered or set aside.

    Of an area with a cast on the bench there are two while others are left: to go on with that one, and to begin the
    next one beside it.
    """
    if known.commission.set_aside is not None or known.commission.delivered:
        return []
    return [step for area in known.commission.areas for step in _steps_for(known, area)]


def _steps_for(known: Known, area: Area) -> list[NextStep]:
    nearest = known.nearest_for(area)
    if known.target_of(area) is None:
        return [NextStep("target", area)]
    if known.sign_off_of(area) is not None:
        return _casts(known, area, nearest)
    pieces = known.pieces_for(area)
    if pieces:
        return [NextStep("bench", area, nearest, max(pieces, key=_counted).uid)]
    if nearest is None:
        return [NextStep("first plate", area)]
    return [NextStep("sign-off" if nearest.standing in ("within", "likely") else "another plate", area, nearest)]


def _casts(known: Known, area: Area, nearest: Compared | None) -> list[NextStep]:
    there, to_do = known.casts_on_bench(area), known.casts_to_do(area)
    if not to_do:
        return [NextStep("done", area, nearest)]
    steps = []
    if there:
        last = max(there, key=lambda number: _counted(there[number]))
        steps.append(NextStep("bench", area, nearest, there[last].uid, last))
    following = next((number for number in to_do if number not in there), None)
    if following is not None:
        steps.append(NextStep("cast", area, nearest, cast=following))
    return steps


def _counted(piece: Piece) -> str:
    return piece.counted_at or piece.begun_at
