"""Whether any recipe in range is likely to reach a target; if not, by how much it misses and what might help.

After the outlook. What the log cannot tell, it does not tell.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from matcher.colour.difference import delta_e_2000, stretch_of_doubt
from matcher.colour.types import Floats
from matcher.colour.uncertainty import square_root, sum_of
from matcher.colour.verdict import LIKELY
from matcher.colour.verdict import standing as standing_of
from matcher.colour.wording import difference_in_words
from matcher.plan.outlook import Outlook, draws_of
from matcher.plan.steps import moved_coat, moved_undercoat
from matcher.process.logged import LoggedTrial
from matcher.process.model import ProcessModel
from matcher.reading.comparison import chance_within, delta_e_interval, difference_covariance, draws_to_target
from matcher.reading.reading import Reading
from matcher.recipe.recipe import MAX_PASSES, Coat, Recipe, describe
from matcher.words import agreeing, capital, counted, listed, percent

JOINTLY_DRAWN = 120
JOINT_DRAWS = 256
WORTH_SAYING = 0.5
FEWEST_TO_TELL = 6
"""Trials below which nothing is predicted: the curve's prior would speak, and not the log."""
SURE_ENOUGH = 0.8
"""A change is pointed to when its chance to come nearer is at least this; otherwise the log can't tell."""


@dataclass(frozen=True, eq=False)
class Reach:
    """chance: that some recipe in range comes within the tolerance, 0 to 1, the target's own ± allowed for.

    nearest: the recipe expected nearest; lab: (3,) CIELAB expected of it; delta_e00, interval: of that, 95 %.
    difference: how it misses, in words. changes: what the log points to. explanation: why it stands where it does, from
    a small letter. plates: how many it was learned from. untried: chemicals at hand that no plate has.
    """

    chance: float
    nearest: Recipe
    lab: Floats
    delta_e00: float
    interval: tuple[float, float]
    difference: str
    changes: tuple[str, ...]
    tolerance: float
    explanation: str
    plates: int
    untried: tuple[str, ...] = ()

    @property
    def out_of_reach(self) -> bool:
        """Tell whether no recipe in range is likely to come within the tolerance, however well the target is read.

        Of what no plate has shown yet the log can't tell.
        """
        if self.plates < FEWEST_TO_TELL or self.untried:
            return False
        return standing_of(self.interval, self.chance, self.tolerance) == "outside"

    @property
    def standing(self) -> Literal["within reach", "can't tell yet", "out of reach"]:
        """Where the target stands, in a word: nothing is said that the log can't tell."""
        if self.out_of_reach:
            return "out of reach"
        return "within reach" if self.chance >= LIKELY else "can't tell yet"

    @property
    def sentence(self) -> str:
        """Say where the target stands, and why."""
        return f"{capital(self.standing)}: {self.explanation}"

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "chance": self.chance,
            "out_of_reach": self.out_of_reach,
            "standing": self.standing,
            "nearest": self.nearest.as_dict(),
            "nearest_in_words": describe(self.nearest),
            "lab": self.lab.tolist(),
            "delta_e00": self.delta_e00,
            "delta_e00_interval": list(self.interval),
            "difference": self.difference,
            "changes": list(self.changes),
            "untried": list(self.untried),
            "sentence": self.sentence,
        }


