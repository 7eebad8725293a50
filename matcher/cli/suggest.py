"""The commands that say what to make: suggest, predict, next, first-plates, mottled; and what is near: trials nearest.

Each thin over ``matcher.suggest``.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from matcher.recipe.names import each_once
from matcher.recipe.recipe import Recipe, describe
from matcher.typed_in import values, words
from matcher.typed_in.options import Commands, Parser, add_limits, add_overwrite, add_paper, add_recipe, add_target
from matcher.typed_in.photographs import Given, refuse_for_photo_only, studio_that_is_there, tolerance_given, wanted
from matcher.typed_in.words import Answer, unprinted_lines, write

if TYPE_CHECKING:
    from matcher.plan.limits import Limits
    from matcher.ranking.part_of_log import PartOfLog
    from matcher.recipe.cautions import Caution
    from matcher.studio import Studio
    from matcher.suggest.suggestion import Suggestion


def add_commands(commands: Commands) -> None:
    _add_suggest(commands.add("suggest", "Rank the studio's recipes against a finish.", suggest))
    about = "Say what a recipe would give, before anyone makes it; beside a target, or another recipe."
    _add_predict(commands.add("predict", about, predict))
    about = "Name the plate most worth making next, or several for a session; tell if it is in reach."
    _add_next(commands.add("next", about, next_plates))
    about = "Choose the first plates of a studio that has none, over what it owns."
    _add_first_plates(commands.add("first-plates", about, first_plates))
    about = "Match a mottled finish: plates by their lights and darks, and a recipe for both."
    _add_mottled(commands.add("mottled", about, mottled))


def _add_suggest(parser: Parser) -> None:
    add_target(parser)
    parser.add_argument("--count", metavar="N", type=values.whole, default=5, help="how many (5)")
    add_limits(parser)


def _add_predict(parser: Parser) -> None:
    add_target(parser)
    parser.add_argument("--trial", metavar="ID", type=values.whole, help="the recipe of a logged plate")
    add_recipe(parser)
    beside = parser.add_mutually_exclusive_group()
    beside.add_argument("--beside", metavar="FILE", help="a second recipe as JSON, to compare with the first")
    about = "the recipe of a logged plate as the second"
    beside.add_argument("--beside-trial", metavar="ID", type=values.whole, help=about)


def _add_next(parser: Parser) -> None:
    add_target(parser)
    about = "how many plates to make in this session, chosen together (1)"
    parser.add_argument("--plates", metavar="N", type=values.whole, default=1, help=about)
    _add_sheet(parser)
    add_limits(parser)


def _add_first_plates(parser: Parser) -> None:
    parser.add_argument(
        "--plates", metavar="N", type=values.whole, default=12, help="how many; 12, 24 and 48 are usual (12)"
    )
    parser.add_argument("--alloy", metavar="NAME", default="silicon bronze", help="the metal (silicon bronze)")
    about = "a chemical that coats can be laid of; may be given again"
    parser.add_argument("--chemical", metavar="NAME", action="append", default=[], required=True, help=about)
    about = "a chemical for undercoats; may be given again"
    parser.add_argument("--undercoat", metavar="NAME", action="append", default=[], help=about)
    parser.add_argument("--max-passes", metavar="N", type=values.whole, default=12, help="at most so many passes (12)")
    about = 'least and most °C of the metal ("95,115")'
    parser.add_argument("--temperature", metavar="LOW,HIGH", default="95,115", help=about)
    about = 'strengths that are mixed, as fractions of stock ("0.25,0.5,1")'
    parser.add_argument("--strengths", metavar="S,S", default="0.25,0.5,1", help=about)
    about = "also write them as a table, to be filled in and taken in by trials import"
    parser.add_argument("--table", metavar="FILE.csv", help=about)
    _add_sheet(parser)


def _add_sheet(parser: Parser) -> None:
    about = "also write them as a PDF for the bench: recipes, boxes to tick, room for notes, cautions"
    parser.add_argument("--sheet", metavar="FILE.pdf", help=about)
    add_paper(parser)
    add_overwrite(parser)


def _add_mottled(parser: Parser) -> None:
    add_target(parser)
    parser.add_argument("--count", metavar="N", type=values.whole, default=5, help="how many plates (5)")
    about = "share of the surface that the lights take, 0 to 1 (0.5)"
    parser.add_argument("--lights-share", metavar="S", type=values.figure, default=0.5, help=about)
    add_limits(parser)


def suggest(options: argparse.Namespace) -> Answer:
    """Rank the studio's recipes against a colour."""
    with studio_that_is_there(options) as studio:
        colour, limits = wanted(options, studio), limits_of(options, studio)
        suggester = studio.suggester(colour.reading, tolerance=colour.tolerance, limits=limits)
        ranked = suggester.suggest(colour.reading, count=options.count)
        laid = studio.worth_laying(colour.reading, there=() if colour.found is None else colour.found.plates_there)
        part = studio.part_of_log(colour.reading, limits)
    found = {
        "suggestions": _ranked(ranked, colour),
        "lay_beside": words.beside_as_dict(laid),
        "worked_out_from": part.as_dict(),
    }
    return _answer(colour, limits, found, ranked, [*_from_part(part), *words.beside_lines(laid)])


