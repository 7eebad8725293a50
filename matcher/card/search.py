"""Looks for reference cards in a small copy of a photograph: markers, 24-patch charts, plain grey rectangles.

Each search returns candidates with corners in pixels of the copy and a confidence from 0 to 1; ``card_in_photo``
decides which of them, if any, to trust.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats

Bytes3 = NDArray[np.uint8]

CHART_SIDES = (1200, 800, 1600)
PLAIN_CHART = 0.6
PLAIN_SIDE = 800
LEAST_UNEVENNESS = 0.8  # CIELAB: noise and coding alone, on a small smoothed copy
MOST_JUDGED = 3000  # pixels of a place that are looked at to judge how plain it is
OPENINGS = (5, 11, 19)
SNAP_OFFSETS = np.arange(-3.0, 10.0)
SNAP_SHARES = np.linspace(0.12, 0.88, 40)
TILT_REACH = 4  # pixels by which one end of a side may lie further out than its middle


@dataclass(frozen=True, eq=False)
class Candidate:
    """A place where a card may be: corners (4, 2) in pixels of the searched picture, confidence 0 to 1."""

    corners: Floats
    confidence: float


def project(homography: Floats, points: NDArray[np.floating[Any]]) -> Floats:
    """Map points (n, 2) through a homography (3, 3)."""
    return np.asarray(cv2.perspectiveTransform(points.reshape(-1, 1, 2).astype(float), homography)).reshape(-1, 2)


def unit_to(corners: Floats) -> Floats:
    """Return the homography that takes the unit square (from its top left, clockwise) to corners (4, 2)."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32)
    return np.asarray(cv2.getPerspectiveTransform(square, corners.astype(np.float32)), dtype=float)


def find_markers(picture: Bytes3, dictionary: str, places: Mapping[int, Floats], sheet: Floats) -> Candidate | None:
    """Find a sheet by its square markers.

    places: marker id to its four corners (4, 2) on the sheet, from the top left, clockwise; sheet: the sheet's
    own corners (4, 2), same unit. Two markers are enough; confidence falls with the error of the fit.
    """
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary)))
    found, ids, _ = detector.detectMarkers(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY))
    if ids is None:
        return None
    seen = {int(number): corners.reshape(4, 2) for number, corners in zip(ids.ravel(), found, strict=True)}
    known = [number for number in seen if number in places]
    if len(known) < 2:
        return None
    on_sheet = np.concatenate([places[number] for number in known])
    in_picture = np.concatenate([seen[number] for number in known]).astype(float)
    homography, _ = cv2.findHomography(on_sheet, in_picture)
    if homography is None:
        return None
    side = float(np.linalg.norm(in_picture[0] - in_picture[1]))
    error = float(np.sqrt(np.mean(np.square(project(homography, on_sheet) - in_picture)))) / side
    confidence = (0.6 + 0.1 * len(known)) * float(np.exp(-((error / 0.08) ** 2)))
    return Candidate(project(homography, sheet), min(confidence, 1.0))


def find_charts(picture: Bytes3) -> list[Candidate]:
    """Find 24-patch charts, best first; corners bound the patches and start at the darkest brown patch.

    The finder's steps are made for charts of a certain size in pixels, so some sizes of the picture are tried, each
    once, until one gives charts that are plainly there.
    """
    candidates: list[Candidate] = []
    for side in dict.fromkeys(min(side, max(picture.shape[:2])) for side in CHART_SIDES):
        small, scale = shrunk(picture, side)
        if min(small.shape[:2]) < 100:
            continue
        detector = cv2.mcc.CCheckerDetector.create()
        detector.setColorChartType(cv2.mcc.MCC24)  # a new finder's is whatever stood in memory: it may look for 140
        if not detector.process(cv2.cvtColor(small, cv2.COLOR_RGB2BGR), 4):
            continue
        for chart in detector.getListColorChecker():
            patches = np.asarray(chart.getColorCharts(), dtype=float).reshape(24, 4, 2)
            corners = _settle_on_patches(small, patches.mean(axis=1))
            if corners is not None:
                candidates.append(Candidate(corners / scale, float(np.exp(-chart.getCost() / 0.03))))
        if any(candidate.confidence > PLAIN_CHART for candidate in candidates):
            break
    return _each_place_once(candidates)


@dataclass(frozen=True, eq=False)
class Rectangles:
    """Even four-cornered places (4, 2) in a small copy of a picture, each with how far edges bear it out, above 0.

    lab: the smoothed copy (h, w, 3). scale: its size over the picture's.
    """

    lab: NDArray[np.float32]
    scale: float
    places: tuple[tuple[Floats, float], ...]


