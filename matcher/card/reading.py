"""What a photograph shows of a card whose corners are known: its patches' light, read the right way up.

After ``cards``; ``card_in_photo`` finds the corners, ``calibrating`` takes the reading on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from matcher.card.card import Card, Patch
from matcher.card.search import project, signed_area, unit_to
from matcher.colour.cielab import lab_to_xyz
from matcher.colour.types import Floats
from matcher.errors import CardError, Caveat, ReadingError
from matcher.photo.photo import Photo
from matcher.photo.region import block_means, covariance_of_mean, pixels_inside, trimmed_mean

MIRRORED = "The photo is mirrored, as in a looking-glass: turn that off in the camera, and take the photo again."
MANY_PATCHES = 12
CONTRAST = (0.4, 2.5)  # of a card's steps in log light, over what the picture shows of them, for any camera's tones
MISFIT = 0.4  # a chart read the wrong way round leaves 0.7 or more, the right way 0.05 to 0.25


@dataclass(frozen=True, eq=False)
class PatchReading:
    """What a photograph shows of a patch.

    rgb (3,): mean linear light; covariance (3, 3) of that mean; blocks: places (m, 2) and rgb (m, 3) of parts of
    the patch, for judging the light over it; outline (4, 2) pixels; clipped_share 0 to 1.
    """

    patch: Patch
    rgb: Floats
    covariance: Floats
    blocks: tuple[Floats, Floats]
    outline: Floats
    clipped_share: float

    @property
    def unevenness(self) -> float:
        """Spread of brightness over the patch: 5th to 95th percentile of its blocks, as a share of the mean."""
        brightness = self.blocks[1].sum(axis=1)
        low, high = np.quantile(brightness, [0.05, 0.95])
        return float((high - low) / max(brightness.mean(), 1e-9))


@dataclass(frozen=True, eq=False)
class CardReading:
    """A card in a photograph: corners (4, 2) pixels, clockwise from the card's own top left; confidence 0 to 1;
    found_by: "markers", "chart", "shape", "corners" or "neutral spot"."""

    card: Card
    corners: Floats
    confidence: float
    found_by: str
    patches: tuple[PatchReading, ...]
    caveats: tuple[Caveat, ...] = ()

    @property
    def neutrals(self) -> tuple[PatchReading, ...]:
        """The neutral patches that can be used: neither clipped nor black."""
        return tuple(
            item for item in self.patches if item.patch.neutral and item.clipped_share < 0.2 and item.rgb.min() > 0
        )

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "kind": self.card.name,
            "title": self.card.title,
            "source": self.card.source,
            "corners": self.corners.tolist(),
            "confidence": self.confidence,
            "found_by": self.found_by,
            "patches": [
                {"name": item.patch.name, "lab": item.patch.lab.tolist(), "linear_rgb": item.rgb.tolist()}
                for item in self.patches
            ],
        }


def read_patches(photo: Photo, card: Card, corners: Floats, found_by: str) -> tuple[PatchReading, ...]:
    """Read each patch of a card with these corners (4, 2) in the picture. Raises CardError when one lies out of it."""
    homography = unit_to(corners)
    readings = []
    for patch in card.patches:
        left, top, right, bottom = patch.box
        outline = project(homography, np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))
        try:
            seen = pixels_inside(photo, outline, most=40_000)
        except ReadingError as error:
            if found_by == "corners":
                said = "The card as marked is not wholly in the picture: mark its corners again, or retake the photo."
            else:
                said = "The card is not wholly in the picture: mark its corners, or retake the photo."
            raise CardError(said) from error
        usable = seen.only(~seen.clipped) if seen.clipped.mean() < 0.5 else seen
        readings.append(
            PatchReading(
                patch,
                trimmed_mean(usable),
                covariance_of_mean(usable),
                block_means(usable),
                outline,
                float(seen.clipped.mean()),
            )
        )
    return tuple(readings)


def best_way_up(photo: Photo, card: Card, corners: Floats, found_by: str) -> tuple[Floats, tuple[PatchReading, ...]]:
    """Read a card in the way round that fits its own colours best: its corners (4, 2) in that order, and its patches.

    Raises CardError when no way round fits, or only a mirrored one.
    """
    if found_by == "markers":
        return corners, read_patches(photo, card, corners, found_by)
    ways = [np.roll(corners, turn, axis=0) for turn in range(4)]
    read = [read_patches(photo, card, way, found_by) for way in ways]
    errors = [_misfit(readings) for readings in read]
    best = int(np.argmin(errors))
    if len(card.patches) >= MANY_PATCHES and errors[best] <= MISFIT and signed_area(corners) < 0:
        raise CardError(MIRRORED)
    if errors[best] > MISFIT:
        if len(card.patches) >= MANY_PATCHES and _fits_mirrored(photo, card, ways, found_by):
            raise CardError(MIRRORED)
        if found_by == "corners":
            raise CardError(
                f"The marked area does not look like a {card.title}: mark the outer corners of its patches again."
            )
        raise CardError(
            f"What looks like a {card.title} here has other colours than one: mark its four corners, or retake the "
            "photo with it flat, uncovered and evenly lit."
        )
    return ways[best], read[best]


def _fits_mirrored(photo: Photo, card: Card, ways: list[Floats], found_by: str) -> bool:
    return min(_misfit(read_patches(photo, card, way[::-1], found_by)) for way in ways) <= MISFIT


def _misfit(readings: tuple[PatchReading, ...]) -> float:
    """Return which share of the patches' differences is not explained by their own values: 0 fits, 1 does not.

    With many patches any camera and light is allowed for (a 3×3 matrix); with few only their lightness counts, and
    the contrast between them must be the card's own, or noise across one even patch would pass for its steps.
    """
    seen = np.array([item.rgb for item in readings])
    wanted = lab_to_xyz(np.array([item.patch.lab for item in readings]))
    if len(readings) < MANY_PATCHES:
        seen, wanted = np.log(np.maximum(seen.mean(axis=1, keepdims=True), 1e-5)), np.log(wanted[:, 1:2])
        seen = np.column_stack([seen, np.ones(len(seen))])
    coefficients = np.linalg.lstsq(seen, wanted, rcond=None)[0]
    if len(readings) < MANY_PATCHES and not CONTRAST[0] < coefficients[0, 0] < CONTRAST[1]:
        return 1.0
    left = np.square(wanted - seen @ coefficients).sum()
    return float(np.sqrt(left / np.square(wanted - wanted.mean(axis=0)).sum()))
