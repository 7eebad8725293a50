"""The commands on the log: record, and trials with its parts; backup. Each thin over ``matcher.studio``."""

from __future__ import annotations

import argparse
from dataclasses import asdict, replace
from datetime import UTC, datetime
from itertools import starmap, zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from matcher.cli.bench import named_piece
from matcher.cli.suggest import add_nearest
from matcher.errors import StudioError
from matcher.ranking.finding import FACETS, ORDERS, SEASONS, Finds, Found, Wanted
from matcher.ranking.long_log import PORTION, READ_WHOLE
from matcher.recipe.names import same
from matcher.recipe.recipe import MAX_PASSES, Coat, Recipe, Undercoat
from matcher.typed_in import values, words
from matcher.typed_in.options import (
    Commands,
    Function,
    Parser,
    add_about_plate,
    add_after,
    add_by,
    add_instrument_file,
    add_overwrite,
    add_paper,
    add_photo_or_lab,
    add_recipe,
)
from matcher.typed_in.photographs import Given, as_warnings, given, opened_studio, readings_after, studio_that_is_there
from matcher.typed_in.words import Answer
from matcher.words import agreeing, counted

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from matcher.bench.work import Piece
    from matcher.notebook import OwnTable
    from matcher.notebook_columns import Meanings
    from matcher.ranking.finding import Facet, Order
    from matcher.studio import Studio
    from matcher.trials.facts import TypedFacts
    from matcher.trials.fields import PlateField
    from matcher.trials.trial import StageReading, Trial

Layer = TypeVar("Layer", Undercoat, Coat)
BY_NAME = tuple(facet for facet in FACETS if facet != "shade")
"""What a plate can be looked for by beside its colour, which is given in words."""


def add_commands(commands: Commands) -> None:
    _add_record(commands.add("record", "Log a plate: its recipe and the colour that it gave.", record))
    about = "List the logged plates; correct, export, import, set aside, take back."
    _add_trials(commands.add("trials", about, list_trials))
    _add_file_written(commands.add("backup", "Write a copy of the whole studio to one zip.", backup))


def _add_record(parser: Parser) -> None:
    add_photo_or_lab(parser)
    add_instrument_file(parser)
    add_recipe(parser)
    add_after(parser)
    add_about_plate(parser)
    about = "a piece on the bench, by number or mark: its recipe as it was done, its readings, its target; it comes off"
    parser.add_argument("--from-bench", metavar="PIECE", help=about)
    parser.add_argument("--by", default="", help="who made it")
    parser.add_argument("--tag", metavar="CODE", default="", help="the tag that the plate carries: K7QX2-88")


def _add_trials(parser: Parser) -> None:
    about, how_many = "with those set aside", f"how many at most (all; of a log of over {READ_WHOLE:,}, {PORTION})"
    parser.add_argument("--all", action="store_true", help=about)
    parser.add_argument("--count", metavar="N", type=values.whole, help=how_many)
    parts = Commands(parser, "PART", required=False)
    listed = parts.add("list", "List the logged plates.", list_trials)
    listed.add_argument("--all", action="store_true", default=argparse.SUPPRESS, help=about)
    listed.add_argument("--count", metavar="N", type=values.whole, default=argparse.SUPPRESS, help=how_many)
    _add_finding(listed)
    add_nearest(parts)
    about = "Write the log to a file: .zip with its photographs, .csv for a spreadsheet."
    _add_file_written(parts.add("export", about, export))
    into = parts.add("import", "Take in an exported studio or a table of plates.", take_in)
    into.add_argument("--skip-bad", action="store_true", help="leave out rows of a table that cannot be used")
    into.add_argument("file", metavar="FILE")
    add_by(into)
    _add_columns(into)
    about = "Show what the columns of your own table of plates mean, and its rows as plates; nothing is taken in."
    shown = parts.add("columns", about, columns)
    shown.add_argument("file", metavar="FILE")
    _add_columns(shown)
    _add_on_one_plate(parts)


