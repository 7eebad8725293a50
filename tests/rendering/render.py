"""A scene becomes a photograph: spectra through a camera's sensitivities, shading, glare, noise, tone, JPEG.

Stands after the invented process and before the photograph is read; it also hands out the truth that a reading
should find. Spectra are mixed pixel by pixel from a few; since the sensor is linear the mixing is done on their
raw values, which is the same.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.colour.cielab import xyz_to_lab
from matcher.colour.types import Floats
from tests.rendering.mishaps import leaning, reaching
from tests.rendering.objects import Drawn, bench_raster, drawn_plate
from tests.rendering.printed import drawn_card, drawn_tag
from tests.rendering.process import DemoProcess, invented_process, xyz_weights
from tests.rendering.props import drawn_prop
from tests.rendering.scene import Projection, Scene, apply_homography
from tests.rendering.sensor import Exif, Pixels, balance_gains, developed, exposed, jpeg, sensor_weights, toned

FULL_WELL_ELECTRONS = 9000.0
READ_NOISE_ELECTRONS = 5.0


@dataclass(frozen=True, eq=False)
class Picture:
    """A rendered photograph.

    pixels: (h, w, 3) sRGB code values. linear: (h, w, 3) linear sRGB as developed, before the tone curve. raw: (h,
    w, 3) camera RGB, linear, 1 at clipping, before white balance. truth: plain JSON types: what a perfect reading
    would find, and where.
    """

    pixels: NDArray[np.uint8]
    linear: Pixels
    raw: Pixels
    truth: dict[str, Any] = field(default_factory=dict)

    def jpeg(self, quality: int = 88, exif: Exif | None = None, embed_profile: bool = False) -> bytes:
        """Return the picture as a JPEG file."""
        return jpeg(self.pixels, quality, exif, embed_profile)


def render_scene(scene: Scene, rng: np.random.Generator, process: DemoProcess | None = None) -> Picture:
    """Photograph a scene. ``process`` gives the spectra of recipes; the demo studio's when None.

    Raises RecipeError for a recipe outside the process, MatcherError for an unknown light, camera, card or bench.
    """
    projection = Projection(scene.view, scene.size)
    weights = sensor_weights(scene.camera, scene.light.illuminant)
    drawn = _drawn_objects(scene, process or invented_process(), projection, weights, rng)
    canvas = _bench(scene, projection, weights, rng) * _shade(scene, projection, drawn)[:, :, None]
    for item in drawn:
        _lay(canvas, item, projection)
    canvas *= (_illumination(scene) * np.float32(scene.exposure))[:, :, None]
    for stray in scene.strays:
        canvas *= reaching(stray, projection)
    raw = exposed(
        _through_lens(canvas, scene, projection),
        FULL_WELL_ELECTRONS / max(scene.noise, 1e-3) ** 2,
        READ_NOISE_ELECTRONS / max(scene.noise, 1e-3),
        rng if scene.noise > 0 else None,
    )
    linear = developed(raw, scene.camera, balance_gains(scene.camera, scene.light.illuminant, scene.white_balance))
    linear = _sharpened(linear, scene.sharpening)
    truth = _truth(scene, drawn, projection)
    return Picture(toned(linear, scene.tone_curve), linear, raw, truth)


def _drawn_objects(
    scene: Scene, process: DemoProcess, projection: Projection, weights: Floats, rng: np.random.Generator
) -> list[Drawn]:
    props = [drawn_prop(name, scene, projection, weights, rng) for name in scene.props]
    cards = [leaning(drawn_card(card, projection, weights, rng), card, scene.light) for card in scene.cards]
    plates = [drawn_plate(plate, scene, process, projection, weights, rng) for plate in scene.plates]
    tags = [drawn_tag(plate, projection, weights) for plate in scene.plates]
    return props + cards + [tag for tag in tags if tag is not None] + plates


def _bench(scene: Scene, projection: Projection, weights: Floats, rng: np.random.Generator) -> Pixels:
    """The bench top as the camera sees it, (h, w, 3)."""
    width, height = scene.size
    frame = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    seen_mm = apply_homography(np.asarray(np.linalg.inv(projection.plane(0.0)), dtype=float), frame)
    low, high = seen_mm.min(axis=0) - 4, seen_mm.max(axis=0) + 4
    raster, px_per_mm = bench_raster(scene.bench, high - low, projection.px_per_mm, weights, rng)
    to_bench = np.array([[1 / px_per_mm, 0, low[0]], [0, 1 / px_per_mm, low[1]], [0, 0, 1.0]])
    return _warped(raster, projection.plane(0.0) @ to_bench, scene.size)


def _shade(scene: Scene, projection: Projection, drawn: list[Drawn]) -> Pixels:
    """How much light reaches the bench top, (h, w), 1 where nothing stands in its way."""
    light = scene.light
    away = np.radians(light.from_deg)
    reach = 1 / np.tan(np.radians(light.height_deg))
    toward = np.array([-np.cos(away), np.sin(away)]) * reach  # shadows fall away from the light; y runs downwards
    left = np.ones((scene.size[1], scene.size[0]), dtype=np.float32)
    for item in drawn:
        cast = np.zeros_like(left)
        for share in (0.0, 0.35, 0.7, 1.0):
            shift = np.eye(3)
            shift[:2, 2] = toward * item.height_mm * share
            np.maximum(cast, _warped(item.alpha, projection.plane(0.0) @ shift @ item.to_bench, scene.size), out=cast)
        blur_px = (0.35 + 0.55 * light.softness * item.height_mm * reach) * projection.px_per_mm
        touching = cv2.GaussianBlur(cast, (0, 0), max(0.6, 0.16 * item.height_mm * projection.px_per_mm))
        left *= 1 - np.float32(0.62 - 0.2 * light.softness) * cv2.GaussianBlur(cast, (0, 0), max(0.6, blur_px))
        left *= 1 - np.float32(0.38) * touching
    return left


def _lay(canvas: Pixels, item: Drawn, projection: Projection) -> None:
    """Put an object on the bench: its sides first, then its face."""
    size = (canvas.shape[1], canvas.shape[0])
    if item.side is not None and item.height_mm >= 0.8:
        steps = max(3, min(12, round(item.height_mm * projection.px_per_mm / 2)))
        for share in np.linspace(0.0, 1.0, steps):
            alpha = _warped(item.alpha, projection.plane(item.height_mm * share) @ item.to_bench, size)[:, :, None]
            box = _box(alpha)
            canvas[box] *= 1 - alpha[box]
            canvas[box] += alpha[box] * (item.side * np.float32(0.45 + 0.4 * share))
    matrix = item.in_picture(projection)
    alpha = _warped(item.alpha, matrix, size)[:, :, None]
    box = _box(alpha)
    canvas[box] *= 1 - alpha[box]
    canvas[box] += _warped(item.radiance * item.alpha[:, :, None], matrix, size)[box]


def _box(alpha: Pixels) -> tuple[slice, slice]:
    """Return the rows and columns that an object covers: to mix the rest of the picture is most of the work."""
    left, top, width, height = cv2.boundingRect((alpha > 0).astype(np.uint8))
    return slice(top, top + height), slice(left, left + width)


def _illumination(scene: Scene) -> Pixels:
    """Fall-off of the light over the frame and of the lens towards its corners, (h, w)."""
    width, height = scene.size
    x = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, height, dtype=np.float32)[:, None] * np.float32(height / width)
    toward = np.radians(scene.light.from_deg)
    along = (x * np.float32(np.cos(toward)) - y * np.float32(np.sin(toward))) / np.float32(1.25)
    radius = (x * x + y * y) / np.float32(1 + (height / width) ** 2)
    lamp = 1 + np.float32(scene.light.gradient / 2) * (along + 0.35 * along * np.abs(along))
    return np.asarray(lamp * (1 - np.float32(scene.vignette) * radius * (0.4 + 0.6 * radius)), dtype=np.float32)


def _through_lens(canvas: Pixels, scene: Scene, projection: Projection) -> Pixels:
    """The lens: slightly soft all over, softer where the bench leaves the depth of field, near the frame's edge."""
    sharp = cv2.GaussianBlur(canvas, (0, 0), 0.55)
    if scene.edge_blur <= 0:
        return np.asarray(sharp)
    width, height = scene.size
    soft = cv2.GaussianBlur(canvas, (0, 0), max(0.8, 0.42 * scene.edge_blur * projection.px_per_mm))
    x = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
    away = np.clip((np.hypot(y, 0.45 * x) - 0.74) / 0.36, 0, 1)[:, :, None]
    return np.asarray(sharp + away * (soft - sharp))