def _from_part(part: PartOfLog) -> list[str]:
    from matcher.suggest.wording import worked_out_from

    return [line for line in [worked_out_from(part)] if line]


def predict(options: argparse.Namespace) -> Answer:
    """Say what a recipe would give, how far that is from a target, and how another recipe would differ."""
    from matcher.recipe.cautions import cautions_for_all

    with studio_that_is_there(options) as studio:
        given = options.recipe is not None or values.is_stepwise(options)
        if given == (options.trial is not None):
            raise values.TypingError("Give one recipe: that of a plate with --trial, or one of your own.")
        recipe = values.recipe_given(options) if given else studio.trial(options.trial).recipe
        second = _beside(options, studio)
        colour = _target_if_any(options, studio)
        tolerance = tolerance_given(options, values.TOLERANCE) if colour is None else colour.tolerance
        wanted_reading = None if colour is None else colour.reading
        recipe_predictor = studio.suggester(wanted_reading, tolerance=tolerance).recipe_predictor(recipe)
        first = recipe_predictor.of(recipe)
        part = studio.part_of_log(wanted_reading)
        other = None if second is None else (recipe_predictor.of(second), recipe_predictor.apart(recipe, second))
    shown = [first] if other is None else [first, other[0]]
    cautions = cautions_for_all([one.recipe for one in shown])
    apart = [None if colour is None else one.apart_from(colour.reading) for one in shown]
    found = [
        {**one.as_dict(), "to_target": None if far is None else far.as_dict(tolerance)}
        for one, far in zip(shown, apart, strict=True)
    ]
    document = {
        **({} if colour is None else colour.document),
        **found[0],
        "beside": None if other is None else {**found[1], "to_first": other[1].as_dict(tolerance)},
        "cautions": [caution.as_dict() for caution in cautions],
        "warnings": [] if colour is None else colour.warnings,
        "worked_out_from": part.as_dict(),
    }
    lines = [] if colour is None else [*colour.lines, ""]
    lines += _from_part(part)
    for one, far in zip(shown, apart, strict=True):
        lines += [*words.prediction_lines(one, far, tolerance), ""]
    if other is not None:
        lines += [words.apart_line("The second against the first", other[1], tolerance), ""]
    return Answer(document, [*lines, *caution_lines(cautions)])


def _beside(options: argparse.Namespace, studio: Studio) -> Recipe | None:
    """Return the second recipe, if one is named."""
    if options.beside_trial is not None:
        return studio.trial(options.beside_trial).recipe
    return None if options.beside is None else values.recipe_file(options.beside)


def _target_if_any(options: argparse.Namespace, studio: Studio) -> Given | None:
    """Return the colour to compare with, or None when the options name none."""
    if (options.photo, options.lab, options.target) != (None, None, None) or options.finish:
        return wanted(options, studio)
    refuse_for_photo_only(options)
    return None


