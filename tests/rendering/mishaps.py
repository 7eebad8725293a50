"""What spoils a photograph on the invented bench: a card that does not lie flat, light that arrives changed in places.

Between the drawn objects and the picture; ``examples`` uses it to show what a bad photograph looks like.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from matcher.colour.types import Floats
from tests.rendering.objects import Drawn
from tests.rendering.scene import Projection, SceneCard, SceneLight, SceneStray, placed
from tests.rendering.sensor import Pixels


def leaning(item: Drawn, card: SceneCard, light: SceneLight) -> Drawn:
    """Return a drawn card with its far edge raised by ``card.lean_deg``: foreshortened, and lit by its own slope."""
    if card.lean_deg == 0:
        return item
    lean = np.radians(card.lean_deg)
    width, height = card.drawn_size_mm
    flat = np.linalg.inv(placed(card.at_mm, card.turn_deg, (width, height))) @ item.to_bench
    foot = flat[1] - np.array([0.0, 0.0, height])  # from the near edge, which stays on the bench, in mm
    lying = np.stack([flat[0], np.cos(lean) * foot + np.array([0.0, 0.0, height]), flat[2]])
    to_bench = placed(card.at_mm, card.turn_deg, (width, height)) @ lying
    return replace(
        item,
        radiance=item.radiance * np.float32(_light_on_slope(lean, np.radians(card.turn_deg), light)),
        to_bench=np.asarray(to_bench),
        height_mm=0.5 * height * float(np.sin(lean)),  # for its shadow
        side=None,
        rise=np.asarray(-np.sin(lean) * foot + np.array([0.0, 0.0, item.height_mm])),
    )


def _light_on_slope(lean: float, turn: float, light: SceneLight) -> float:
    """Return the light on a matt face leaning towards the photographer, as a share of that on a flat one.

    Lambert's law for the direct light; the rest comes evenly from above, of which a slope sees (1 + cos) / 2.
    """
    away, up = np.radians(light.from_deg), np.radians(light.height_deg)
    source = np.array([np.cos(away) * np.cos(up), -np.sin(away) * np.cos(up), np.sin(up)])
    facing = np.array([-np.sin(turn) * np.sin(lean), np.cos(turn) * np.sin(lean), np.cos(lean)])
    direct = 0.9 - 0.35 * light.softness  # as on the plates
    lit = max(float(facing @ source), 0.0) / float(source[2])
    return direct * lit + (1 - direct) * (1 + float(np.cos(lean))) / 2


def reaching(stray: SceneStray, projection: Projection) -> Pixels:
    """Return the share of the light (h, w, 3) that arrives, in raw red, green and blue, 1 where nothing is in its way.

    A wall's colour is taken channel by channel, as the camera sees it, not spectrum by spectrum.
    """
    width, height = projection.size
    outline: Floats = projection.pixels(np.array(stray.outline_mm, dtype=float), 2.0)
    margin = int(np.ceil(3 * stray.soft_mm * projection.px_per_mm)) + 2
    inside = np.zeros((height + 2 * margin, width + 2 * margin), dtype=np.float32)
    cv2.fillPoly(inside, [np.rint(outline + margin).astype(np.int32)], 1.0)
    soft = cv2.GaussianBlur(inside, (0, 0), max(0.5, stray.soft_mm * projection.px_per_mm))
    soft = soft[margin:-margin, margin:-margin]
    return np.asarray(1 - soft[:, :, None] * (1 - np.array(stray.keeps, dtype=np.float32)), dtype=np.float32)
