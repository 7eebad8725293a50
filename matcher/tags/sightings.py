"""A sighting: one tag seen in one photograph that was read for keeps, and the plate's colour as it was read there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from matcher.colour.types import Floats
from matcher.dates import in_utc, now
from matcher.errors import Caveat, MatcherError, StudioError
from matcher.reading.reading import Reading
from matcher.tags.given import tag_text
from matcher.tags.outlines import checked_points

NO_PLATE = "no-plate"
"""Why a sighting did not serve: nobody has said which plate carries the tag."""


@dataclass(frozen=True, eq=False)
class KeptSighting:
    """One tag seen in one photograph.

    tag: its code. corners: (4, 2) pixels, clockwise from its own top left. trial_id: of the plate that carried it then,
    None where nobody has said. seen_at: when the photograph was taken. photo: SHA-256 of it, or None. outline: of the
    finish, (n, 2) pixels, or None. reading: the finish as it was read there by the *other* references alone, or None
    where it could not be. left_out: why it did not serve as a reference; None when it served. replaced_at: when the
    photograph was read again and another sighting took this one's place.
    """

    tag: str
    corners: Floats
    trial_id: int | None = None
    seen_at: datetime = field(default_factory=now)
    photo: str | None = None
    outline: Floats | None = None
    reading: Reading | None = None
    left_out: Caveat | None = None
    noted_at: datetime = field(default_factory=now)
    replaced_at: datetime | None = None
    id: int | None = None
    uid: str | None = None

    @property
    def served(self) -> bool:
        """Whether it served as a reference."""
        return self.left_out is None

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "uid": self.uid,
            "tag": self.tag,
            "trial": self.trial_id,
            "seen_at": in_utc(self.seen_at).isoformat(),
            "photo": self.photo,
            **place_of(self),
            "reading": None if self.reading is None else self.reading.as_dict(),
            "served": self.served,
            "left_out": None if self.left_out is None else self.left_out.as_dict(),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> KeptSighting:
        """Take back what ``as_dict`` gave. Raises a MatcherError, KeyError or ValueError for what is no sighting."""
        outline, reading, out = data["outline"], data["reading"], data["left_out"]
        return cls(
            tag_text(data["tag"]),
            checked_points(data["corners"], "tag's corners"),
            data["trial"],
            datetime.fromisoformat(data["seen_at"]),
            data["photo"],
            None if outline is None else checked_points(outline, "outline of the finish"),
            None if reading is None else Reading.from_dict(reading),
            None if out is None else Caveat(out["code"], out["message"]),
            uid=data["uid"],
        )


@dataclass(frozen=True)
class SightingPage:
    """Some of the sightings that were asked for, the newest first, and how many there are in all."""

    sightings: tuple[KeptSighting, ...]
    total: int


def sightings_not_kept(error: MatcherError) -> Caveat:
    """Return what is said where a reading is kept, but not which plates were seen in its photograph."""
    return Caveat("sightings-not-kept", f"Which plates were seen in it was not kept. {error}")


def place_of(sighting: KeptSighting) -> dict[str, Any]:
    """Return where a tag and its plate's finish lie in the picture, as it is kept."""
    outline = None if sighting.outline is None else checked_points(sighting.outline, "outline of the finish").tolist()
    return {"corners": checked_points(sighting.corners, "tag's corners").tolist(), "outline": outline}


def check_sighting(columns: Mapping[str, Any]) -> None:
    """Raise a MatcherError for the columns of a sighting that no studio can have written."""
    if tag_text(columns["tag"]) != columns["tag"]:
        raise StudioError(f"A tag's code is kept as it is printed: {columns['tag']!r} is not.")
    place = columns["place"]
    if len(checked_points(place.get("corners", ()), "tag's corners")) != 4:
        raise StudioError("A sighting has the tag's 4 corners: this one has not.")
    if place.get("outline") is not None:
        checked_points(place["outline"], "outline of the finish")
    if columns["whole"] is not None:
        Reading.from_dict(columns["whole"])


def of_columns(row: Mapping[str, Any]) -> KeptSighting:
    """Put a sighting together again from its columns. Raises a MatcherError or ValueError for a damaged one."""
    check_sighting(row)
    outline, code = row["place"].get("outline"), row["left_out_code"]
    return KeptSighting(
        tag=row["tag"],
        corners=np.asarray(row["place"]["corners"], float),
        trial_id=row["trial_id"],
        seen_at=row["seen_at"],
        photo=row["photo_sha256"],
        outline=None if outline is None else np.asarray(outline, float),
        reading=None if row["whole"] is None else Reading.from_dict(row["whole"]),
        left_out=Caveat(code, row["left_out_message"]) if code else None,
        noted_at=row["noted_at"],
        replaced_at=row["replaced_at"],
        id=row["id"],
        uid=row["uid"],
    )


def read_ones(sightings: Sequence[KeptSighting]) -> list[KeptSighting]:
    """Return those whose finish was read and that stand, the oldest first."""
    found = [one for one in sightings if one.reading is not None and one.replaced_at is None]
    return sorted(found, key=lambda one: (one.seen_at, one.uid or ""))
