"""The commands ``read`` and ``repeat``: what a photograph shows, how far to trust it, and how well it repeats."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher.cli import values, words
from matcher.cli.photographs import Photographed, as_warnings, photographed
from matcher.cli.words import Answer

if TYPE_CHECKING:
    from matcher.reading.reading import Reading
    from matcher.reading.texture import Texture

from typing import TYPE_CHECKING

from matcher.cli.photographs import AUTO, NONE, opened, opened_studio, studio_that_is_there

if TYPE_CHECKING:
    from matcher.calibration.profile import CameraProfile
    from matcher.card.reading import CardReading
    from matcher.studio import Studio


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
    from matcher.reading.advice import budget_table, reach_of, trust_sentence, what_would_help

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

    from matcher.reading.texture import read_texture

    rng = np.random.default_rng(1)  # the same photograph gives the same answer
    return [
        read_texture(found.photo, found.calibration, reading.region, rng)
        for reading in found.readings
        if reading.region is not None
    ]


def _differences(readings: Sequence[Reading]) -> list[dict[str, Any]]:
    """Return ΔE00 between all pairs of finishes in one photograph, the error that they have in common cancelled."""
    from matcher.colour.difference import delta_e_2000
    from matcher.colour.wording import difference_in_words
    from matcher.reading.comparison import delta_e_interval

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
    from matcher.reading.repeatability import repeatability

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


CHART = "24-patch chart"


def camera(options: argparse.Namespace) -> Answer:
    """Make a profile of a chart's photograph, or do one thing with those that are kept; with nothing asked, list."""
    if options.photo is None:
        _refuse_for_made_only(options)
        comes_in = options.import_file is not None
        with opened_studio(options) if comes_in else studio_that_is_there(options) as studio:
            return _kept(studio, options)
    kept = (options.rename, options.retire, options.take_back, options.export, options.import_file)
    if options.list or any(asked is not None for asked in kept):
        raise values.TypingError("Give a chart's photograph, or one thing to do with the kept profiles, not both.")
    return _made(options)


def _refuse_for_made_only(options: argparse.Namespace) -> None:
    for name in ("name", "light", "chart_corners", "chart_lab", "encoding"):
        if getattr(options, name):
            raise values.TypingError(f"Leave out --{name.replace('_', '-')}: it goes with a chart's photograph.")


def _kept(studio: Studio, options: argparse.Namespace) -> Answer:
    from matcher.trials.camera_profiles import read_profile

    if options.rename:
        _refuse_reserved(options.rename[1])
        return _said(studio.rename_profile(*options.rename), studio, "Renamed")
    if options.retire:
        return _said(studio.retire_profile(*options.retire), studio, "Retired")
    if options.take_back is not None:
        return _said(studio.take_back_profile(options.take_back), studio, "Took back")
    if options.import_file is not None:
        _refuse_reserved(read_profile(Path(options.import_file)).name)
        return _said(studio.import_profile(options.import_file), studio, "Kept")
    if options.export:
        name, path = options.export
        studio.export_profile(name, path)
        return Answer({"profile": name, "path": path}, [f"Wrote {path}: the profile {name!r}."])
    profiles = studio.profiles(include_retired=True)
    document = {"studio": studio.name, "profiles": [profile.as_dict() for profile in profiles]}
    lines = [line for profile in profiles for line in words.profile_lines(profile)]
    return Answer(document, lines or ["No camera profile is kept yet: photograph a 24-patch chart under the light."])


def _refuse_reserved(name: str) -> None:
    if name.strip().casefold() in (AUTO, NONE):
        raise values.TypingError(f"Give the profile a name other than {AUTO} and {NONE}: --camera reads them as words.")


def _said(profile: CameraProfile, studio: Studio, done: str) -> Answer:
    document = {"studio": studio.name, "profile": profile.as_dict()}
    return Answer(document, [f"{done} in {studio.name}:", *words.profile_lines(profile)])


def _made(options: argparse.Namespace) -> Answer:
    from matcher.calibration.profile_from_chart import profile_from_chart
    from matcher.card.detect import find_card

    if not options.name or not options.name.strip():
        raise values.TypingError(f"Give the profile a name with --name, other than {AUTO} and {NONE}.")
    _refuse_reserved(options.name)
    photo = opened(options.photo, options)
    corners = None if options.chart_corners is None else values.corners(options.chart_corners)
    lab: Any = None if options.chart_lab is None else values.colours(options.chart_lab)
    chart = find_card(photo, CHART, corners=corners, lab=lab)
    profile = profile_from_chart(photo, chart, options.name, light=options.light)
    with opened_studio(options) as studio:
        kept, where = studio.save_profile(profile), studio.name
    patches = _patches(kept, chart)
    delta = kept.as_dict()["leave_one_out_delta_e00"]
    warned = [caveat.as_dict() for caveat in kept.caveats]
    document = {
        "studio": where,
        "profile": kept.as_dict(),
        "chart": chart.as_dict(),
        "leave_one_out_delta_e00": {**delta, "patches": patches},
        "warnings": warned,
    }
    worst = sorted(patches, key=lambda item: -item["delta_e00"])[:3]
    lines = [
        f"Kept in {where}:",
        *words.profile_lines(kept),
        "    read worst: " + ", ".join(f"{item['name']} {item['delta_e00']:.1f}" for item in worst),
    ]
    return Answer(document, [*lines, *words.warning_lines(warned)])


def _patches(profile: CameraProfile, chart: CardReading) -> list[dict[str, Any]]:
    """Return the leave-one-out ΔE00 of each patch that was used, with the patch's name."""
    from matcher.calibration.profile_report import patch_pairs

    pairs = patch_pairs(profile, chart.card)
    return [{"name": pair.name, "delta_e00": pair.delta_e00} for pair in pairs if pair.delta_e00 is not None]