def _add_columns(parser: Parser) -> None:
    """Add what a person says of the columns of a table of the studio's own."""
    about = 'what a column means, such as "Torch heat=coat_1_surface_temp_c:°F"; keep: kept in the notes; none: nothing'
    parser.add_argument("--column", metavar="NAME=MEANING[:UNIT]", action="append", default=[], help=about)
    parser.add_argument("--alloy", default="", help="of all plates, where no column says it")
    about = "for all other columns what the tool proposes, whatever was said before"
    parser.add_argument("--as-proposed", action="store_true", help=about)


def _add_finding(parser: Parser) -> None:
    """Add what narrows and orders the list; of each option given several times, one is enough."""
    parser.add_argument(
        "--find", metavar="WORDS", default="", help="in its row: mark, recipe, day, maker, notes, target, commission"
    )
    about = 'in plain words: brown, "dark green", "olive brown"'
    parser.add_argument("--colour", metavar="WORDS", action="append", default=[], help=about)
    for facet in BY_NAME:
        about = f'such as "{SEASONS[1]}"' if facet == "season" else "as the log has it, or none"
        parser.add_argument(f"--{facet}", metavar="NAME", action="append", default=[], help=about)
    about = "number (the usual), newest, oldest, colour (by hue, each from dark to light), likeness (nearest first)"
    parser.add_argument("--order", choices=("number", *ORDERS), help=about)
    about = "a plate's number, or CIELAB as L,a,b: the list says how far each is from it"
    parser.add_argument("--like", metavar="PLATE|L,a,b", help=about)


def _add_on_one_plate(parts: Commands) -> None:
    aside = _on_one_plate(parts, "set-aside", "Let a plate no longer count; nothing is deleted.", set_aside)
    aside.add_argument("reason", metavar="REASON")
    add_by(aside)
    add_by(_on_one_plate(parts, "take-back", "Let a plate that was set aside count again.", take_back))
    about = (
        "Say that an odd plate was checked and is right: it then counts in full in predictions, until it is changed."
    )
    add_by(_on_one_plate(parts, "checked", about, check_right))
    about = "Take back that a plate is right: it counts again as the other plates bear it out."
    add_by(_on_one_plate(parts, "doubt", about, doubt_again))
    about = "Correct what was typed of a plate; the earlier version stays in its history."
    mend = _on_one_plate(parts, "correct", about, correct)
    add_recipe(mend, corrects=True)
    add_about_plate(mend, corrects=True)
    mend.add_argument("--made-by", metavar="NAME", help="who made it")
    add_by(mend)
    about = "Write a plate's finish as a square JPEG, cropped to what was read, under the white that all plates share."
    shown = _on_one_plate(parts, "patch", about, patch)
    _add_file_written(shown)
    shown.add_argument("--side", metavar="PIXELS", type=values.whole, default=480, help="120, 240 or 480 (the usual)")
    about = "Write a plate's recipe as a PDF for the bench wall: steps, boxes to tick, cautions."
    printed = _on_one_plate(parts, "card", about, card)
    _add_file_written(printed)
    add_paper(printed)
    about = "Tell what was done to a plate since it was logged, with what each correction changed."
    _on_one_plate(parts, "history", about, history)
    later = _on_one_plate(parts, "add-reading", "Add a reading taken later: cool, waxed or lacquered.", add_reading)
    later.add_argument("--stage", choices=("cool", "waxed", "lacquered"), required=True, help="how the plate is now")
    add_photo_or_lab(later)
    add_instrument_file(later)
    later.any_order = True
    add_by(later)


def _on_one_plate(parts: Commands, name: str, about: str, function: Function) -> Parser:
    part = parts.add(name, about, function)
    part.add_argument("id", metavar="ID", type=values.whole)
    return part


def _add_file_written(parser: Parser) -> None:
    parser.add_argument("file", metavar="FILE")
    add_overwrite(parser)


