"""The one colour that a command is given: typed, read from a photograph, or a target that the studio keeps.

Every command that answers for a colour goes through here, so that all of them understand the same options.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher.cli import values, words
from matcher.cli.photographs import AUTO, Photographed, as_warnings, photographed
from matcher.words import counted

MOST_TOLERANCE = 50.0  # ΔE00: farther apart than bronze and verdigris

if TYPE_CHECKING:
    from matcher.instrument.files import InstrumentFile
    from matcher.instrument.measured import Sample
    from matcher.reading.reading import Reading
    from matcher.studio import Studio

PHOTO_ONLY = (
    "finish", "card_corners", "no_card", "neutral", "card_lab", "encoding", "more_frames", "flat_field",
    "second_card_corners",
)  # fmt: skip
"""Options that say how to read a photograph."""
FILE_ONLY = ("sample", "angle", "condition", "white", "illuminant", "observer")
"""Options that say what to take of an instrument's file."""


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
        return [] if self.found is None else words.profile_used_lines(self.found.profile)

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
        return [words.reading_line("Target", self.reading), *self.profile_lines, *words.warning_lines(self.warnings)]


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
        return Given(colour.reading, colour.found, _tolerance(options, values.TOLERANCE))
    if (options.photo, options.lab) != (None, None):
        raise values.TypingError("Give one target: a photograph, a colour with --lab, or a kept one with --target.")
    refuse_for_photo_only(options)
    kept = studio.target(options.target)
    return Given(kept.reading, None, _tolerance(options, kept.tolerance))


def refuse_for_photo_only(options: argparse.Namespace) -> None:
    """Refuse what would go unheeded without a photograph. Raises TypingError."""
    for name in PHOTO_ONLY:
        if getattr(options, name):
            raise values.TypingError(f"Leave out --{name.replace('_', '-')}: it goes with a photograph.")
    if options.camera != AUTO:
        raise values.TypingError("Leave out --camera: it goes with a photograph.")


def _tolerance(options: argparse.Namespace, otherwise: float) -> float:
    """Return ΔE00 that counts as a match. Raises TypingError for one that any two colours are within."""
    if options.tolerance is not None and options.tolerance > MOST_TOLERANCE:
        raise values.TypingError(
            f"Give --tolerance as ΔE00 up to {MOST_TOLERANCE:g}: {options.tolerance:g} is not that."
        )
    return otherwise if options.tolerance is None else float(options.tolerance)
