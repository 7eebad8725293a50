"""What lies on the invented bench: plates, cards, light, view; plain values that ``render`` turns into a picture.

Bench coordinates are millimetres: x to the right, y towards the photographer, z up from the bench top.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from matcher.colour.types import Floats
from matcher.recipe.recipe import Recipe
from matcher.tags.code import TagCode
from tests.rendering.process import PlateVariation

Point = tuple[float, float]

CARD_SIZES_MM: Mapping[str, Point] = {
    "grey card": (76.0, 102.0),
    "grey scale": (126.0, 42.0),
    "24-patch chart": (150.0, 100.0),
    "carrier sheet": (160.0, 110.0),
}


@dataclass(frozen=True, eq=False)
class ScenePlate:
    """A sample plate. finish: a recipe for the invented process, or a reflectance (36,) of an even finish.

    variation: how this plate departs from its recipe. casting: a number that gives the same casting in several
    pictures; None draws a new one. tag: on a tab at its upper edge, None for none.
    """

    finish: Recipe | Floats
    at_mm: Point = (-48.0, 0.0)
    turn_deg: float = 0.0
    size_mm: Point = (92.0, 112.0)
    label: str = ""
    relief: float = 1.0
    variation: PlateVariation | None = None
    casting: int | None = None
    tag: TagCode | None = None


@dataclass(frozen=True)
class SceneCard:
    """A reference card. kind: "grey card", "grey scale", "24-patch chart" or "carrier sheet".

    lean_deg: how far its far edge is raised from the bench.
    """

    kind: str = "grey card"
    at_mm: Point = (58.0, 4.0)
    turn_deg: float = 0.0
    size_mm: Point | None = None
    reflectance: float = 0.18
    lean_deg: float = 0.0

    @property
    def drawn_size_mm(self) -> Point:
        return self.size_mm or CARD_SIZES_MM[self.kind]


@dataclass(frozen=True)
class SceneLight:
    """The light. illuminant: a CIE one. from_deg: where it comes from, 0 from the right, 90 from the far side.

    gradient: how much weaker the far corner of the picture is lit than the near one. softness: 0 a bare lamp, 1 a
    wide window.
    """

    illuminant: str = "D55"
    from_deg: float = 128.0
    height_deg: float = 48.0
    gradient: float = 0.06
    softness: float = 0.6


@dataclass(frozen=True)
class SceneStray:
    """A part of the picture that the light reaches changed: a shadow, or what a coloured wall throws back.

    outline_mm: on the bench. soft_mm: how wide its edge is. keeps: share of the light that arrives there, in raw red,
    green and blue; above 1 where light is added.
    """

    outline_mm: tuple[Point, ...]
    soft_mm: float = 12.0
    keeps: tuple[float, float, float] = (0.5, 0.5, 0.5)


@dataclass(frozen=True)
class SceneView:
    """Where the camera stands: looking at a point of the bench, tilted from straight down and turned about it."""

    width_mm: float = 290.0
    centre_mm: Point = (0.0, 0.0)
    tilt_deg: float = 13.0
    turn_deg: float = 0.0
    distance_mm: float = 760.0


@dataclass(frozen=True, eq=False)
class Scene:
    """All that a rendered photograph depends on, but for the random numbers.

    exposure: 1 puts a perfect white just at the top of the scale. white_balance: how much of the light's colour the
    camera balances away, 0 to 1. glare_share: share of each plate's face that glares to clipping. noise: 1 for a
    camera at ISO 100, 0 for none. tone_curve: 0 plain sRGB, 1 a strong camera-like curve. props: names out of
    "brush", "pencil", "tin", "slip", "hand". strays: where the light arrives changed. size: width and height in pixels.
    """

    plates: tuple[ScenePlate, ...] = ()
    cards: tuple[SceneCard, ...] = (SceneCard(),)
    light: SceneLight = field(default_factory=SceneLight)
    view: SceneView = field(default_factory=SceneView)
    camera: str = "A"
    bench: str = "wood"
    exposure: float = 1.0
    white_balance: float = 0.97
    glare_share: float = 0.0
    sheen: float = 1.0
    noise: float = 1.0
    tone_curve: float = 0.0
    sharpening: float = 0.35
    vignette: float = 0.1
    edge_blur: float = 1.0
    props: tuple[str, ...] = ()
    strays: tuple[SceneStray, ...] = ()
    size: tuple[int, int] = (1600, 1200)


@dataclass(frozen=True, eq=False)
class Projection:
    """The pinhole camera of a view: bench millimetres to pixels."""

    view: SceneView
    size: tuple[int, int]

    def _frame(self) -> tuple[Floats, Floats, Floats, Floats]:
        tilt, turn = np.radians(self.view.tilt_deg), np.radians(self.view.turn_deg)
        right = np.array([np.cos(turn), np.sin(turn), 0.0])
        near = np.array([-np.sin(turn), np.cos(turn), 0.0])
        up = np.array([0.0, 0.0, 1.0])
        forward = -np.sin(tilt) * near - np.cos(tilt) * up
        down = np.cos(tilt) * near - np.sin(tilt) * up
        eye = np.array([*self.view.centre_mm, 0.0]) - self.view.distance_mm * forward
        return right, down, forward, eye

    @property
    def eye_mm(self) -> Floats:
        """Where the camera stands, (3,)."""
        return self._frame()[3]

    @property
    def px_per_mm(self) -> float:
        """Pixels per millimetre where the view is centred."""
        return self.size[0] / self.view.width_mm

    def _rows(self) -> tuple[Floats, Floats]:
        """Return the camera matrix (3, 3) that takes what is seen from its eye (3,) to pixels."""
        right, down, forward, eye = self._frame()
        focal = self.px_per_mm * self.view.distance_mm
        centre_x, centre_y = (self.size[0] - 1) / 2, (self.size[1] - 1) / 2
        return np.stack([focal * right + centre_x * forward, focal * down + centre_y * forward, forward]), eye

    def slope(self, to_space: Floats) -> Floats:
        """Return the homography (3, 3) to pixels from any plane, given by its (u, v, 1) to bench mm x, y, z (3, 3)."""
        rows, eye = self._rows()
        return np.asarray(rows @ (to_space - np.outer(eye, [0.0, 0.0, 1.0])))

    def plane(self, height_mm: float) -> Floats:
        """Return the homography (3, 3) from (x, y) of the plane at that height over the bench to pixels."""
        rows, eye = self._rows()
        return np.stack([rows[:, 0], rows[:, 1], rows @ (np.array([0.0, 0.0, height_mm]) - eye)], axis=1)

    def pixels(self, points_mm: Floats, height_mm: float) -> Floats:
        """Return pixels (n, 2) of points (n, 2) at one height over the bench."""
        return apply_homography(self.plane(height_mm), points_mm)


def apply_homography(matrix: Floats, points: Floats) -> Floats:
    """Carry points (n, 2) through a homography (3, 3)."""
    moved = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(moved[:, :2] / moved[:, 2:])


def placed(at_mm: Point, turn_deg: float, size_mm: Point) -> Floats:
    """Return (3, 3) from millimetres within an object, from its top left corner, to the bench."""
    turn = np.radians(turn_deg)
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    matrix = np.eye(3)
    matrix[:2, :2] = turned
    matrix[:2, 2] = np.array(at_mm) - turned @ (np.array(size_mm) / 2)
    return matrix
