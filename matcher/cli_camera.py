"""The ``camera`` command: a camera-and-light profile from a chart's photograph, and the studio's profiles in hand."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher import cli_values as values
from matcher import cli_words as words
from matcher.cli_answer import Answer
from matcher.cli_photographs import AUTO, NONE, opened, opened_studio, studio_that_is_there

if TYPE_CHECKING:
    from matcher.camera_profile import CameraProfile
    from matcher.card_reading import CardReading
    from matcher.studio import Studio

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
    from matcher.card_in_photo import find_card
    from matcher.chart_profile import profile_from_chart

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
    from matcher.profile_report import patch_pairs

    pairs = patch_pairs(profile, chart.card)
    return [{"name": pair.name, "delta_e00": pair.delta_e00} for pair in pairs if pair.delta_e00 is not None]
