"""Whether any recipe in range is likely to reach a target; if not, by how much it misses and what might help.

After the outlook. What the log cannot tell, it does not tell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from matcher.difference import delta_e_2000, difference_in_words
from matcher.recipe import MAX_PASSES, Coat, Recipe, Undercoat, describe
from matcher.suggest.outlook import Outlook, draws_of
from matcher.suggest.process_model import ProcessModel

Floats = NDArray[np.float64]

OUT_OF_REACH = 0.05
LIKELY = 0.5
JOINTLY_DRAWN = 120
JOINT_DRAWS = 256
WORTH_SAYING = 0.5
SURE_ENOUGH = 0.8
"""A change is pointed to when its chance to come nearer is at least this; otherwise the log can't tell."""


@dataclass(frozen=True, eq=False)
class Reach:
    """chance: that some recipe in range comes within the tolerance, 0 to 1. nearest: the recipe expected nearest.

    lab: (3,) CIELAB expected of it. delta_e00, interval: of it, 95 %. difference: how it misses, in words. changes:
    what the log points to.
    """

    chance: float
    nearest: Recipe
    lab: Floats
    delta_e00: float
    interval: tuple[float, float]
    difference: str
    changes: tuple[str, ...]
    sentence: str

    @property
    def out_of_reach(self) -> bool:
        """Tell whether no recipe in range is likely to come within the tolerance."""
        return self.chance < OUT_OF_REACH

    @property
    def standing(self) -> Literal["within reach", "doubtful", "out of reach"]:
        """Where the target stands, in a word."""
        if self.out_of_reach:
            return "out of reach"
        return "within reach" if self.chance >= LIKELY else "doubtful"

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "chance": self.chance,
            "out_of_reach": self.out_of_reach,
            "nearest": self.nearest.as_dict(),
            "nearest_in_words": describe(self.nearest),
            "lab": self.lab.tolist(),
            "delta_e00": self.delta_e00,
            "delta_e00_interval": list(self.interval),
            "difference": self.difference,
            "changes": list(self.changes),
            "sentence": self.sentence,
        }


def reach(
    model: ProcessModel,
    outlook: Outlook,
    target_lab: Floats,
    best_measured: float,
    tolerance: float,
    rng: np.random.Generator,
) -> Reach:
    """Return whether the target can be reached, from an outlook over the recipes in range."""
    plain = draws_of(target_lab, outlook.labs, outlook.covariances)
    expected = plain.mean(axis=1)
    row = int(np.argmin(expected))
    low, high = np.quantile(plain[row], [0.025, 0.975])
    chance = 1.0 if best_measured <= tolerance else _chance_of_any(model, outlook, target_lab, expected, tolerance, rng)
    words = difference_in_words(target_lab, outlook.labs[row])
    delta = float(delta_e_2000(target_lab, outlook.labs[row]))
    changes: tuple[str, ...] = ()
    if chance < LIKELY:
        changes = _changes(model, outlook.recipes[row], target_lab, float(expected[row]))
    interval = (float(min(low, delta)), float(max(high, delta)))
    sentence = _sentence(chance, delta, interval, words, tolerance, changes)
    return Reach(chance, outlook.recipes[row], outlook.labs[row], delta, interval, words, changes, sentence)


def _chance_of_any(
    model: ProcessModel,
    outlook: Outlook,
    target_lab: Floats,
    expected: Floats,
    tolerance: float,
    rng: np.random.Generator,
) -> float:
    some = np.argsort(expected, kind="stable")[:JOINTLY_DRAWN]
    labs, covariance = model.predict_together(model.columns([outlook.recipes[row] for row in some]))
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = labs.ravel() + rng.standard_normal((JOINT_DRAWS, len(root))) @ root.T
    nearest = delta_e_2000(target_lab, drawn.reshape(JOINT_DRAWS, -1, 3)).min(axis=1)
    return float(np.mean(nearest <= tolerance))


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
    changed: list[tuple[str, Recipe]] = []
    under = recipe.undercoat
    if under is not None:
        for strength in (under.strength / 2, min(1.0, under.strength * 1.5)):
            word = "a weaker" if strength < under.strength else "a stronger"
            changed.append((f"{word} undercoat", _on(recipe, Undercoat(under.chemical, strength, under.burnish))))
        changed.append(("burnishing right back", _on(recipe, Undercoat(under.chemical, under.strength, 1.0))))
        changed.append(("leaving out the undercoat", _on(recipe, None)))
    if recipe.coats:
        coat, rest = recipe.coats[-1], recipe.coats[:-1]
        for what, passes, temp in (
            (f"{2 * coat.passes} passes", min(MAX_PASSES, 2 * coat.passes), coat.surface_temp_c),
            (f"{4 * coat.passes} passes", min(MAX_PASSES, 4 * coat.passes), coat.surface_temp_c),
            ("15 °C more heat", coat.passes, coat.surface_temp_c + 15),
            ("15 °C less heat", coat.passes, coat.surface_temp_c - 15),
        ):
            moved = Coat(coat.chemical, coat.strength, passes, temp, coat.application)
            changed.append((what, Recipe(recipe.alloy, under, (*rest, moved), recipe.seal, recipe.surface)))
        changed.append(("leaving off the last coat", Recipe(recipe.alloy, under, rest, recipe.seal, recipe.surface)))
    return changed


def _on(recipe: Recipe, undercoat: Undercoat | None) -> Recipe:
    return Recipe(recipe.alloy, undercoat, recipe.coats, recipe.seal, recipe.surface)


def _sentence(
    chance: float,
    delta: float,
    interval: tuple[float, float],
    words: str,
    tolerance: float,
    changes: tuple[str, ...],
) -> str:
    if chance >= LIKELY:
        return f"Within reach: the chance that some recipe in range comes within ΔE00 {tolerance:g} is {chance:.0%}."
    start = "Out of reach" if chance < OUT_OF_REACH else "Doubtful"
    said = (
        f"{start}: the nearest recipe in range is expected at ΔE00 {delta:.1f} ({interval[0]:.1f} to "
        f"{interval[1]:.1f}), {words}. "
    )
    if changes:
        return said + f"The log points to a change: {changes[0]}."
    return said + "The log can't tell what would help: try another undercoat or chemical than those logged."
