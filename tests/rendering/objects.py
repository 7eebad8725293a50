"""The bench top and the bronze plates on it, drawn flat in their own plane.

``scene`` says what is there, ``textures`` what surfaces look like; here they get spectra. ``render`` then puts the
rasters into perspective. Cards are in ``printed``, tools in ``props``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from matcher.colour.types import Floats
from matcher.errors import MatcherError
from matcher.recipe.recipe import Recipe
from tests.rendering import textures
from tests.rendering.process import MOTTLE_NODES, WAVELENGTHS_NM, DemoProcess, Layers, xyz_weights
from tests.rendering.scene import Projection, Scene, ScenePlate, placed
from tests.rendering.sensor import Pixels

PLATE_MM = 5.0
"""How high the face of a plate lies over the bench."""
Patch = tuple[str, Floats, Floats]
"""Name, reflectance (36,), outline (4, 2) in raster pixels."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """One object's raster. radiance: (h, w, 3) raw per unit of light. alpha: (h, w) its outline, 0 to 1.

    to_bench: (3, 3) raster pixels to bench mm. side: (3,) raw of its edge, None if it has none. region: (n, 2)
    raster pixels, the finish to be read or the card's corners. diffuse_xyz: (h, w, 3) of a finish without glare, or
    None. rise: (3,) its height in mm over raster (x, y, 1) when it does not lie flat. tags: label of the plate that it
    is the tag of, or None.
    """

    name: str
    radiance: Pixels
    alpha: Pixels
    to_bench: Floats
    height_mm: float
    side: Pixels | None
    region: Floats
    diffuse_xyz: Pixels | None = None
    patches: tuple[Patch, ...] = ()
    recipe: dict[str, Any] | None = None
    rise: Floats | None = None
    tags: str | None = None

    def in_picture(self, projection: Projection) -> Floats:
        """Return (3, 3) from raster pixels of its face to pixels of the picture."""
        if self.rise is None:
            return np.asarray(projection.plane(self.height_mm) @ self.to_bench)
        return projection.slope(np.stack([self.to_bench[0], self.to_bench[1], self.rise]))


def rising(low: float, high: float, at_nm: float, width_nm: float) -> Floats:
    return np.asarray(low + (high - low) / (1 + np.exp((at_nm - WAVELENGTHS_NM) / width_nm)))


def flat(reflectance: float) -> Floats:
    return np.full(WAVELENGTHS_NM.size, reflectance)


_BENCHES = {
    "wood": (textures.wood_shares, (0.09, 0.40, 560.0, 50.0), (0.018, 0.075, 590.0, 50.0)),
    "steel": (textures.steel_shares, (0.31, 0.29, 560.0, 90.0), (0.045, 0.055, 600.0, 60.0)),
    "cloth": (textures.cloth_shares, (0.30, 0.50, 520.0, 60.0), (0.11, 0.20, 540.0, 60.0)),
    "blue cloth": (textures.cloth_shares, (0.24, 0.165, 540.0, 40.0), (0.075, 0.05, 550.0, 40.0)),
    "grey board": (textures.board_shares, (0.24, 0.25, 560.0, 60.0), (0.17, 0.175, 560.0, 60.0)),
    "white paper": (textures.board_shares, (0.80, 0.86, 470.0, 40.0), (0.68, 0.73, 480.0, 40.0)),
}


def bench_raster(
    kind: str, size_mm: Floats, px_per_mm: float, weights: Floats, rng: np.random.Generator
) -> tuple[Pixels, float]:
    """Return the bench top (h, w, 3) in raw values, and its pixels per mm. Raises MatcherError for an unknown kind."""
    if kind not in _BENCHES:
        raise MatcherError(f"Choose a bench from {', '.join(_BENCHES)}: {kind!r} is none.")
    draw, light, dark = _BENCHES[kind]
    shares = draw((round(size_mm[1] * px_per_mm), round(size_mm[0] * px_per_mm)), px_per_mm, rng)
    ends = (np.stack([rising(*light), rising(*dark)]) @ weights).astype(np.float32)
    return ends[0] + shares[:, :, None] * (ends[1] - ends[0]), px_per_mm


def drawn_plate(
    plate: ScenePlate,
    scene: Scene,
    process: DemoProcess,
    projection: Projection,
    weights: Floats,
    rng: np.random.Generator,
) -> Drawn:
    """Draw a bronze plate with its finish, its relief lit from the scene's light, its glare."""
    layers = _layers_of(plate, process)
    if plate.casting is not None:
        rng = np.random.default_rng(plate.casting)
    px_per_mm = max(1, round(2.2 * projection.px_per_mm)) / 2  # half steps: a casting is the same at any size
    surface = textures.plate_surface(
        plate.size_mm, px_per_mm, layers.bare_share, _application(plate.finish), plate.label, rng, plate.relief
    )
    diffuse = _mixed(layers.spectra @ weights, surface)
    to_bench = placed(plate.at_mm, plate.turn_deg, plate.size_mm) @ np.diag([1 / px_per_mm, 1 / px_per_mm, 1.0])
    shading, shine = _lit(plate, scene, surface, to_bench, projection, rng)
    white = weights.sum(axis=0).astype(np.float32)
    inset = 0.15 * min(plate.size_mm) * px_per_mm
    height, width = surface.outline.shape
    return Drawn(
        name=plate.label,
        radiance=diffuse * shading[:, :, None] + shine[:, :, None] * white,
        alpha=surface.outline,
        to_bench=to_bench,
        height_mm=PLATE_MM,
        side=(_cut_edge(layers) @ weights).astype(np.float32),
        region=rectangle(inset, 1.25 * inset, width - inset, height - 1.25 * inset),
        diffuse_xyz=_mixed(layers.spectra @ xyz_weights(), surface),
        recipe=plate.finish.as_dict() if isinstance(plate.finish, Recipe) else None,
    )


