"""Why a prediction is what it is, in plain words: which plates it was learned from, what was borrowed.

Part of the suggestions.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from matcher.bench.wording import in_both_degrees
from matcher.colour.verdict import Standing
from matcher.colour.wording import difference_in_words
from matcher.dates import change_began
from matcher.process.design import MOST_NAMES
from matcher.process.logged import LoggedTrial
from matcher.process.model import ProcessModel
from matcher.process.unknowns import as_logged
from matcher.ranking.part_of_log import PartOfLog
from matcher.recipe.names import canonical, each_once, same
from matcher.recipe.recipe import Recipe, not_noted, not_noted_in_words
from matcher.trials.trial import Changed
from matcher.words import agreeing, capital, counted, listed, plural

NEARNESS: dict[Standing, str] = {
    "within": "close match",
    "likely": "likely a close match",
    "untold": "may or may not match",
    "outside": "no match yet",
}
NAMED = 3
SEEN_SELDOM = 2
NEW: dict[str, str] = {
    "alloy": "{} was never logged: what it does is guessed from the other metals.",
    "surface": "A surface {} was never logged: it is taken to be like the others.",
    "undercoat": "{} was never logged as an undercoat: what it does is guessed from the others.",
    "chemical": "{} was never logged: what it does is guessed from the other chemicals.",
    "application": "Nothing logged was laid on as {}: it is taken to be like the others.",
    "seal": "A seal of {} was never logged: what it does is guessed from the others.",
}
"""What is said of a name in a recipe that no plate has, by what it names."""
READ_ALIKE = (
    "Most of the ± is how all plates here were read (one camera, one card): "
    "it cancels against a target read the same way."
)
SURENESS = (
    (2.0, "well known, expect it within a shade"),
    (4.0, "fairly sure, expect it a little to one side or the other"),
    (8.0, "rough, the direction is right, the shade is open"),
    (float("inf"), "a guess, it may come out quite another colour"),
)
"""ΔE00 within which the colour lies in 95 % of cases, and what may be said of it then."""


def learned_from(model: ProcessModel, recipe: Recipe) -> list[LoggedTrial]:
    """Return the trials that a prediction leans on most, most first, at most three."""
    weight = model.prior_correlation(model.columns([recipe]))[0]
    return [as_logged(model.trials[k]) for k in np.argsort(-weight, kind="stable")[:NAMED]]


def nearness_in_words(
    stands: Standing, target_lab: ArrayLike, lab: ArrayLike, interval: tuple[float, float]
) -> tuple[str, str]:
    """Say how near a colour is and how it differs, each from a small letter: "close match", "a little redder".

    lab, target_lab: CIELAB (3,) under D50. interval: 95 % of their ΔE00; what it leaves open is not said as sure.
    """
    return NEARNESS[stands], difference_in_words(target_lab, lab, than="", interval=interval).rstrip()


def best_in_words(number: int | None, delta: float, interval: tuple[float, float]) -> str:
    """Say which plate is the best so far, by what all plates say of its recipe and not by its own reading alone."""
    plate = "one" if number is None else f"plate {number}"
    return f"The best plate so far is {plate}: by all plates, its recipe is expected at ΔE00 {_with(delta, interval)}."


def why_predicted(delta: float, interval: tuple[float, float], grounds: str) -> str:
    """Say what is expected and on what grounds."""
    return f"The colour expected lies at ΔE00 {_with(delta, interval)}, {grounds[:1].lower()}{grounds[1:]}"


def lacking(recipe: Recipe) -> str:
    """Say what nobody noted of a logged recipe; "" when nothing is lacking."""
    what = not_noted_in_words(recipe)
    many = len(not_noted(recipe))
    return f" {capital(what)} {agreeing(many, 'was', 'were')} not noted." if what else ""


def changed_since(trial: LoggedTrial | None) -> str:
    """Say that a logged plate itself looks otherwise by now; "" when nothing tells so."""
    changed: Changed | None = getattr(trial, "changed", None)
    if trial is None or changed is None:
        return ""
    began = change_began(changed.since, changed.logged_at)
    plate = "This plate" if trial.id is None else f"Plate {trial.id}"
    by = f"by ΔE00 {_with(changed.delta_e00, changed.interval)}{f', {began}' if began else ''}"
    so = "its recipe gave what was logged, so do not judge it by the plate as it is"
    return f" {plate} itself has changed {by}: {so}."


def why_logged(
    number: int | None, delta: float, interval: tuple[float, float], difference: str, caveat: str = ""
) -> str:
    """Say what was measured, and what speaks against it."""
    plate = "This plate" if number is None else f"Plate {number}"
    return f"{plate} was measured at ΔE00 {_with(delta, interval)}: {difference}.{caveat}"


def _with(delta: float, interval: tuple[float, float]) -> str:
    return f"{delta:.1f} ({interval[0]:.1f} to {interval[1]:.1f})"


def grounds_of(
    recipe: Recipe, nearest: Sequence[LoggedTrial], model: ProcessModel, logged: int, considered: int
) -> str:
    """Say from which plates a recipe was predicted, and what was borrowed."""
    used = len(model.trials)
    plates = counted(used, "logged plate")
    if used < logged:
        plates = f"{used} of {counted(logged, 'logged plate')}, those near this colour and a spread of the rest"
    said = f"Predicted from {plates}"
    numbers = [str(trial.id) for trial in nearest if trial.id is not None]
    if numbers:
        said += f", most from {plural('plate', len(numbers))} {listed(numbers)}"
    said += f"; {counted(considered, 'recipe')} {agreeing(considered, 'was', 'were')} looked at."
    return said + _borrowed(recipe, model)


def _borrowed(recipe: Recipe, model: ProcessModel) -> str:
    seen = [{canonical(coat.chemical) for coat in trial.recipe.coats} for trial in model.trials]
    said = ""
    for chemical in each_once(coat.chemical for coat in recipe.coats):
        times = sum(canonical(chemical) in chemicals for chemicals in seen)
        if not times:
            said += f" {capital(NEW['chemical'].format(chemical))}"
        elif times <= SEEN_SELDOM and len(seen) > times:
            plates = counted(times, "plate")
            said += f" {capital(chemical)} was seen on {plates} only: the rest is borrowed from the others."
    under = recipe.undercoat
    if under is not None and not any(_has_undercoat(trial.recipe, under.chemical) for trial in model.trials):
        said += f" {capital(NEW['undercoat'].format(under.chemical))}"
    return said + _pooled(recipe, model)


def _has_undercoat(recipe: Recipe, chemical: str) -> bool:
    return recipe.undercoat is not None and same(recipe.undercoat.chemical, chemical)


def _pooled(recipe: Recipe, model: ProcessModel) -> str:
    """Say which names of a recipe are seldom used among very many, and so are not told apart from others like that."""
    known = model.curve.categories
    under, seal = recipe.undercoat, recipe.seal
    used = [
        (recipe.alloy, known.alloys),
        (recipe.surface, known.surfaces),
        *(() if under is None else ((under.chemical, known.undercoats),)),
        *((coat.chemical, known.chemicals) for coat in recipe.coats),
        *((coat.application, known.applications) for coat in recipe.coats),
        *(() if seal is None else ((seal.kind, known.seals),)),
    ]
    pooled = each_once(name for name, names in used if len(names) >= MOST_NAMES and canonical(name) not in names)
    if not pooled:
        return ""
    are = "is one" if len(pooled) == 1 else "are some"
    return f" {listed(pooled)} {are} of very many names in this log, of which the seldom used are taken together."


def assumed_in_words(recipe: Recipe) -> list[str]:
    """Say what of a recipe was not noted and is taken as the plates mostly have it; nothing when all is noted."""
    what = not_noted_in_words(recipe)
    if not what:
        return []
    were = agreeing(len(not_noted(recipe)), "was", "were")
    return [f"{capital(what)} {were} not noted: taken as most plates have it."]


def doubts_in_words(
    never_logged: Sequence[tuple[str, str]], hotter_than_c: float | None, plates: int, too_few: bool, read_alike: bool
) -> list[str]:
    """Say why a prediction is to be trusted less, a sentence each.

    never_logged: what is named and its name. hotter_than_c: the hottest plate, when the recipe is hotter. plates:
    how many are logged; too_few: whether that is too few to go by. read_alike: whether how all were read is most of it.
    """
    said = [capital(NEW[what].format(name)) for what, name in never_logged]
    if hotter_than_c is not None:
        said.append(f"No plate was as hot: the hottest had {in_both_degrees(hotter_than_c)}.")
    if too_few:
        said.append(f"Only {counted(plates, 'plate')} {agreeing(plates)} logged: this is little more than a guess.")
    if read_alike:
        said.append(READ_ALIKE)
    return said


def sureness_in_words(reach: float) -> str:
    """Say how far to trust a colour whose true place lies within this ΔE00 in 95 % of cases.

    >>> sureness_in_words(1.6), sureness_in_words(11.0)
    ('well known, expect it within a shade', 'a guess, it may come out quite another colour')
    """
    return next(words for most, words in SURENESS if reach <= most)


def worked_out_from(part: PartOfLog) -> str:
    """Say from which plates of a long log something is worked out; "" where it is from all of them."""
    if part.is_whole:
        return ""
    near = "" if part.nearest is None else f"the {counted(part.nearest, 'plate')} nearest to the target, "
    return (
        f"This log is long: what is here is worked out from {len(part.trials):,} of its {counted(part.of, 'plate')}: "
        f"{near}the latest, some of every chemical, undercoat, alloy and seal, and a sample of all times."
    )