def next_plates(options: argparse.Namespace) -> Answer:
    """Name the plate most worth making, or several to make in one session, and whether the target is in reach."""
    from matcher.plan.reach import FEWEST_TO_TELL
    from matcher.suggest.wording import best_in_words

    with studio_that_is_there(options) as studio:
        colour, limits = wanted(options, studio), limits_of(options, studio)
        suggester = studio.suggester(colour.reading, tolerance=colour.tolerance, limits=limits)
        if options.plates == 1:
            chosen = [suggester.next_trial(colour.reading)]
        else:
            chosen = suggester.batch(colour.reading, options.plates)
        reach = suggester.reach(colour.reading)
        best = suggester.best_plate(colour.reading)
        part = studio.part_of_log(colour.reading, limits)
        said = [*_from_part(part), reach.sentence]
        if reach.plates >= FEWEST_TO_TELL and best.trial is not None:
            said.append(best_in_words(best.trial.id, best.delta_e00, best.delta_e00_interval))
        if options.sheet is not None:
            from matcher.printed import planned, planned_session

            pdf = planned_session(
                studio, [planned(one) for one in chosen], "Session", None, values.paper(options.paper)
            )
            write(options.sheet, pdf, options.overwrite)
            recipes = [one.recipe for one in chosen]
            said += [f"Wrote {options.sheet}: the plates to make.", *unprinted_lines(studio.title, recipes)]
    found = {
        "reach": reach.as_dict(),
        "best_plate": best.as_dict(),
        "plates": _ranked(chosen, colour),
        "sheet": options.sheet,
        "worked_out_from": part.as_dict(),
    }
    return _answer(colour, limits, found, chosen, said)


def first_plates(options: argparse.Namespace) -> Answer:
    """Choose the first plates of a studio that has none."""
    from matcher.plan import first_plates as plan
    from matcher.recipe.cautions import cautions_for_all
    from matcher.trials.spreadsheet import planned_table

    recipes = plan.first_plates(
        options.plates,
        alloy=options.alloy,
        chemicals=options.chemical,
        undercoats=options.undercoat,
        strengths=values.strengths(options.strengths),
        most_passes=values.most_passes(options.max_passes),
        temps_c=values.temperatures(options.temperature),
    )
    if options.table is not None:
        write(options.table, planned_table(recipes, [""] * len(recipes)), options.overwrite)
    if options.sheet is not None:
        from matcher.printed import first_plates_sheet

        write(options.sheet, first_plates_sheet(recipes, paper=values.paper(options.paper)), options.overwrite)
    cautions = cautions_for_all(recipes)
    document = {
        "plates": [_recipe_as_dict(number, recipe) for number, recipe in enumerate(recipes, 1)],
        "table": options.table,
        "sheet": options.sheet,
        "cautions": [caution.as_dict() for caution in cautions],
    }
    lines = [f"{number}.  {describe(recipe)}" for number, recipe in enumerate(recipes, 1)]
    said = [] if options.table is None else [f"Wrote {options.table}: fill in the colours, then take it in."]
    said += [] if options.sheet is None else [f"Wrote {options.sheet}: the plates to make."]
    return Answer(document, [*lines, *said, "", *caution_lines(cautions)])


def mottled(options: argparse.Namespace) -> Answer:
    """Match a finish of lights and darks: logged plates by palette, recipes for both at once."""
    with studio_that_is_there(options) as studio:
        colour, limits = wanted(options, studio), limits_of(options, studio)
        suggester = studio.suggester(colour.reading, tolerance=colour.tolerance, limits=limits)
        recipes = suggester.mottled(colour.reading, options.lights_share)
        plates = suggester.palettes(colour.reading, options.count)
    found = {
        "plates": [
            {**item, "palette_distance": match.distance}
            for item, match in zip(_ranked([match.suggestion for match in plates], colour), plates, strict=True)
        ],
        "recipes": [
            {
                **_recipe_as_dict(rank, item.recipe),
                "darks_lab": item.darks.tolist(),
                "lights_lab": item.lights.tolist(),
                "lights_share": item.bare_share,
                "palette_distance": item.distance,
                "because": item.because,
            }
            for rank, item in enumerate(recipes, 1)
        ],
    }
    said = [
        line
        for rank, item in enumerate(recipes, 1)
        for line in (f"{rank}.  palette ΔE00 {item.distance:.1f}: {describe(item.recipe)}", f"    {item.because}")
    ]
    logged = [
        f"{rank}.  palette ΔE00 {match.distance:.1f}, plate {match.suggestion.trial.id}: "
        f"{describe(match.suggestion.recipe)}"
        for rank, match in enumerate(plates, 1)
        if match.suggestion.trial is not None
    ]
    lines = ["For darks and lights:", *said, "", "Logged plates, the nearest in their lights and darks first:", *logged]
    return _answer(colour, limits, found, [match.suggestion for match in plates], lines, told=False)


# What these commands share


