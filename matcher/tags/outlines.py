"""Where on a plate its finish is read, in the coordinates of its tag, so that every photograph reads the same patch.

A tag's own square goes from (0, 0), its top left, to (1, 1); a flat plate's points keep their place beside it in every
photograph, because a plane is seen through a homography (R. Hartley and A. Zisserman, Multiple View Geometry in
Computer Vision, 2nd ed. 2004, section 2.3; from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.types import Floats
from matcher.dates import now
from matcher.errors import StudioError

if TYPE_CHECKING:
    from matcher.photo.photo import Photo

MOST_POINTS = 2000
FARTHEST = 1e6
"""Pixels, or sides of the tag: no point of a plate lies beyond."""
_MIDDLE = np.array([0.5, 0.5])


@dataclass(frozen=True, eq=False)
class FinishOutline:
    """Where a plate's finish is: points (n, 2) in the coordinates of the tag that it carried when it was marked."""

    trial_id: int
    tag: str
    points: Floats
    noted_at: datetime = field(default_factory=now)
    who: str = ""
    uid: str | None = None


def outline_in_tag(corners: ArrayLike, region: ArrayLike) -> Floats:
    """Return an outline in pixels as it lies in the coordinates of a tag.

    Parameters
    ----------
    corners : array_like, shape (4, 2)
        The tag's corners in pixels, clockwise from its own top left.
    region : array_like, shape (n, 2)
        Outline of the finish in pixels of the same photograph.

    Returns
    -------
    ndarray, shape (n, 2)
        The same outline; the tag's own square goes from (0, 0) to (1, 1).

    Raises
    ------
    StudioError
        The corners are no square seen in perspective, or the outline has no place on its plane.

    Examples
    --------
    >>> outline_in_tag([(10, 10), (30, 10), (30, 30), (10, 30)], [(50, 10), (70, 10), (70, 30)]).round(3).tolist()
    [[2.0, 0.0], [3.0, 0.0], [3.0, 1.0]]
    """
    homography = _to_pixels(corners)
    return _carried_over(np.asarray(np.linalg.inv(homography)), region, _seen(homography, _MIDDLE)[0])


def beside_its_tag(points: Floats) -> Floats:
    """Return an outline (n, 2) in a tag's coordinates, as it is. Raises StudioError for one that covers the tag."""
    import cv2

    if cv2.pointPolygonTest(points.astype(np.float32), (0.5, 0.5), False) >= 0:
        raise StudioError("Mark the finish beside its tag: this outline covers the tag itself.")
    return points


def outline_in_picture(corners: ArrayLike, outline: ArrayLike) -> Floats:
    """Return an outline in a tag's coordinates, (n, 2), as it lies in a picture, in pixels: undoes ``outline_in_tag``.

    Raises StudioError as that does.
    """
    return _carried_over(_to_pixels(corners), outline, _MIDDLE)


def corners_in(photo: Photo, tag: str) -> Floats | None:
    """Return the corners (4, 2) of a tag, by its code, in a photograph; None where it is not seen, or seen twice."""
    from matcher.tags.search import find_plates

    found = [seen.corners for seen in find_plates(photo) if seen.tag == tag]
    return found[0] if len(found) == 1 else None


def _to_pixels(corners: ArrayLike) -> Floats:
    """Return the homography (3, 3) from the tag's own square to pixels."""
    import cv2

    given = checked_points(corners, "tag's corners")
    if given.shape != (4, 2):
        raise StudioError(f"Give the tag's 4 corners: there are {len(given)}.")
    sides = np.roll(given, -1, axis=0) - given
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    if not (np.all(turns > 0) or np.all(turns < 0)) or np.abs(turns).min() < 1e-6 * np.abs(turns).max():
        raise StudioError("Mark the tag's corners again, one after the other around it: these are no square's.")
    middle = given.mean(axis=0)  # near zero, since OpenCV takes single precision
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    found = np.asarray(cv2.getPerspectiveTransform(square, (given - middle).astype(np.float32)), float)
    back = np.array([[1, 0, middle[0]], [0, 1, middle[1]], [0, 0, 1.0]])
    return np.asarray(back @ found)


def _carried_over(homography: Floats, points: ArrayLike, of_tag: Floats) -> Floats:
    """Return points (n, 2) under a homography. of_tag: (2,) a point of the tag, which is seen."""
    moved, sides = _seen(homography, checked_points(points, "outline of the finish"))
    # across the plane's horizon from the tag there is nothing of the plate
    if (
        np.any(sides * _seen(homography, of_tag)[1] <= 0)
        or not np.isfinite(moved).all()
        or np.abs(moved).max() > FARTHEST
    ):
        raise StudioError("Mark the finish and the tag's corners again: the finish does not lie on the tag's plane.")
    return moved


def _seen(homography: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Return where points (n, 2) or (2,) go, and on which side of the plane's horizon each lies, by its sign."""
    each = np.atleast_2d(points)
    moved = np.column_stack([each, np.ones(len(each))]) @ homography.T
    with np.errstate(divide="ignore", invalid="ignore"):
        found = moved[:, :2] / moved[:, 2:]
    return np.asarray(found if np.ndim(points) == 2 else found[0]), np.asarray(moved[:, 2])


def checked_points(points: ArrayLike, what: str) -> Floats:
    """Return points as finite floats (n, 2), n at least 3. Raises StudioError."""
    try:
        given = np.array(points, dtype=float)
    except (TypeError, ValueError):
        given = np.zeros(0)
    if given.ndim != 2 or given.shape[1] != 2 or not 3 <= len(given) <= MOST_POINTS or not np.isfinite(given).all():
        raise StudioError(f"Give the {what} as 3 to {MOST_POINTS} points x, y.")
    if np.abs(given).max() > FARTHEST:
        raise StudioError(f"Give the {what} within the picture: it lies far outside.")
    return given


def body_of(points: ArrayLike) -> dict[str, Any]:
    """Return an outline as it is kept."""
    return {"points": checked_points(points, "outline of the finish").tolist()}


def points_of(body: Mapping[str, Any]) -> Floats:
    """Take back what ``body_of`` gave. Raises StudioError."""
    return checked_points(body.get("points", ()), "outline of the finish")
