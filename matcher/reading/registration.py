"""Where each spot of one photograph's region lies in another of the same plate: features, then a fine fit.

Works on small copies evened out in contrast, so that a lamp that has moved changes little. ``exposures`` uses it.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.errors import PhotoError
from matcher.photo.photo import Photo

Grey = NDArray[np.float32]
Features = tuple[Floats, NDArray[np.float32]]
"""Places (n, 2) and descriptions (n, 128)."""

SMALL_SIDE = 1000
FEWEST_MATCHES = 16
LEAST_SHARE = 0.2  # of the matches, that must agree on one plane
NEAR, FURTHER = 0.15, 0.5
REACH_PX = 3.0
MOST_FINE_PIXELS = 160_000
MOST_FINE_PX = 4.0  # a fine fit that moves a corner further than this has slipped
SURE_LIKENESS = 0.65
LEAST_LIKENESS = 0.12
"""Correlation of the evened-out regions below which they do not show one plate."""


class Registration:
    """One photograph that others are laid on. region: (n, 2) pixels of it, what must lie true."""

    def __init__(self, first: Photo, region: Floats) -> None:
        self._shrink, self._size = _shrinking(first), (first.width, first.height)
        self._outline = np.asarray(region, dtype=float) * self._shrink[0, 0]
        self._even, self._lit = _evened(first)
        self._near = _features(self._even, self._around(NEAR))

    def onto(self, other: Photo, which: str, hint: Floats | None = None) -> Floats:
        """Return (3, 3): pixels of the first photograph to pixels of the other.

        which: names the other in messages. hint: (3, 3), where the card says that it lies, a start where nothing
        better is found. Raises PhotoError when the two do not show one plate.
        """
        even, lit = _evened(other)
        best, likeness = np.eye(3), -1.0
        for coarse in self._coarse_fits(even, other, hint):
            fine, alike = self._fine(coarse, even, lit)
            if alike > likeness:
                best, likeness = fine, alike
            if likeness >= SURE_LIKENESS:
                break
        if likeness < LEAST_LIKENESS:
            raise PhotoError(
                f"{which} does not match the first photograph: keep camera and plate still, "
                "move the lamp only, and not all the way round."
            )
        return np.asarray(np.linalg.inv(_shrinking(other)) @ best @ self._shrink)

    def _coarse_fits(self, even: Grey, other: Photo, hint: Floats | None) -> Iterator[Floats]:
        """Yield starting points (3, 3) on the small copies, the likeliest first."""
        near = _coarse(self._near, _features(even, self._around(FURTHER)))
        if near is not None:
            yield near
        # metal can look new under each lamp: then the card tells, or the camera is on a stand, or the bench tells
        if hint is not None:
            yield np.asarray(_shrinking(other) @ hint @ np.linalg.inv(self._shrink))
        if (other.width, other.height) == self._size:
            yield np.eye(3)
        elsewhere = _coarse(_features(self._even, 255 - self._around(0.0)), _features(even, None))
        if elsewhere is not None:
            yield elsewhere

    def _around(self, margin: float) -> NDArray[np.uint8]:
        """Mark the region and what is within a margin, as a share of its size: farther things lie in other planes."""
        low, high = self._outline.min(axis=0), self._outline.max(axis=0)
        mask = np.zeros(self._even.shape, np.uint8)
        left, top = np.maximum(low - margin * (high - low) - 4, 0).astype(int)
        right, bottom = np.ceil(high + margin * (high - low) + 4).astype(int) + 1
        mask[top:bottom, left:right] = 255
        return mask

    def _fine(self, coarse: Floats, even: Grey, lit: NDArray[np.uint8]) -> tuple[Floats, float]:
        """Return the fit improved by correlation (Evangelidis and Psarakis 2008), and how alike the regions are."""
        left, top = np.maximum(np.floor(self._outline.min(axis=0)), 0).astype(int)
        right, bottom = np.ceil(self._outline.max(axis=0)).astype(int) + 1
        template = self._even[top:bottom, left:right]
        shift = np.array([[1.0, 0, left], [0, 1, top], [0, 0, 1]])
        start = coarse @ shift
        best, likeness = start, self._likeness(start, template, even, lit, (left, top))
        found = _correlated(template, even, lit, start)
        if found is None:  # no convergence: the coarse fit stands
            return coarse, likeness
        corners = np.array([[[0.0, 0], [right - left, 0], [right - left, bottom - top], [0, bottom - top]]])
        moved = cv2.perspectiveTransform(corners, found) - cv2.perspectiveTransform(corners, start)
        better = self._likeness(found, template, even, lit, (left, top))
        if np.abs(moved).max() <= MOST_FINE_PX and better > likeness:
            best, likeness = found, better
        return np.asarray(best @ np.linalg.inv(shift)), likeness

    def _likeness(
        self, matrix: Floats, template: Grey, even: Grey, lit: NDArray[np.uint8], corner: tuple[int, int]
    ) -> float:
        """Return the correlation of two evened-out regions where neither glares."""
        size, flags = template.shape[::-1], cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        seen = cv2.warpPerspective(even, matrix, size, flags=flags)
        both = cv2.warpPerspective(lit, matrix, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP) > 0
        both &= self._lit[corner[1] : corner[1] + size[1], corner[0] : corner[0] + size[0]] > 0
        inside = np.zeros(template.shape, np.uint8)
        cv2.fillPoly(inside, [np.rint(self._outline - corner).astype(np.int32)], 1)
        both &= inside > 0
        if both.sum() < 100:
            return 0.0
        # a lamp from the other side turns relief inside out: then at least its strength is in the same places
        return max(_correlation(template[both], seen[both]), _correlation(abs(template[both]), abs(seen[both])))


def _shrinking(photo: Photo) -> Floats:
    """Return (3, 3) from pixels to those of the small copy."""
    share = min(1.0, SMALL_SIDE / max(photo.width, photo.height))
    return np.diag([share, share, 1.0])


def _correlated(template: Grey, even: Grey, lit: NDArray[np.uint8], start: Floats) -> Floats | None:
    """Return the transform (3, 3) of best correlation near a start, None when there is none."""
    share = min(1.0, float(np.sqrt(MOST_FINE_PIXELS / template.size)))
    if share < 1.0:
        template, even = (
            np.asarray(cv2.resize(grey, None, fx=share, fy=share, interpolation=cv2.INTER_AREA), np.float32)
            for grey in (template, even)
        )
        lit = np.asarray(cv2.resize(lit, even.shape[::-1], interpolation=cv2.INTER_NEAREST), np.uint8)
    smaller = np.diag([share, share, 1.0])
    begin = smaller @ start @ np.linalg.inv(smaller)
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 25, 1e-4)
    try:
        _, found = cv2.findTransformECC(
            template, even, (begin / begin[2, 2]).astype(np.float32), cv2.MOTION_HOMOGRAPHY, criteria, lit, 5
        )
    except cv2.error:
        return None
    return np.asarray(np.linalg.inv(smaller) @ found.astype(float) @ smaller)


def _correlation(first: Grey, second: Grey) -> float:
    first, second = first - first.mean(), second - second.mean()
    return float(first @ second / max(np.sqrt(float(first @ first) * float(second @ second)), 1e-9))


def _evened(photo: Photo) -> tuple[Grey, NDArray[np.uint8]]:
    """Return a small grey copy with local contrast of 1 everywhere, (h, w), and 255 where nothing glares."""
    grey = cv2.cvtColor(photo.preview(SMALL_SIDE), cv2.COLOR_RGB2GRAY)
    bright = (grey > 240).astype(np.uint8)
    lit = np.where(cv2.dilate(bright, np.ones((5, 5), np.uint8)) > 0, 0, 255).astype(np.uint8)
    steps = np.log(grey.astype(np.float32) + 8)
    steps -= cv2.GaussianBlur(steps, (0, 0), 12)
    contrast = np.sqrt(cv2.GaussianBlur(steps * steps, (0, 0), 16)) + np.float32(0.02)
    return np.clip(steps / contrast, -3, 3), lit


def _features(even: Grey, mask: NDArray[np.uint8] | None) -> Features:
    """Return places (n, 2) and descriptions (n, 128) of features."""
    coded = np.rint(even * 42 + 128).clip(0, 255).astype(np.uint8)
    points, described = cv2.SIFT.create(nfeatures=1500).detectAndCompute(coded, mask)
    if described is None:
        return np.zeros((0, 2)), np.zeros((0, 128), np.float32)
    return np.array([point.pt for point in points], dtype=float), described


def _coarse(first: Features, other: Features) -> Floats | None:
    """Return (3, 3) from places of one picture's features to those of another, None when they do not agree."""
    if min(len(first[0]), len(other[0])) < FEWEST_MATCHES:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(first[1], other[1], k=2)
    good = [pair[0] for pair in pairs if len(pair) == 2 and pair[0].distance < 0.8 * pair[1].distance]
    if len(good) < FEWEST_MATCHES:
        return None
    source, goal = first[0][[m.queryIdx for m in good]], other[0][[m.trainIdx for m in good]]
    cv2.setRNGSeed(1)  # OpenCV's sampling has no generator to pass in: the same photographs give the same fit
    matrix, agree = cv2.findHomography(source, goal, cv2.RANSAC, REACH_PX, maxIters=4000)
    if matrix is None or agree.sum() < max(FEWEST_MATCHES, LEAST_SHARE * len(good)):
        return None
    return np.asarray(matrix, dtype=float)
