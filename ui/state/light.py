"""What is known of the light in a photograph, as a draft keeps it: card, camera profile, and what more was brought.

Everything that a reading hangs on besides the picture and the mark; plain values, so that they can be compared.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matcher.calibration.profile import CameraProfile
    from matcher.reading.glare import PaleSpots
    from ui.draw import Point


@dataclass(frozen=True)
class CardChoice:
    """What is known of neutral in the photograph.

    way: "card", "neutral" or "none"; kind: a card's name or None for any; own: name of the studio's measured card;
    corners: of the card, None when it was found; region: outline of the neutral spot.
    """

    way: str
    kind: str | None = None
    own: str | None = None
    corners: tuple[Point, ...] | None = None
    region: tuple[Point, ...] | None = None

    def as_dict(self) -> dict[str, Any]:
        return dict(vars(self))

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> CardChoice:
        corners, region = data.get("corners"), data.get("region")
        return cls(
            data["way"],
            data.get("kind"),
            data.get("own"),
            None if corners is None else tuple((float(x), float(y)) for x, y in corners),
            None if region is None else tuple((float(x), float(y)) for x, y in region),
        )


@dataclass(frozen=True)
class Frame:
    """One more photograph of the plate: its SHA-256 and the name of its file."""

    photo: str
    name: str


@dataclass(frozen=True)
class More:
    """What is brought beside the photograph, one thing at a time.

    paper: SHA-256 of a sheet's photograph; second: corners of a second card; frames: the plate with the lamp moved.
    """

    paper: str | None = None
    second: tuple[Point, ...] | None = None
    frames: tuple[Frame, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.paper or self.second or self.frames)


@dataclass(frozen=True)
class Light:
    """What is known of the light: the card; "daylight", "profile" (that of the profile) or "unknown"; the camera's
    profile; what more was brought; what pale spots on the finish are: "glare", "finish" or "unknown"; and the tags of
    the studio's plates in the picture that it is not to be read by."""

    card: CardChoice
    kind: str
    profile: CameraProfile | None
    more: More = More()
    pale_spots: PaleSpots = "unknown"
    plates_out: tuple[str, ...] = ()