def record(options: argparse.Namespace) -> Answer:
    """Log a plate."""
    from matcher.dates import moment_made
    from matcher.plates_in_picture import corners_of
    from matcher.recipe.cautions import cautions_for
    from matcher.tags.given import tag_text
    from matcher.trials.trial import Trial

    made_at = datetime.now(UTC) if options.made_at is None else moment_made(options.made_at)
    alone = None if options.from_bench is not None else values.recipe_given(options)
    stages = () if alone is None else _stages(options, alone)
    with opened_studio(options) as studio:
        piece = None if alone is not None else _from_bench(studio, options)
        recipe = piece.as_done() if piece is not None else alone or values.recipe_given(options)
        asked = options.target if options.target is not None or piece is None else piece.target_id
        target_id = None if asked is None else studio.target(asked).id
        colour = given(options)
        trial = Trial(
            recipe,
            colour.reading,
            made_at=made_at,
            made_by=options.by,
            piece=options.piece or ("" if piece is None else piece.name),
            ambient_temp_c=options.air,
            ambient_humidity_percent=options.humidity,
            notes=options.notes,
            stages=stages if piece is None else piece.stages(),
            photos=tuple(studio.keep_photos(colour.files)),
            target_id=target_id,
        )
        own_tag = tag_text(options.tag, studio.tag_signs) if options.tag.strip() else ""
        trial = studio.record(trial, options.by, own_tag, corners_of(colour.plates, own_tag))
        not_kept = _keep_sightings(studio, colour, own_tag)
        name, tag = studio.name, studio.tag_of(trial.id or 0)
        laid = studio.worth_laying(trial.reading, trial.id)
        cast = None
        if piece is not None:
            cast = studio.casts.note_begun(trial, piece.cast, options.by)
            studio.shelf.take_off(piece.uid)
    document = {
        "trial": trial.as_dict(),
        "cast": None if cast is None else cast.number,
        "tag": None if tag is None else tag.tag,
        "studio": name,
        "profile": colour.profile,
        "plates": [one.as_dict() for one in colour.plates],
        "lay_beside": words.beside_as_dict(laid),
        "warnings": [*colour.warnings, *not_kept],
        "cautions": [caution.as_dict() for caution in cautions_for(recipe)],
    }
    carries = "" if tag is None else f" It carries {tag.tag}."
    carries += "" if cast is None else f" It is noted as cast {cast.number}."
    said = [f"Logged as plate {trial.id} in {name}.{carries}", *words.trial_lines(trial), *colour.profile_lines]
    said += [*colour.plate_lines, *words.beside_lines(laid)]
    return Answer(document, [*said, *words.warning_lines([*colour.warnings, *not_kept]), *colour.choice_lines])


def _keep_sightings(studio: Studio, colour: Given, own_tag: str) -> list[dict[str, str]]:
    """Keep which plates were seen in the photograph; what cannot be kept is a warning: the plate is logged already."""
    from matcher.tags.sightings import sightings_not_kept

    try:
        studio.keep_sightings(colour.sightings(studio, own_tag))
    except StudioError as error:
        return as_warnings([sightings_not_kept(error)])
    return []


def _from_bench(studio: Studio, options: argparse.Namespace) -> Piece:
    """Return the piece on the bench that is to be logged. Raises TypingError."""
    if options.recipe is not None or values.is_stepwise(options) or options.after:
        raise values.TypingError("Give --from-bench alone: the recipe and the readings on the way are the piece's own.")
    return named_piece(studio, options.from_bench)


def _stages(options: argparse.Namespace, recipe: Recipe) -> tuple[StageReading, ...]:
    """Return the readings that were taken on the way."""
    if not options.after:
        return ()  # without them the suggester need not be loaded
    most = recipe.coats[-1].passes if recipe.coats else 0
    if most is None:  # nobody counted them
        most = MAX_PASSES
    readings = readings_after(options)
    if max(readings) > most:
        raise values.TypingError(f"Check --after: there is a reading after {counted(max(readings), 'pass')} of {most}.")
    from matcher.recipe.stages import stage_after
    from matcher.trials.trial import StageReading

    return tuple(StageReading(stage_after(recipe, count), one) for count, one in readings.items())


