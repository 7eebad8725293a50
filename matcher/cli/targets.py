"""The commands on what is asked of the studio: commissions, the targets that they are to match, reference cards."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matcher.cli import values, words
from matcher.cli.options import Commands, Parser, add_instrument_file, add_overwrite, add_photo_or_lab
from matcher.cli.photographs import (
    as_warnings,
    given,
    given_file,
    opened_studio,
    refuse_for_file_only,
    samples_wanted,
    studio_is_there,
    studio_that_is_there,
)
from matcher.cli.values import TOLERANCE
from matcher.cli.words import Answer, write
from matcher.words import counted

if TYPE_CHECKING:
    from matcher.card.card import Card
    from matcher.reading.reading import Reading
    from matcher.studio import Studio
    from matcher.trials.own_cards import OwnCard
    from matcher.trials.trial import Target

MOST_TARGETS_AT_ONCE = 100


def add_commands(commands: Commands) -> None:
    _add_targets(
        commands.add("targets", "List the finishes that clients want; keep another, change or set aside one.", targets)
    )
    about = "List the reference cards; keep a measured one; print the carrier sheet."
    _add_cards(commands.add("cards", about, cards))


def _add_targets(parser: Parser) -> None:
    add_photo_or_lab(parser)
    parser.add_argument("--add", metavar="NAME", help="keep a target under this name, from a photograph or by --lab")
    add_instrument_file(parser, several=True)
    parser.add_argument("--munsell", metavar="NOTATION", help='keep a colour matched by eye: "5YR 3/4"')
    about = f"ΔE00 that counts as a match ({TOLERANCE:g})"
    parser.add_argument("--tolerance", metavar="D", type=values.figure, help=about)
    parser.add_argument("--notes", help="anything else")
    parser.add_argument("--all", action="store_true", help="with those set aside")
    kept = parser.add_mutually_exclusive_group()
    about = "let a target have another name, or the --tolerance and --notes that are given with it"
    kept.add_argument("--change", metavar="ID", type=values.whole, help=about)
    kept.add_argument("--set-aside", metavar="ID", type=values.whole, help="note that it is no longer worked on")
    kept.add_argument("--take-back", metavar="ID", type=values.whole, help="let one that was set aside be worked on")
    parser.add_argument("--rename", metavar="NAME", help="the new name, with --change")
    parser.add_argument("--reason", metavar="TEXT", default="done", help="why it is set aside (done)")


def _add_cards(parser: Parser) -> None:
    parser.add_argument("--add", metavar="NAME", help="keep a card that the studio has measured under this name")
    parser.add_argument("--kind", default="grey card", help="what kind of card it is (grey card)")
    parser.add_argument("--lab", metavar="L,a,b", help='its CIELAB; "L,a,b L,a,b ..." of a card with several patches')
    parser.add_argument(
        "--tolerance", metavar="D", type=values.figure, default=0.5, help="ΔE00 of that measurement (0.5)"
    )
    parser.add_argument("--sheet", metavar="FILE.pdf", help="write the carrier sheet, to print")
    add_overwrite(parser)


def targets(options: argparse.Namespace) -> Answer:
    keeps = any(getattr(options, name) is not None for name in ("add", "from_file", "munsell", "photo", "lab"))
    changes = any(getattr(options, name) is not None for name in ("change", "set_aside", "take_back"))
    if keeps and changes:
        raise values.TypingError("Keep a target, or change one that is kept: not both at once.")
    if options.change is None and options.rename is not None:
        raise values.TypingError("Say with --change which target gets the name.")
    if not keeps and options.change is None and (options.tolerance, options.notes) != (None, None):
        raise values.TypingError(
            "Say with --change which target gets the tolerance or the notes, or keep one with --add."
        )
    with opened_studio(options) if keeps else studio_that_is_there(options) as studio:
        if changes:
            _change_target(studio, options)
        added, chosen = _added_targets(studio, options)
        targets = studio.targets(include_set_aside=options.all)
        document = {
            "studio": studio.name,
            "targets": [target.as_dict() for target in targets],
            "added": [target.id for target in added],
        }
    lines = [words.reading_line(f"{t.id}  {t.name}{words.aside(t.set_aside)}", t.reading) for t in targets]
    warned = as_warnings([caveat for target in added for caveat in target.reading.caveats])
    lines = lines or ["No target is kept yet: add one from a client's photograph or by its L,a,b."]
    return Answer({**document, "warnings": warned}, [*lines, *words.warning_lines(warned), *chosen])


def _change_target(studio: Studio, options: argparse.Namespace) -> None:
    """Do what is asked of a target that is kept."""
    if options.set_aside is not None:
        studio.set_target_aside(options.set_aside, options.reason)
    elif options.take_back is not None:
        studio.take_target_back(options.take_back)
    else:
        was = studio.target(options.change)
        given = {"name": options.rename, "tolerance": options.tolerance, "notes": options.notes}
        if not any(value is not None for value in given.values()):
            raise values.TypingError("Say what changes: --rename, --tolerance or --notes.")
        now = replace(was, **{name: value for name, value in given.items() if value is not None})
        studio.change_target(now, was)


def _added_targets(studio: Studio, options: argparse.Namespace) -> tuple[list[Target], list[str]]:
    """Keep what is to be added: from an instrument's file, a Munsell notation, a photograph or a typed CIELAB.

    Return it, and what to say of an instrument's file besides.
    """
    from matcher.trials.trial import Target

    elsewhere = [name for name in ("from_file", "munsell") if getattr(options, name) is not None]
    if len(elsewhere) + ((options.photo, options.lab) != (None, None)) > 1:
        raise values.TypingError("Give one source: a file, a Munsell notation, a photograph, or a colour with --lab.")
    if options.from_file is None:
        refuse_for_file_only(options)
    photo: str | None = None
    chosen: list[str] = []
    if elsewhere:
        named, chosen = _from_elsewhere(options)
    elif options.add is not None:
        colour = given(options)
        photo = studio.keep_photo(colour.files[0]) if colour.files else None
        named = [(options.add, colour.reading)]
    elif (options.photo, options.lab) != (None, None):
        raise values.TypingError("Give the target a name with --add.")
    else:
        return [], []
    tolerance = TOLERANCE if options.tolerance is None else options.tolerance
    kept = [Target(name, reading, tolerance, photo, options.notes or "") for name, reading in named]
    return [studio.save_target(target) for target in kept], chosen


def _from_elsewhere(options: argparse.Namespace) -> tuple[list[tuple[str, Reading]], list[str]]:
    """Return names and readings of a Munsell notation or of a file's samples, and what the file could give instead."""
    from matcher.instrument.munsell import munsell_reading

    if options.munsell is not None:
        return [(options.add or options.munsell.strip(), munsell_reading(options.munsell))], []
    file = given_file(options)
    samples = samples_wanted(file, options)
    there = counted(len(samples), "colour")
    if len(samples) > MOST_TARGETS_AT_ONCE:
        raise values.TypingError(f"Choose with --sample: the file has {there}.")
    if options.add is not None and len(samples) > 1:
        raise values.TypingError(f"Choose one with --sample to name it: the file has {there}.")
    return [(options.add or sample.name, sample.reading) for sample in samples], words.choice_lines(file.questions)


