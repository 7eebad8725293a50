"""What the log holds: trials (a recipe and what it gave) and targets (what a client wants)."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

from matcher.finish import Reading
from matcher.recipe import Recipe


def _now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, eq=False)
class StageReading:
    """A reading taken on the way: ``stage`` is "bare", "undercoat", "pass 3", "cool" or "waxed"."""

    stage: str
    reading: Reading


@dataclass(frozen=True, eq=False)
class Trial:
    """One plate or piece: what was done and the finish that came of it.

    ``reading`` is of the finished plate; ``stages`` are readings on the way. ``photos`` are the content hashes
    (SHA-256, hex) of the kept photographs, the plate's own first. ``id`` is None until the trial is logged. A
    trial is never deleted: ``set_aside`` holds the reason why it no longer counts, else None.
    """

    recipe: Recipe
    reading: Reading
    made_at: datetime = field(default_factory=_now)
    made_by: str = ""
    piece: str = ""
    ambient_temp_c: float | None = None
    ambient_humidity_percent: float | None = None
    stages: tuple[StageReading, ...] = ()
    photos: tuple[str, ...] = ()
    notes: str = ""
    target_id: int | None = None
    set_aside: str | None = None
    id: int | None = None


@dataclass(frozen=True, eq=False)
class Target:
    """The finish that a client wants: its reading, and how near (ΔE00) a plate must come."""

    name: str
    reading: Reading
    tolerance: float = 2.0
    photo: str | None = None
    notes: str = ""
    made_at: datetime = field(default_factory=_now)
    id: int | None = None