def find_plain(found: Rectangles, sides: tuple[float, float]) -> list[Candidate]:
    """Return the rectangles that are plain, even and neutral, most confident first, each place once.

    sides: the card's longer side over its shorter one, least and most.
    """
    plain = [Candidate(corners, support * _plainness(found.lab, corners, sides)) for corners, support in found.places]
    return [Candidate(item.corners / found.scale, item.confidence) for item in _each_place_once(plain)]


def find_rectangles(picture: Bytes3) -> Rectangles:
    """Find even rectangles, whatever their shape and colour."""
    small, scale = shrunk(picture, PLAIN_SIDE)
    if min(small.shape[:2]) < 24:
        return Rectangles(np.zeros((*small.shape[:2], 3), np.float32), scale, ())
    smooth, edge = edges(small)
    noise = float(np.median(edge))
    found: list[tuple[Floats, float]] = []
    judged: set[bytes] = set()  # most openings leave most shapes as they were
    for threshold in sorted({1.5, 2.5, 4.0, 6.0, 9.0, max(1.5, 1.5 * noise)}):
        flat = (edge < threshold).astype(np.uint8)
        for opening in OPENINGS:
            opened = cv2.morphologyEx(flat, cv2.MORPH_OPEN, np.ones((opening, opening), np.uint8))
            for corners in quads_in(opened, least=0.004, most=0.7):
                if (shape := corners.tobytes()) in judged:
                    continue
                judged.add(shape)
                snapped, support = _snapped(edge, corners)
                if support > 0:
                    found.append((snapped, support))
    return Rectangles(smooth, scale, tuple(found))


def shrunk(picture: Bytes3, side: int) -> tuple[Bytes3, float]:
    """Return the picture with its longer side at most ``side``, and the scale used."""
    scale = min(1.0, side / max(picture.shape[:2]))
    if scale == 1.0:
        return picture, 1.0
    size = (max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8), scale


def _settle_on_patches(picture: Bytes3, centres: Floats) -> Floats | None:
    """Move rough patch centres (24, 2) onto the patches' own centres; return the chart's corners."""
    grid = np.array([[(k % 6 + 0.5) / 6, (k // 6 + 0.5) / 4] for k in range(24)])
    rough, _ = cv2.findHomography(grid, centres)
    if rough is None:
        return None
    height, width = picture.shape[:2]
    pitch = float(np.linalg.norm(centres[1] - centres[0]))
    on_grid, settled = [], []
    for place, centre in zip(grid, centres, strict=True):
        x, y = (round(float(value)) for value in centre)
        if not (0 <= x < width and 0 <= y < height):
            continue
        mask = np.zeros((height + 2, width + 2), np.uint8)
        flags = 4 | cv2.FLOODFILL_MASK_ONLY | cv2.FLOODFILL_FIXED_RANGE | (255 << 8)
        area, _, _, (left, top, wide, high) = cv2.floodFill(picture.copy(), mask, (x, y), 0, (9,) * 3, (9,) * 3, flags)
        square = min(wide, high) / max(wide, high, 1)
        if 0.25 * pitch**2 < area < 1.1 * pitch**2 and square > 0.7:
            on_grid.append(place)
            settled.append((left + (wide - 1) / 2, top + (high - 1) / 2))
    if len(settled) < 8:
        return project(rough, np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]))
    fine, _ = cv2.findHomography(np.array(on_grid), np.array(settled), cv2.RANSAC, 0.12 * pitch)
    return project(rough if fine is None else fine, np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]))


