"""A piece on the bench as it stands: its recipe, how often each step was done, its readings; and what may happen to it.

Each thing that happens gives a new piece; `shelf` keeps it. What was really done becomes a recipe for the log.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from matcher.bench.steps import BURNISH, COAT, SEAL, UNDERCOAT, Step, steps_of
from matcher.errors import MatcherError, StudioError
from matcher.reading.reading import Reading
from matcher.recipe.recipe import MAX_PASSES, Recipe
from matcher.recipe.stages import stage_at
from matcher.trials.trial import StageReading
from matcher.words import counted

UNSEALED = "no"


@dataclass(frozen=True, order=True)
class After:
    """A point on a piece's way: after so many passes of a coat, counted from 0; none of the first is the ground."""

    coat: int = 0
    passes: int = 0


GROUND = After()


@dataclass(frozen=True, eq=False)
class Taken:
    """A reading of the piece, unsealed. taken_as: what was marked or typed for it, so that it can be corrected."""

    after: After
    reading: Reading
    taken_as: Mapping[str, Any] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "coat": self.after.coat,
            "passes": self.after.passes,
            "reading": self.reading.as_dict(),
            "taken_as": dict(self.taken_as),
        }

    @classmethod
    def from_dict(cls, kept: Mapping[str, Any]) -> Taken:
        """Take back what ``as_dict`` gave."""
        after = After(int(kept["coat"]), int(kept["passes"]))
        return cls(after, Reading.from_dict(kept["reading"]), dict(kept.get("taken_as") or {}))


