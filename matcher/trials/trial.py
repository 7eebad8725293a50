"""What the log holds: trials (a recipe and what it gave) and targets (what a client wants)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from matcher.dates import in_utc, moment, now
from matcher.errors import StudioError
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Recipe
from matcher.trials.fields import KEPT, TYPED

FINISHED = "finished"
"""The stage of a trial's main reading: the plate as it came out."""


@dataclass(frozen=True, eq=False)
class StageReading:
    """A reading taken on the way: ``stage`` is "bare", "undercoat", "pass 3", "cool" or "waxed"."""

    stage: str
    reading: Reading


@dataclass(frozen=True)
class Checked:
    """That somebody checked an odd plate and says that it is right. at: when; who: "" where nobody is named."""

    at: datetime
    who: str = ""


@dataclass(frozen=True)
class Changed:
    """That a plate itself has another colour by now. delta_e00, interval: from what was logged, and its 95 %; since:
    about when it began; logged_at: from when on it was to be seen."""

    delta_e00: float
    interval: tuple[float, float]
    since: datetime | None
    logged_at: datetime


@dataclass(frozen=True, eq=False)
class Trial:
    """One plate or piece: what was done and the finish that came of it.

    A trial is never deleted.

    Parameters
    ----------
    recipe : Recipe
        What was done.
    reading : Reading
        The colour of the finished plate: CIELAB under D50, 2 degrees, with its uncertainty.
    made_at : datetime
        With a zone, or in local time.
    made_by, piece, notes : str
        Who made it, the mark on the plate, anything else.
    ambient_temp_c, ambient_humidity_percent : float or None
        The air: °C and per cent.
    stages : tuple of StageReading
        Readings on the way or later.
    photos : tuple of str
        Content hashes (SHA-256, hex) of the kept photographs, the plate's own first.
    target_id : int or None
        Number of the target that it was made for.
    set_aside : str or None
        The reason why it no longer counts.
    id : int or None
        Its number in this studio, None until it is logged.
    uid : str or None
        The same in every studio that it is carried to; the log gives one where it is None.
    checked : Checked or None
        That somebody checked it and says that it is right, as the history tells; no part of what is logged of it, and
        filled in where plates are learned from.
    changed : Changed or None
        That the plate itself has another colour by now, as its sightings tell; filled in likewise.

    Examples
    --------
    >>> trial = Trial(Recipe("silicon bronze"), Reading(lab=[70.1, 3.0, 11.0]), piece="plate 7")
    >>> trial.piece, trial.id, Trial.from_dict(trial.as_dict()).recipe.alloy
    ('plate 7', None, 'silicon bronze')
    """

    recipe: Recipe
    reading: Reading
    made_at: datetime = field(default_factory=now)
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
    uid: str | None = None
    checked: Checked | None = None
    changed: Changed | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Trial.from_dict`` takes them back."""
        return {
            "id": self.id,
            "uid": self.uid,
            "made_at": in_utc(self.made_at).isoformat(),
            "made_by": self.made_by,
            "piece": self.piece,
            "ambient_temp_c": self.ambient_temp_c,
            "ambient_humidity_percent": self.ambient_humidity_percent,
            "recipe": self.recipe.as_dict(),
            "reading": self.reading.as_dict(),
            "stages": [{"stage": step.stage, "reading": step.reading.as_dict()} for step in self.stages],
            "photos": list(self.photos),
            "notes": self.notes,
            "target_id": self.target_id,
            "set_aside": self.set_aside,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Trial:
        """Take back what ``as_dict`` gave; "recipe" and "reading" are enough. Raises a MatcherError."""
        try:
            known = {name: data[name] for name in _PLAIN_TRIAL_FIELDS if name in data}
            if "made_at" in data:
                known["made_at"] = moment(data["made_at"])
            return cls(
                recipe=Recipe.from_dict(data["recipe"]),
                reading=Reading.from_dict(data["reading"]),
                stages=tuple(
                    StageReading(item["stage"], Reading.from_dict(item["reading"])) for item in data.get("stages", ())
                ),
                photos=tuple(data.get("photos", ())),
                **known,
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise StudioError(f"Check the trial's fields against an exported trial: {error!r}.") from error


@dataclass(frozen=True, eq=False)
class Target:
    """The finish that a client wants: its reading, and how near (ΔE00) a plate must come.

    A target is never deleted: ``set_aside`` holds the reason why it is no longer worked on ("done"), else None.
    """

    name: str
    reading: Reading
    tolerance: float = 2.0
    photo: str | None = None
    notes: str = ""
    made_at: datetime = field(default_factory=now)
    id: int | None = None
    uid: str | None = None
    set_aside: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Target.from_dict`` takes them back."""
        return {
            "id": self.id,
            "uid": self.uid,
            "name": self.name,
            "reading": self.reading.as_dict(),
            "tolerance_delta_e00": self.tolerance,
            "photo": self.photo,
            "notes": self.notes,
            "made_at": in_utc(self.made_at).isoformat(),
            "set_aside": self.set_aside,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Target:
        """Take back what ``as_dict`` gave; "name" and "reading" are enough. Raises a MatcherError."""
        try:
            known = {name: data[name] for name in ("id", "uid", "photo", "notes", "set_aside") if name in data}
            if "made_at" in data:
                known["made_at"] = moment(data["made_at"])
            if "tolerance_delta_e00" in data:
                known["tolerance"] = float(data["tolerance_delta_e00"])
            return cls(name=data["name"], reading=Reading.from_dict(data["reading"]), **known)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise StudioError(f"Check the target's fields against an exported target: {error!r}.") from error


_PLAIN_TRIAL_FIELDS = ("id", *(field.name for field in (*TYPED, *KEPT) if field.kind != "moment"))
