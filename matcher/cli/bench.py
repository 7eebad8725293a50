"""The commands for the work at the bench and after it: advise, bench, trust. Each thin over ``matcher.suggest``."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from matcher.cli import values, words
from matcher.cli.given import Given, readings_after, refuse_for_photo_only, wanted
from matcher.cli.options import Commands, Parser, add_after, add_limits, add_recipe, add_target
from matcher.cli.photographs import studio_that_is_there
from matcher.cli.suggest import caution_lines, limits_of
from matcher.cli.words import Answer
from matcher.recipe.recipe import Recipe, describe
from matcher.words import percent

if TYPE_CHECKING:
    from matcher.bench.path import BenchPath
    from matcher.bench.seal import SealShift
    from matcher.studio import Studio

UNSEALED = "no"


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
        advice = studio.suggester(tolerance=colour.tolerance, limits=limits).advice(colour.reading, trial)
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
    """Say where a piece stands on its way, how many passes remain and when to stop."""
    from matcher.recipe.cautions import cautions_for_all

    readings = readings_after(options)
    with studio_that_is_there(options) as studio:
        colour = wanted(options, studio)
        recipe = _recipe(options, studio, colour)
        shift = _seal_shift(options, studio, recipe)
        suggester = studio.suggester(tolerance=colour.tolerance)
        path = suggester.bench_path(colour.reading, recipe, readings, shift, options.done)
    cautions = cautions_for_all([recipe])
    document = {
        **colour.document,
        "recipe": recipe.as_dict(),
        "recipe_in_words": describe(recipe),
        "seal_shift": None if shift is None else shift.as_dict(),
        **path.as_dict(),
        "chance_within_tolerance": path.chance_within(colour.tolerance),
        "cautions": [caution.as_dict() for caution in cautions],
        "warnings": colour.warnings,
    }
    lines = [
        *colour.lines,
        describe(recipe),
        *([] if shift is None else [shift.sentence]),
        *_path_lines(path, colour.tolerance),
    ]
    return Answer(document, [*lines, "", *caution_lines(cautions)])


def _recipe(options: argparse.Namespace, studio: Studio, colour: Given) -> Recipe:
    """Return the recipe on the bench: as given, that of a logged plate, or the best suggested that has a coat."""
    given = options.recipe is not None or values.is_stepwise(options)
    if given and options.trial is not None:
        raise values.TypingError("Give one recipe: that of a plate with --trial, or one of your own.")
    if options.trial is not None:
        return studio.trial(options.trial).recipe
    if given:
        return values.recipe_given(options)
    ranked = studio.suggester(tolerance=colour.tolerance).suggest(colour.reading)
    return next((item.recipe for item in ranked if item.recipe.coats), ranked[0].recipe)


def _seal_shift(options: argparse.Namespace, studio: Studio, recipe: Recipe) -> SealShift | None:
    """Return what sealing will do, None when the target is not sealed."""
    from matcher.bench.seal import SEALED_STAGES, learn_seal_shift

    own = UNSEALED if recipe.seal is None else recipe.seal.kind
    kind = own if options.sealed is None else options.sealed.strip().casefold()
    if kind == UNSEALED:
        return None
    if kind not in (own, *SEALED_STAGES):
        known = ", ".join(dict.fromkeys([*SEALED_STAGES, own, UNSEALED]))
        raise values.TypingError(f"Give --sealed as one of {known}: {options.sealed!r} is none.")
    return learn_seal_shift(studio.trials(), kind)


def _path_lines(path: BenchPath, tolerance: float) -> list[str]:
    chance = f"Chance to be within ΔE00 {tolerance:g} then: {percent(path.chance_within(tolerance))}."
    lines = [
        path.instruction,
        f"{path.sentence} {chance}",
        *(said for said in (path.warning, path.caveat) if said is not None),
    ]
    for count, lab, mean, (low, high) in zip(path.passes, path.labs, path.expected, path.interval, strict=True):
        mark = "laid" if count == path.done else "stop" if count == path.stop_at else ""
        read = f", read at {path.readings_delta_e00[int(count)]:.1f}" if int(count) in path.readings_delta_e00 else ""
        colour = ", ".join(f"{name} {value:.1f}" for name, value in zip(words.AXES, lab, strict=True))
        lines.append(f"{mark:>4}  {count:3d}  ΔE00 {mean:4.1f} ({low:.1f} to {high:.1f})  {colour}{read}")
    return lines


def trust(options: argparse.Namespace) -> Answer:
    """Say how far the predictions can be trusted, near a target when one is given."""
    from matcher.validation.wording import in_words, region_in_words

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
    lines = [said[name] for name in ("learned_from", "left_out", "coverage", "groups", "growth", "regions")]
    return Answer(document, [*([] if colour is None else colour.lines), *lines, *regions, said["contradictions"], *odd])