@dataclass(frozen=True, eq=False)
class Piece:
    """A piece on the bench.

    number: by which it is known on the bench while it has no mark; the shelf gives it. recipe: as planned. source:
    where it comes from, as the record form says it. target_id: None when it is made for none. sealed: with what the
    target is sealed, or "no". counts: how often each step of ``steps_of(recipe)`` was done. at: the step that is on,
    as many as there are steps when all are over. taken_out: the reading that was left out last. run: the name of the
    run of plates that it belongs to. listed: what a list said of the recipe, with "delta_e00", "chance" and "basis".
    begun_at, counted_at: moments as ISO text. form: the record form that it was begun from or has gone on to;
    handed_over: it has gone on, to a form of the person whose uid is handed_to ("" for nobody in particular). heard:
    the taps that were taken in last, by their uid. cast: the number of the cast that it was begun as, where its target
    is the approved plate of a commission.
    """

    uid: str
    recipe: Recipe
    name: str = ""
    source: str = ""
    target_id: int | None = None
    sealed: str = UNSEALED
    counts: tuple[int, ...] = ()
    at: int = 0
    readings: tuple[Taken, ...] = ()
    taken_out: Taken | None = None
    run: str = ""
    listed: Mapping[str, Any] | None = None
    begun_at: str = ""
    counted_at: str = ""
    form: str | None = None
    handed_over: bool = False
    handed_to: str = ""
    number: int = 0
    heard: tuple[str, ...] = ()
    cast: int | None = None

    def __post_init__(self) -> None:
        steps = len(self.steps)
        object.__setattr__(self, "counts", (*self.counts, *(0,) * steps)[:steps])
        object.__setattr__(self, "at", min(max(self.at, 0), steps))

    @property
    def steps(self) -> tuple[Step, ...]:
        return steps_of(self.recipe)

    @property
    def step(self) -> Step | None:
        """Return the step that is on, or None when all are over."""
        return self.steps[self.at] if self.at < len(self.steps) else None

    @property
    def done(self) -> int:
        """Return how often the step that is on was done."""
        return self.counts[self.at] if self.at < len(self.steps) else 0

    @property
    def passes(self) -> tuple[int, ...]:
        """Return the passes laid of each coat of the recipe."""
        return tuple(count for count, step in zip(self.counts, self.steps, strict=True) if step.kind == COAT)

    @property
    def untouched(self) -> bool:
        """Tell whether nothing was done to the piece yet."""
        return not any(self.counts) and not self.readings and not self.at

    @property
    def after(self) -> After:
        """Return where the piece stands on its way through the coats."""
        laid = [After(coat, passes) for coat, passes in enumerate(self.passes) if passes]
        return laid[-1] if laid else GROUND

    @property
    def on_its_way(self) -> tuple[After, ...]:
        """Return every point that the piece has come through, the ground first."""
        laid = [After(coat, k + 1) for coat, passes in enumerate(self.passes) for k in range(passes)]
        return (GROUND, *laid)

    def reading_after(self, after: After) -> Taken | None:
        return next((taken for taken in self.readings if taken.after == after), None)

    def was(self, kind: str) -> int:
        """Return how often the step of a kind was done, the coats apart; 0 where the recipe has none."""
        return sum(count for count, step in zip(self.counts, self.steps, strict=True) if step.kind == kind)

    # What may happen to it

    def count(self, at: int, now: str) -> Piece:
        """Count the step once more, as seen on a screen that shows step ``at``. Raises StudioError."""
        step = self.step
        if step is None or at != self.at:
            raise StudioError("It was not counted: the piece is at another step now. Look at it, then count.")
        done = min(self.done + 1, MAX_PASSES)
        over = not step.counted or (step.kind == SEAL and done >= step.planned)
        return replace(
            self, counts=self._with_count(self.at, done), at=self.at + 1 if over else self.at, counted_at=now
        )

    def gone_on(self, at: int) -> Piece:
        """Go on to the next step, whatever was done of this one. Raises StudioError."""
        if self.step is None or at != self.at:
            raise StudioError("The piece is at another step now. Look at it, then go on.")
        return replace(self, at=self.at + 1)

    def undone(self) -> Piece:
        """Take back what was counted last, or go back to the step before. Raises StudioError."""
        if self.done:
            return self._less_one(self.at)
        if not self.at:
            raise StudioError("Nothing was counted yet.")
        before = self.at - 1
        back = replace(self, at=before)
        return back if self.steps[before].kind == COAT or not self.counts[before] else back._less_one(before)

    def _less_one(self, at: int) -> Piece:
        if self.steps[at].kind == COAT and self.reading_after(self.after) is not None:
            raise StudioError(f"There is a reading {self.in_words(self.after)}: correct it or remove it first.")
        return replace(self, counts=self._with_count(at, self.counts[at] - 1))

    def _with_count(self, at: int, count: int) -> tuple[int, ...]:
        return (*self.counts[:at], count, *self.counts[at + 1 :])

    def with_reading(self, taken: Taken) -> Piece:
        """Keep a reading, in place of one taken at the same point. Raises StudioError for a point not come to."""
        if taken.after not in self.on_its_way:
            raise StudioError("Check the passes: the piece has not come so far.")
        others = [other for other in self.readings if other.after != taken.after]
        return replace(self, readings=tuple(sorted([*others, taken], key=lambda one: one.after)))

    def without_reading(self, after: After) -> Piece:
        """Leave a reading out; it can be put back until another one is left out."""
        gone = self.reading_after(after)
        if gone is None:
            return self
        return replace(self, readings=tuple(one for one in self.readings if one is not gone), taken_out=gone)

    def put_back(self) -> Piece:
        """Count the reading again that was left out last; one taken anew at that point stays."""
        gone = self.taken_out
        back = replace(self, taken_out=None)
        if gone is None or self.reading_after(gone.after) is not None or gone.after not in self.on_its_way:
            return back if gone is None or self.reading_after(gone.after) is not None else self
        return back.with_reading(gone)

    # What was really done

    def as_done(self) -> Recipe:
        """Return the recipe that was really carried out so far, coat by coat; what was left out is not in it."""
        under, seal = self.recipe.undercoat, self.recipe.seal
        if under is not None:
            burnt = under.burnish if self.was(BURNISH) else 0.0
            under = replace(under, burnish=burnt) if self.was(UNDERCOAT) else None
        laid = zip(self.recipe.coats, self.passes, strict=True)
        coats = tuple(replace(coat, passes=passes) for coat, passes in laid if passes)
        seals = self.was(SEAL)
        return replace(
            self.recipe,
            undercoat=under,
            coats=coats,
            seal=None if seal is None or not seals else replace(seal, coats=seals),
        )

    def stage_of(self, after: After) -> str:
        """Return the stage in the log of a reading taken at a point."""
        laid = [coat for coat, passes in enumerate(self.passes) if passes]
        place = laid.index(after.coat) if after.passes else 0
        return stage_at(self.as_done(), place, after.passes)

    def stages(self) -> tuple[StageReading, ...]:
        """Return the readings on the way as the log keeps them."""
        return tuple(StageReading(self.stage_of(taken.after), taken.reading) for taken in self.readings)

    def in_words(self, after: After) -> str:
        """Say a point on the way: "after 3 passes", "after 2 passes of coat 1"."""
        if not after.passes:
            return "before the first pass"
        of_coat = f" of coat {after.coat + 1}" if len(self.recipe.coats) > 1 else ""
        return f"after {counted(after.passes, 'pass')}{of_coat}"

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Piece.from_dict`` takes them back."""
        return {
            **{name: getattr(self, name) for name in _PLAIN},
            "recipe": self.recipe.as_dict(),
            "counts": list(self.counts),
            "heard": list(self.heard),
            "readings": [taken.as_dict() for taken in self.readings],
            "taken_out": None if self.taken_out is None else self.taken_out.as_dict(),
            "listed": None if self.listed is None else dict(self.listed),
        }

    @classmethod
    def from_dict(cls, kept: Mapping[str, Any]) -> Piece:
        """Take back what ``as_dict`` gave. Raises StudioError."""
        try:
            gone = kept.get("taken_out")
            return cls(
                **{name: kept[name] for name in _PLAIN if name in kept},
                recipe=Recipe.from_dict(kept["recipe"]),
                counts=tuple(int(count) for count in kept.get("counts", ())),
                heard=tuple(str(uid) for uid in kept.get("heard", ())),
                readings=tuple(Taken.from_dict(one) for one in kept.get("readings") or ()),
                taken_out=None if gone is None else Taken.from_dict(gone),
                listed=kept.get("listed"),
            )
        except (KeyError, TypeError, ValueError, AttributeError, MatcherError) as error:
            raise StudioError(f"A piece on the bench can't be read ({error}): restore an older backup.") from error


_PLAIN = (
    "uid",
    "name",
    "source",
    "target_id",
    "sealed",
    "at",
    "run",
    "begun_at",
    "counted_at",
    "form",
    "handed_over",
    "handed_to",
    "number",
    "cast",
)
