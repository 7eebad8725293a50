"""From what a command line names (photographs, outlines, card, camera profile, a typed or kept colour) to readings.

Every command that answers for a colour goes through here, so that all of them understand the same options.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher.errors import CardError, Caveat, StudioError
from matcher.typed_in import values, words
from matcher.words import counted, listed

if TYPE_CHECKING:
    from matcher.calibration.calibration import Calibration
    from matcher.calibration.illumination import LightField
    from matcher.calibration.profile import CameraProfile
    from matcher.calibration.references.reference import Reference
    from matcher.card.reading import CardReading
    from matcher.instrument.files import InstrumentFile
    from matcher.instrument.measured import Sample
    from matcher.photo.photo import Photo
    from matcher.plates_in_picture import PlateInPicture, PlateSeen
    from matcher.reading.reading import Reading
    from matcher.studio import Studio
    from matcher.tags.sightings import KeptSighting

AUTO, NONE = "auto", "none"
"""Words in the place of a profile's name."""
MOST_TOLERANCE = 50.0  # ΔE00: farther apart than bronze and verdigris
PHOTO_ONLY = (
    "finish", "card_corners", "no_card", "neutral", "card_lab", "encoding", "more_frames", "flat_field",
    "second_card_corners", "no_plates", "leave_out", "known",
)  # fmt: skip
"""Options that say how to read a photograph."""
FILE_ONLY = ("sample", "angle", "condition", "white", "illuminant", "observer")
"""Options that say what to take of an instrument's file."""


@dataclass(frozen=True)
class ProfileUsed:
    """Which camera profile a photograph was read with. chosen: "auto", "named", "chart" or "none"; why: when none."""

    profile: CameraProfile | None
    chosen: str
    why: tuple[Caveat, ...] = ()

    @property
    def lines(self) -> list[str]:
        """Say which it was, or why none; nothing where the studio keeps none."""
        if self.profile is not None:
            fits = "it fits the light; its camera is not sure" if self.why else "it fits camera and light"
            how = {"auto": fits, "named": "as named", "chart": "made on the spot"}[self.chosen]
            return [f"Camera profile: {self.profile.name} ({how})"]
        return [f"Camera profile: none. {caveat.message}" for caveat in self.why]

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
    """What was read from a photograph. files: the photograph and its further frames; caveats: of card and light;
    plates: those of the studio's that lie in it."""

    photo: Photo
    card: CardReading | None
    calibration: Calibration
    readings: list[Reading]
    profile: ProfileUsed
    files: tuple[Path, ...]
    caveats: tuple[Caveat, ...] = ()
    plates: tuple[PlateSeen, ...] = ()

    @property
    def plates_there(self) -> list[int]:
        """The numbers of the studio's plates that lie in it, whether they served or not."""
        return [one.plate.trial_id for one in self.plates if one.plate.trial_id is not None]

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
    """Read the finishes that are marked in one photograph, with all that the options say of card, light and camera.

    The studio's plates that lie in it are found by their tags and read by.
    """
    from matcher.calibration.calibrate import checked_count
    from matcher.plates_in_picture import noting_left_out, seen_in, serving
    from matcher.reading.seen_again import seen_again

    outlines = [values.outline(text) for text in options.finish]
    if not outlines:
        raise values.TypingError('Mark the finish with --finish "x,y x,y x,y ...", an outline in pixels.')
    photo = opened(options.photo, options)
    plates, by_hand = _plates_in(photo, options)
    known = [*serving(plates, by_hand), *_known_without_tag(photo, options)]
    card, missing = _card_or_plates(photo, options, known)
    used = profile_used(photo, card, options)
    field = _light_field(photo, card, options)
    calibration = replace(_calibrated(photo, card, used, options, field), references=checked_count(known))
    if calibration.profile is not None and used.profile is None:
        used = ProfileUsed(calibration.profile, "chart")
    readings, caveats = _readings(photo, calibration, used, options, outlines)
    readings = [noting_left_out(reading, plates, by_hand) for reading in readings]
    caveats += (*missing, *(() if field is None else field.caveats))
    files = (Path(options.photo), *(Path(name) for name in options.more_frames))
    seen = seen_in(plates, seen_again(photo, calibration), by_hand)
    return Photographed(photo, card, calibration, readings, used, files, caveats, seen)


