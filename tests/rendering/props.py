"""What lies about on the invented bench: a brush, a pencil, a tin of wax, a slip of paper, a hand. They only make it
look like one."""

from __future__ import annotations

import numpy as np

from matcher.colour.types import Floats
from matcher.errors import MatcherError
from tests.rendering import textures
from tests.rendering.objects import Drawn, flat, rising
from tests.rendering.scene import Point, Projection, Scene, placed
from tests.rendering.sensor import Pixels


def drawn_prop(name: str, scene: Scene, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    """Draw what lies on the bench: "brush", "pencil", "tin", "slip" or "hand". Raises MatcherError for another name."""
    painters = {"brush": _brush, "pencil": _pencil, "tin": _tin, "slip": _slip, "hand": _hand}
    if name not in painters:
        raise MatcherError(f"Choose the props from {', '.join(painters)}: {name!r} is none.")
    return painters[name](scene, projection, weights, rng)


def _turned_rod(
    name: str,
    profile_mm: Floats,
    colours: Floats,
    at_mm: Point,
    turn_deg: float,
    length_mm: float,
    weights: Floats,
    streaks: Pixels,
) -> Drawn:
    """A round thing lying down: radius (n,) and reflectance (n, 36) along it; streaks: (h, n) factor on its colour."""
    rows, columns = streaks.shape
    half_mm = float(profile_mm.max()) + 1
    radius = profile_mm.astype(np.float32)[None, :]
    across = np.linspace(-half_mm, half_mm, rows, dtype=np.float32)[:, None] / radius
    alpha = np.clip((1 - np.abs(across)) * radius * (rows / (2 * half_mm)) + 0.5, 0, 1)
    around = np.sqrt(np.clip(1 - across**2, 0, 1))
    lit = 0.35 + 0.75 * np.clip(0.75 * around - 0.62 * across, 0, None)
    shine = 0.10 * np.exp(-(((across + 0.45) / 0.13) ** 2))
    white = weights.sum(axis=0).astype(np.float32)
    radiance = (colours @ weights).astype(np.float32)[None] * (lit * streaks)[:, :, None] + shine[:, :, None] * white
    size_mm = (length_mm, 2 * half_mm)
    return Drawn(
        name=name,
        radiance=radiance.astype(np.float32),
        alpha=alpha.astype(np.float32),
        to_bench=placed(at_mm, turn_deg, size_mm) @ np.diag([length_mm / columns, 2 * half_mm / rows, 1.0]),
        height_mm=0.5 * half_mm,
        side=None,
        region=np.zeros((0, 2)),
    )


def _brush(scene: Scene, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    length, scale = 190.0, 1.1 * projection.px_per_mm
    columns, rows = max(16, round(length * scale)), max(6, round(20 * scale))
    along = np.linspace(0, length, columns)
    held, bound = along < 128, along < 150
    handle = 3.4 + 2.6 * np.exp(-(((along - 92) / 40) ** 2)) + 0.6 * np.exp(-(((along - 8) / 7) ** 2))
    hair = 6.0 + 1.7 * np.sin(np.clip((along - 150) / 30, 0, 1) * np.pi / 2)
    hair = hair - 0.012 * np.clip(along - 170, 0, 20) ** 2
    profile = np.where(held, handle, np.where(bound, 5.9, hair))
    profile = np.where(along < 5, np.sqrt(np.clip(along / 5, 0.03, 1)) * profile, profile)
    wood, metal, bristle = rising(0.06, 0.42, 590, 35), rising(0.38, 0.46, 560, 60), rising(0.05, 0.16, 580, 50)
    colours = np.where(held[:, None], wood, np.where(bound[:, None], metal, bristle))
    crimped = (np.abs(along - 133) < 1) | (np.abs(along - 145) < 1)
    colours = np.where(crimped[:, None], metal * 0.5, colours)
    strands = textures.smooth_noise((rows, columns), (26 * scale, 0.5 * scale), rng)
    grain = 1 + np.where(bound, 0.05, 0.35).astype(np.float32)[None, :] * strands
    at = (-0.08 * scene.view.width_mm, -0.352 * scene.view.width_mm)
    return _turned_rod("brush", profile, colours, at, 174.0, length, weights, np.maximum(grain, 0.2))


def _pencil(scene: Scene, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    length, scale = 150.0, 1.1 * projection.px_per_mm
    columns, rows = max(16, round(length * scale)), max(4, round(9.4 * scale))
    along = np.linspace(0, length, columns)
    profile = np.where(along < 130, 3.7, 3.7 - 0.165 * (along - 130))
    paint, wood, lead = rising(0.035, 0.30, 598, 12), rising(0.22, 0.62, 530, 45), flat(0.05)
    colours = np.where((along < 131)[:, None], paint, np.where((along < 144)[:, None], wood, lead))
    grain = 1 + 0.05 * textures.smooth_noise((rows, columns), (20 * scale, 1.0 * scale), rng)
    at = (0.2 * scene.view.width_mm, 0.335 * scene.view.width_mm)
    return _turned_rod("pencil", np.maximum(profile, 0.35), colours, at, -7.0, length, weights, grain)


def _tin(scene: Scene, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    """An open tin of wax, seen from above."""
    across_mm, scale = 84.0, 1.1 * projection.px_per_mm
    side = max(12, round(across_mm * scale))
    y, x = np.mgrid[0:side, 0:side].astype(np.float32)
    x, y = (x - (side - 1) / 2) / np.float32(scale), (y - (side - 1) / 2) / np.float32(scale)
    radius, angle = np.hypot(x, y), np.arctan2(y, x)
    swirl = np.sin(3.2 * angle + 0.35 * radius + textures.smooth_noise((side, side), 9 * scale, rng))
    rubbed = textures.fractal_noise((side, side), 7 * scale, 3, rng)
    wax = (rising(0.20, 0.52, 530, 45) @ weights).astype(np.float32)
    metal = (rising(0.40, 0.46, 560, 60) @ weights).astype(np.float32)
    half = across_mm / 2
    well = half - 4.5 - radius
    rim = np.clip(-well * scale, 0, 1)[:, :, None]
    from_wall = np.exp(-np.maximum(well, 0) / 3.5) * np.clip(0.5 - (0.6 * y + 0.5 * x) / half, 0.1, 1)
    wax_lit = (0.8 + 0.07 * swirl + 0.06 * rubbed) * (1 - 0.6 * from_wall)
    ridge = np.clip(0.55 + 0.5 * np.cos((radius - (half - 2.4)) * 1.5) + 0.35 * np.cos(angle + 2.2), 0.15, 1.6)
    radiance = wax * wax_lit[:, :, None] * (1 - rim) + metal * ridge[:, :, None] * rim
    at = (0.43 * scene.view.width_mm, -0.33 * scene.view.width_mm)
    return Drawn(
        name="tin",
        radiance=radiance.astype(np.float32),
        alpha=np.clip((half - radius) * scale, 0, 1).astype(np.float32),
        to_bench=placed(at, 0.0, (across_mm, across_mm)) @ np.diag([1 / scale, 1 / scale, 1.0]),
        height_mm=16.0,
        side=metal * np.float32(0.5),
        region=np.zeros((0, 2)),
    )


def _slip(scene: Scene, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    """A slip of white paper with a few lines of writing on it."""
    size_mm, scale = (70.0, 48.0), 1.1 * projection.px_per_mm
    columns, rows = max(12, round(size_mm[0] * scale)), max(8, round(size_mm[1] * scale))
    fibre = 1 + 0.02 * textures.smooth_noise((rows, columns), 3 * scale, rng)
    y = np.arange(rows, dtype=np.float32)[:, None] / np.float32(scale)
    x = np.arange(columns, dtype=np.float32)[None, :] / np.float32(scale)
    on_line = (np.abs((y - 8) % 9.0 - 1.0) < 0.9) & (x > 7) & (x < 52) & (y > 6)
    written = on_line & (textures.smooth_noise((rows, columns), 1.2 * scale, rng) > 0.2)
    paper, ink = (flat(0.82) @ weights).astype(np.float32), (flat(0.07) @ weights).astype(np.float32)
    at = (-0.39 * scene.view.width_mm, 0.31 * scene.view.width_mm)
    return Drawn(
        name="slip",
        radiance=np.where(written[:, :, None], ink, paper) * fibre[:, :, None],
        alpha=np.ones((rows, columns), dtype=np.float32),
        to_bench=placed(at, 8.0, size_mm) @ np.diag([1 / scale, 1 / scale, 1.0]),
        height_mm=0.3,
        side=None,
        region=np.zeros((0, 2)),
    )


def _hand(scene: Scene, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    """A hand that reaches in from the right: wrist, palm, thumb and four fingers, each a rounded bar."""
    size_mm, scale = (150.0, 110.0), 1.1 * projection.px_per_mm
    columns, rows = max(16, round(size_mm[0] * scale)), max(12, round(size_mm[1] * scale))
    x = np.arange(columns, dtype=np.float32)[None, :] / np.float32(scale)
    y = np.arange(rows, dtype=np.float32)[:, None] / np.float32(scale)
    bars = [
        ((148.0, 60.0), (100.0, 58.0), 27.0),
        ((100.0, 58.0), (72.0, 54.0), 33.0),
        ((98.0, 82.0), (58.0, 98.0), 8.5),
    ]
    bars += [((68.0, 28.0 + 15 * k), (68.0 - reach, 20.0 + 17 * k), 7.5) for k, reach in enumerate((40, 52, 54, 46))]
    inside = np.full((rows, columns), -1e3, dtype=np.float32)
    for (ax, ay), (bx, by), radius in bars:
        share = np.clip(((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / ((bx - ax) ** 2 + (by - ay) ** 2), 0, 1)
        inside = np.maximum(inside, radius - np.hypot(x - ax - share * (bx - ax), y - ay - share * (by - ay)))
    rounded = 0.55 + 0.5 * np.sqrt(np.clip(inside / 14, 0, 1))
    skin = (rising(0.09, 0.42, 585, 32) @ weights).astype(np.float32)
    flush = 1 + 0.05 * textures.fractal_noise((rows, columns), 12 * scale, 3, rng)
    at = (0.5 * scene.view.width_mm - 55.0, 0.29 * scene.view.width_mm)
    return Drawn(
        name="hand",
        radiance=skin * (rounded * flush).astype(np.float32)[:, :, None],
        alpha=np.clip(inside * scale + 0.5, 0, 1).astype(np.float32),
        to_bench=placed(at, -14.0, size_mm) @ np.diag([1 / scale, 1 / scale, 1.0]),
        height_mm=14.0,
        side=None,
        region=np.zeros((0, 2)),
    )
