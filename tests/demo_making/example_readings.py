"""What this tool reads from the photographs to learn from, beside what is true: written into demo_images."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from matcher.demo_examples import FIGURES
from matcher.errors import MatcherError


def examples_document(folder: Path, truths: Mapping[str, Any], seed: int) -> dict[str, Any]:
    """Read the photographs to learn from in ``folder`` and return plain JSON types of what they gave."""
    from tests.demo_making.pictures import shown_examples

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
    from matcher.calibration.calibrate import calibrate
    from matcher.card.detect import find_card
    from matcher.photo.photo import open_photo
    from matcher.reading.finish import read_finish

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
    from matcher.colour.difference import delta_e_2000
    from matcher.colour.wording import difference_in_words
    from matcher.reading.advice import reach_of

    if read is None:
        return dict.fromkeys(("read_lab", *FIGURES, "words"))
    return {
        "read_lab": [round(float(value), 2) for value in read.lab],
        "delta_e00": round(float(delta_e_2000(true_lab, read.lab)), 2),
        "reach_delta_e00": round(reach_of(read), 2),
        "words": difference_in_words(true_lab, read.lab, "than it is"),
    }
