"""Finding tags in a photograph: dark frames in small copies of it, then each one read at full size.

After `mark`, whose drawing it looks for; `frame` gives a tag's exact place, `squares` what it says. What is not read
for certain is left out: nothing is guessed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.card.search import four_corners, project, shrunk, signed_area
from matcher.colour.types import Floats
from matcher.tags.code import TagCode
from matcher.tags.frame import middle_of_frame, tag_to_picture
from matcher.tags.squares import read_squares

if TYPE_CHECKING:
    from matcher.photo.photo import Photo

SIDES = (2000, 700, 240)
"""Longest sides, in pixels, of the copies that are searched: a frame is a line of 1.5 to 8 pixels in one of them."""
LINE = 9
"""Pixels across which a line is looked for."""
DARKER, LEAST_STEP = 0.87, 5
"""A line is darker than this share of the light beside it, as coded, less so many steps of 255."""
LEAST_SHARE = 0.02
"""Of the picture's longer side: the least side of a box round a frame."""
SQUARE_ENOUGH = 0.88
"""Of its four-cornered outline, what a frame's own outline covers."""
LEAST_DRAWN = 0.1
"""Of the middle of a frame: how much is lines, at the least."""
READ_SIDE = 480
"""Pixels across a tag beyond which only every second, third ... pixel is looked at."""
ROUND_IT = 0.15
"""Of a tag's side, what is looked at round it."""


@dataclass(frozen=True, eq=False)
class Sighting:
    """One tag seen in one photograph.

    code: what it says. corners: (4, 2), x and y in pixels of the photograph, the outer corners of the tag's frame,
    clockwise from its own top left. homography: (3, 3), from the tag's own coordinates (x, y; 0 to 1 from its top left
    corner) to pixels; it holds for the whole plane that the tag lies in. mirrored: it stands the wrong way round, in
    a mirror or in a picture that was turned over; its corners then go the other way.
    """

    code: TagCode
    corners: Floats
    homography: Floats
    mirrored: bool = False

    @property
    def tag(self) -> str:
        """The code as it is printed for people: "K7QX2-88"."""
        return str(self.code)

    def as_dict(self) -> dict[str, Any]:
        return {
            "tag": self.tag,
            "studio": self.code.studio,
            "number": self.code.number,
            "corners": self.corners.round(3).tolist(),
            "homography": self.homography.tolist(),
            "mirrored": self.mirrored,
        }


def find_plates(photo: Photo) -> list[Sighting]:
    """Find the tags in a photograph, at any angle, of whichever studio.

    A tag is found from some 3 % of the picture's longer side up at 12 megapixels; one that is half covered, damaged or
    too blurred is left out. Two tags that say the same are both returned. One that is mirrored is no sighting of its
    plate, and left out; ``find_tags`` tells of it.

    Parameters
    ----------
    photo : Photo
        The photograph, from ``open_photo``.

    Returns
    -------
    list of Sighting
        In no order that means anything; empty when there is none.

    Examples
    --------
    >>> from matcher.photo.photo import open_photo
    >>> from matcher.shipped import shipped
    >>> find_plates(open_photo(shipped("demo_images") / "plate_daylight.jpg"))
    []
    """
    return [seen for seen in find_tags(photo) if not seen.mirrored]


