"""Finds a 24-patch chart as a grid of even squares whose colours fit the chart's own.

Used before OpenCV's chart finder, which often misses a chart on a textured bench. Works on a small copy of the
photograph, like ``matcher.card.search``.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.card.search import Bytes3, Candidate, edges, project, quads_in, shrunk
from matcher.colour.types import Floats

SIDE = 1600
ROWS, COLUMNS = 4, 6
FEWEST_SQUARES = 12
MOST_GRIDS = 40
FIT = 0.35
SAME_SHARE = 0.3  # of its squares: a grid that has more in common with one already taken is that chart again


@dataclass(frozen=True, eq=False)
class Grid:
    """Squares in rows: homography from whole-number places to pixels, and the places (n, 2) that are filled."""

    homography: Floats
    places: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Grids:
    """Even squares of a picture that lie in grids, those of most squares first, each with the squares (n,) it takes.

    light: the small copy (h, w, 3), roughly linear; scale: its size over the picture's.
    """

    light: NDArray[np.float32]
    scale: float
    grids: list[tuple[Grid, NDArray[np.bool_]]]


def find_grids(picture: Bytes3) -> Grids:
    """Find what may be charts, whatever their colours."""
    small, scale = shrunk(picture, SIDE)
    decoded = cv2.LUT(small, np.power(np.arange(256, dtype=np.float32) / 255, 2.2))
    light = np.asarray(cv2.blur(decoded, (5, 5)), dtype=np.float32)
    return Grids(light, scale, _grids(*_squares(small))[:MOST_GRIDS])


def mirrored(wanted: Floats) -> Floats:
    """Return the patches' XYZ (24, 3) as a looking-glass shows them."""
    return np.asarray(wanted.reshape(ROWS, COLUMNS, 3)[:, ::-1].reshape(-1, 3))


def charts_among(seen: Grids, wanted: Floats) -> list[Candidate]:
    """Return the grids that are 24-patch charts, best first; corners start at the first patch's own corner.

    wanted: XYZ (24, 3) of the patches, row by row. A chart is taken up to any camera and light (a 3×3 matrix).
    """
    light, scale = seen.light, seen.scale
    found: list[Candidate] = []
    taken = np.zeros(len(seen.grids[0][1]) if seen.grids else 0, bool)
    for grid, used in seen.grids:
        if (taken & used).sum() > SAME_SHARE * used.sum():
            continue
        candidates = _fitted(light, grid, wanted)
        if candidates:
            taken |= used
            found += [Candidate(item.corners / scale, item.confidence) for item in candidates]
    return sorted(found, key=lambda item: -item.confidence)


def _squares(picture: Bytes3) -> tuple[Floats, Floats]:
    """Return centres (n, 2) and sides (n,) of the even squares in a picture, each place once."""
    _, edge = edges(picture)
    centres: list[Floats] = []
    sizes: list[float] = []
    for threshold in (2.0, 4.0, 7.0, 12.0):
        for corners in quads_in((edge < threshold).astype(np.uint8), least=0.00015, most=0.04):
            lengths = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
            side = float(lengths.mean())
            if lengths.max() > 1.9 * lengths.min() or side < 7:
                continue
            middle = corners.mean(axis=0)
            if all(np.linalg.norm(middle - other) > 0.5 * side for other in centres):
                centres.append(middle)
                sizes.append(side)
    return np.array(centres).reshape(-1, 2), np.array(sizes)


def _grids(centres: Floats, sizes: Floats) -> list[tuple[Grid, NDArray[np.bool_]]]:
    """Return the grids that squares form, those of most squares first, each with the squares (n,) it takes.

    The same squares may form several grids, one sheared against the other; only their colours tell which is right.
    """
    grids: dict[tuple[bytes, frozenset[tuple[int, ...]]], tuple[Grid, NDArray[np.bool_]]] = {}
    for seed in range(len(centres)):
        away = centres - centres[seed]
        distance = np.linalg.norm(away, axis=1)
        alike = (sizes > 0.6 * sizes[seed]) & (sizes < 1.7 * sizes[seed])
        near = np.flatnonzero(alike & (distance > 0.9 * sizes[seed]) & (distance < 2.2 * sizes[seed]))
        near = near[np.argsort(distance[near])][:4]
        for first in near:
            for second in near:
                turn = float(away[first][0] * away[second][1] - away[first][1] * away[second][0])
                if turn < 0.7 * distance[first] * distance[second]:
                    continue
                steps = np.column_stack([away[first], away[second]])
                grown = _grown(centres, sizes, seed, steps)
                if grown is not None:
                    directions = frozenset(_direction(step / sizes[seed]) for step in steps.T)
                    grids.setdefault((grown[1].tobytes(), directions), grown)
    return sorted(grids.values(), key=lambda item: -int(item[1].sum()))


def _direction(step: Floats) -> tuple[int, ...]:
    """Return a step rounded to half a square, the same for its opposite."""
    rounded = tuple(int(value) for value in np.round(2 * step))
    return max(rounded, tuple(-value for value in rounded))