def reach(
    model: ProcessModel,
    outlook: Outlook,
    target: Reading,
    nearest_logged: LoggedTrial,
    tolerance: float,
    rng: np.random.Generator,
    as_read: Callable[[Floats, Floats], Reading],
    lifted: Callable[[float], str | None] = lambda delta: None,
    untried: tuple[str, ...] = (),
    left_out: tuple[str, ...] = (),
) -> Reach:
    """Return whether the target can be reached, from an outlook over the recipes in range.

    as_read: as for ``bench_path``. lifted: says, from the ΔE00 expected within today's limits, what lifting them would
    bring; None when they are not what keeps the target out. untried: chemicals at hand that no plate has. left_out:
    those that would be among them but for today's limits.
    """
    expected = expected_delta(model, outlook, target.lab)
    row = int(np.argmin(expected))
    plate = as_read(outlook.labs[row], outlook.covariances[row])
    delta = float(delta_e_2000(target.lab, plate.lab))
    interval = delta_e_interval(target, plate, draws_to_target(target, [plate], [True])[0])
    chance, best = _chances(model, outlook, target, plate, expected, tolerance, rng)
    measured = chance_within(target, nearest_logged.reading, tolerance)
    chance, best = max(chance, measured), max(best, measured)
    words = difference_in_words(target.lab, outlook.labs[row], interval=interval)
    changes: tuple[str, ...] = ()
    said = None
    if chance < LIKELY and delta > tolerance:
        changes = _changes(model, outlook.recipes[row], target.lab, float(expected[row]))
        said = lifted(delta)
    plates = len(model.trials)
    if plates < FEWEST_TO_TELL:  # what so few plates predict is a guess; what was measured is not
        chance = best = measured
    why = _explanation((chance, best), delta, interval, words, tolerance, changes, said, plates, untried, left_out)
    recipe, lab = outlook.recipes[row], outlook.labs[row]
    return Reach(chance, recipe, lab, delta, interval, words, changes, tolerance, why, plates, untried)


def expected_delta(model: ProcessModel, outlook: Outlook, target_lab: Floats) -> Floats:
    """Return (m,) the ΔE00 that a plate of each recipe is expected to read at, its own scatter included."""
    scattered = outlook.covariances + model.plate_covariances(outlook.recipes)
    return np.asarray(draws_of(target_lab, outlook.labs, scattered).mean(axis=1))


def _chances(
    model: ProcessModel,
    outlook: Outlook,
    target: Reading,
    plate: Reading,
    expected: Floats,
    tolerance: float,
    rng: np.random.Generator,
) -> tuple[float, float]:
    """Return the chance that any recipe comes within the tolerance, and that of the surest one alone.

    What is not known of the target, less what ``plate`` shares of it, moves it against all recipes alike.
    """
    some = np.argsort(expected, kind="stable")[:JOINTLY_DRAWN]
    labs, covariance = model.predict_together(model.columns([outlook.recipes[row] for row in some]))
    root = square_root(covariance)
    stretch = stretch_of_doubt(rng.uniform(size=JOINT_DRAWS))[:, None]
    drawn = labs.ravel() + stretch * rng.standard_normal((JOINT_DRAWS, len(root))) @ root.T
    own = plate.covariance - sum_of(plate.budget)  # the recipe's own doubt is drawn above
    doubt = square_root(difference_covariance(target, plate) - own)
    goal = target.lab + rng.standard_normal((JOINT_DRAWS, 3)) @ doubt.T
    within = delta_e_2000(goal[:, None], drawn.reshape(JOINT_DRAWS, -1, 3)) <= tolerance
    return float(within.any(axis=1).mean()), float(within.mean(axis=0).max())


def _changes(model: ProcessModel, recipe: Recipe, target_lab: Floats, expected: float) -> tuple[str, ...]:
    """Return the changes beyond the range in use that the model expects to help, the most helpful first."""
    beyond = _beyond(recipe)
    if not beyond:
        return ()
    labs, covariances = model.predict(model.columns([changed for _, changed in beyond]))
    draws = draws_of(target_lab, labs, covariances)
    gain, nearer = expected - draws.mean(axis=1), np.mean(draws < expected, axis=1)
    return tuple(
        f"{beyond[k][0]}, expected to bring it to ΔE00 {draws[k].mean():.1f}"
        for k in np.argsort(-gain, kind="stable")
        if gain[k] >= WORTH_SAYING and nearer[k] >= SURE_ENOUGH
    )[:3]


