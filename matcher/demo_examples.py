"""What this tool reads from the photographs to learn from, beside what is true: made here, and shown on the page.

``making`` writes it into demo_images with the log; nobody types a figure of it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from matcher.errors import StudioError
from matcher.shipped import shipped

EXAMPLES = "photographing.json"


@dataclass(frozen=True)
class ReadExample:
    """A photograph to learn from, as it was read.

    file: the picture. wrong, remedy: what is wrong with it ("" when nothing) and what to do. true_lab, read_lab: (3,)
    CIELAB; read_lab, delta_e00, reach_delta_e00 (95 %) and words (how the reading differs from the truth) are None
    when the tool refuses it. card_found: whether the card is found unaided. said: what the tool says to mind, or why
    it refuses.
    """

    file: Path
    title: str
    wrong: str
    remedy: str
    true_lab: tuple[float, float, float]
    read_lab: tuple[float, float, float] | None
    delta_e00: float | None
    reach_delta_e00: float | None
    words: str | None
    card_found: bool
    said: tuple[str, ...]


def read_examples() -> tuple[ReadExample, ...]:
    """Return the shipped photographs to learn from, the good one first. Raises StudioError when they are missing."""
    folder = shipped("demo_images")
    try:
        pictures = json.loads((folder / EXAMPLES).read_text(encoding="utf-8"))["pictures"]
    except (OSError, ValueError) as error:
        raise StudioError(f"The demo's files are not in {folder}: install the package again.") from error
    return tuple(
        ReadExample(
            file=folder / name,
            true_lab=_lab(item["true_lab"]),
            read_lab=None if item["read_lab"] is None else _lab(item["read_lab"]),
            said=tuple(item["said"]),
            **{key: item[key] for key in ("title", "wrong", "remedy", "words", "card_found", *FIGURES)},
        )
        for name, item in pictures.items()
    )


FIGURES = ("delta_e00", "reach_delta_e00")


def _lab(values: list[float]) -> tuple[float, float, float]:
    lightness, red, yellow = values
    return float(lightness), float(red), float(yellow)
