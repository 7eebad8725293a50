"""What this tool reads from the photographs to learn from, beside what is true: made here, and shown on the page.

``making`` writes it into demo_images with the log; nobody types a figure of it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from matcher.errors import MatcherError, StudioError
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


def examples_document(folder: Path, truths: Mapping[str, Any], seed: int) -> dict[str, Any]:
    """Read the photographs to learn from in ``folder`` and return plain JSON types of what they gave."""
    from matcher.demo.pictures import shown_examples

    pictures = {
        item.path: {
            "title": item.title,
            "wrong": item.wrong,
            "remedy": item.remedy,
            **example_as_read(folder / item.path, truths[item.path]),
        }
        for item in shown_examples(seed)
    }
    return {"pictures": pictures}


def example_as_read(file: Path, truth: Mapping[str, Any]) -> dict[str, Any]:
    """Read one photograph as a newcomer would: its card as it is found, else with its corners marked by hand."""
    from matcher.calibrating import calibrate
    from matcher.card_in_photo import find_card
    from matcher.finish import read_finish
    from matcher.photo import open_photo

    photo = open_photo(file)
    (card,), (finish,) = truth["cards"], truth["finishes"]
    light = "daylight" if str(truth["light"]).startswith("D") else "unknown"
    found, read, refused = None, None, None
    with suppress(MatcherError):  # the page asks for its corners then
        found = find_card(photo, card["kind"])
    try:
        marked = found or find_card(photo, card["kind"], corners=card["corners"])
        read = read_finish(photo, calibrate(photo, marked, light=light), finish["polygon"])
    except MatcherError as error:
        refused = str(error)
    said = [refused] if read is None else [caveat.message for caveat in read.caveats]
    return {"true_lab": finish["lab"], "card_found": found is not None, "said": said, **_compared(read, finish["lab"])}


def _compared(read: Any, true_lab: list[float]) -> dict[str, Any]:
    from matcher.difference import delta_e_2000, difference_in_words
    from matcher.what_helps import reach_of

    if read is None:
        return dict.fromkeys(("read_lab", *FIGURES, "words"))
    return {
        "read_lab": [round(float(value), 2) for value in read.lab],
        "delta_e00": round(float(delta_e_2000(true_lab, read.lab)), 2),
        "reach_delta_e00": round(reach_of(read), 2),
        "words": difference_in_words(true_lab, read.lab, "than it is"),
    }


def _lab(values: list[float]) -> tuple[float, float, float]:
    lightness, red, yellow = values
    return float(lightness), float(red), float(yellow)