def list_trials(options: argparse.Namespace) -> Answer:
    """List the logged plates: all of them, or those that are looked for; of a long log the first of them."""
    from matcher.tags.wording import found_by_tag

    with studio_that_is_there(options) as studio:
        finder = studio.finder()
        looked = studio.tag_looked_for(options.find) if getattr(options, "find", "") else None
        if looked is not None and looked.sure:
            trials = tuple(finder.plates([] if looked.trial_id is None else [looked.trial_id]))
            found = Found(trials, total=len(trials))
        else:
            found = _found(studio, finder, options)
        name = studio.name
        tagged = [] if looked is None else [found_by_tag(looked, studio.tag_signs, studio.tags())]
    document: dict[str, Any] = {
        "studio": name,
        "trials": [trial.as_dict() for trial in found.trials],
        "left": found.left,
    }
    lines = [words.trial_lines(trial) for trial in found.trials]
    if found.delta_e00 is not None:
        document["delta_e00"] = [round(float(value), 4) for value in found.delta_e00]
        lines = [
            [f"{line[0]}  ΔE00 {value:.1f}", *line[1:]] for line, value in zip(lines, found.delta_e00, strict=True)
        ]
    said = [*tagged, *(line for of_one in lines for line in of_one)]
    if found.left:
        said.append(f"Listed: {counted(len(found.trials), 'plate')}. There are more: ask for them with --count.")
    none = "No plate has all of that: ask for less." if finder.count else f"No plate is logged in {name} yet."
    return Answer(document, said or [none])


def _found(studio: Studio, finder: Finds, options: argparse.Namespace) -> Found:
    """Return the plates that the options of ``trials list`` ask for, and wait until they are found."""
    like, wanted = None, Wanted(set_aside=options.all)
    order: Order | None = None
    if hasattr(options, "find"):
        chosen = tuple((facet, _named(finder, facet, getattr(options, facet))) for facet in BY_NAME)
        wanted, order = Wanted(options.find, tuple(options.colour), chosen, options.all), options.order
        if options.like is not None:
            like = _like(studio, options.like.strip())
    order = order or ("number" if like is None else "likeness")
    most = options.count if options.count is not None or finder.count <= READ_WHOLE else PORTION
    return finder.find(wanted, order, like, most, looks=None)


def _like(studio: Studio, said: str) -> ArrayLike:
    is_plate = said.isascii() and said.isdigit()
    return studio.trial(values.whole(said)).reading.lab if is_plate else values.colour(said)


def _named(finder: Finds, facet: Facet, typed: list[str]) -> tuple[str, ...]:
    """Return the values of a facet as the log writes them. Raises TypingError."""
    known = [name for name, _ in finder.choices(facet, Wanted(set_aside=True))] if typed else []
    return tuple(values.known_name(text, known, facet) for text in typed)


def patch(options: argparse.Namespace) -> Answer:
    """Write a plate's patch to a file."""
    from matcher.colour.words_for_colours import colour_in_words
    from matcher.photo.small import patch_key

    with studio_that_is_there(options) as studio:
        reading = studio.trial(options.id).reading
        jpeg = studio.patch(patch_key(reading), options.side, lambda: reading)
    words.write(options.file, jpeg, options.overwrite)
    colour = colour_in_words(reading.lab)
    photographed = reading.photo is not None and reading.region is not None
    plain = "" if photographed else " It is a plain colour: the plate was read without a photograph."
    document = {"trial": options.id, "path": options.file, "colour": colour, "photographed": photographed}
    return Answer(document, [f"Wrote {options.file}: plate {options.id}, {colour}.{plain}"])


def card(options: argparse.Namespace) -> Answer:
    """Write a plate's recipe card."""
    from matcher.printed import plate_card

    with studio_that_is_there(options) as studio:
        pdf = plate_card(studio, options.id, values.paper(options.paper))
        trial = studio.trial(options.id)
        lacks = words.unprinted_lines(studio.title, trial.piece, trial.made_by, trial.notes, trial.recipe)
    words.write(options.file, pdf, options.overwrite)
    said = f"Wrote {options.file}: the recipe of plate {options.id}."
    return Answer({"trial": options.id, "path": options.file, "not_printed": lacks}, [said, *lacks])


