"""What is printed on the invented bench, drawn flat: grey card, grey scale, chart, carrier sheet, and plates' tags.

Our own plain layouts, on the geometry of the definitions in ``reference_cards``. ``render`` puts them into
perspective.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from matcher.colour.types import Floats
from matcher.errors import MatcherError
from matcher.shipped import shipped
from matcher.tags.code import carried
from matcher.tags.mark import MARGIN, tag_squares
from tests.rendering import textures
from tests.rendering.objects import PLATE_MM, Drawn, Patch, flat, rectangle, rising
from tests.rendering.scene import Point, Projection, SceneCard, ScenePlate, placed
from tests.rendering.sensor import Pixels, chart_reflectances

TAG_MM = 20.0
TUCKED_MM = 3.0
"""How far a tag's tab lies below its plate."""


def drawn_card(card: SceneCard, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    """Draw a reference card. Raises MatcherError for an unknown kind."""
    painters = {
        "grey card": _grey_card,
        "grey scale": _grey_scale,
        "24-patch chart": _chart,
        "carrier sheet": _carrier,
    }
    if card.kind not in painters:
        raise MatcherError(f"Choose a card from {', '.join(painters)}: {card.kind!r} is none.")
    return painters[card.kind](card, projection, weights, rng)


@dataclass(eq=False)
class _Sheet:
    """A flat printed thing under work: paint boxes of one reflectance onto it, in mm from its top left corner."""

    card: SceneCard
    size_mm: Point
    px_per_mm: float
    weights: Floats
    height_mm: float
    radiance: Pixels
    patches: list[Patch]

    @classmethod
    def cut(
        cls, card: SceneCard, size_mm: Point, projection: Projection, weights: Floats, ground: Floats, height_mm: float
    ) -> _Sheet:
        px_per_mm = 1.25 * projection.px_per_mm
        shape = (max(4, round(size_mm[1] * px_per_mm)), max(4, round(size_mm[0] * px_per_mm)), 3)
        radiance = np.broadcast_to((ground @ weights).astype(np.float32), shape).copy()
        return cls(card, size_mm, px_per_mm, weights, height_mm, radiance, [])

    def paint(self, box_mm: tuple[float, float, float, float], reflectance: Floats, name: str = "") -> None:
        corners = rectangle(*box_mm) * self.px_per_mm - 0.5
        mask = np.zeros(self.radiance.shape[:2], dtype=np.float32)
        cv2.fillPoly(mask, [np.rint(corners * 256).astype(np.int32)], 1.0, cv2.LINE_8, 8)
        mask = cv2.GaussianBlur(mask, (0, 0), 0.5)[:, :, None]
        self.radiance += mask * ((reflectance @ self.weights).astype(np.float32) - self.radiance)
        if name:
            self.patches.append((name, reflectance, corners))

    def finished(self, corners_mm: Floats, corner_radius_mm: float, grain: float, rng: np.random.Generator) -> Drawn:
        shape = (self.radiance.shape[0], self.radiance.shape[1])
        texture = textures.fractal_noise(shape, 0.9 * self.px_per_mm, 2, rng)
        radiance = self.radiance * (1 + np.float32(grain) * texture)[:, :, None]
        turned = placed(self.card.at_mm, self.card.turn_deg, self.size_mm)
        return Drawn(
            name=self.card.kind,
            radiance=radiance.astype(np.float32),
            alpha=_rounded_outline(shape, corner_radius_mm * self.px_per_mm),
            to_bench=turned @ np.diag([1 / self.px_per_mm, 1 / self.px_per_mm, 1.0]),
            height_mm=self.height_mm,
            side=self.radiance[0, 0] * np.float32(0.7),
            region=corners_mm * self.px_per_mm - 0.5,
            patches=tuple(self.patches),
        )


def _rounded_outline(shape: tuple[int, int], radius_px: float) -> Pixels:
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    half_x, half_y = (shape[1] - 1) / 2, (shape[0] - 1) / 2
    across = np.abs(x - half_x) - (half_x - 0.5 - radius_px)
    down = np.abs(y - half_y) - (half_y - 0.5 - radius_px)
    outside = np.hypot(np.maximum(across, 0), np.maximum(down, 0)) + np.minimum(np.maximum(across, down), 0)
    return np.clip(radius_px + 0.5 - outside, 0, 1).astype(np.float32)


def _grey_card(card: SceneCard, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    width, height = card.drawn_size_mm
    sheet = _Sheet.cut(card, (width, height), projection, weights, flat(0.145), 1.2)
    grey = flat(card.reflectance)
    rim = 0.7
    sheet.paint((rim, rim, width - rim, height - rim), grey)
    sheet.patches.append(
        ("grey", grey, rectangle(0.1 * width, 0.1 * height, 0.9 * width, 0.9 * height) * sheet.px_per_mm - 0.5)
    )
    return sheet.finished(rectangle(0, 0, width, height), 1.6, 0.012, rng)


def _grey_scale(card: SceneCard, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    width, height = card.drawn_size_mm
    sheet = _Sheet.cut(card, (width, height), projection, weights, flat(0.18), 1.2)
    third = width / 3
    for place, (name, reflectance) in enumerate((("white", 0.80), ("grey", card.reflectance), ("black", 0.035))):
        sheet.paint((place * third, 0.0, (place + 1) * third, height), flat(reflectance))
        inner = rectangle((place + 0.2) * third, 0.2 * height, (place + 0.8) * third, 0.8 * height)
        sheet.patches.append((name, flat(reflectance), inner * sheet.px_per_mm - 0.5))
    return sheet.finished(rectangle(0, 0, width, height), 1.2, 0.010, rng)


def _chart(card: SceneCard, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    width, height = card.drawn_size_mm
    margin = 0.05 * width
    outer = (width + 2 * margin, height + 2 * margin)
    sheet = _Sheet.cut(card, outer, projection, weights, flat(0.058), 3.0)
    names, spectra = chart_reflectances()
    cell_x, cell_y = width / 6, height / 4
    for place, (name, reflectance) in enumerate(zip(names, spectra, strict=True)):
        row, column = divmod(place, 6)
        left, top = margin + (column + 0.075) * cell_x, margin + (row + 0.075) * cell_y
        sheet.paint((left, top, left + 0.85 * cell_x, top + 0.85 * cell_y), reflectance)
        inner = rectangle(left + 0.175 * cell_x, top + 0.175 * cell_y, left + 0.675 * cell_x, top + 0.675 * cell_y)
        sheet.patches.append((name, reflectance, inner * sheet.px_per_mm - 0.5))
    return sheet.finished(rectangle(margin, margin, margin + width, margin + height), 3.0, 0.006, rng)


def _carrier(card: SceneCard, projection: Projection, weights: Floats, rng: np.random.Generator) -> Drawn:
    """The printed sheet of reference_cards/carrier_sheet.toml with a grey card in its window."""
    plan = carrier_plan()
    width, height = plan["sheet_mm"]
    paper = rising(0.62, 0.86, 415.0, 12.0)
    sheet = _Sheet.cut(card, (width, height), projection, weights, paper, 0.4)
    ink = flat(0.045)
    left, top, right, bottom = plan["window_mm"]
    sheet.paint((left - 0.8, top - 0.8, right + 0.8, bottom + 0.8), flat(0.30))
    sheet.paint((left, top, right, bottom), flat(card.reflectance))
    sheet.paint((left, top, right, top + 0.8), flat(card.reflectance * 0.72))  # the sheet's edge shades the card
    grey = flat(card.reflectance)
    inset = 6.0
    sheet.patches.append(
        (
            "grey",
            grey,
            rectangle(left + inset, top + inset, right - inset, bottom - inset) * sheet.px_per_mm - 0.5,
        )
    )
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, plan["dictionary"]))
    for marker in plan["marker"]:
        cells = cv2.aruco.generateImageMarker(dictionary, marker["id"], dictionary.markerSize + 2)
        side = plan["marker_mm"] / cells.shape[0]
        for row, column in np.argwhere(cells == 0):
            x, y = marker["at_mm"][0] + column * side, marker["at_mm"][1] + row * side
            sheet.paint((x - 0.02, y - 0.02, x + side + 0.02, y + side + 0.02), ink)
    return sheet.finished(rectangle(0, 0, width, height), 0.5, 0.012, rng)


def carrier_plan() -> dict[str, Any]:
    """Return the carrier sheet's own drawing, from its definition in reference_cards."""
    definition = tomllib.loads((shipped("reference_cards") / "carrier_sheet.toml").read_text(encoding="utf-8"))
    plan: dict[str, Any] = definition["carrier"]
    return plan


def drawn_tag(plate: ScenePlate, projection: Projection, weights: Floats) -> Drawn | None:
    """Draw a plate's tag on a tab that is fixed below the plate's upper edge, at the left, level with its face."""
    if plate.tag is None:
        return None
    squares = tag_squares(carried(plate.tag))
    side = TAG_MM / len(squares)
    edge = MARGIN * side
    px_per_mm = 2 * projection.px_per_mm
    width, height = TAG_MM + 2 * edge, TAG_MM + 2 * edge + TUCKED_MM
    shape = (round(height * px_per_mm), round(width * px_per_mm))
    y, x = ((np.arange(count) + 0.5) / px_per_mm - edge for count in shape)
    row, column = (np.floor(at / side).astype(int) for at in (y, x))
    inside = ((row >= 0) & (row < len(squares)))[:, None] & ((column >= 0) & (column < len(squares)))[None, :]
    black = inside & squares[np.clip(row, 0, len(squares) - 1)][:, np.clip(column, 0, len(squares) - 1)]
    paper, ink = ((spectrum @ weights).astype(np.float32) for spectrum in (rising(0.66, 0.80, 415.0, 12.0), flat(0.04)))
    on_plate = np.array([[1, 0, 6.0], [0, 1, TUCKED_MM - height], [0, 0, 1.0]])
    return Drawn(
        name=str(plate.tag),
        radiance=np.where(black[:, :, None], ink, paper).astype(np.float32),
        alpha=np.ones(shape, np.float32),
        to_bench=placed(plate.at_mm, plate.turn_deg, plate.size_mm)
        @ on_plate
        @ np.diag([1 / px_per_mm, 1 / px_per_mm, 1.0]),
        height_mm=PLATE_MM,
        side=None,
        region=rectangle(edge, edge, edge + TAG_MM, edge + TAG_MM) * px_per_mm - 0.5,
        tags=plate.label,
    )
