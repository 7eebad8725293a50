"""Surfaces for the rendered bench: noise fields, wood, steel, cloth, and the relief and mottle of a cast plate.

Each function draws one raster in the surface's own plane; ``render`` gives it spectra and puts it into the scene.
All lengths are in millimetres until multiplied by ``px_per_mm``.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from tests.rendering.sensor import Pixels

Shape = tuple[int, int]


def smooth_noise(
    shape: Shape, cell_px: float | tuple[float, float], rng: np.random.Generator, finest_px: float = 1.0
) -> Pixels:
    """Return a normal field (h, w), mean 0 and deviation about 1, that varies over ``cell_px`` (across, or x and y).

    Cells finer than ``finest_px`` are drawn at that: with 0 the same draws are made at every resolution.
    """
    across, down = (cell_px, cell_px) if isinstance(cell_px, int | float) else cell_px
    height, width = shape
    rows = max(4, round(height / max(down, finest_px)) + 3)
    columns = max(4, round(width / max(across, finest_px)) + 3)
    grid = rng.standard_normal((rows, columns), dtype=np.float32)
    field = cv2.resize(grid, (width, height), interpolation=cv2.INTER_CUBIC)
    return np.asarray(field * np.float32(1.25), dtype=np.float32)


def fractal_noise(
    shape: Shape,
    cell_px: float | tuple[float, float],
    octaves: int,
    rng: np.random.Generator,
    roughness: float = 0.55,
    finest_px: float = 1.0,
) -> Pixels:
    """Return a sum of ``smooth_noise``, each at half the cell and ``roughness`` times the height; deviation 1."""
    across, down = (cell_px, cell_px) if isinstance(cell_px, int | float) else cell_px
    total = np.zeros(shape, dtype=np.float32)
    power = 0.0
    for octave in range(octaves):
        scale, height = 0.5**octave, roughness**octave
        if octave and max(across, down) * scale < finest_px:
            break
        total += np.float32(height) * smooth_noise(shape, (across * scale, down * scale), rng, finest_px)
        power += height**2
    return np.asarray(total / np.float32(np.sqrt(power)), dtype=np.float32)


def standardised(field: Pixels) -> Pixels:
    """Return the field with mean 0 and deviation 1."""
    deviation = float(field.std())
    return np.asarray((field - field.mean()) / np.float32(deviation or 1.0), dtype=np.float32)


def smoothstep(low: float, high: float, values: Pixels) -> Pixels:
    """Return 0 below ``low``, 1 above ``high`` and a smooth rise between."""
    t = np.clip((values - np.float32(low)) / np.float32(max(high - low, 1e-6)), 0.0, 1.0)
    return np.asarray(t * t * (3 - 2 * t), dtype=np.float32)


def wood_shares(shape: Shape, px_per_mm: float, rng: np.random.Generator) -> Pixels:
    """Return the share (h, w) of dark grain, 0 to 1, in old bench boards that run across the picture."""
    y_mm = np.arange(shape[0], dtype=np.float32)[:, None] / np.float32(px_per_mm)
    board_mm = 118.0
    start = rng.uniform(0, board_mm)
    board = np.floor((y_mm + start) / board_mm).astype(int)
    in_board = (y_mm + start) % board_mm
    offsets = rng.uniform(-40, 40, board.max() + 2)
    tones = rng.normal(0, 0.09, board.max() + 2)
    bend = 15.0 * smooth_noise(shape, (520 * px_per_mm, 62 * px_per_mm), rng)
    bend += 0.9 * smooth_noise(shape, (80 * px_per_mm, 3 * px_per_mm), rng)
    ring = np.sin((y_mm + offsets[board].astype(np.float32) + bend) * np.float32(2 * np.pi / 9.0))
    fibre = smooth_noise(shape, (60 * px_per_mm, 0.9 * px_per_mm), rng)
    hair = smooth_noise(shape, (24 * px_per_mm, 0.28 * px_per_mm), rng)
    pores = smoothstep(1.7, 2.6, smooth_noise(shape, (7 * px_per_mm, 0.32 * px_per_mm), rng))
    stain = fractal_noise(shape, 60 * px_per_mm, 4, rng)
    share = 0.34 + 0.05 * smoothstep(0.1, 1.0, ring.astype(np.float32)) + 0.05 * fibre + 0.045 * hair + 0.22 * pores
    share += 0.05 * stain + tones[board].astype(np.float32)
    share += _bottle_ring(shape, px_per_mm, rng) + _cuts(shape, px_per_mm, rng)
    seam = np.exp(-(((in_board - 0.6) / 0.55) ** 2)) + 0.35 * np.exp(-(((in_board - board_mm + 1) / 1.2) ** 2))
    return np.clip(share + 0.75 * seam.astype(np.float32), 0.0, 1.0)


def _bottle_ring(shape: Shape, px_per_mm: float, rng: np.random.Generator) -> Pixels:
    """The stain that a wet bottle left on a bench."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32) / np.float32(px_per_mm)
    centre = rng.uniform(0, 1, 2) * (shape[1], shape[0]) / px_per_mm
    radius = np.hypot(x - np.float32(centre[0]), y - np.float32(centre[1])) - np.float32(rng.uniform(30, 38))
    broken = 0.6 + 0.4 * smooth_noise(shape, 22 * px_per_mm, rng)
    return np.asarray(0.13 * np.clip(broken, 0, 1.2) * np.exp(-((radius / 1.4) ** 2)), dtype=np.float32)