def export(options: argparse.Namespace) -> Answer:
    """Write the log to a file."""
    with studio_that_is_there(options) as studio:
        return _written(studio.export(options.file, options.overwrite))


def backup(options: argparse.Namespace) -> Answer:
    """Write a copy of the whole studio."""
    with studio_that_is_there(options) as studio:
        return _written(studio.backup(options.file, options.overwrite))


def take_in(options: argparse.Namespace) -> Answer:
    """Take in an exported studio or a table of plates."""
    from matcher.trials.archive import besides_in_words
    from matcher.trials.spreadsheet import waiting_in_words

    with opened_studio(options) as studio:
        if options.column or options.alloy or options.as_proposed:
            table, meanings = _own_table(studio, options)
            brought = studio.notebooks.take_in(table, meanings, studio.stocks(), options.skip_bad, options.by)
        else:
            brought = studio.import_file(options.file, skip_bad=options.skip_bad, who=options.by)
    new, before = brought.trials, brought.trials_here_before
    said = f"{counted(new, 'plate')} {agreeing(new)} new, {before} {agreeing(before, 'was', 'were')} here before."
    differing = [
        f"Plate {number} differs from the file's copy and stays as it is here." for number in brought.differing
    ]
    waiting = [waiting_in_words(brought.unfilled)] if brought.unfilled else []
    besides = [line for one in brought.besides for line in besides_in_words(one)]
    return Answer(asdict(brought), [said, *besides, *waiting, *differing, *brought.problems])


def columns(options: argparse.Namespace) -> Answer:
    """Show what the columns of a table of the studio's own mean, and its rows as plates."""
    with opened_studio(options) as studio:
        table, meanings = _own_table(studio, options)
        return _shown(studio, table, meanings)


def _shown(studio: Studio, table: OwnTable, meanings: Meanings) -> Answer:
    """Say what the columns of a table mean, and its rows as plates."""
    from matcher.notebook import plates_of
    from matcher.notebook_columns import titles
    from matcher.recipe.recipe import describe
    from matcher.trials.spreadsheet import waiting_in_words

    means, lines, shown = titles(), [], []
    for at, (name, use) in enumerate(zip(table.heading, meanings.uses, strict=True)):
        said = f"{means.get(use.cell)} ({use.cell}{':' if use.unit else ''}{use.unit})" if use.cell else "passed over"
        lines.append(f"{name}: {said}; {', '.join(table.examples(at)) or 'empty'}")
        shown.append({"name": name, "means": use.cell, "unit": use.unit, "examples": table.examples(at)})
    document: dict[str, Any] = {"columns": shown, "alloy": meanings.alloy, "rows": [], "problems": [], "waiting": 0}
    try:
        found = list(plates_of(table, meanings, studio.stocks()))
    except StudioError as error:
        return Answer({**document, "problems": [str(error)]}, [*lines, str(error)])
    for row, plate in found:
        if isinstance(plate, str):
            document["problems"].append(f"Row {row}: {plate}")
        elif plate is not None:
            lab = [round(float(value), 2) for value in plate.reading.lab]
            document["rows"].append({"row": row, "recipe": plate.recipe.as_dict(), "lab": lab})
            lines.append(f"Row {row}: {describe(plate.recipe)}; L*a*b* {lab[0]:g}, {lab[1]:g}, {lab[2]:g}")
    waiting = sum(plate is None for _, plate in found)
    document["waiting"] = waiting
    plates = [plate for _, plate in found if plate is not None and not isinstance(plate, str)]
    document["here_before"] = before = studio.notebooks.here_before(plates)
    if before:
        lines.append(f"{counted(before, 'plate')} of them {agreeing(before)} in the log already.")
    return Answer(document, [*lines, *([waiting_in_words(waiting)] if waiting else []), *document["problems"]])