def cards(options: argparse.Namespace) -> Answer:
    from matcher.card.card import load_cards

    defined = load_cards()
    if options.add is None and options.lab is not None:
        raise values.TypingError("Give the measured card a name with --add: without one it is not kept.")
    if options.add is not None and " ".join(options.add.split()) in (*defined, "any"):
        raise values.TypingError(f"Give the measured card a name of its own: {options.add!r} is a kind of card.")
    lab = None if options.add is None else _measured_lab(options, defined)
    if options.sheet is not None:  # first, since it may be refused
        from matcher.card.printable import carrier_sheet

        write(options.sheet, carrier_sheet(defined["carrier sheet"]), options.overwrite)
    own: list[OwnCard] = []
    if options.add is not None or studio_is_there(options.studio):
        with opened_studio(options) as studio:
            if options.add is not None and lab is not None:
                studio.save_card(options.add, options.kind, lab, options.tolerance)
            own = studio.own_cards()
    lines = [f"{card.name}: {card.title}. {card.source}." for card in defined.values()]
    lines += [f"{card.name}: measured {card.kind}, CIELAB {card.lab.round(2).tolist()}" for card in own]
    if options.sheet is not None:
        lines = [f"Wrote {options.sheet}: print it at actual size."]
    cards = [words.card_as_dict(card) for card in defined.values()]
    return Answer({"cards": cards, "own_cards": [card.as_dict() for card in own], "sheet": options.sheet}, lines)


def _measured_lab(options: argparse.Namespace, defined: Mapping[str, Card]) -> Any:
    """Return the typed CIELAB of a card of the studio's own, which must fit the kind of card that it is."""
    if options.lab is None:
        raise values.TypingError("Give the card's own measured CIELAB with --lab L,a,b.")
    if options.kind not in defined:
        raise values.TypingError(f"Choose the kind of card from {', '.join(defined)}: {options.kind!r} is not one.")
    lab = values.colours(options.lab)
    defined[options.kind].with_lab(lab)  # raises CardError when patches are missing
    return lab