def _cuts(shape: Shape, px_per_mm: float, rng: np.random.Generator) -> Pixels:
    """Knife and scribe marks in a bench top."""
    marks = np.zeros(shape, dtype=np.uint8)
    for _ in range(9):
        start = rng.uniform(0, 1, 2) * (shape[1], shape[0])
        angle, length = rng.uniform(-1.2, 1.2), rng.uniform(12, 60) * px_per_mm
        end = start + length * np.array([np.cos(angle), np.sin(angle)])
        _line(marks, start, end, float(rng.uniform(60, 220)), max(1, round(0.22 * px_per_mm)))
    return marks.astype(np.float32) * np.float32(0.3 / 255)


def steel_shares(shape: Shape, px_per_mm: float, rng: np.random.Generator) -> Pixels:
    """Return the share (h, w) of dull scale, 0 to 1, in a worn steel bench top."""
    brushed = 0.6 * smooth_noise(shape, (90 * px_per_mm, 0.7 * px_per_mm), rng)
    brushed += 0.6 * smooth_noise(shape, (25 * px_per_mm, 0.4 * px_per_mm), rng)
    clouds = fractal_noise(shape, 70 * px_per_mm, 6, rng, roughness=0.62)
    spatter = smoothstep(1.9, 2.5, fractal_noise(shape, 2.2 * px_per_mm, 2, rng))
    share = 0.56 + 0.055 * brushed + 0.10 * clouds + 0.2 * spatter
    scratches = np.zeros(shape, dtype=np.uint8)
    for _ in range(34):
        start = rng.uniform(0, 1, 2) * (shape[1], shape[0])
        angle, length = rng.uniform(-0.5, 0.5), rng.uniform(10, 90) * px_per_mm
        end = start + length * np.array([np.cos(angle), np.sin(angle)])
        _line(scratches, start, end, float(rng.uniform(60, 200)), max(1, round(0.3 * px_per_mm)))
    return np.clip(share - np.float32(0.3 / 255) * scratches, 0.0, 1.0)


def cloth_shares(shape: Shape, px_per_mm: float, rng: np.random.Generator) -> Pixels:
    """Return the share (h, w) of shade between threads, 0 to 1, in a coarse woven cloth with soft folds."""
    height, width = shape
    y, x = np.mgrid[0:height, 0:width].astype(np.float32) / np.float32(px_per_mm)
    warp = 0.3 * smooth_noise(shape, 9 * px_per_mm, rng)
    weave = np.sin((x + warp) * np.float32(2 * np.pi / 1.15)) * np.sin((y + warp) * np.float32(2 * np.pi / 1.3))
    visible = min(1.0, max(0.0, px_per_mm / 1.6 - 0.6))  # finer than the raster it would only alias
    slub = smooth_noise(shape, (12 * px_per_mm, 0.8 * px_per_mm), rng) + smooth_noise(
        shape, (0.8 * px_per_mm, 12 * px_per_mm), rng
    )
    folds = fractal_noise(shape, (150 * px_per_mm, 70 * px_per_mm), 3, rng)
    return np.clip(0.45 + 0.2 * visible * weave + 0.05 * slub + 0.09 * folds, 0.0, 1.0)