def limits_of(options: argparse.Namespace, studio: Studio) -> Limits:
    """Return today's limits; a name that no plate or bottle has is refused, since a slip would let it through."""
    from matcher.plan.inventory import means_of
    from matcher.plan.limits import Limits

    alloy, without, stock = options.alloy, options.without, options.stock
    if alloy is not None or without or stock:
        means = means_of(trial.recipe for trial in studio.part_of_log().trials)
        chemicals = each_once((*means.all_chemicals, *studio.at_hand().names))
        alloy = None if alloy is None else values.known_name(alloy, means.alloys, "alloy")
        without, stock = (
            [values.known_name(name, chemicals, "chemical") for name in names] for names in (without, stock)
        )
    return Limits(
        alloy=alloy,
        max_passes=None if options.max_passes is None else values.most_passes(options.max_passes),
        surface_temp_c=None if options.temperature is None else values.temperatures(options.temperature),
        excluded=frozenset(without),
        stock=frozenset(stock) if stock else None,
        strengths=None if options.strengths is None else values.strengths(options.strengths),
    )


def caution_lines(cautions: Iterable[Caution]) -> list[str]:
    return [f"Caution: {caution.message}" for caution in cautions]


def _answer(
    colour: Given,
    limits: Limits,
    found: dict[str, Any],
    shown: Sequence[Suggestion],
    said: Sequence[str] = (),
    told: bool = True,
) -> Answer:
    """Return an answer with its cautions; told: whether the suggestions shown still have to be said in lines."""
    from matcher.recipe.cautions import cautions_for_all

    cautions = cautions_for_all(
        [*(item.recipe for item in shown), *(Recipe.from_dict(item["recipe"]) for item in found.get("recipes", ()))]
    )
    document = {
        **colour.document,
        "limits": limits.in_words(),
        **found,
        "cautions": [caution.as_dict() for caution in cautions],
        "warnings": colour.warnings,
    }
    ranked = [
        line
        for rank, item in enumerate(shown if told else (), 1)
        for line in words.suggestion_lines(rank, item, colour.tolerance)
    ]
    return Answer(document, [*colour.lines, *said, *ranked, "", *caution_lines(cautions)])


def _ranked(found: Sequence[Suggestion], colour: Given) -> list[dict[str, Any]]:
    return [
        {"rank": rank, **item.as_dict(), "chance_within_tolerance": item.chance_within(colour.tolerance)}
        for rank, item in enumerate(found, 1)
    ]


def _recipe_as_dict(rank: int, recipe: Recipe) -> dict[str, Any]:
    return {"rank": rank, "recipe": recipe.as_dict(), "recipe_in_words": describe(recipe)}


def add_nearest(parts: Commands) -> None:
    about = "List the plates nearest to a colour, however long the log is."
    part = parts.add("nearest", about, nearest)
    part.add_argument("like", metavar="PLATE|L,a,b", help="a plate's number, or CIELAB")
    part.add_argument("--count", metavar="N", type=values.whole, default=20, help="how many (20)")
    part.add_argument("--alloy", metavar="NAME", help="only plates of this alloy")
    part.add_argument("--chemical", metavar="NAME", help="only plates with a coat of this")
    part.add_argument("--since", metavar="DAY", help="only plates made on this day or later: 2026-05-04")


def nearest(options: argparse.Namespace) -> Answer:
    """List the plates nearest to a colour."""
    from matcher.dates import moment_made
    from matcher.ranking.in_log import Among

    since = None if options.since is None else moment_made(options.since)
    with studio_that_is_there(options) as studio:
        text = options.like.strip()
        is_plate = text.isascii() and text.isdigit()
        lab = studio.trial(values.whole(text)).reading.lab if is_plate else values.colour(text)
        found = studio.ranking.plates(lab, options.count, Among(options.alloy, options.chemical, since))
        name = studio.name
    document: dict[str, Any] = {
        "studio": name,
        "like": [float(value) for value in lab],
        "trials": [trial.as_dict() for trial in found.trials],
        "delta_e00": [round(float(value), 4) for value in found.delta_e00],
        "found_by": found.how.by,
        "compared": found.how.compared,
        "why_no_index": found.how.why_no_index,
    }
    lines = [
        line
        for trial, value in zip(found.trials, found.delta_e00, strict=True)
        for line in (f"{words.trial_lines(trial)[0]}  ΔE00 {value:.1f}", *words.trial_lines(trial)[1:])
    ]
    slow = [found.how.why_no_index] if found.how.why_no_index else []
    return Answer(document, [*(lines or [f"No plate is logged in {name} with all of that."]), *slow])