def _sharpened(linear: Pixels, amount: float) -> Pixels:
    if amount <= 0:
        return linear
    soft = cv2.GaussianBlur(linear, (0, 0), 1.1)
    return np.clip(linear + np.float32(amount) * (linear - soft), 0.0, 1.0)


def _warped(raster: Pixels, matrix: Floats, size: tuple[int, int]) -> Pixels:
    return np.asarray(cv2.warpPerspective(raster, matrix, size, flags=cv2.INTER_LINEAR), dtype=np.float32)


def _truth(scene: Scene, drawn: list[Drawn], projection: Projection) -> dict[str, Any]:
    """What a perfect reading of the picture would find."""
    finishes: list[dict[str, Any]] = []
    cards: list[dict[str, Any]] = []
    tags: list[dict[str, Any]] = []
    for item in drawn:
        matrix = item.in_picture(projection)
        if item.diffuse_xyz is not None:
            finishes.append(_finish_truth(item, matrix, scene.size))
        if item.patches:
            cards.append(_card_truth(item, matrix))
        if item.tags is not None:
            corners = _rounded(apply_homography(matrix, item.region), 1)
            tags.append({"tag": item.name, "plate": item.tags, "corners": corners})
    return {
        "finishes": finishes,
        "cards": cards,
        "light": scene.light.illuminant,
        "camera": scene.camera,
        "exposure": scene.exposure,
        "white_balance": scene.white_balance,
        "glare_share": scene.glare_share,
        "tone_curve": scene.tone_curve,
        "size": list(scene.size),
        **({"tags": tags} if tags else {}),
    }