def board_shares(shape: Shape, px_per_mm: float, rng: np.random.Generator) -> Pixels:
    """Return the share (h, w) of shade, 0 to 1, in a sheet of board or paper: faint fibre, and clouds of handling."""
    fibre = smooth_noise(shape, (4 * px_per_mm, 0.7 * px_per_mm), rng)
    return np.clip(0.45 + 0.06 * fibre + 0.12 * fractal_noise(shape, 80 * px_per_mm, 3, rng), 0.0, 1.0)


@dataclass(frozen=True, eq=False)
class PlateSurface:
    """A cast plate's face, each (h, w): outline 0 to 1, relief slopes along x and y, high points 0 to 1, mottle
    in standard deviations (mean 0 and deviation 1 over the plate), rim 0 to 1 where edges and numbers catch light."""

    outline: Pixels
    slope_x: Pixels
    slope_y: Pixels
    high_points: Pixels
    mottle: Pixels
    rim: Pixels


def plate_surface(
    size_mm: tuple[float, float],
    px_per_mm: float,
    bare_share: float,
    application: str,
    label: str,
    rng: np.random.Generator,
    relief: float = 1.0,
) -> PlateSurface:
    """Draw a sand-cast sample plate: grain, dents, bevelled edge, a drilled hole, a punched number.

    bare_share: area share of the high points, met on average over the face. relief: depth of the modelling, 1 as
    a plain sample plate has it.
    """
    shape = (max(8, round(size_mm[1] * px_per_mm)), max(8, round(size_mm[0] * px_per_mm)))
    inside_mm = _inside_distance_mm(shape, px_per_mm, rng)
    outline = smoothstep(-0.5 / px_per_mm, 0.5 / px_per_mm, inside_mm)
    grain = fractal_noise(shape, 1.1 * px_per_mm, 2, rng, roughness=0.6, finest_px=0.0)
    swell = fractal_noise(shape, 21 * px_per_mm, 2, rng, finest_px=0.0)
    dents = fractal_noise(shape, 5.5 * px_per_mm, 2, rng, finest_px=0.0)
    tooling = smooth_noise(shape, (16 * px_per_mm, 1.3 * px_per_mm), rng, finest_px=0.0)
    height_mm = relief * (0.020 * grain + 0.30 * swell + 0.045 * dents + 0.012 * tooling)
    standing = 0.8 * grain + 0.5 * swell + 0.75 * dents + 0.35 * tooling
    high_points = _high_points(standing, inside_mm, bare_share, rng)
    height_mm -= 1.5 * (1 - smoothstep(0.0, 2.0, inside_mm))
    punched = _punched(shape, px_per_mm, label)
    height_mm -= 0.55 * punched
    slope_x = cv2.Sobel(height_mm, cv2.CV_32F, 1, 0, ksize=3, scale=px_per_mm / 8)
    slope_y = cv2.Sobel(height_mm, cv2.CV_32F, 0, 1, ksize=3, scale=px_per_mm / 8)
    mottle = _mottle(shape, px_per_mm, application, rng)
    rim = np.maximum(1 - smoothstep(0.6, 2.6, inside_mm), smoothstep(0.02, 0.2, punched))
    return PlateSurface(outline, slope_x, slope_y, high_points, mottle, rim)


def hole_centre_mm(size_mm: tuple[float, float]) -> tuple[float, float]:
    """Return where a sample plate's hanging hole is drilled, from its top left corner."""
    return size_mm[0] - 9.0, 9.0


def _inside_distance_mm(shape: Shape, px_per_mm: float, rng: np.random.Generator) -> Pixels:
    """Distance to the edge, positive inside, of a rounded rectangle cut a little by hand."""
    height, width = shape
    y, x = np.mgrid[0:height, 0:width].astype(np.float32) / np.float32(px_per_mm)
    half_x, half_y, margin, radius = width / px_per_mm / 2, height / px_per_mm / 2, 0.9, 4.0
    across = np.abs(x - half_x) - (half_x - margin - radius)
    down = np.abs(y - half_y) - (half_y - margin - radius)
    outside = np.hypot(np.maximum(across, 0), np.maximum(down, 0))
    distance = radius - outside - np.minimum(np.maximum(across, down), 0)
    wander = 0.22 * smooth_noise(shape, 16 * px_per_mm, rng, finest_px=0.0) + 0.07 * smooth_noise(
        shape, 2.5 * px_per_mm, rng, finest_px=0.0
    )
    hole_x, hole_y = hole_centre_mm((width / px_per_mm, height / px_per_mm))
    to_hole = np.hypot(x - np.float32(hole_x), y - np.float32(hole_y)) - np.float32(2.6)
    return np.minimum(distance + np.clip(wander, -0.8, 0.8), to_hole).astype(np.float32)


