"""Pictures of a grey card, a finish and tagged sample plates on a bench, as a camera that errs shows them. Invented."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np

from matcher.colour.cielab import encode_srgb
from matcher.colour.types import Floats
from matcher.tags.code import TagCode, carried
from tests.scenes import Scene, box, linear_of
from tests.tag_scenes import lay, tag_face, with_margin

TRUE = np.eye(3)
LAMPS = np.array([[1.35, -0.25, -0.1], [0.14, 0.68, 0.18], [-0.1, 0.35, 0.75]])
"""What a phone under shop lamps makes of linear sRGB after white balance: neutrals stay, colours turn."""
FINISH, TAG = 170, 90  # pixels
CARD = box(60, 60, 300, 240)


@dataclass(frozen=True, eq=False)
class Bench:
    """A picture as PNG bytes. finishes: outlines by name; card: its corners."""

    data: bytes
    finishes: dict[str, Floats]
    card: Floats = field(default_factory=lambda: CARD)


def bench_with(
    finishes: Mapping[str, Sequence[float]],
    tags: Mapping[str, TagCode],
    camera: Floats = TRUE,
    seed: int = 1,
    with_card: bool = True,
) -> Bench:
    """Return a picture of finishes of CIELAB (3,) by name, in two rows, those with a tag above it.

    camera: (3, 3), what it makes of linear sRGB.
    """
    scene = Scene(1500, 1000, lab=(62, 2, 6), seed=seed)
    if with_card:
        scene.lay(CARD, (49.5, 0, 0))
    light = scene.light.astype(np.float32)
    places = {}
    for number, (name, lab) in enumerate(finishes.items()):
        row, column = divmod(number, 5)
        left, top = 90 + 280 * column, 420 + 290 * row
        face = np.broadcast_to(linear_of(lab).astype(np.float32), (40, 40, 3)).copy()
        lay(light, face, np.array(box(left - 15, top - 110, left + FINISH + 15, top + FINISH + 15)))
        if name in tags:
            text = carried(tags[name])
            lay(light, tag_face(text), with_margin(np.array(box(left, top - 102, left + TAG, top - 102 + TAG)), text))
        places[name] = np.array(box(left + 15, top + 15, left + FINISH - 15, top + FINISH - 15), float)
    shown = np.clip(light @ camera.T.astype(np.float32), 0, 1)
    noise = np.random.default_rng(seed).normal(0, 0.002, shown.shape).astype(np.float32)
    codes = np.rint(encode_srgb(np.clip(shown + noise, 0, 1)) * 255).astype(np.uint8)
    return Bench(cv2.imencode(".png", codes[..., ::-1])[1].tobytes(), places)