def _cut_edge(layers: Layers) -> Floats:
    """The plate's cut edge: the finish, half worn to metal."""
    return np.asarray(0.35 * layers.mean() + 0.12 * layers.spectra[1].max(axis=0))


def _layers_of(plate: ScenePlate, process: DemoProcess) -> Layers:
    if isinstance(plate.finish, Recipe):
        return process.layers(plate.finish, plate.variation)
    even = np.broadcast_to(plate.finish, (2, MOTTLE_NODES.size, WAVELENGTHS_NM.size))
    return Layers(np.array(even, dtype=float), 0.0)


def _application(finish: Recipe | Floats) -> str:
    return finish.coats[-1].application if isinstance(finish, Recipe) and finish.coats else "fine mist"


def _mixed(ends: Floats, surface: textures.PlateSurface) -> Pixels:
    """Mix (2, 5, 3) end values over the face by mottle and high points, (h, w, 3)."""
    steps = np.linspace(MOTTLE_NODES[0], MOTTLE_NODES[-1], 256)
    table = np.stack(
        [np.stack([np.interp(steps, MOTTLE_NODES, ground[:, band]) for band in range(3)], axis=1) for ground in ends]
    ).astype(np.float32)
    scale = 255 / (steps[-1] - steps[0])
    index = np.clip(np.rint((surface.mottle - steps[0]) * scale), 0, 255).astype(np.uint8)
    recess, bare = table[0][index], table[1][index]
    return np.asarray(recess + surface.high_points[:, :, None] * (bare - recess), dtype=np.float32)