def edges(picture: Bytes3, blur: float = 1.0) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return a CIELAB (h, w, 3) of a picture, as coded, smoothed, and how much it changes at each pixel (h, w).

    blur: standard deviation of the smoothing, in pixels.
    """
    lab = np.asarray(cv2.cvtColor(picture.astype(np.float32) / 255, cv2.COLOR_RGB2Lab))
    smooth = np.stack([cv2.GaussianBlur(cv2.medianBlur(lab[..., k], 5), (0, 0), blur) for k in range(3)], axis=-1)
    kernel = np.ones((3, 3), np.uint8)
    return smooth, np.max([cv2.morphologyEx(smooth[..., k], cv2.MORPH_GRADIENT, kernel) for k in range(3)], axis=0)


def quads_in(flat: Bytes3, least: float, most: float) -> list[Floats]:
    """Return the four-cornered shapes (4, 2) among the connected parts of a mask.

    least, most: bounds of a shape's area, as shares of the picture's.
    """
    height, width = flat.shape
    quads = []
    contours, _ = cv2.findContours(flat, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    for contour in contours:
        area = cv2.contourArea(contour)
        if not least * height * width < area < most * height * width:
            continue
        hull = cv2.convexHull(contour)
        if area < 0.85 * cv2.contourArea(hull):
            continue
        corners = four_corners(hull)
        if corners is not None and area > 0.85 * cv2.contourArea(corners.astype(np.float32)):
            quads.append(corners)
    return quads


def four_corners(hull: NDArray[np.int32]) -> Floats | None:
    """Return the corners (4, 2) of a convex outline (n, 1, 2) that is nearly a quadrilateral, None when it is not."""
    around = cv2.arcLength(hull, True)
    for share in np.linspace(0.01, 0.12, 23):
        corners = cv2.approxPolyDP(hull, share * around, True)
        if len(corners) == 4:
            return np.asarray(corners.reshape(4, 2), dtype=float)
        if len(corners) < 4:
            return None
    return None


def _snapped(edge: NDArray[np.float32], corners: Floats) -> tuple[Floats, float]:
    """Move each side of a quadrilateral onto the nearest edge in the picture; return it and how far the edges bear
    it out, 0 to 1: a card has an edge all along, a chance patch of even bench has none."""
    height, width = edge.shape
    clockwise = corners if signed_area(corners) > 0 else corners[::-1]
    lines, supports = [], []
    inside = float(np.median(_at(edge, clockwise.mean(axis=0) + 0.6 * (clockwise - clockwise.mean(axis=0)))))
    needed = max(1.2, 2.0 * inside)
    sides = np.roll(clockwise, -1, axis=0) - clockwise
    along = sides / np.array([max(float(np.linalg.norm(side)), 1e-6) for side in sides])[:, None]
    outwards = np.stack([along[:, 1], -along[:, 0]], axis=-1)
    on_sides = clockwise[:, None] + SNAP_SHARES[:, None] * sides[:, None]
    strips_of = _at(edge, on_sides[:, None] + SNAP_OFFSETS[:, None, None] * outwards[:, None, None])
    for points, outward, strips in zip(on_sides, outwards, strips_of, strict=True):
        best = int(np.argmax(np.minimum(strips, 4 * needed).mean(axis=1)))
        near = strips[max(best - 1, 0) : best + 2].max(axis=0)
        supports.append(float((near > needed).mean()))
        lines.append(_tilted(points, outward, strips, best, needed))
    moved = np.array([_crossing(lines[k - 1], lines[k]) for k in range(4)])
    if not np.isfinite(moved).all() or (moved < -0.2 * width).any() or (moved > 1.2 * max(height, width)).any():
        return corners, 0.0
    weakest = min(supports)
    return moved, float(np.clip((np.mean(supports) - 0.4) / 0.4, 0, 1) * np.clip((weakest - 0.1) / 0.4, 0, 1))


def _tilted(
    points: Floats, outward: Floats, strips: NDArray[np.float32], best: int, needed: float
) -> tuple[Floats, Floats]:
    """Return the line (a point, a direction) through the edge nearest to each of points (n, 2) of one side.

    strips (k, n): edge at each offset outward from each point; best: the offset that most of the side bears out.
    """
    near = slice(max(best - TILT_REACH, 0), best + TILT_REACH + 1)
    height, offsets = np.clip(strips[near] - needed, 0, 4 * needed), SNAP_OFFSETS[near]
    weight = height.sum(axis=0)
    place = (offsets[:, None] * height).sum(axis=0) / np.maximum(weight, 1e-9)
    along = np.linspace(-1, 1, len(points))
    sure = (weight > 0).astype(float)
    middle, tilt = float(SNAP_OFFSETS[best]), 0.0
    for _ in range(4 if sure.sum() >= 10 else 0):
        close = sure * np.exp(-np.square((place - middle - tilt * along) / 2.0) / 2) + 1e-6
        tilt, middle = _line(along, place, close)
    moved = points + (middle + tilt * along)[:, None] * outward
    direction = moved[-1] - moved[0]
    return np.asarray(moved[0]), np.asarray(direction / max(float(np.linalg.norm(direction)), 1e-6))


def _line(x: Floats, y: Floats, weight: Floats) -> tuple[float, float]:
    """Return slope and height at 0 of the weighted least-squares line, ten times as fast as NumPy's general fit."""
    whole = weight.sum()
    x_mean, y_mean = float(weight @ x / whole), float(weight @ y / whole)
    from_mean = weight * (x - x_mean)
    slope = float(from_mean @ (y - y_mean) / (from_mean @ (x - x_mean)))
    return slope, y_mean - slope * x_mean


