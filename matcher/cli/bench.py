"""The commands for the work at the bench and after it: advise, bench, trust. Each thin over ``matcher.suggest``."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from matcher.cli.suggest import caution_lines, limits_of
from matcher.recipe.recipe import Recipe, describe
from matcher.typed_in import values, words
from matcher.typed_in.options import Commands, Parser, add_after, add_limits, add_recipe, add_target
from matcher.typed_in.photographs import Given, readings_after, refuse_for_photo_only, studio_that_is_there, wanted
from matcher.typed_in.words import Answer
from matcher.words import percent, with_sign

if TYPE_CHECKING:
    from matcher.bench.path import BenchPath
    from matcher.bench.seal import SealEffect
    from matcher.bench.work import Piece
    from matcher.studio import Studio

UNSEALED = "no"
Act = Callable[["Piece", str], "Piece"]


def add_commands(commands: Commands) -> None:
    _add_advise(commands.add("advise", "Say what to do after a plate, to come nearer to the target.", advise))
    about = "Follow a piece pass by pass: where it is, how many passes remain, when to stop."
    _add_bench(commands.add("bench", about, bench))
    about = "Say how far the predictions can be trusted, and which plates disagree with the others."
    add_target(commands.add("trust", about, trust), tolerance=False)


def _add_advise(parser: Parser) -> None:
    parser.add_argument("--trial", metavar="ID", type=values.whole, required=True, help="the logged plate")
    add_target(parser)
    add_limits(parser)


def _add_bench(parser: Parser) -> None:
    add_target(parser)
    parser.add_argument(
        "--trial", metavar="ID", type=values.whole, help="the recipe of a logged plate (else the best suggested)"
    )
    add_recipe(parser)
    add_after(parser)
    parser.add_argument("--done", metavar="N", type=values.whole, help="passes laid so far (those of the last reading)")
    about = "how the target is sealed: wax, lacquer or no (as the recipe says)"
    parser.add_argument("--sealed", metavar="WITH", help=about)
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--list", action="store_true", help="list the pieces on the bench")
    about = "put a piece with this recipe on the bench, for a kept --target or none; --mark names it"
    which.add_argument("--put", action="store_true", help=about)
    for name, about in (
        ("show", "say where a piece on the bench stands; PIECE is its number or its mark"),
        ("count", "count a pass, or the step that the piece is at"),
        ("go-on", "go on to the piece's next step"),
        ("undo", "take back what was counted last"),
        ("take-off", "take a piece off the bench; what was counted goes with it, so --yes is asked for"),
    ):
        which.add_argument(f"--{name}", metavar="PIECE", help=about)
    parser.add_argument("--mark", metavar="TEXT", default="", help="what is written on the plate, with --put")
    about = "the cast that it is to be, with --put for a --target that is an approved plate (the next one to be done)"
    parser.add_argument("--cast", metavar="N", type=values.whole, help=about)
    parser.add_argument("--reading", metavar="L,a,b", help="with --show: a reading of the piece as it stands, unsealed")
    parser.add_argument("--yes", action="store_true", help="with --take-off: yes, it is to be gone")


def advise(options: argparse.Namespace) -> Answer:
    """Say what to do after a logged plate."""
    from matcher.recipe.cautions import cautions_for_all

    with studio_that_is_there(options) as studio:
        trial = studio.trial(options.trial)
        if (options.photo, options.lab, options.target) == (None, None, None):
            if trial.target_id is None:
                raise values.TypingError(f"Give a target: plate {trial.id} was made for none.")
            options.target = trial.target_id
        colour, limits = wanted(options, studio), limits_of(options, studio)
        advice = studio.suggester(colour.reading, tolerance=colour.tolerance, limits=limits).advice(
            colour.reading, trial
        )
    changes = [*advice.on_this_piece, *advice.on_the_next]
    cautions = cautions_for_all([trial.recipe, *(change.recipe for change in changes)])
    document = {
        **colour.document,
        "limits": limits.in_words(),
        "trial": trial.as_dict(),
        **advice.as_dict(),
        "cautions": [caution.as_dict() for caution in cautions],
        "warnings": colour.warnings,
    }
    lines = [*colour.lines, *words.trial_lines(trial), advice.sentence]
    for change in changes:
        where = "this piece" if change.same_piece else "the next"
        low, high = change.interval
        lines.append(f"    On {where}: {change.what}, to ΔE00 {change.delta_e00:.1f} ({low:.1f} to {high:.1f})")
    return Answer(document, [*lines, "", *caution_lines(cautions)])


def bench(options: argparse.Namespace) -> Answer:
    """Say where a piece stands on its way, how many passes remain and when to stop; or work on those on the bench."""
    from matcher.recipe.cautions import cautions_for_all

    if (answer := _on_the_bench(options)) is not None:
        return answer
    readings = readings_after(options)
    with studio_that_is_there(options) as studio:
        colour = wanted(options, studio)
        recipe = _recipe(options, studio, colour)
        shift = _seal_shift(options, studio, recipe)
        suggester = studio.suggester(colour.reading, tolerance=colour.tolerance)
        path = suggester.bench_path(colour.reading, recipe, readings, shift, options.done)
    cautions = cautions_for_all([recipe])
    document = {
        **colour.document,
        "recipe": recipe.as_dict(),
        "recipe_in_words": describe(recipe),
        "seal_shift": None if path.seal is None else path.seal.as_dict(),
        **path.as_dict(),
        "chance_within_tolerance": path.chance_within(colour.tolerance),
        "cautions": [caution.as_dict() for caution in cautions],
        "warnings": colour.warnings,
    }
    lines = [
        *colour.lines,
        describe(recipe),
        *([] if path.seal is None else [path.seal.sentence]),
        *_path_lines(path, colour.tolerance),
    ]
    return Answer(document, [*lines, "", *caution_lines(cautions)])


def _on_the_bench(options: argparse.Namespace) -> Answer | None:
    """Do what is asked with the pieces on the bench; None when a path is asked for and no piece."""
    acts: dict[str, Act] = {
        "show": lambda piece, moment: piece if options.reading is None else _read(piece, options.reading),
        "count": lambda piece, moment: piece.count(piece.at, moment),
        "go_on": lambda piece, moment: piece.gone_on(piece.at),
        "undo": lambda piece, moment: piece.undone(),
    }
    named = next((name for name in (*acts, "take_off") if getattr(options, name) is not None), None)
    if options.reading is not None and named != "show":
        raise values.TypingError("Give --reading with --show PIECE: it is a reading of a piece on the bench.")
    if named is None and not options.list and not options.put:
        return None
    with studio_that_is_there(options) as studio:
        if options.put:
            return _said_of(studio, _put(studio, options))
        if named is None:
            return _listed(studio)
        piece = named_piece(studio, getattr(options, named))
        if named == "take_off":
            return _taken_off(studio, piece, options.yes)
        if named != "show" or options.reading is not None:
            from matcher.bench.shelf import now

            piece = studio.shelf.change(piece.uid, lambda kept: acts[named](kept, now()))
        return _said_of(studio, piece)


def _read(piece: Piece, lab: str) -> Piece:
    from matcher.bench.work import Taken
    from matcher.reading.reading import Reading

    colour = values.colour(lab)
    typed = {"way": "typed", **{f"lab_{axis}": value for axis, value in zip("lab", colour, strict=True)}}
    return piece.with_reading(Taken(piece.after, Reading(lab=colour), typed))  # type: ignore[arg-type]


def _put(studio: Studio, options: argparse.Namespace) -> Piece:
    from matcher.bench.shelf import new_uid
    from matcher.bench.work import Piece

    given = options.recipe is not None or values.is_stepwise(options) or options.trial is not None
    if (options.photo, options.lab) != (None, None):
        raise values.TypingError(
            "Keep the target first, then name it with --target: a piece on the bench is led to it."
        )
    if options.target is None and not given:
        raise values.TypingError("Say which recipe goes on the bench: with --trial, --coat, --recipe, or a --target.")
    recipe = (
        _recipe(options, studio, wanted(options, studio)) if options.target is not None else _given(options, studio)
    )
    sealed = UNSEALED if recipe.seal is None else recipe.seal.kind
    source = "" if options.trial is None else f"Plate {options.trial}"
    kind = sealed if options.sealed is None else _kind_of_seal(options, recipe)
    if options.cast is not None and (options.cast < 1 or options.target is None):
        raise values.TypingError("Number the casts from 1, and name the approved plate as --target.")
    if options.cast is not None and not studio.casts.areas_approved_as(options.target):
        raise values.TypingError(
            f"Target {options.target} is no approved plate, so nothing can be a cast of it: name the approved plate's "
            "target, or leave --cast out."
        )
    piece = Piece(new_uid(), recipe, options.mark, source, options.target, kind, cast=options.cast)
    return studio.shelf.put(piece)


def _given(options: argparse.Namespace, studio: Studio) -> Recipe:
    if options.trial is not None:
        return studio.trial(options.trial).recipe
    return values.recipe_given(options)


def named_piece(studio: Studio, text: str) -> Piece:
    """Return the piece of a number or a mark. Raises TypingError."""
    from matcher.bench.wording import title_of

    pieces = studio.shelf.pieces()
    found = [piece for piece in pieces if text.strip() in (str(piece.number), piece.name, title_of(piece), piece.uid)]
    if len(found) == 1:
        return found[0]
    there = ", ".join(f"{piece.number} ({title_of(piece)})" for piece in pieces) or "nothing"
    which = "no piece on the bench has it" if not found else "several pieces have it, so give the number"
    raise values.TypingError(f"Check the piece {text!r}: {which}. On the bench: {there}.")


def _taken_off(studio: Studio, piece: Piece, sure: bool) -> Answer:
    from matcher.bench.wording import done_so_far, title_of

    lost = done_so_far(piece)
    if not sure:
        raise values.TypingError(
            f"{title_of(piece)} stays on the bench: {lost} would be gone for good. Add --yes to take it off."
        )
    studio.shelf.take_off(piece.uid)
    said = f"{title_of(piece)} is off the bench, with what was done: {lost}."
    return Answer({"studio": studio.name, "taken_off": piece.as_dict()}, [said])


def _listed(studio: Studio) -> Answer:
    from matcher.bench.wording import standing, title_of
    from matcher.commissions.known import uses_on_bench
    from matcher.commissions.wording import use_in_words

    pieces = studio.shelf.pieces()
    names = {target.id: target.name for target in studio.targets()}
    uses = uses_on_bench(studio.database, pieces)
    lines = [
        f"{piece.number}  {title_of(piece)}: {standing(piece)}"
        f"{_behind(use_in_words(uses.get(piece.uid), names.get(piece.target_id)))}"
        f"{' (in the record form)' if piece.handed_over else ''}"
        for piece in pieces
    ]
    document = {"studio": studio.name, "pieces": [{**piece.as_dict(), "standing": standing(piece)} for piece in pieces]}
    return Answer(document, lines or ["Nothing is on the bench."])


def _behind(use: str) -> str:
    return f", {use}" if use else ""


def _said_of(studio: Studio, piece: Piece) -> Answer:
    """Say where a piece stands, what is next, what to look and listen for, and the cautions for it."""
    from matcher.bench.passes import course_of
    from matcher.bench.seal import learn_seal_shift
    from matcher.bench.steps import cautions_at
    from matcher.bench.wording import look_and_sound, standing, title_of, what_goes_on
    from matcher.commissions.known import uses_on_bench
    from matcher.commissions.wording import goal_in_words

    course, step, path, tolerance = course_of(piece), piece.step, None, 0.0
    target = studio.target(piece.target_id) if piece.target_id else None
    if course is not None and target is not None:
        tolerance = target.tolerance
        shift = None if piece.sealed == UNSEALED else learn_seal_shift(studio.part_of_log().trials, piece.sealed)
        path = studio.suggester(target.reading).piece_path(target.reading, course, shift, tolerance)
    cautions = () if step is None else cautions_at(piece.recipe, step)
    use = uses_on_bench(studio.database, [piece]).get(piece.uid)
    goal = goal_in_words(use, target)
    lines = [f"{piece.number}  {title_of(piece)}: {standing(piece)}", goal]
    if step is not None:
        lines += [
            f"Next: {what_goes_on(piece.recipe, step, piece.done)}",
            *(f"    {line}" for line in look_and_sound(piece.recipe, step)),
            "    (common practice, no source)",
        ]
    if path is not None:
        lines += _path_lines(path, tolerance)
    document = {
        "studio": studio.name,
        "piece": {**piece.as_dict(), "standing": standing(piece)},
        "done": describe(piece.as_done()),
        "path": None if path is None else path.as_dict(),
        "chance_within_tolerance": None if path is None else path.chance_within(tolerance),
        "cautions": [caution.as_dict() for caution in cautions],
    }
    return Answer(document, [*lines, *(["", *caution_lines(cautions)] if cautions else [])])


def _recipe(options: argparse.Namespace, studio: Studio, colour: Given) -> Recipe:
    """Return the recipe on the bench: as given, that of a logged plate, or the best suggested that has a coat."""
    given = options.recipe is not None or values.is_stepwise(options)
    if given and options.trial is not None:
        raise values.TypingError("Give one recipe: that of a plate with --trial, or one of your own.")
    if options.trial is not None:
        return studio.trial(options.trial).recipe
    if given:
        return values.recipe_given(options)
    ranked = studio.suggester(colour.reading, tolerance=colour.tolerance).suggest(colour.reading)
    return next((item.recipe for item in ranked if item.recipe.coats), ranked[0].recipe)


def _seal_shift(options: argparse.Namespace, studio: Studio, recipe: Recipe) -> SealEffect | None:
    """Return what sealing will do, None when the target is not sealed."""
    from matcher.bench.seal import learn_seal_shift

    kind = _kind_of_seal(options, recipe)
    return None if kind == UNSEALED else learn_seal_shift(studio.part_of_log().trials, kind)


def _kind_of_seal(options: argparse.Namespace, recipe: Recipe) -> str:
    from matcher.recipe.stages import SEALED_STAGES

    own = UNSEALED if recipe.seal is None else recipe.seal.kind
    kind = own if options.sealed is None else options.sealed.strip().casefold()
    if kind != UNSEALED and kind not in (own, *SEALED_STAGES):
        known = ", ".join(dict.fromkeys([*SEALED_STAGES, own, UNSEALED]))
        raise values.TypingError(f"Give --sealed as one of {known}: {options.sealed!r} is none.")
    return kind


def _path_lines(path: BenchPath, tolerance: float) -> list[str]:
    from matcher.bench.wording import still_within

    chance = f"Chance to be within ΔE00 {tolerance:g} then: {percent(path.chance_within(tolerance))}."
    lines = [
        path.instruction,
        f"{path.sentence} {chance}",
        *(said for said in (path.warning, still_within(path, tolerance), path.caveat) if said is not None),
    ]
    for count, lab, mean, (low, high) in zip(path.passes, path.labs, path.expected, path.interval, strict=True):
        mark = "laid" if count == path.done else "stop" if count == path.stop_at else ""
        read = f", read at {path.readings_delta_e00[int(count)]:.1f}" if int(count) in path.readings_delta_e00 else ""
        colour = ", ".join(f"{name} {with_sign(value)}" for name, value in zip(words.AXES, lab, strict=True))
        lines.append(f"{mark:>4}  {count:3d}  ΔE00 {mean:4.1f} ({low:.1f} to {high:.1f})  {colour}{read}")
    return lines


def trust(options: argparse.Namespace) -> Answer:
    """Say how far the predictions can be trusted, near a target when one is given."""
    from matcher.suggest.validation_wording import in_words, region_in_words

    anywhere = (options.photo, options.lab, options.target) == (None, None, None)
    if anywhere:
        refuse_for_photo_only(options)
    with studio_that_is_there(options) as studio:
        colour = None if anywhere else wanted(options, studio)
        figures = studio.suggester().cross_validation(None if colour is None else colour.reading)
        where = studio.name
    said = in_words(figures)
    document = {
        "studio": where,
        "target": None if colour is None else colour.reading.as_dict(),
        "in_words": said,
        **figures.as_dict(),
        "warnings": [] if colour is None else colour.warnings,
    }
    regions = [f"    {region_in_words(region)}" for region in figures.regions[:5]]
    odd = [f"    {item.sentence}" for item in figures.contradictions]
    lines = [said[name] for name in ("learned_from", "left_out", "coverage", "groups", "growth", "drift", "regions")]
    return Answer(document, [*([] if colour is None else colour.lines), *lines, *regions, said["contradictions"], *odd])