def _finish_truth(item: Drawn, matrix: Floats, size: tuple[int, int]) -> dict[str, Any]:
    polygon = apply_homography(matrix, item.region)
    inside = np.zeros((size[1], size[0]), dtype=np.uint8)
    cv2.fillPoly(inside, [np.rint(polygon).astype(np.int32)], 1)
    assert item.diffuse_xyz is not None
    xyz = _warped(item.diffuse_xyz, matrix, size)[inside > 0].astype(float)
    return {
        **_colours(xyz),
        "polygon": _rounded(polygon, 1),
        "label": item.name,
        "recipe": item.recipe,
    }


def _colours(xyz: Floats) -> dict[str, Any]:
    """The finish's CIELAB from its XYZ (n, 3) pixel by pixel; None for a finish out of the picture."""
    if not len(xyz):
        return dict.fromkeys(("lab", "lab_median", "lights", "darks"))
    by_light = xyz[np.argsort(xyz[:, 1], kind="stable")]
    quarter = max(1, len(by_light) // 4)
    return {
        "lab": _rounded(xyz_to_lab(xyz.mean(axis=0))),
        "lab_median": _rounded(xyz_to_lab(np.median(xyz, axis=0))),
        "lights": _rounded(xyz_to_lab(by_light[-quarter:].mean(axis=0))),
        "darks": _rounded(xyz_to_lab(by_light[:quarter].mean(axis=0))),
    }


def _card_truth(item: Drawn, matrix: Floats) -> dict[str, Any]:
    corners = apply_homography(matrix, item.region)
    patches = [
        {"name": name, "lab": _rounded(xyz_to_lab(reflectance @ xyz_weights())), "polygon": _rounded(outline, 1)}
        for name, reflectance, outline in (
            (name, reflectance, apply_homography(matrix, outline)) for name, reflectance, outline in item.patches
        )
    ]
    return {"kind": item.name, "corners": _rounded(corners, 1), "patches": patches}


def _rounded(values: Floats, places: int = 3) -> list[Any]:
    listed: list[Any] = np.round(np.asarray(values, dtype=float), places).tolist()
    return listed