def _high_points(standing: Pixels, inside_mm: Pixels, bare_share: float, rng: np.random.Generator) -> Pixels:
    """Rubbing back bares what stands highest, edges first; the share bared over the face is ``bare_share``."""
    if bare_share >= 1.0 or bare_share <= 0.0:
        return np.full(standing.shape, np.float32(np.clip(bare_share, 0, 1)))
    wear = 1.1 + 0.9 * smooth_noise(standing.shape, standing.shape[0] / 7, rng, finest_px=0.0)
    standing = standing + wear * np.exp(-np.maximum(inside_mm, 0) / np.float32(1.7))
    face = inside_mm > 6.0
    if not face.any():
        face = np.ones_like(inside_mm, dtype=bool)
    soft = 3.2  # a rag leaves no sharp border between metal and base
    cut = float(np.quantile(standing[face], 1 - bare_share))
    for _ in range(8):  # the soft edge moves the share a little: bring it back
        rubbed = smoothstep(cut - soft, cut + soft, standing)
        cut += 3.6 * (float(rubbed[face].mean()) - bare_share)
    return smoothstep(cut - soft, cut + soft, standing)


def _mottle(shape: Shape, px_per_mm: float, application: str, rng: np.random.Generator) -> Pixels:
    """How the film's thickness wanders over the face: torch zones, and the mark of the way of application."""
    torch = fractal_noise(shape, 34 * px_per_mm, 2, rng, finest_px=0.0)
    fine = fractal_noise(shape, 3.2 * px_per_mm, 3, rng, finest_px=0.0)
    if application == "drops":
        mark = _splashes(shape, px_per_mm, rng)
    elif application == "streams":
        mark = standardised(smooth_noise(shape, (3.5 * px_per_mm, 60 * px_per_mm), rng, finest_px=0.0) + 0.4 * fine)
    elif "brush" in application:
        mark = standardised(smooth_noise(shape, (30 * px_per_mm, 1.6 * px_per_mm), rng, finest_px=0.0) + 0.5 * fine)
    else:
        mark = fine
    return standardised(0.62 * torch + 0.75 * mark)


def _splashes(shape: Shape, px_per_mm: float, rng: np.random.Generator) -> Pixels:
    """Rings and blots that single drops leave."""
    field = np.zeros(shape, dtype=np.uint8)
    count = max(10, round(shape[0] * shape[1] / px_per_mm**2 / 70))
    for _ in range(count):
        centre = (round(rng.uniform(0, shape[1]) * 16), round(rng.uniform(0, shape[0]) * 16))
        radius = float(rng.gamma(5.0, 0.55)) * px_per_mm * 16
        depth = float(rng.uniform(100, 255))
        cv2.circle(field, centre, round(radius), depth, -1, cv2.LINE_AA, 4)
        cv2.circle(field, centre, round(radius * 0.8), 0.7 * depth, -1, cv2.LINE_AA, 4)
    wander = smooth_noise(shape, 2.0 * px_per_mm, rng, finest_px=0.0)
    blurred = cv2.GaussianBlur(field.astype(np.float32), (0, 0), max(0.5, 0.45 * px_per_mm))
    return standardised(blurred / np.float32(255) + 0.12 * wander)


def _punched(shape: Shape, px_per_mm: float, label: str) -> Pixels:
    """The plate's number, struck into its lower left corner: depth 0 to 1."""
    if not label or px_per_mm < 1.2:
        return np.zeros(shape, dtype=np.float32)
    ink = np.zeros(shape, dtype=np.uint8)
    scale = 5.5 * px_per_mm / 21.0
    origin = (round(7.0 * px_per_mm), round(shape[0] - 7.0 * px_per_mm))
    weight = max(1, round(0.55 * px_per_mm))
    cv2.putText(ink, label, origin, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, weight, cv2.LINE_AA)
    struck = cv2.GaussianBlur(ink.astype(np.float32), (0, 0), max(0.4, 0.25 * px_per_mm))
    return np.asarray(struck / np.float32(255), dtype=np.float32)


def _line(field: NDArray[np.uint8], start: Floats, end: Floats, value: float, weight: int) -> None:
    ends = [(round(float(x) * 16), round(float(y) * 16)) for x, y in (start, end)]
    cv2.line(field, ends[0], ends[1], value, weight, cv2.LINE_AA, 4)