def _beyond(recipe: Recipe) -> list[tuple[str, Recipe]]:
    """Return changes in words with the recipe that each makes, as far as a recipe can have them."""
    changed: list[tuple[str, Recipe]] = []
    under = recipe.undercoat
    if under is not None:
        for what, ground in (
            ("a weaker undercoat", moved_undercoat(under, strength=under.strength / 2)),
            ("a stronger undercoat", moved_undercoat(under, strength=min(1.0, under.strength * 1.5))),
            ("burnishing right back", moved_undercoat(under, burnish=1.0)),
        ):
            if ground is not None:
                changed.append((what, replace(recipe, undercoat=ground)))
        changed.append(("leaving out the undercoat", replace(recipe, undercoat=None)))
    if recipe.coats:
        coat, rest = recipe.coats[-1], recipe.coats[:-1]
        for what, moved in (
            *_many_passes(coat),
            ("15 °C more heat", moved_coat(coat, temp_c=coat.surface_temp_c + 15)),
            ("15 °C less heat", moved_coat(coat, temp_c=coat.surface_temp_c - 15)),
        ):
            if moved is not None:
                changed.append((what, replace(recipe, coats=(*rest, moved))))
        changed.append(("leaving off the last coat", replace(recipe, coats=rest)))
    return changed


def _many_passes(coat: Coat) -> list[tuple[str, Coat | None]]:
    counts = dict.fromkeys(min(MAX_PASSES, times * coat.passes) for times in (2, 4))
    return [(counted(count, "pass"), moved_coat(coat, passes=count)) for count in counts if count > coat.passes]


def _explanation(
    chances: tuple[float, float],
    delta: float,
    interval: tuple[float, float],
    words: str,
    tolerance: float,
    changes: tuple[str, ...],
    lifted: str | None,
    plates: int,
    untried: tuple[str, ...],
    left_out: tuple[str, ...],
) -> str:
    chance, best = chances
    if chance < LIKELY and plates < FEWEST_TO_TELL:
        return (
            f"{counted(plates, 'plate')} {agreeing(plates, 'is', 'are')} too few to predict colours from, "
            f"{FEWEST_TO_TELL} are the least. The nearest recipe may lie at ΔE00 {interval[0]:.1f} to "
            f"{interval[1]:.1f}: make a few plates that differ widely."
        )
    if chance >= LIKELY:
        return (
            f"the chance that some recipe in range comes within ΔE00 {tolerance:g} is "
            f"{_percent(chance)}; that of the likeliest one alone is {_percent(best)}."
        )
    if delta <= tolerance:
        return (
            f"the nearest recipe in range is expected at ΔE00 {delta:.1f} ({interval[0]:.1f} to "
            f"{interval[1]:.1f}), but that is not known well enough: make that plate, or read the target more "
            f"accurately."
        )
    said = (
        f"the nearest recipe in range is expected at ΔE00 {delta:.1f} ({interval[0]:.1f} to "
        f"{interval[1]:.1f}), {words}. "
    )
    if lifted is not None:
        said += lifted
    elif changes:
        said += f"The log points to a change: {changes[0]}."
    elif untried:
        said += "The plates can't tell what would help."
    else:
        said += "The log can't tell what would help: try another undercoat or chemical than those logged."
    return said + _still_to_try(untried) + _left_out(left_out)


def _still_to_try(untried: tuple[str, ...]) -> str:
    if not untried:
        return ""
    it = "it" if len(untried) == 1 else "one of them"
    return (
        f" {capital(listed(untried))} {agreeing(len(untried))} on the shelf, and no plate has "
        f"{it if len(untried) == 1 else 'any of them'} yet: a plate with {it} would tell."
    )


def _left_out(names: tuple[str, ...]) -> str:
    if not names:
        return ""
    return f" {capital(listed(names))} {agreeing(len(names))} on the shelf, but left out by today's limits."


def _percent(chance: float) -> str:
    """Say a chance, at most 99 %: nothing at a bench is certain."""
    return percent(min(chance, 0.99))