def _lit(
    plate: ScenePlate,
    scene: Scene,
    surface: textures.PlateSurface,
    to_bench: Floats,
    projection: Projection,
    rng: np.random.Generator,
) -> tuple[Pixels, Pixels]:
    """Return diffuse shading (h, w), mean 1 over the face, and specular light (h, w) in units of white."""
    azimuth, elevation = np.radians(scene.light.from_deg + plate.turn_deg), np.radians(scene.light.height_deg)
    reach = 1 / np.tan(elevation)
    toward = np.array([np.cos(azimuth), -np.sin(azimuth)]) * reach
    lambert = 1 - surface.slope_x * np.float32(toward[0]) - surface.slope_y * np.float32(toward[1])
    lambert = np.maximum(lambert, 0) / np.sqrt(1 + surface.slope_x**2 + surface.slope_y**2)
    direct = 0.9 - 0.35 * scene.light.softness
    shading = (1 - direct) + direct * np.minimum(lambert, 2.2)
    face = _face(surface.outline.shape)
    shading /= shading[face].mean()
    off_x, off_y = _mirror_slopes(surface, to_bench, projection, toward, plate.turn_deg)
    sealed = isinstance(plate.finish, Recipe) and plate.finish.seal is not None
    rough = 0.085 if sealed else 0.11
    off = off_x**2 + off_y**2
    shine = scene.sheen * (0.04 if sealed else 0.02) * np.exp(-off / np.float32(2 * rough**2))
    shine += scene.sheen * (0.20 if sealed else 0.11) * surface.rim * np.exp(-off / np.float32(2 * 0.24**2))
    if scene.glare_share > 0:
        shine += _glare(surface, scene.glare_share, face) / np.float32(scene.exposure)
    return shading.astype(np.float32), shine.astype(np.float32)


def _mirror_slopes(
    surface: textures.PlateSurface, to_bench: Floats, projection: Projection, toward: Floats, turn_deg: float
) -> tuple[Pixels, Pixels]:
    """How far each spot's slope is from the one that would mirror the light into the camera, along x and y."""
    height, width = surface.outline.shape
    x = np.arange(width, dtype=np.float32)[None, :]
    y = np.arange(height, dtype=np.float32)[:, None]
    bench_x = to_bench[0, 0] * x + to_bench[0, 1] * y + to_bench[0, 2]
    bench_y = to_bench[1, 0] * x + to_bench[1, 1] * y + to_bench[1, 2]
    eye = projection.eye_mm
    turn = np.radians(turn_deg)
    view_x, view_y = (eye[0] - bench_x) / eye[2], (eye[1] - bench_y) / eye[2]
    seen_x = np.cos(turn) * view_x + np.sin(turn) * view_y
    seen_y = -np.sin(turn) * view_x + np.cos(turn) * view_y
    light_length = np.sqrt(toward[0] ** 2 + toward[1] ** 2 + 1)
    view_length = np.sqrt(seen_x**2 + seen_y**2 + 1)
    up = 1 / light_length + 1 / view_length
    half_x = (toward[0] / light_length + seen_x / view_length) / up
    half_y = (toward[1] / light_length + seen_y / view_length) / up
    return (surface.slope_x + half_x).astype(np.float32), (surface.slope_y + half_y).astype(np.float32)


def _glare(surface: textures.PlateSurface, share: float, face: tuple[slice, slice]) -> Pixels:
    """A lamp's reflection: clipped over ``share`` of the face, a haze around, broken up by the relief."""
    height, width = surface.outline.shape
    x = np.linspace(0, 1, width, dtype=np.float32)[None, :] - np.float32(0.6)
    y = (np.linspace(0, 1, height, dtype=np.float32)[:, None] - np.float32(0.36)) * np.float32(height / width)
    slope_x = np.clip(cv2.GaussianBlur(surface.slope_x, (0, 0), 0.8), -0.4, 0.4)
    slope_y = np.clip(cv2.GaussianBlur(surface.slope_y, (0, 0), 0.8), -0.4, 0.4)
    across, down = 2.1 * x + 0.8 * y + 1.1 * slope_x, 2.1 * y - 0.8 * x + 1.1 * slope_y
    nearness = -(across**2 + 0.6 * down**2)
    at_clipping = np.quantile(nearness[face], 1 - share)
    return np.asarray(np.exp(np.minimum((nearness - at_clipping) / np.float32(0.055), 1.2)), dtype=np.float32)


def _face(shape: tuple[int, int]) -> tuple[slice, slice]:
    rows, columns = max(1, shape[0] // 8), max(1, shape[1] // 8)
    return slice(rows, shape[0] - rows), slice(columns, shape[1] - columns)


def rectangle(left: float, top: float, right: float, bottom: float) -> Floats:
    """Return the corners (4, 2), clockwise from the top left."""
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