def _own_table(studio: Studio, options: argparse.Namespace) -> tuple[OwnTable, Meanings]:
    """Return a table with what its columns mean: as said now, else as said before, else as proposed."""
    from matcher.notebook import read_own_table
    from matcher.notebook_columns import KEPT, Meanings, Use

    table = read_own_table(Path(options.file))
    before = None if options.as_proposed else studio.notebooks.remembered(table)
    start = before or table.proposed()
    uses = list(start.uses)
    for said in options.column:
        name, _, meaning = said.rpartition("=")
        if name not in table.heading:
            raise values.TypingError(f"Name a column of {table.name}: {name!r} is none of {', '.join(table.heading)}.")
        cell, _, unit = meaning.partition(":")
        cell = "" if cell == "none" else cell
        uses = [Use() if cell not in ("", KEPT, "notes") and use.cell == cell else use for use in uses]
        uses[table.heading.index(name)] = Use(cell, unit)
    return table, Meanings(tuple(uses), options.alloy or start.alloy)


def set_aside(options: argparse.Namespace) -> Answer:
    """Let a trial no longer count."""
    with studio_that_is_there(options) as studio:
        return _changed(studio.set_aside(options.id, options.reason, who=options.by))


def check_right(options: argparse.Namespace) -> Answer:
    """Note that a plate was checked and is right."""
    with studio_that_is_there(options) as studio:
        return _changed(studio.check_right(options.id, who=options.by))


def doubt_again(options: argparse.Namespace) -> Answer:
    """Take back that a plate is right."""
    with studio_that_is_there(options) as studio:
        return _changed(studio.doubt_again(options.id, who=options.by))


def take_back(options: argparse.Namespace) -> Answer:
    """Let a trial count again."""
    with studio_that_is_there(options) as studio:
        return _changed(studio.take_back(options.id, who=options.by))


def add_reading(options: argparse.Namespace) -> Answer:
    """Add a reading taken later to a logged plate."""
    from matcher.trials.trial import StageReading

    with studio_that_is_there(options) as studio:
        studio.trial(options.id)  # said before a photograph is read for nothing
        colour = given(options)
        for sha256 in studio.keep_photos(colour.files):
            studio.add_photo(options.id, sha256, who=options.by)
        trial = studio.add_stage(options.id, StageReading(options.stage, colour.reading), who=options.by)
        carried = studio.tag_of(options.id)
        not_kept = _keep_sightings(studio, colour, "" if carried is None else carried.tag)
    warned = [*colour.warnings, *not_kept]
    document = {
        "trial": trial.as_dict(),
        "profile": colour.profile,
        "plates": [one.as_dict() for one in colour.plates],
        "warnings": warned,
    }
    said = [*words.trial_lines(trial), *(words.reading_line(f"    {s.stage}", s.reading) for s in trial.stages)]
    said += [*colour.profile_lines, *colour.plate_lines]
    return Answer(document, [*said, *words.warning_lines(warned), *colour.choice_lines])


def _written(exported: Any) -> Answer:
    from matcher.storage.damaged import in_words

    said = f"Wrote {exported.path}: {counted(exported.trials, 'plate')}, {counted(exported.photos, 'photograph')}."
    lost = [f"A photograph that the log names is not in the studio: {sha256}." for sha256 in exported.missing_photos]
    damage = [in_words(exported.damaged)] if exported.damaged else []
    return Answer({**asdict(exported), "path": str(exported.path)}, [said, *lost, *damage])


def _changed(trial: Trial) -> Answer:
    return Answer({"trial": trial.as_dict()}, words.trial_lines(trial))


