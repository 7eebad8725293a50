"""The commands that correct what was typed of a logged plate, and tell what became of it since it was logged.

What a correction does not give stays as it is logged.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from itertools import starmap, zip_longest
from typing import TYPE_CHECKING, TypeVar

from matcher import cli_values as values
from matcher import cli_words as words
from matcher.cli_answer import Answer
from matcher.cli_photographs import studio_that_is_there
from matcher.recipe import Coat, Recipe, Undercoat

if TYPE_CHECKING:
    from matcher.trials.facts import TypedFacts

Layer = TypeVar("Layer", Undercoat, Coat)


def correct(options: argparse.Namespace) -> Answer:
    """Correct what was typed of a logged plate."""
    from matcher.trials.facts import facts_of

    with studio_that_is_there(options) as studio:
        was = facts_of(studio.trial(options.id))
        now = _corrected(options, was)
        trial = studio.correct(options.id, now, instead_of=was, who=options.by)
        changed = studio.what_a_correction_changes(was, facts_of(trial))
    said = f"Trial {trial.id} is corrected." if changed else f"Trial {trial.id} says so already: nothing was changed."
    return Answer(
        {"trial": trial.as_dict(), "changed": list(changed)},
        [said, *(f"    {line}" for line in changed), *words.trial_lines(trial)],
    )


def history(options: argparse.Namespace) -> Answer:
    """Tell what was done to a logged plate, when and by whom, with what each correction changed."""
    from matcher.trials.corrections import CORRECTED, corrections_among

    with studio_that_is_there(options) as studio:
        trial = studio.trial(options.id)
        changes = studio.history("trial", trial.id)
    document, lines = [], []
    for change in changes:
        corrections = corrections_among([change])
        mended = [line for one in corrections for line in one.changed]
        detail = "" if change.what == CORRECTED else change.detail
        earlier = [{"recipe": one.recipe.as_dict(), "notes": one.notes} for one in corrections]
        told = {"at": change.at.isoformat(), "who": change.who, "what": change.what, "detail": detail}
        document.append({**told, "changed": mended, "before": next(iter(earlier), None)})
        by, which = f", {change.who}" if change.who else "", f": {detail}" if detail else ""
        lines += [f"{change.at:%Y-%m-%d %H:%M}{by}  {change.what}{which}", *(f"    {line}" for line in mended)]
    return Answer({"trial": trial.as_dict(), "history": document}, lines)


def _corrected(options: argparse.Namespace, was: TypedFacts) -> TypedFacts:
    """Return what was typed of a plate with what the options give in its place."""
    from matcher.trials.trial import moment_made

    texts = {"made_by": options.made_by, "piece": options.piece, "notes": options.notes}
    made_at = {"made_at": None if options.made_at is None else moment_made(options.made_at)}
    given = {name: value for name, value in {**texts, **made_at}.items() if value is not None}
    figures = {
        "target_id": options.target,
        "ambient_temp_c": options.air,
        "ambient_humidity_percent": options.humidity,
    }
    for name, value in figures.items():
        if value is not None:
            given[name] = None if value == values.NOT_NOTED else value
    if not given and options.recipe is None and not values.is_stepwise(options):
        raise values.TypingError('Say what is to be corrected, as in --notes "even"; see trials correct --help.')
    return replace(was, recipe=_recipe_corrected(options, was.recipe), **given)


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
    if logged is None or logged.chemical.casefold() != typed.chemical.casefold():
        return typed
    return replace(typed, stock=logged.stock)