def find_tags(photo: Photo) -> list[Sighting]:
    """Find the tags in a photograph as ``find_plates`` does, and those that are mirrored, so that it can be said."""
    grey = np.asarray(cv2.cvtColor(photo.preview(SIDES[0]), cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    found: list[Sighting] = []
    for side in dict.fromkeys(min(side, max(grey.shape)) for side in SIDES):
        small = shrunk(grey, side)[0]
        scale = np.array([photo.width / small.shape[1], photo.height / small.shape[0]])
        for corners in frames_in(small):
            outer = (corners + 0.5) * scale - 0.5
            if any(_within(outer.mean(axis=0), other.corners) for other in found):
                continue
            seen = _read(photo, outer)
            found += [] if seen is None else [seen]
    return found


def frames_in(grey: NDArray[np.uint8]) -> list[Floats]:
    """Return the outer corners (4, 2), clockwise, of whatever in a picture (h, w) may be a tag's frame."""
    lines = _lines(grey)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(lines, connectivity=8, ltype=cv2.CV_32S)
    left, top, wide, high, area = np.asarray(stats)[1:].T  # the first is what is no line
    longer, shorter = np.maximum(wide, high), np.minimum(wide, high)
    likely = (longer >= LEAST_SHARE * max(grey.shape)) & (shorter > 0.3 * longer) & (area > 1.2 * longer)
    total = cv2.integral(lines) // np.iinfo(lines.dtype).max
    frames = []
    for part in np.nonzero(likely)[0]:
        if _share_of_middle(total, left[part], top[part], wide[part], high[part]) < LEAST_DRAWN:
            continue  # an empty frame
        x, y = int(left[part]), int(top[part])
        box = labels[y : y + int(high[part]), x : x + int(wide[part])]
        mask = (box == part + 1).astype(np.uint8)
        outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        hull = cv2.convexHull(np.concatenate(outlines)).astype(np.int32)  # closed where the line is broken
        corners = four_corners(hull)
        if corners is None or cv2.contourArea(hull) < SQUARE_ENOUGH * cv2.contourArea(corners.astype(np.float32)):
            continue
        clockwise = corners if signed_area(corners) > 0 else corners[::-1]
        frames.append(_out_to_the_edge(clockwise) + np.array([x, y]))
    return frames


def _share_of_middle(total: NDArray[np.int32], left: int, top: int, wide: int, high: int) -> float:
    """Return how much of the middle of a box is lines, of their integral."""
    x, y, across, down = left + wide // 4, top + high // 4, max(wide // 2, 1), max(high // 2, 1)
    inside = total[y + down, x + across] - total[y, x + across] - total[y + down, x] + total[y, x]
    return float(inside) / (int(across) * int(down))


def _lines(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return a mask of what is dark beside what lies round it, and thin; the edge of a shadow is not thin."""
    filled = cv2.morphologyEx(grey, cv2.MORPH_CLOSE, np.ones((LINE, LINE), np.uint8))
    most = cv2.convertScaleAbs(cv2.subtract(filled, round(LEAST_STEP / DARKER)), alpha=DARKER)
    return np.asarray(cv2.compare(grey, most, cv2.CMP_LT), dtype=np.uint8)


def _out_to_the_edge(corners: Floats) -> Floats:
    """Move the middles of the outermost pixels half a pixel outwards, both ways."""
    away = corners - corners.mean(axis=0)
    return np.asarray(corners + np.sqrt(0.5) * away / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-6))


def _within(point: Floats, corners: Floats) -> bool:
    x, y = point.tolist()
    return cv2.pointPolygonTest(corners.astype(np.float32), (x, y), False) >= 0


def _read(photo: Photo, corners: Floats) -> Sighting | None:
    """Read the tag whose frame has about these outer corners (4, 2) in the photograph; None when it is not one."""
    side = float(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1).max())
    step = max(1, int(side / READ_SIDE))
    start = np.maximum(np.floor(corners.min(axis=0) - ROUND_IT * side), 0.0)
    end = corners.max(axis=0) + ROUND_IT * side
    light = photo.linear((float(start[0]), float(start[1]), float(end[0]), float(end[1])), step)
    grey = np.asarray(cv2.transform(light, np.array([[0.25, 0.5, 0.25]], np.float32)), dtype=np.float32)
    middle = middle_of_frame(grey, (corners - start) / step)
    read = None if middle is None else read_squares(grey, middle)
    if middle is None or read is None:
        return None
    tag_to_part = tag_to_picture(np.roll(middle, -read.turns, axis=0), read.version)
    if read.mirrored:
        tag_to_part = tag_to_part[:, [1, 0, 2]]  # its x runs where y should
    homography = np.array([[step, 0.0, start[0]], [0.0, step, start[1]], [0.0, 0.0, 1.0]]) @ tag_to_part
    outer = project(homography, np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]))
    return Sighting(read.code, outer, homography / homography[2, 2], read.mirrored)
