"""The commands ``read`` and ``repeat``: what a photograph shows, how far to trust it, and how well it repeats."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher import cli_values as values
from matcher import cli_words as words
from matcher.cli_answer import Answer
from matcher.cli_photographs import Photographed, as_warnings, photographed

if TYPE_CHECKING:
    from matcher.finish import Reading
    from matcher.texture import Texture


def read(options: argparse.Namespace) -> Answer:
    """Read each marked finish; say what its uncertainty is made of and what would help."""
    found = photographed(options)
    textures = _textures(found) if options.texture else [None] * len(found.readings)
    differences = _differences(found.readings)
    document = {
        "photo": found.about,
        "card": None if found.card is None else found.card.as_dict(),
        "profile": found.profile.as_dict(),
        "finishes": [_finish(*one) for one in zip(found.readings, textures, strict=True)],
        "differences": differences,
        "warnings": found.warnings,
    }
    lines = [words.photo_line(found.about, found.card), *words.profile_used_lines(found.profile)]
    for number, (reading, texture) in enumerate(zip(found.readings, textures, strict=True), 1):
        lines += [words.reading_line(f"Finish {number}", reading), *words.trust_lines(reading)]
        lines += [] if texture is None else words.texture_lines(texture)
    lines += [words.difference_line(item) for item in differences]
    return Answer(document, [*lines, *words.warning_lines(found.warnings)])


def _finish(reading: Reading, texture: Texture | None) -> dict[str, Any]:
    from matcher.what_helps import budget_table, reach_of, trust_sentence, what_would_help

    trusted = {
        "within_delta_e00": reach_of(reading),
        "trust": trust_sentence(reading),
        "budget_delta_e00": [part.as_dict() for part in budget_table(reading)],
        "would_help": [item.as_dict() for item in what_would_help(reading)],
    }
    return {**reading.as_dict(), **trusted, **({} if texture is None else {"texture": texture.as_dict()})}


def _textures(found: Photographed) -> list[Texture]:
    """Return the texture of each finish, in the first photograph when there are more frames."""
    import numpy as np

    from matcher.texture import read_texture

    rng = np.random.default_rng(1)  # the same photograph gives the same answer
    return [
        read_texture(found.photo, found.calibration, reading.region, rng)
        for reading in found.readings
        if reading.region is not None
    ]


def _differences(readings: Sequence[Reading]) -> list[dict[str, Any]]:
    """Return ΔE00 between all pairs of finishes in one photograph, the error that they have in common cancelled."""
    from matcher.difference import delta_e_2000, delta_e_interval, difference_in_words

    return [
        {
            "between": [a, b],
            "delta_e00": float(delta_e_2000(first.lab, second.lab)),
            "delta_e00_interval": list(delta_e_interval(first, second)),
            "words": difference_in_words(first.lab, second.lab, than=f"than finish {a}"),
        }
        for (a, first), (b, second) in combinations(enumerate(readings, 1), 2)
    ]


def repeat(options: argparse.Namespace) -> Answer:
    """Read one plate from several photographs and say how well the set-up repeats."""
    from matcher.repeatability import repeatability

    outlines = _one_for_each(options.finish, options.photos, "--finish")
    corners = _one_for_each(options.card_corners or [None], options.photos, "--card-corners")
    taken = []
    for photo, outline, marked in zip(options.photos, outlines, corners, strict=True):
        alone = {"photo": photo, "finish": [outline], "card_corners": marked}
        taken.append(photographed(argparse.Namespace(**{**vars(options), **alone})))
    readings = [found.readings[0] for found in taken]
    result = repeatability(readings)
    warned = as_warnings([*result.caveats, *(caveat for reading in readings for caveat in reading.caveats)])
    document = {
        "photos": [{**found.about, "profile": found.profile.as_dict()} for found in taken],
        "readings": [reading.as_dict() for reading in readings],
        "repeatability": result.as_dict(),
        "warnings": warned,
    }
    lines = [words.reading_line(Path(name).name, one) for name, one in zip(options.photos, readings, strict=True)]
    return Answer(document, [*lines, result.words, *words.warning_lines(warned)])


def _one_for_each(given: Sequence[Any], photos: Sequence[str], option: str) -> list[Any]:
    """Return one for each photograph: one that is given once holds for all, as when the camera stands still."""
    if len(given) == 1:
        return [given[0]] * len(photos)
    if len(given) != len(photos):
        raise values.TypingError(
            f"Give {option} once, for all photographs alike, or once for each of the {len(photos)}: not {len(given)}."
        )
    return list(given)
