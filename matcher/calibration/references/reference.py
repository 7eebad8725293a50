"""A finish of known colour: its outline in a photograph, its reading from elsewhere, and what that has of its own."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Protocol

import numpy as np

from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, square_root
from matcher.errors import ReadingError

MOST_REFERENCES = 40
AS_UNKNOWN = 0.5
"""Of the variance that an unknown camera has here: a finish that was known by so much of it may have been read by this
very camera in this light, and then errs alike. In daylight it would be less (``FINISHED_SHARE``)."""


class Known(Protocol):
    """A reading of a finish, as far as it matters here."""

    @property
    def lab(self) -> Floats: ...
    @property
    def covariance(self) -> Floats: ...
    @property
    def budget(self) -> tuple[BudgetTerm, ...]: ...
    @property
    def photo(self) -> str | None: ...
    @property
    def region(self) -> Floats | None: ...


@dataclass(frozen=True, eq=False)
class Reference:
    """A finish of known colour in a photograph: its outline there, (n, 2) pixels, and its reading from elsewhere.

    name: how it is called where it is told ("plate 88"). uid: of the plate, where it is a logged one. Raises
    ReadingError for an outline that is none.
    """

    region: Floats
    reading: Known
    name: str = ""
    uid: str | None = None

    def __post_init__(self) -> None:
        try:
            region = np.array(self.region, dtype=float)
        except (TypeError, ValueError):
            region = np.zeros(0)
        if region.ndim != 2 or region.shape[1] != 2 or len(region) < 3 or not np.isfinite(region).all():
            raise ReadingError("Give the outline of a known finish as three or more points in the picture.")
        if not (np.isfinite(self.reading.lab).all() and np.isfinite(self.reading.covariance).all()):
            raise ReadingError("Give the known finish a colour and a covariance of finite numbers.")
        object.__setattr__(self, "region", region)


def cause_of_own(reading: Known) -> str:
    """Name what a reading has of its own, so that another that was made by it can say that it shares it."""
    place = b"" if reading.region is None else np.asarray(reading.region, dtype=float).tobytes()
    parts = (reading.lab.tobytes(), reading.covariance.tobytes(), place, (reading.photo or "").encode())
    return f"reading {hashlib.sha256(b'|'.join(parts)).hexdigest()[:24]}"


def own_root(reading: Known) -> Floats:
    """Return (3, 3), a root of the covariance of what a reading shares with no other by name."""
    shared = by_cause(reading.budget)
    return square_root(reading.covariance - sum((effect @ effect.T for effect in shared.values()), np.zeros((3, 3))))


def own_seen(reading: Known) -> Floats:
    """Return the covariance (3, 3) of the same of a reference as it is seen, without the discrepancy, which is counted
    by itself."""
    own = [term.covariance for term in reading.budget if term.shared is None and term.name != Source.UNLIKE_THE_CHART]
    return np.asarray(sum(own, np.zeros((3, 3))))


def known_as_unsurely(known: Known, here: Known) -> bool:
    """Tell whether a finish was known by a camera that no chart has shown, about as unsurely as another is read here.

    That it looks here as it is known may then be one camera's error twice, and tells nothing of that camera.
    """
    ours, theirs = by_cause(here.budget), by_cause(known.budget)
    unknown = unknown_cameras((*here.budget, *known.budget))
    unsure = sum(float(np.sum(effect**2)) for cause, effect in ours.items() if cause in unknown)
    other = [effect for cause, effect in theirs.items() if cause in unknown and cause not in ours]
    return unsure > 0 and sum(float(np.sum(effect**2)) for effect in other) >= AS_UNKNOWN * unsure


def by_cause(terms: Sequence[BudgetTerm]) -> dict[str, Floats]:
    """Return effects by shared cause, the first part of a cause alone (as ``shared_covariance`` takes them)."""
    return {term.shared: term.effect for term in reversed(terms) if term.shared is not None}


def unknown_cameras(terms: Sequence[BudgetTerm]) -> set[str]:
    """Return the shared causes that are a camera which no chart has shown."""
    return {term.shared for term in terms if term.shared is not None and term.unknown_camera}


@dataclass(frozen=True, eq=False)
class SeenReference:
    """A reference as the calibration by itself reads it; index: its place among those given."""

    index: int
    reference: Reference
    seen: Known

    @property
    def place(self) -> Floats:
        """(2,) pixels: the middle of its outline."""
        return np.asarray(self.reference.region.mean(axis=0))

    @property
    def error(self) -> Floats:
        """(3,) CIELAB, read minus known."""
        return np.asarray(self.seen.lab - self.reference.reading.lab)

    @cached_property
    def as_unknown(self) -> bool:
        """Whether it was known by a camera as unknown as this picture's."""
        return known_as_unsurely(self.reference.reading, self.seen)


@dataclass(frozen=True, eq=False)
class LeftOut:
    """A reference that was not used: its place among those given, and how it was seen, None where it can't be read.

    why: "unreadable", as ``said`` says; "odd" beside all the others, or beside what a camera can do where it is alone;
    "at odds" with the only other one.
    """

    index: int
    why: Literal["unreadable", "odd", "at odds"]
    seen: SeenReference | None = None
    said: str = ""
