"""Which slip would explain a plate that its neighbours contradict: another recipe made, or another surface read.

After the process model. Each slip's account of the plate is weighed by its likelihood, with all slips of one kind
sharing one prior, and against a mistake of any other kind (``mistakes``): what the log cannot tell is left untold.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from matcher.colour.cielab import D50_WHITE, lab_to_xyz, xyz_to_lab
from matcher.colour.types import Floats
from matcher.process.logged import LoggedTrial
from matcher.process.mistakes import MISTAKE_SD, log_density
from matcher.process.model import ProcessModel
from matcher.recipe.names import same
from matcher.recipe.recipe import Coat, Recipe, Undercoat, in_one_spelling, strength_in_words
from matcher.words import counted

Kind = Literal["chemical", "undercoat", "passes", "strength", "heat", "shadow", "glare"]
LIKELY_THE_SLIP = 0.6
"""The share of all explanations from which one is named."""
SHADOWS = tuple(np.linspace(0.25, 0.8, 12))
"""How much less light falls on a plate in shadow than on its card."""
GLARES = tuple(np.linspace(0.03, 0.4, 12))
"""The share of the lamp's own light in a reading of glare."""
MOST_OF_A_KIND = 16


@dataclass(frozen=True)
class Slip:
    """What may have gone wrong with a plate. likely: the share of all explanations, 0 to 1.

    recipe: what was then made, None where the reading slipped and not the recipe. was, made: the value written down and
    the one that explains the colour, as the recipe holds them.
    """

    kind: Kind
    likely: float
    recipe: Recipe | None = None
    was: str | float | None = None
    made: str | float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        recipe = None if self.recipe is None else self.recipe.as_dict()
        return {"kind": self.kind, "likely": self.likely, "was": self.was, "made": self.made, "recipe": recipe}


def slip_in_words(slip: Slip | None) -> str:
    """Say what would explain a plate, to follow what is odd about it: ", as if 2 passes had been laid and not 6"."""
    if slip is None:
        return ""
    if slip.kind == "shadow":
        return ", as if it had been read in shadow, beside a card in the light"
    if slip.kind == "glare":
        return ", as if glare had been read with it"
    if slip.kind == "passes":
        return f", as if {counted(int(float(slip.made or 0)), 'pass')} had been laid and not {slip.was}"
    return f", as if made with {correction_in_words(slip)}"


def correction_in_words(slip: Slip) -> str:
    """Say what a slip of the pen would be corrected to: "2 passes and not 6", "no undercoat"."""
    if slip.kind == "passes":
        return f"{counted(int(float(slip.made or 0)), 'pass')} and not {slip.was}"
    if slip.kind == "undercoat":
        made = "no undercoat" if slip.made is None else f"an undercoat of {slip.made}"
        return made if slip.was is None else f"{made} and not {slip.was}"
    if slip.kind == "strength":
        return (
            f"the coat at {strength_in_words(float(slip.made or 0))} and not {strength_in_words(float(slip.was or 0))}"
        )
    if slip.kind == "heat":
        return f"the metal at {float(slip.made or 0):g} °C and not {float(slip.was or 0):g} °C"
    return f"{slip.made} and not {slip.was}"


