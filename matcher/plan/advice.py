"""From the difference that a plate shows to what to do about it. After a trial, from the process model.

What is expected of a change is the plate as measured, moved by what the model says the change does. On the same piece
passes and heat can only be added; what is too dark is burnished back or begun again (common practice, no source).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from matcher.colour.difference import delta_e_2000, delta_e_draws
from matcher.colour.types import Floats
from matcher.colour.verdict import Standing, standing
from matcher.colour.wording import difference_in_words, how_much
from matcher.plan.limits import Limits
from matcher.plan.prediction import readable
from matcher.plan.steps import moved_coat, moved_undercoat
from matcher.process.logged import LoggedTrial
from matcher.process.model import ProcessModel
from matcher.reading.comparison import chance_within, delta_e_interval, difference_covariance
from matcher.reading.reading import Reading
from matcher.recipe.recipe import (
    Coat,
    Recipe,
    Undercoat,
    in_one_spelling,
    not_noted,
    not_noted_in_words,
    strength_in_words,
)
from matcher.words import capital, counted, percent, plural

WORTH_DOING = 0.3
"""A change must lower the expected ΔE00 by this much; less is not seen."""
CLEARLY_DARK = 0.5
WORTH_NAMING = 0.5
MOST_PASSES_ADDED, STRENGTHS_ADDED, MOST_ADDED = 10, 3, 150


@dataclass(frozen=True, eq=False)
class Adjustment:
    """One change and what it is expected to bring.

    passes: how many more or fewer it is, 0 where it is another change. interval: 95 % of ΔE00. same_piece: can still be
    done to it.
    """

    what: str
    recipe: Recipe
    passes: int
    lab: Floats
    delta_e00: float
    interval: tuple[float, float]
    same_piece: bool


@dataclass(frozen=True, eq=False)
class Advice:
    """delta_e00, interval (95 %): of the plate now. chance: that it is within the tolerance, 0 to 1; standing: what can
    be said of that. on_this_piece, on_the_next: the changes that help, the most helpful first.
    """

    delta_e00: float
    interval: tuple[float, float]
    chance: float
    standing: Standing
    difference: str
    on_this_piece: tuple[Adjustment, ...]
    on_the_next: tuple[Adjustment, ...]
    sentence: str

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "delta_e00": self.delta_e00,
            "delta_e00_interval": list(self.interval),
            "chance_within_tolerance": self.chance,
            "difference": self.difference,
            "on_this_piece": [_as_dict(change) for change in self.on_this_piece],
            "on_the_next": [_as_dict(change) for change in self.on_the_next],
            "sentence": self.sentence,
        }


def advise(
    model: ProcessModel, trial: LoggedTrial, target: Reading, tolerance: float, limits: Limits | None = None
) -> Advice:
    """Return what to do after a trial, for a target."""
    now = float(delta_e_2000(target.lab, trial.reading.lab))
    allowed = limits if limits is not None else Limits()
    thought_of = [*_options(trial.recipe), *_coats_to_add(trial.recipe, model.trials)]
    options = [option for option in thought_of if allowed.allow(option[1])]
    changes = sorted(_expected(model, trial, target, options), key=lambda change: change.delta_e00)
    helpful = [change for change in changes if change.delta_e00 < now - WORTH_DOING]
    here = tuple(change for change in helpful if change.same_piece)[:3]
    there = tuple(change for change in helpful if not change.same_piece)[:3]
    ruled_out = thought_of and not options
    within = f"; today's limits ({allowed.in_words()}) rule out every change of it" if ruled_out else ""
    if lacking := not_noted_in_words(trial.recipe):
        within += f"; what to change can't be worked out while nobody noted {lacking}"
    interval, chance = delta_e_interval(target, trial.reading), chance_within(target, trial.reading, tolerance)
    interval = min(interval[0], now), max(interval[1], now)
    stands = standing(interval, chance, tolerance)
    said = _what_to_do(trial.reading, target, now, here, there, within)
    words = difference_in_words(target.lab, trial.reading.lab, interval=interval)
    sentence = _sentence(now, interval, chance, tolerance, said)
    return Advice(now, interval, chance, stands, words, here, there, sentence)


def _expected(
    model: ProcessModel, trial: LoggedTrial, target: Reading, options: list[tuple[str, Recipe, bool]]
) -> list[Adjustment]:
    if not options:
        return []
    recipes = [trial.recipe, *(recipe for _, recipe, _ in options)]
    labs, joint = model.predict_together(model.columns(recipes))
    slopes = model.slopes_by_hand(recipes)
    another, same = model.plate_scatter.covariances(slopes), model.plate_scatter.of_hand(slopes - slopes[:, :1])
    n = len(options)
    blocks = joint.reshape(n + 1, 3, n + 1, 3)
    each = blocks[np.arange(n + 1), :, np.arange(n + 1), :]
    found = []
    for k, (what, recipe, same_piece) in enumerate(options, start=1):
        change = each[k] + each[0] - blocks[k, :, 0, :] - blocks[0, :, k, :]
        # the same piece keeps its own departure from the recipe; another plate has one of its own
        plates = same[k] if same_piece else another[0] + another[k]
        lab = trial.reading.lab + labs[k] - labs[0]
        own = trial.reading
        # the changed plate is read as this one was, so what that reading shares of the target's errors still cancels
        then = Reading(readable(lab), change + plates + own.covariance, budget=own.budget)
        delta = float(delta_e_2000(target.lab, then.lab))
        draws = delta_e_draws(target.lab, then.lab, difference_covariance(target, then))
        interval = delta_e_interval(target, then, draws)
        passes = _passes_between(trial.recipe, recipe)
        found.append(Adjustment(what, recipe, passes, then.lab, delta, interval, same_piece))
    return found


def _passes_between(recipe: Recipe, changed: Recipe) -> int:
    """Return how many passes of the last coat the second recipe has more or fewer than the first."""
    before, after = (one.coats[-1].passes if one.coats else 0 for one in (recipe, changed))
    return abs(after - before)


def _options(recipe: Recipe) -> list[tuple[str, Recipe, bool]]:
    """Return (words, recipe, can be done to the same piece) for changes of one thing; none of a recipe half known."""
    if not_noted(recipe):
        return []
    coats = [
        (what, replace(recipe, coats=(*recipe.coats[:-1], coat)), more and recipe.seal is None)
        for what, coat, more in (_coat_changes(recipe.coats[-1]) if recipe.coats else ())
        if coat is not None
    ]
    grounds = [
        (f"the undercoat {what}", replace(recipe, undercoat=under), False)
        for what, under in (_undercoat_changes(recipe.undercoat) if recipe.undercoat is not None else ())
        if under is not None
    ]
    return [*coats, *grounds]


def _coat_changes(coat: Coat) -> list[tuple[str, Coat | None, bool]]:
    """Return (words, coat, only more of it) for changes of one thing; None for what no recipe can have."""
    changes: list[tuple[str, Coat | None, bool]] = []
    for more in (1, 2, 3, -1, -2, -3):
        word = f"{_count(abs(more))} {'more' if more > 0 else 'fewer'} {plural('pass', abs(more))}"
        changes.append((f"{word} at the same strength", moved_coat(coat, passes=coat.passes + more), more > 0))
    for strength in (0.25, 0.5, 0.75, 1.0):
        if abs(strength - coat.strength) > 0.04:
            changes.append((f"the coat at {strength_in_words(strength)}", moved_coat(coat, strength=strength), False))
    for warmer in (-10.0, 10.0):
        word = "hotter" if warmer > 0 else "cooler"
        changes.append((f"the metal 10 °C {word}", moved_coat(coat, temp_c=coat.surface_temp_c + warmer), False))
    return changes


def _undercoat_changes(under: Undercoat) -> list[tuple[str, Undercoat | None]]:
    changes: list[tuple[str, Undercoat | None]] = []
    for burnish in (under.burnish - 0.25, under.burnish + 0.25):
        changes.append((f"burnished back {percent(burnish)}", moved_undercoat(under, burnish=burnish)))
    for strength in (0.25, 0.5, 1.0):
        if abs(strength - under.strength) > 0.04:
            changes.append((f"at {strength_in_words(strength)}", moved_undercoat(under, strength=strength)))
    return changes


def _coats_to_add(recipe: Recipe, trials: Sequence[LoggedTrial]) -> list[tuple[str, Recipe, bool]]:
    """Return (words, recipe, True) for a first coat on bare metal or an undercoat, as coats are laid in the log.

    Each chemical and way of putting it on goes with each of its strengths, at the temperature it is mostly laid at.
    """
    if recipe.coats or recipe.seal is not None:
        return []
    known = [coat for logged in in_one_spelling(trial.recipe for trial in trials) for coat in logged.coats]
    options: list[tuple[str, Recipe, bool]] = []
    for chemical, application in dict.fromkeys((coat.chemical, coat.application) for coat in known):
        laid = [coat for coat in known if (coat.chemical, coat.application) == (chemical, application)]
        temp, strengths = Counter(coat.surface_temp_c for coat in laid), Counter(coat.strength for coat in laid)
        most = min(MOST_PASSES_ADDED, max(coat.passes for coat in laid))
        for strength, _ in strengths.most_common(STRENGTHS_ADDED):
            for passes in range(1, most + 1):
                coat = Coat(chemical, strength, passes, temp.most_common(1)[0][0], application)
                times = "one pass" if passes == 1 else counted(passes, "pass")
                what = f"{times} of {chemical} at {strength_in_words(strength)}, {coat.surface_temp_c:g} °C"
                options.append((what, replace(recipe, coats=(coat,)), True))
    return options[:MOST_ADDED]


def _sentence(now: float, interval: tuple[float, float], chance: float, tolerance: float, said: str) -> str:
    """Say whether a plate is within the tolerance, as far as its readings tell, and what to do. said: the change."""
    stands = standing(interval, chance, tolerance)
    if stands == "outside":
        return said
    figures = f"ΔE00 {now:.1f} ({interval[0]:.1f} to {interval[1]:.1f})"
    if stands == "within":
        return f"{figures}: within the tolerance of {tolerance:g}. Stop here, or make it again to be sure."
    if stands == "likely":
        return (
            f"{figures}: likely within the tolerance of {tolerance:g}, the chance is {percent(chance)}. Stop here, or "
            "read plate and target more accurately to be surer."
        )
    open_yet = (
        f"{figures}: whether it is within the tolerance of {tolerance:g} can't be told, the chance is {percent(chance)}"
    )
    if now <= tolerance:
        return f"{open_yet}. Read plate and target more accurately before you change anything."
    return f"{open_yet}. As read: {said[:1].lower()}{said[1:]}"


def _what_to_do(
    plate: Reading,
    target: Reading,
    now: float,
    here: tuple[Adjustment, ...],
    there: tuple[Adjustment, ...],
    ruled_out: str,
) -> str:
    said = _how_it_misses(plate.lab, target.lab)
    if here:
        said += f": {_hoped(here[0], now)}"
    elif ruled_out:
        said += ruled_out
    else:
        said += ": nothing that can still be added to this piece is expected to help"
    darker = target.lab[0] - plate.lab[0]
    doubt = 2 * np.sqrt(max(0.0, float(difference_covariance(target, plate)[0, 0])))
    if darker > max(CLEARLY_DARK, doubt) and not here:
        said += ". More passes or heat never lighten it: burnish back, or start again"
    if there and (not here or there[0].delta_e00 < here[0].delta_e00 - WORTH_DOING):
        said += f". On the next plate, {_hoped(there[0], now)}"
    return said + "."


def _how_it_misses(lab: Floats, target: Floats) -> str:
    """Say the miss with its lightness as a figure: "1.8 too light in L*, a little too yellow".

    Hue and chroma by the ΔE00 that each makes alone, in the words of ``difference_in_words``.
    """
    lightness = lab[0] - target[0]
    parts = []
    if abs(lightness) >= CLEARLY_DARK:
        parts.append(f"{abs(lightness):.1f} too {'light' if lightness > 0 else 'dark'} in L*")
    for axis, words in ((1, ("red", "green")), (2, ("yellow", "blue"))):
        alone = np.where(np.arange(3) == axis, lab, target)
        part = float(delta_e_2000(target, alone))
        if part >= WORTH_NAMING:
            parts.append(f"{how_much(part)}too {words[0] if lab[axis] > target[axis] else words[1]}")
    text = ", ".join(parts) if parts else "Off by little in each direction"
    return capital(text)


def _hoped(change: Adjustment, now: float) -> str:
    low, high = change.interval
    verb = "are" if change.passes > 1 else "is"
    hope = f"{change.delta_e00:.1f} ({low:.1f} to {high:.1f})"
    return f"{change.what} {verb} expected to bring ΔE00 from {now:.1f} to {hope}"


def _count(number: int) -> str:
    return {1: "one", 2: "two", 3: "three"}[number]


def _as_dict(change: Adjustment) -> dict[str, Any]:
    return {
        "what": change.what,
        "recipe": change.recipe.as_dict(),
        "lab": change.lab.tolist(),
        "delta_e00": change.delta_e00,
        "delta_e00_interval": list(change.interval),
        "same_piece": change.same_piece,
    }