def _at(picture: NDArray[np.float32], points: Floats) -> NDArray[np.float32]:
    """Return the picture's values (...,) at the pixels nearest to points (..., 2), 0 outside it."""
    height, width = picture.shape
    x, y = np.moveaxis(np.round(points).astype(int), -1, 0)
    inside = (x >= 0) & (y >= 0) & (x < width) & (y < height)
    return np.where(inside, picture[y.clip(0, height - 1), x.clip(0, width - 1)], 0).astype(np.float32)


def _crossing(first: tuple[Floats, Floats], second: tuple[Floats, Floats]) -> Floats:
    """Return where two lines, each a point and a direction, cross; not finite when they are parallel."""
    (point, along), (other, across) = first, second
    turn = along[0] * across[1] - along[1] * across[0]
    if abs(turn) < 1e-3:
        return np.full(2, np.nan)
    gap = other - point
    return np.asarray(point + along * (gap[0] * across[1] - gap[1] * across[0]) / turn)


def signed_area(corners: Floats) -> float:
    """Return the area of a quadrilateral (4, 2) in square pixels, negative when its corners run anticlockwise."""
    x, y = corners.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def _plainness(lab: NDArray[np.float32], corners: Floats, sides: tuple[float, float]) -> float:
    """Score from 0 to 1 how like a plain grey card a quadrilateral is: shape, evenness, neutrality, lightness."""
    height, width = lab.shape[:2]
    inner = project(unit_to(corners), np.array([[0.12, 0.12], [0.88, 0.12], [0.88, 0.88], [0.12, 0.88]]))
    mask = np.zeros((height, width), np.uint8)
    cv2.fillConvexPoly(mask, np.round(inner).astype(np.int32), 255)
    left, top, wide, high = cv2.boundingRect(mask)
    rows, columns = np.nonzero(mask[top : top + high, left : left + wide])
    some = slice(None, None, 1 + len(rows) // MOST_JUDGED)
    rows, columns = rows[some] + top, columns[some] + left
    inside = lab[rows, columns]
    if len(inside) < 40:
        return 0.0
    middle = np.median(inside, axis=0)
    plane = np.column_stack([np.ones(len(rows)), rows - rows.mean(), columns - columns.mean()])
    rest = inside - plane @ np.linalg.lstsq(plane, inside, rcond=None)[0]
    lengths = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    shorter, longer = sorted((lengths[0] + lengths[2], lengths[1] + lengths[3]))
    aspect = longer / max(shorter, 1e-6)
    lopsided = max(lengths.max() / max(lengths.min(), 1e-6) / aspect, 1.0)
    margin = 2.0
    touches = np.any((corners < margin) | (corners > np.array([width, height]) - 1 - margin))
    unevenness = float(np.percentile(np.abs(rest), 90, axis=0).max())
    evenness = float(np.exp(-((max(unevenness - LEAST_UNEVENNESS, 0.0) / 2.0) ** 2)))
    size = float(np.clip(abs(signed_area(corners)) / (0.02 * width * height), 0.3, 1.0))
    neutral = float(np.exp(-((np.hypot(middle[1], middle[2]) / 16.0) ** 2)))
    lightness = float(np.exp(-(((middle[0] - 52.0) / 30.0) ** 2)))
    shape = float(np.exp(-((max(aspect / (1.25 * sides[1]), 1.0) - 1) ** 2) / 0.02 - ((lopsided - 1) / 0.6) ** 2))
    return size * evenness * neutral * lightness * shape * (0.5 if touches else 1.0)


def _each_place_once(found: list[Candidate]) -> list[Candidate]:
    kept: list[Candidate] = []
    for item in sorted(found, key=lambda candidate: -candidate.confidence):
        if all(overlap(item.corners, other.corners) < 0.3 for other in kept):
            kept.append(item)
    return kept


def overlap(first: Floats, second: Floats) -> float:
    """Return the shared area of two convex quadrilaterals over the smaller one's area."""
    one, two = first.astype(np.float32), second.astype(np.float32)
    shared, _ = cv2.intersectConvexConvex(cv2.convexHull(one), cv2.convexHull(two))
    return float(shared / max(min(cv2.contourArea(one), cv2.contourArea(two)), 1e-6))