def slip_of(model: ProcessModel, row: int) -> Slip | None:
    """Return the slip that explains one of the model's trials far better than all others; None when none does."""
    trial = model.trials[row]
    slips = list(_slips(trial, in_one_spelling(other.recipe for other in model.trials)))
    recipes = [trial.recipe, *(slip.recipe for slip in slips if slip.recipe is not None)]
    labs, covariances = model.predict(model.columns(recipes))
    noise = model.plate_covariances(recipes) + model.scatter([trial.reading])[0]
    densities = log_density(trial.reading.lab - labs, covariances + noise)
    vague = log_density(trial.reading.lab - labs[:1], covariances[:1] + noise[:1] + np.diag(np.square(MISTAKE_SD)))[0]
    weights: dict[Kind, tuple[float, Slip]] = {}
    for kind in dict.fromkeys(slip.kind for slip in slips):
        alike = [(slip, density) for slip, density in zip(slips, densities[1:], strict=True) if slip.kind == kind]
        best = max(alike, key=lambda item: item[1])[0]
        weights[kind] = (_log_mean([density for _, density in alike]), best)
    for kind, light in (("shadow", _in_shadow), ("glare", _in_glare)):
        weights[kind] = (_log_mean(list(light(trial.reading.lab, labs[0], covariances[0] + noise[0]))), Slip(kind, 0.0))
    top = max(vague, max(weight for weight, _ in weights.values()))
    whole = np.exp(vague - top) + sum(np.exp(weight - top) for weight, _ in weights.values())
    weight, slip = max(weights.values(), key=lambda item: item[0])
    likely = float(np.exp(weight - top) / whole)
    return replace(slip, likely=likely) if likely >= LIKELY_THE_SLIP else None


def _slips(trial: LoggedTrial, logged: Sequence[Recipe]) -> Iterator[Slip]:
    """Yield the slips of the pen: one thing of the recipe otherwise, as the log's recipes have it."""
    recipe = trial.recipe
    under = recipe.undercoat
    grounds: list[Undercoat | None] = [None] if under is not None else []
    for name in dict.fromkeys(other.undercoat.chemical for other in logged if other.undercoat is not None):
        if under is None or not same(name, under.chemical):
            grounds.append(Undercoat(name, 1.0) if under is None else replace(under, chemical=name))
    for ground in grounds[:MOST_OF_A_KIND]:
        was, made = (None if one is None else one.chemical for one in (under, ground))
        yield Slip("undercoat", 0.0, replace(recipe, undercoat=ground), was, made)
    if not recipe.coats:
        return
    coat, laid = recipe.coats[-1], [coat for other in logged for coat in other.coats]

    def otherwise(kind: Kind, field: str, values: Sequence[str | float]) -> Iterator[Slip]:
        for value in values[:MOST_OF_A_KIND]:
            moved: Coat = replace(coat, **{field: value})  # type: ignore[arg-type]
            yield Slip(kind, 0.0, replace(recipe, coats=(*recipe.coats[:-1], moved)), getattr(coat, field), value)

    def values(of: Callable[[Coat], float], own: float) -> list[float]:
        return sorted({of(one) for one in laid} - {own}, key=lambda value: (abs(value - own), value))

    names = dict.fromkeys(one.chemical for one in laid)
    yield from otherwise("chemical", "chemical", [name for name in names if not same(name, coat.chemical)])
    counts = range(1, max(one.passes for one in laid) + 1)
    yield from otherwise("passes", "passes", [count for count in counts if count != coat.passes])
    yield from otherwise("strength", "strength", values(lambda one: one.strength, coat.strength))
    yield from otherwise("heat", "surface_temp_c", values(lambda one: one.surface_temp_c, coat.surface_temp_c))


def _in_shadow(lab: Floats, expected: Floats, covariance: Floats) -> Floats:
    """Return the log density (k,) of a reading whose plate stood in shadow beside a card in the light."""
    xyz = lab_to_xyz(expected)
    dark = np.array([xyz_to_lab(xyz * share) for share in SHADOWS])
    return log_density(lab - dark, np.broadcast_to(covariance, (len(dark), 3, 3)))


def _in_glare(lab: Floats, expected: Floats, covariance: Floats) -> Floats:
    """Return the log density (k,) of a reading that held so much of the lamp's own light."""
    xyz = lab_to_xyz(expected)
    pale = np.array([xyz_to_lab((1 - share) * xyz + share * D50_WHITE) for share in GLARES])
    return log_density(lab - pale, np.broadcast_to(covariance, (len(pale), 3, 3)))


def _log_mean(logs: Sequence[float]) -> float:
    top = max(logs)
    return float(top + np.log(np.mean(np.exp(np.array(logs) - top))))