def _card_or_plates(
    photo: Photo, options: argparse.Namespace, known: Sequence[Reference]
) -> tuple[CardReading | None, tuple[Caveat, ...]]:
    """Find the card; where none is found and none was marked, known plates can do without it. Raises CardError."""
    _refuse_contradictions(options)
    try:
        return found_card(photo, options, options.card_corners), ()
    except CardError:
        if not known or options.card_corners is not None or options.neutral is not None:
            raise
    message = "No card was found, so the plates alone tell the light: mark the card's corners if there is one."
    return None, (Caveat("card-not-found", message),)


def _plates_in(photo: Photo, options: argparse.Namespace) -> tuple[tuple[PlateInPicture, ...], set[str]]:
    """Return the studio's plates that a photograph shows, and the tags of those that are left out by hand."""
    if getattr(options, "no_plates", True) or not studio_is_there(options.studio):
        if getattr(options, "leave_out", None):
            raise values.TypingError("Leave out --leave-out: no plate of a studio is looked for here.")
        return (), set()
    with opened_studio(options) as studio:
        plates = studio.plates_in(photo)
    left_out = set()
    for text in options.leave_out:
        asked = text.strip().upper()
        named = [one for one in plates if asked in (str(one.trial_id), one.sighting.tag)]
        if not named:
            found = listed([one.name for one in plates]) or "none is found"
            raise values.TypingError(f"Give --leave-out a plate that is in the picture ({found}): {text!r} is not.")
        left_out |= {one.sighting.tag for one in named}
    return plates, left_out


def _known_without_tag(photo: Photo, options: argparse.Namespace) -> list[Reference]:
    """Return the logged plates that were marked in the picture by hand."""
    from matcher.calibration.references.reference import Reference

    found = []
    for text in getattr(options, "known", ()):
        number, _, outline = text.partition(":")
        if not outline or not number.strip().isdecimal():
            raise values.TypingError(
                f'Give --known as a plate and its outline, "88:x,y x,y x,y": {text!r} is not that.'
            )
        with studio_that_is_there(options) as studio:
            trial = studio.trial(int(number))
            reading = studio.colour_by_now(int(number), photo.sha256)
        found.append(Reference(values.outline(outline), reading, f"plate {trial.id}", trial.uid))  # type: ignore[arg-type]
    return found


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
    from matcher.card.card import OWN_DELTA_E00, load_cards
    from matcher.card.detect import find_card, neutral_patch

    measured_to = OWN_DELTA_E00
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
            its = own[kind]
            if lab is None:
                lab, measured_to = its.lab, its.tolerance
            kind = its.kind
    return find_card(photo, kind=kind, corners=marked, lab=lab, measured_to=measured_to)


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


@dataclass(frozen=True, eq=False)
class Given:
    """A colour that was typed, read from a photograph or an instrument's file, or kept.

    tolerance: ΔE00 that counts as a match. choice_lines: what the file could give instead.
    """

    reading: Reading
    found: Photographed | None = None
    tolerance: float = values.TOLERANCE
    choice_lines: tuple[str, ...] = ()

    @property
    def files(self) -> tuple[Path, ...]:
        return () if self.found is None else self.found.files

    @property
    def warnings(self) -> list[dict[str, str]]:
        return as_warnings(self.reading.caveats) if self.found is None else self.found.warnings

    @property
    def profile(self) -> dict[str, Any] | None:
        return None if self.found is None else self.found.profile.as_dict()

    @property
    def profile_lines(self) -> list[str]:
        return [] if self.found is None else self.found.profile.lines

    @property
    def document(self) -> dict[str, Any]:
        """What every answer for a colour begins with, as plain JSON types."""
        return {
            "target": self.reading.as_dict(),
            "profile": self.profile,
            "tolerance_delta_e00": self.tolerance,
        }

    @property
    def lines(self) -> list[str]:
        """What every answer for a colour begins with, for a person."""
        return [
            words.reading_line("Target", self.reading),
            *self.profile_lines,
            *self.plate_lines,
            *words.warning_lines(self.warnings),
        ]

    @property
    def plates(self) -> tuple[PlateSeen, ...]:
        """The studio's plates in its photograph."""
        return () if self.found is None else self.found.plates

    def sightings(self, studio: Studio, own_tag: str = "") -> list[KeptSighting]:
        """Return what the log of a studio keeps of those plates, once the photograph is kept."""
        from matcher.plates_in_picture import kept_sightings

        if self.found is None:
            return []
        photo = self.found.photo
        return kept_sightings(self.plates, studio.taken_at(photo), photo.sha256, own_tag)

    @property
    def plate_lines(self) -> list[str]:
        """Say which plates it was read by."""
        from matcher.plates_in_picture import seen_in_words

        return seen_in_words(self.plates)