def correct(options: argparse.Namespace) -> Answer:
    """Correct what was typed of a logged plate."""
    from matcher.trials.facts import facts_of

    with studio_that_is_there(options) as studio:
        was = facts_of(studio.trial(options.id))
        now = _corrected(options, was)
        trial = studio.correct(options.id, now, instead_of=was, who=options.by)
        changed = studio.what_a_correction_changes(was, facts_of(trial))
    said = f"Plate {trial.id} is corrected." if changed else f"Plate {trial.id} says so already: nothing was changed."
    return Answer(
        {"trial": trial.as_dict(), "changed": list(changed)},
        [said, *(f"    {line}" for line in changed), *words.trial_lines(trial)],
    )


def history(options: argparse.Namespace) -> Answer:
    """Tell what was done to a logged plate, when and by whom, with what each correction changed."""
    from matcher.dates import ISO, shown
    from matcher.reading.wording import known_by_in_words
    from matcher.trials.corrections import corrections_among
    from matcher.trials.log import CORRECTED

    with studio_that_is_there(options) as studio:
        trial = studio.trial(options.id)
        changes = studio.history("trial", trial.id)
        laid = studio.worth_laying(trial.reading, trial.id)
    document: list[dict[str, Any]] = []
    lines = [by] if (by := known_by_in_words(trial.reading)) else []
    for change in changes:
        corrections = corrections_among([change])
        mended = [line for one in corrections for line in one.changed]
        detail = "" if change.what == CORRECTED else change.detail
        earlier = [{"recipe": one.recipe.as_dict(), "notes": one.notes} for one in corrections]
        told = {"at": change.at.isoformat(), "who": change.who, "what": change.what, "detail": detail}
        document.append({**told, "changed": mended, "before": next(iter(earlier), None)})
        by, which = f", {change.who}" if change.who else "", f": {detail}" if detail else ""
        lines += [f"{shown(change.at, f'{ISO} %H:%M')}{by}  {change.what}{which}", *(f"    {line}" for line in mended)]
    beside = {"lay_beside": words.beside_as_dict(laid)}
    return Answer({"trial": trial.as_dict(), "history": document, **beside}, [*lines, *words.beside_lines(laid)])


def _corrected(options: argparse.Namespace, was: TypedFacts) -> TypedFacts:
    """Return what was typed of a plate with what the options give in its place."""
    from matcher.trials.fields import TYPED

    typed = {field: getattr(options, str(field.option)) for field in TYPED}
    given = {field.name: _given(field, value) for field, value in typed.items() if value is not None}
    if not given and options.recipe is None and not values.is_stepwise(options):
        raise values.TypingError('Say what is to be corrected, as in --notes "even"; see trials correct --help.')
    return replace(was, recipe=_recipe_corrected(options, was.recipe), **given)


def _given(field: PlateField, value: Any) -> Any:
    """Return what was typed of a plate as it is kept; what a word takes out is None."""
    from matcher.dates import moment_made

    if field.kind == "moment":
        return moment_made(value)
    return None if field.kind in ("number", "target") and value == values.CLEARED else value


def _recipe_corrected(options: argparse.Namespace, logged: Recipe) -> Recipe:
    """Return a logged recipe with the parts that the options give; "none" takes a part out.

    A layer keeps the bottle that is noted for it as long as its chemical stays.
    """
    if options.recipe is not None:
        return values.recipe_given(options)
    under, coats, sealed = logged.undercoat, logged.coats, logged.seal
    if options.undercoat is not None:
        under = None if values.is_none(options.undercoat) else _same_bottle(values.undercoat(options.undercoat), under)
    if options.coat:
        none = len(options.coat) == 1 and values.is_none(options.coat[0])
        given = () if none else tuple(map(values.coat, options.coat))
        coats = tuple(starmap(_same_bottle, zip_longest(given, coats[: len(given)])))
    if options.seal is not None:
        sealed = None if values.is_none(options.seal) else values.seal(options.seal)
    alloy = logged.alloy if options.alloy is None else options.alloy
    surface = logged.surface if options.surface is None else options.surface
    return Recipe(alloy, under, coats, sealed, surface)


def _same_bottle(typed: Layer, logged: Layer | None) -> Layer:
    if logged is None or not same(logged.chemical, typed.chemical):
        return typed
    return replace(typed, stock=logged.stock)
