"""From what a command line names (photographs, outlines, card, camera profile) to readings.

Every command that reads a photograph goes through here, so that all of them understand the same options.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher.cli import values
from matcher.errors import StudioError

if TYPE_CHECKING:
    from matcher.calibration.calibration import Calibration
    from matcher.calibration.illumination import LightField
    from matcher.calibration.profile import CameraProfile
    from matcher.card.reading import CardReading
    from matcher.errors import Caveat
    from matcher.photo.photo import Photo
    from matcher.reading.reading import Reading
    from matcher.studio import Studio

AUTO, NONE = "auto", "none"
"""Words in the place of a profile's name."""


@dataclass(frozen=True)
class ProfileUsed:
    """Which camera profile a photograph was read with. chosen: "auto", "named", "chart" or "none"; why: when none."""

    profile: CameraProfile | None
    chosen: str
    why: tuple[Caveat, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        if self.profile is None:
            return {"name": None, "chosen": self.chosen, "why": " ".join(caveat.message for caveat in self.why)}
        known = self.profile.as_dict()
        return {
            "chosen": self.chosen,
            **{
                name: known[name]
                for name in ("name", "light", "kind", "made_at", "leave_one_out_delta_e00", "colour_temperature_k")
            },
        }


@dataclass(frozen=True, eq=False)
class Photographed:
    """What was read from a photograph. files: the photograph and its further frames; caveats: of card and light."""

    photo: Photo
    card: CardReading | None
    calibration: Calibration
    readings: list[Reading]
    profile: ProfileUsed
    files: tuple[Path, ...]
    caveats: tuple[Caveat, ...] = ()

    @property
    def about(self) -> dict[str, Any]:
        """What the file says of itself, as plain JSON types."""
        return about_photo(self.photo, self.files[0])

    @property
    def warnings(self) -> list[dict[str, str]]:
        """What gives reason to doubt the readings, each once."""
        caveats = [*(caveat for reading in self.readings for caveat in reading.caveats), *self.caveats]
        return as_warnings([*caveats, *(caveat for caveat in self.profile.why if self.profile.chosen == AUTO)])


def about_photo(photo: Photo, file: Path) -> dict[str, Any]:
    """Return what a file says of itself, as plain JSON types."""
    return {"name": file.name, "width": photo.width, "height": photo.height,
            "encoding": photo.encoding, "sha256": photo.sha256,
            "camera": None if photo.camera is None else photo.camera.as_dict()}  # fmt: skip


def as_warnings(caveats: Sequence[Caveat]) -> list[dict[str, str]]:
    """Return caveats as plain JSON types, each once."""
    return [caveat.as_dict() for caveat in dict.fromkeys(caveats)]


def opened_studio(options: argparse.Namespace) -> Studio:
    """Open the studio for a command that logs or keeps something; a new one is made."""
    from matcher.studio import Studio

    options.opened = Studio.open(options.studio)
    return options.opened


def studio_that_is_there(options: argparse.Namespace) -> Studio:
    """Open the studio for a command that only looks at it: a slip in its name makes none. Raises StudioError."""
    from matcher.storage.database import default_studio

    place = default_studio() if options.studio is None else options.studio
    if not studio_is_there(place) and _is_nothing(Path(place)):
        raise StudioError(f"There is no studio at {place}: log a plate to make one there, or check the path.")
    return opened_studio(options)


def _is_nothing(place: Path) -> bool:
    """Tell whether nothing is at a place, so that opening it would make a studio."""
    try:
        place = place.expanduser()
        return not place.exists() or (place.is_dir() and not any(place.iterdir()))
    except (OSError, RuntimeError, ValueError):
        return False  # opening it says why


def photographed(options: argparse.Namespace) -> Photographed:
    """Read the finishes that are marked in one photograph, with all that the options say of card, light and camera."""
    outlines = [values.outline(text) for text in options.finish]
    if not outlines:
        raise values.TypingError('Mark the finish with --finish "x,y x,y x,y ...", an outline in pixels.')
    photo, card = photo_and_card(options)
    used = profile_used(photo, card, options)
    field = _light_field(photo, card, options)
    calibration = _calibrated(photo, card, used, options, field)
    if calibration.profile is not None and used.profile is None:
        used = ProfileUsed(calibration.profile, "chart")
    readings, caveats = _readings(photo, calibration, used, options, outlines)
    caveats += () if field is None else field.caveats
    files = (Path(options.photo), *(Path(name) for name in options.more_frames))
    return Photographed(photo, card, calibration, readings, used, files, caveats)


def photo_and_card(options: argparse.Namespace) -> tuple[Photo, CardReading | None]:
    """Open the photograph and find its card as the options say, which may not contradict each other."""
    _refuse_contradictions(options)
    photo = opened(options.photo, options)
    return photo, found_card(photo, options, options.card_corners)


def opened(path: str, options: argparse.Namespace) -> Photo:
    from matcher.photo.photo import open_photo

    return open_photo(path, encoding=options.encoding)


def found_card(photo: Photo, options: argparse.Namespace, corners: str | None) -> CardReading | None:
    """Find the card as the options say; a name that is not a defined kind is one of the studio's own cards."""
    from matcher.card.card import load_cards
    from matcher.card.detect import find_card, neutral_patch

    lab: Any = None if options.card_lab is None else values.colours(options.card_lab)
    if options.no_card:
        return None
    if options.neutral is not None:
        return neutral_patch(photo, values.outline(options.neutral), lab=lab)
    marked = None if corners is None else values.corners(corners)
    kind = None if options.card == "any" else options.card
    if kind is not None and kind not in load_cards() and (options.studio is not None or studio_is_there(None)):
        with studio_that_is_there(options) as studio:
            own = {card.name: card for card in studio.own_cards()}
        if kind in own:
            kind, lab = own[kind].kind, own[kind].lab if lab is None else lab
    return find_card(photo, kind=kind, corners=marked, lab=lab)


def profile_used(photo: Photo, card: CardReading | None, options: argparse.Namespace) -> ProfileUsed:
    """Return the profile that is named, or the studio's that fits; reading alone never makes a studio."""
    if options.camera == NONE:
        return ProfileUsed(None, NONE)
    if options.camera == AUTO:
        if not studio_is_there(options.studio):
            return ProfileUsed(None, NONE)
        with opened_studio(options) as studio:
            if not studio.profiles():
                return ProfileUsed(None, NONE)
            found, why = studio.profile_for(photo, card)
        return ProfileUsed(found, AUTO, why)
    with studio_that_is_there(options) as studio:
        named = studio.profile(options.camera)
    if named.retired is not None:
        raise values.TypingError(f"The profile {named.name!r} is retired ({named.retired}): take it back first.")
    return ProfileUsed(named, "named")


def _calibrated(
    photo: Photo,
    card: CardReading | None,
    used: ProfileUsed,
    options: argparse.Namespace,
    field: LightField | None = None,
) -> Calibration:
    from matcher.calibration.calibrate import calibrate

    return calibrate(photo, card, used.profile, light=options.light, field=field)


def _light_field(photo: Photo, card: CardReading | None, options: argparse.Namespace) -> LightField | None:
    from matcher.calibration.illumination import LightField

    if options.flat_field is None and options.second_card_corners is None:
        return None
    if card is None:
        raise values.TypingError("Lay a card in the picture: without one, the light over it cannot be levelled.")
    if options.flat_field is not None:
        return LightField.from_flat_field(opened(options.flat_field, options), card, photo)
    second = found_card(photo, options, options.second_card_corners)
    assert second is not None
    return LightField.from_two_cards(card, second)


def _readings(
    photo: Photo,
    calibration: Calibration,
    used: ProfileUsed,
    options: argparse.Namespace,
    outlines: Sequence[values.Outline],
) -> tuple[list[Reading], tuple[Caveat, ...]]:
    from matcher.reading.finish import read_finish

    if not options.more_frames:
        return [read_finish(photo, calibration, outline, options.pale_spots) for outline in outlines], ()
    from matcher.reading.exposures import card_of_exposure, read_frames

    photos, calibrations = [photo], [calibration]
    caveats: list[Caveat] = []
    for name in options.more_frames:
        frame = opened(name, options)
        find = partial(found_card, frame, options)
        card, taken_over = card_of_exposure(find, options.card_corners, Path(name).name)
        photos.append(frame)
        calibrations.append(_calibrated(frame, card, used, options))
        caveats += taken_over
    return [read_frames(photos, calibrations, outline, options.pale_spots) for outline in outlines], tuple(caveats)


def _refuse_contradictions(options: argparse.Namespace) -> None:
    if options.more_frames and (options.flat_field is not None or options.second_card_corners is not None):
        raise values.TypingError("Give more frames or a flat field, not both: a lamp that moves lights each unlike.")
    if options.second_card_corners is not None and options.neutral is not None:
        raise values.TypingError("Mark both cards by their corners: something neutral does not tell how light falls.")
    if options.card_corners is not None and (options.no_card or options.neutral is not None):
        raise values.TypingError("Mark the card's corners, or say that there is none: not both.")
    if options.card_lab is not None and options.no_card:
        raise values.TypingError("Leave out --card-lab: with --no-card there is no card that it belongs to.")


def studio_is_there(where: str | Path | None) -> bool:
    """Tell whether a studio is kept at a place, None for the default one; a database URL is taken at its word."""
    from matcher.storage.database import DATABASE_NAME, default_studio

    place = default_studio() if where is None else where
    try:
        return "://" in str(place) or (Path(place).expanduser() / DATABASE_NAME).is_file()
    except (OSError, RuntimeError, ValueError):
        return False