def given(options: argparse.Namespace) -> Given:
    """Return the one colour that was typed, photographed, or written to a file by an instrument."""
    from matcher.reading.reading import Reading

    if getattr(options, "from_file", None) is not None:
        return _given_in_a_file(options)
    refuse_for_file_only(options)
    if (options.photo is None) == (options.lab is None):
        raise values.TypingError("Give either a photograph or a measured colour with --lab L,a,b.")
    if options.lab is not None:
        refuse_for_photo_only(options)
        return Given(Reading(lab=values.colour(options.lab)))  # type: ignore[arg-type]
    if len(options.finish) > 1:
        raise values.TypingError("Mark one finish: this command takes one colour at a time.")
    found = photographed(options)
    return Given(found.readings[0], found)


def _given_in_a_file(options: argparse.Namespace) -> Given:
    if (options.photo, options.lab) != (None, None):
        raise values.TypingError("Give one source: a file, a photograph, or a colour with --lab.")
    refuse_for_photo_only(options)
    file = given_file(options)
    samples = samples_wanted(file, options)
    if len(samples) > 1:
        raise values.TypingError(f"Choose one with --sample: the file has {counted(len(samples), 'colour')}.")
    return Given(samples[0].reading, choice_lines=tuple(words.choice_lines(file.questions)))


def given_file(options: argparse.Namespace) -> InstrumentFile:
    """Return the instrument's file that the options name, read with the answers that they give."""
    from matcher.instrument.choices import Asked, answer_as_named, what_is_open
    from matcher.instrument.files import read_file

    typed = {about: getattr(options, about) for about in Asked if getattr(options, about) is not None}
    file = read_file(options.from_file, "", {about: answer_as_named(about, text) for about, text in typed.items()})
    if (question := file.unanswered) is not None:
        settles = f"--{question.about} {' or '.join(question.options[:2])}"
        raise values.TypingError(f"{file.name}: {what_is_open(question)} Give {settles}.")
    return file


def samples_wanted(file: InstrumentFile, options: argparse.Namespace) -> tuple[Sample, ...]:
    """Return the samples that --sample names, or all."""
    return values.chosen(file.samples, options.sample, options.from_file) if options.sample else file.samples


def refuse_for_file_only(options: argparse.Namespace) -> None:
    """Refuse what would go unheeded without an instrument's file. Raises TypingError."""
    for name in FILE_ONLY:
        if getattr(options, name, None):
            raise values.TypingError(f"Give --{name} with --from: it goes with an instrument's file.")


def readings_after(options: argparse.Namespace) -> dict[int, Reading]:
    """Return the readings of a piece on its way, by passes laid, in that order."""
    from matcher.reading.reading import Reading

    typed = values.after_passes(options.after)
    return {count: Reading(lab=typed[count]) for count in sorted(typed)}  # type: ignore[arg-type]


def wanted(options: argparse.Namespace, studio: Studio) -> Given:
    """Return the colour to match, with its tolerance: what is typed, else what a kept target says, else 2."""
    if options.target is None:
        colour = given(options)
        return Given(colour.reading, colour.found, tolerance_given(options, values.TOLERANCE))
    if (options.photo, options.lab) != (None, None):
        raise values.TypingError("Give one target: a photograph, a colour with --lab, or a kept one with --target.")
    refuse_for_photo_only(options)
    kept = studio.target(options.target)
    return Given(kept.reading, None, tolerance_given(options, kept.tolerance))


def refuse_for_photo_only(options: argparse.Namespace) -> None:
    """Refuse what would go unheeded without a photograph. Raises TypingError."""
    for name in PHOTO_ONLY:
        if getattr(options, name):
            raise values.TypingError(f"Leave out --{name.replace('_', '-')}: it goes with a photograph.")
    if options.camera != AUTO:
        raise values.TypingError("Leave out --camera: it goes with a photograph.")


def tolerance_given(options: argparse.Namespace, otherwise: float) -> float:
    """Return ΔE00 that counts as a match. Raises TypingError for one that any two colours are within."""
    if options.tolerance is not None and options.tolerance > MOST_TOLERANCE:
        raise values.TypingError(
            f"Give --tolerance as ΔE00 up to {MOST_TOLERANCE:g}: {options.tolerance:g} is not that."
        )
    return otherwise if options.tolerance is None else float(options.tolerance)