def _grown(centres: Floats, sizes: Floats, seed: int, steps: Floats) -> tuple[Grid, NDArray[np.bool_]] | None:
    """Grow a grid from one square and its two steps (2, 2), ring by ring, letting perspective in as it grows."""
    to_picture = np.eye(3)
    to_picture[:2, :2], to_picture[:2, 2] = steps, centres[seed]
    share = sizes[seed] / np.sqrt(np.linalg.norm(steps[:, 0]) * np.linalg.norm(steps[:, 1]))
    used: NDArray[np.bool_] = np.zeros(len(centres), dtype=np.bool_)
    for reach in (1.6, 2.6, 4.0, 5.0, 5.0):
        places = project(_inverse(to_picture), centres)
        whole = np.asarray(np.round(places), dtype=float)
        pitch = _pitch(to_picture, whole)
        sized = np.abs(np.log(sizes / np.maximum(pitch, 1e-6) / share)) < 0.3
        near = (np.abs(places - whole).max(axis=1) < 0.18) & (np.abs(whole).max(axis=1) <= reach)
        used = np.asarray(sized & near, dtype=np.bool_)
        if used.sum() < 5:
            return None
        fitted, _ = cv2.findHomography(whole[used], centres[used])
        if fitted is None or abs(np.linalg.det(fitted)) < 1e-9:
            return None
        to_picture = np.asarray(fitted, dtype=float)
    if used.sum() < FEWEST_SQUARES:
        return None
    taken = np.round(project(_inverse(to_picture), centres[used]))
    return Grid(to_picture, taken.astype(np.int64)), used


def _inverse(homography: Floats) -> Floats:
    return np.asarray(np.linalg.inv(homography), dtype=float)


def _pitch(to_picture: Floats, places: Floats) -> Floats:
    """Return how far apart in pixels (n,) the squares around places (n, 2) of a grid are."""
    here = project(to_picture, places)
    right, below = (project(to_picture, places + np.array(step)) for step in ([1.0, 0.0], [0.0, 1.0]))
    return (np.linalg.norm(right - here, axis=1) + np.linalg.norm(below - here, axis=1)) / 2


def _fitted(light: NDArray[np.float32], grid: Grid, wanted: Floats) -> list[Candidate]:
    """Lay the chart's four rows of six over a grid every way that fits, and keep the ways whose colours fit.

    Two charts that lie in line make one grid, so every place that shares no square with a better one is kept.
    """
    low = grid.places.min(axis=0) - 2 * COLUMNS
    filled = np.zeros(grid.places.max(axis=0) + 2 * COLUMNS + 1 - low, bool)
    filled[tuple((grid.places - low).T)] = True
    rows, columns = np.divmod(np.arange(ROWS * COLUMNS), COLUMNS)
    fits: list[tuple[float, Floats, set[tuple[int, int]]]] = []
    for along, down in (((1, 0), (0, 1)), ((0, 1), (-1, 0)), ((-1, 0), (0, -1)), ((0, -1), (1, 0))):
        layout = np.outer(columns, along) + np.outer(rows, down)
        inner = slice(COLUMNS, filled.shape[0] - COLUMNS), slice(COLUMNS, filled.shape[1] - COLUMNS)
        held = sum(np.roll(filled, (-i, -j), (0, 1))[inner].astype(int) for i, j in layout)
        for x, y in np.argwhere(held >= FEWEST_SQUARES) + low + COLUMNS:
            places = layout + [x, y]
            misfit = _misfit(light, project(grid.homography, places.astype(float)), wanted)
            if misfit < FIT:
                ends = np.array([[-0.5, -0.5], [5.5, -0.5], [5.5, 3.5], [-0.5, 3.5]])
                on_grid = ends @ np.array([along, down], float) + [x, y]
                squares = {(int(i), int(j)) for i, j in places}
                fits.append((misfit, project(grid.homography, on_grid), squares))
    kept: list[tuple[float, Floats, set[tuple[int, int]]]] = []
    for fit in sorted(fits, key=lambda item: item[0]):
        if all(fit[2].isdisjoint(other[2]) for other in kept):
            kept.append(fit)
    return [Candidate(corners, float(np.exp(-((misfit / FIT) ** 2) / 2))) for misfit, corners, _ in kept]


def _misfit(light: NDArray[np.float32], points: Floats, wanted: Floats) -> float:
    """Return the share of the patches' differences that no 3×3 matrix explains: 0 fits, 1 does not."""
    height, width = light.shape[:2]
    pixels = np.round(points).astype(int)
    if (pixels < 0).any() or (pixels >= [width, height]).any():
        return np.inf
    seen = light[pixels[:, 1], pixels[:, 0]].astype(float)
    coefficients = np.linalg.lstsq(seen, wanted, rcond=None)[0]
    left = np.square(wanted - seen @ coefficients).sum()
    return float(np.sqrt(left / np.square(wanted - wanted.mean(axis=0)).sum()))
