"""The commands on what is asked of the studio: commissions, the targets that they are to match, reference cards."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matcher.cli import values, words
from matcher.cli.given import given, given_file, refuse_for_file_only, samples_wanted
from matcher.cli.options import Commands, Function, Parser, add_instrument_file, add_overwrite, add_photo_or_lab
from matcher.cli.photographs import as_warnings, opened_studio, studio_is_there, studio_that_is_there
from matcher.cli.values import TOLERANCE
from matcher.cli.words import Answer, write
from matcher.words import counted

if TYPE_CHECKING:
    from matcher.card.card import Card
    from matcher.commissions.commission import Area, Commission
    from matcher.commissions.known import Known
    from matcher.reading.reading import Reading
    from matcher.studio import Studio
    from matcher.trials.own_cards import OwnCard
    from matcher.trials.trial import Target

MOST_TARGETS_AT_ONCE = 100


def add_commands(commands: Commands) -> None:
    about = "List clients' commissions; show one with its timeline; add, change, note, set aside."
    _add_commissions(commands.add("commissions", about, list_commissions))
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


def _add_commissions(parser: Parser) -> None:
    about = "with those set aside"
    parser.add_argument("--all", action="store_true", help=about)
    parts = Commands(parser, "PART", required=False)
    listed = parts.add("list", "List the commissions, the one due first at the head.", list_commissions)
    listed.add_argument("--all", action="store_true", default=argparse.SUPPRESS, help=about)
    _with_id(parts, "show", "Show one: areas, what to do next, what happened, what to hand over.", show_commission)
    added = parts.add("add", "Take on a commission.", add_commission)
    added.add_argument("title", metavar="TITLE", help="title of the piece")
    added.add_argument("--alloy", metavar="NAME", required=True, help="what it is cast in")
    added.add_argument("--area", metavar="NAME", action="append", default=[], help="an area of it; may be given again")
    _add_about_commission(added)
    changed = _with_id(parts, "change", "Change what was typed of a commission.", change_commission)
    changed.add_argument("--title", metavar="TEXT", help="title of the piece")
    changed.add_argument("--alloy", metavar="NAME", help="what it is cast in")
    _add_about_commission(changed)
    area = _with_id(parts, "add-area", "Add an area to a commission.", add_area)
    area.add_argument("name", metavar="NAME")
    _add_about_area(area)
    area = parts.add("change-area", "Give an area another name, surface or target.", change_area)
    area.add_argument("id", metavar="AREA", type=values.whole, help="number of the area")
    area.add_argument("--name", metavar="NAME")
    _add_about_area(area)
    order = _with_id(parts, "order-areas", "Put the areas into another order.", order_areas)
    order.add_argument("areas", metavar="AREA", type=values.whole, nargs="+", help="numbers of all its areas")
    note = _with_id(parts, "note", "Write a line into the journal.", note_line)
    note.add_argument("text", metavar="TEXT")
    note.add_argument("--kind", choices=("note", "decision", "handover"), default="note", help="what it is (note)")
    note.add_argument("--area", metavar="AREA", type=values.whole, help="number of the area that it is about")
    note.add_argument("--photo", metavar="FILE", help="a photograph that is kept with it")
    _add_by(note)
    aside = _with_id(parts, "set-aside", "Note that a commission is no longer worked on.", set_commission_aside)
    aside.add_argument("reason", metavar="REASON")
    _add_by(aside)
    _add_by(_with_id(parts, "take-back", "Let a commission be worked on again.", take_commission_back))


def _with_id(parts: Commands, name: str, about: str, function: Function) -> Parser:
    part = parts.add(name, about, function)
    part.add_argument("id", metavar="ID", type=values.whole)
    return part


def _add_by(parser: Parser) -> None:
    parser.add_argument("--by", default="", help="who does it")


def _add_about_commission(parser: Parser) -> None:
    parser.add_argument("--client", metavar="TEXT", help="your label for the client")
    parser.add_argument("--size", metavar="TEXT", help="how large it is, in words")
    parser.add_argument(
        "--surface", metavar="CM2", type=values.figure_or_none, help="of one cast, cm²; none: not noted"
    )
    parser.add_argument("--casts", metavar="N", type=values.whole, help="how many the edition has")
    parser.add_argument("--due", metavar="DAY", help="2026-03-31; none: not noted")
    about = "ΔE00 that counts as a match where a target says nothing else"
    parser.add_argument("--tolerance", metavar="D", type=values.figure, help=about)
    parser.add_argument("--notes", metavar="TEXT", help="anything else")
    _add_by(parser)


def _add_about_area(parser: Parser) -> None:
    parser.add_argument(
        "--surface", metavar="CM2", type=values.figure_or_none, help="its surface, cm²; none: not noted"
    )
    about = "number of the target that it is to match; none: none yet"
    parser.add_argument("--target", metavar="ID", type=values.whole_or_none, help=about)
    _add_by(parser)


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


def list_commissions(options: argparse.Namespace) -> Answer:
    """List the commissions, the one due first at the head, with how far each has come."""
    from matcher.commissions.known import all_known
    from matcher.commissions.state import state_of
    from matcher.commissions.store import by_due_day
    from matcher.commissions.wording import state_in_words

    with studio_that_is_there(options) as studio:
        found = by_due_day(studio.commissions.commissions(include_set_aside=options.all))
        states = [state_of(all_known(studio.database, commission)) for commission in found]
        where = studio.name
    lines = [
        f"{one.id}  {one.title}{f', {one.client}' if one.client else ''}: {state_in_words(state)}"
        f"{f', due {one.due_on.isoformat()}' if one.due_on else ''}"
        for one, state in zip(found, states, strict=True)
    ]
    document = {
        "studio": where,
        "commissions": [
            {**one.as_dict(), "state": {**vars(state), "in_words": state_in_words(state)}}
            for one, state in zip(found, states, strict=True)
        ],
    }
    return Answer(document, lines or ['No commission is kept yet: take one on with "commissions add".'])


def show_commission(options: argparse.Namespace) -> Answer:
    """Show one commission with its areas, next steps and timeline."""
    with studio_that_is_there(options) as studio:
        return _shown(studio, studio.commissions.commission(options.id))


def add_commission(options: argparse.Namespace) -> Answer:
    from matcher.commissions.commission import Area, Commission

    areas = tuple(Area(name) for name in options.area)
    told = _told_of_commission(options)
    commission = Commission(**{**told, "areas": areas, "made_by": options.by})
    with opened_studio(options) as studio:
        return _shown(studio, studio.commissions.save(commission, options.by))


def change_commission(options: argparse.Namespace) -> Answer:
    told = _told_of_commission(options)
    if not told:
        raise values.TypingError("Say what changes, --casts or --due for example; see commissions change --help.")
    with studio_that_is_there(options) as studio:
        was = studio.commissions.commission(options.id)
        return _shown(studio, studio.commissions.change(replace(was, **told), was, options.by))


def add_area(options: argparse.Namespace) -> Answer:
    from matcher.commissions.commission import Area

    with studio_that_is_there(options) as studio:
        studio.commissions.add_area(options.id, Area(options.name, **_told_of_area(options)), options.by)
        return _shown(studio, studio.commissions.commission(options.id))


def change_area(options: argparse.Namespace) -> Answer:
    told = _told_of_area(options)
    if options.name is not None:
        told["name"] = options.name
    if not told:
        raise values.TypingError("Say what changes of the area: --name, --surface or --target.")
    with studio_that_is_there(options) as studio:
        commission, was = studio.commissions.area(options.id)
        studio.commissions.change_area(replace(was, **told), was, options.by)
        return _shown(studio, studio.commissions.commission(commission.id or 0))


def order_areas(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        seen = [area.id or 0 for area in studio.commissions.commission(options.id).areas]
        if sorted(seen) != sorted(options.areas):
            raise values.TypingError(f"Name each area once, in the new order: {' '.join(map(str, seen))} stand now.")
        return _shown(studio, studio.commissions.reorder(options.id, options.areas, seen))


def note_line(options: argparse.Namespace) -> Answer:
    from matcher.commissions.commission import JournalLine

    with studio_that_is_there(options) as studio:
        commission = studio.commissions.commission(options.id)
        photo = None if options.photo is None else studio.keep_photo(options.photo)
        line = JournalLine(commission.id, options.text, options.kind, options.area, photo, options.by)
        studio.commissions.write(line)
        return _shown(studio, commission)


def set_commission_aside(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        return _shown(studio, studio.commissions.set_aside(options.id, options.reason, options.by))


def take_commission_back(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        return _shown(studio, studio.commissions.take_back(options.id, options.by))


def _told_of_commission(options: argparse.Namespace) -> dict[str, Any]:
    """Return what the options say of a commission, by its names; what they do not say is left out."""
    given = {
        "title": options.title,
        "alloy": options.alloy,
        "client": options.client,
        "size": options.size,
        "area_cm2": options.surface,
        "casts": options.casts,
        "due_on": options.due,
        "tolerance": options.tolerance,
        "notes": options.notes,
    }
    return {name: _or_none(value, name) for name, value in given.items() if value is not None}


def _told_of_area(options: argparse.Namespace) -> dict[str, Any]:
    given = {"area_cm2": options.surface, "target_id": options.target}
    return {name: _or_none(value, name) for name, value in given.items() if value is not None}


def _or_none(value: Any, name: str) -> Any:
    if name in ("area_cm2", "target_id", "due_on") and isinstance(value, str) and values.is_none(value):
        return None
    return value


def _shown(studio: Studio, commission: Commission) -> Answer:
    """Say all of a commission: what was typed, areas with their next steps, what to hand over, what happened."""
    from matcher.commissions.known import all_known
    from matcher.commissions.state import next_steps, state_of
    from matcher.commissions.timeline import what_happened
    from matcher.commissions.wording import event_in_words, state_in_words, step_in_words
    from matcher.dates import ISO, shown

    known = all_known(studio.database, commission)
    state, steps = state_of(known), {step.area.id: step for step in next_steps(known)}
    events = what_happened(studio.database, known)
    lines = [
        f"{commission.id}  {commission.title}, {commission.alloy}: {state_in_words(state)}",
        *_about_lines(commission),
        *(_area_line(area, known) for area in commission.areas),
        *(f"Next: {step_in_words(step)}." for step in steps.values()),
        "",
        *(
            " ".join(filter(None, (shown(event.at, ISO), event.who and f"{event.who}:", event_in_words(event, known))))
            for event in events
        ),
    ]
    document = {
        "studio": studio.name,
        "commission": commission.as_dict(),
        "state": {**vars(state), "in_words": state_in_words(state)},
        "next": [
            {
                "step": step.step,
                "area_id": step.area.id,
                "trial_id": step.nearest.trial.id if step.nearest else None,
                "piece": step.piece_uid,
                "cast": step.cast,
                "in_words": step_in_words(step),
            }
            for step in steps.values()
        ],
        "timeline": [{**event.as_dict(), "in_words": event_in_words(event, known)} for event in events],
    }
    return Answer(document, lines)


def _about_lines(commission: Commission) -> list[str]:
    from matcher.commissions.fields import COMMISSION

    told = [field for field in COMMISSION if field.name not in ("title", "alloy")]
    said = [(field.title, field.said(getattr(commission, field.name), {})) for field in told]
    return [f"    {title}: {' '.join(value.split())}" for title, value in said if value != "not noted"]


def _area_line(area: Area, known: Known) -> str:
    target, nearest = known.target_of(area), known.nearest_for(area)
    signed = known.sign_off_of(area)
    said = f"    area {area.id}, {area.name}: "
    said += f"target {target.id}, {target.name}" if target else "no target yet"
    if signed:
        return f"{said}; plate {signed.trial_id} approved"
    if nearest is None:
        return said
    from matcher.commissions.wording import compared_in_words, figures_in_words

    return f"{said}; plate {nearest.trial.id} {compared_in_words(nearest)}, {figures_in_words(nearest)}"
