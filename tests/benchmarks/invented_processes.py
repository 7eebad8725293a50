"""Invented processes that the benchmarks run on: what a recipe truly gives, and what one measured plate reads.

All physics and numbers here are invented. Each process is drawn anew for every seed, so that no model is fitted to
one of them. A process maps a recipe to CIELAB (3,); a plate adds plate-to-plate and reading noise.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from matcher.colour.cielab import xyz_to_lab
from matcher.colour.types import Floats
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.trials.trial import Trial
from tests.rendering.process import PlateVariation, invented_process, plate_variation

UNDERCOATS = ("liver of sulphur", "ammonium sulphide", "cupric sulphate")
CHEMICALS = ("ferric nitrate", "cupric nitrate", "bismuth nitrate", "silver nitrate")
STRENGTHS = (0.25, 0.5, 0.75, 1.0)
BURNISHES = (0.0, 0.25, 0.5, 0.75)
TEMPS_C = (95.0, 105.0, 115.0, 125.0)
PASSES = tuple(range(1, 13))


@dataclass(frozen=True)
class Process:
    """true: recipe to its own CIELAB (3,). plate: the same for one plate, drawn. reading_sigma: per axis.

    physics: of a recipe and one plate's departure from it, where the process knows of such.
    """

    true: Callable[[Recipe], Floats]
    plate: Callable[[Recipe, np.random.Generator], Floats]
    reading_sigma: float
    physics: Callable[[Recipe, PlateVariation], Floats] | None = None

    def trial(self, recipe: Recipe, rng: np.random.Generator) -> Trial:
        """Return one plate made and read."""
        lab = self.plate(recipe, rng) + rng.normal(0, self.reading_sigma, 3)
        lab[0] = np.clip(lab[0], 0, 100)
        return Trial(recipe, Reading(lab=lab, covariance=np.eye(3) * max(self.reading_sigma, 0.1) ** 2))


@cache
def recipe_space(temps_c: tuple[float, ...] = TEMPS_C) -> tuple[Recipe, ...]:
    """Return every recipe that the targets come from: 37,632 of them at the usual four temperatures."""
    grounds: list[Undercoat | None] = [None]
    grounds += [Undercoat(*combo) for combo in itertools.product(UNDERCOATS, STRENGTHS, BURNISHES)]
    return tuple(
        Recipe("silicon bronze", ground, (Coat(chemical, strength, passes, temp),))
        for ground in grounds
        for chemical in CHEMICALS
        for strength in STRENGTHS
        for passes in PASSES
        for temp in temps_c
    )


def film(seed: int) -> Process:
    """Layered films with spectra: the demo studio's family, rates and spectra drawn anew."""
    invented = invented_process(np.random.default_rng([seed, 1]))

    def plate(recipe: Recipe, rng: np.random.Generator) -> Floats:
        return invented.true_lab(recipe, plate_variation(rng, 0.2))

    return Process(invented.true_lab, plate, 0.3, invented.true_lab)


def noisy(seed: int) -> Process:
    """The same family, but no two plates come out alike (some ΔE00 1 from their recipe) and the reading is poor."""
    invented = invented_process(np.random.default_rng([seed, 2]))

    def plate(recipe: Recipe, rng: np.random.Generator) -> Floats:
        return invented.true_lab(recipe, plate_variation(rng, 2.0))

    return Process(invented.true_lab, plate, 0.8, invented.true_lab)


def threshold(seed: int) -> Process:
    """Colour mixing in CIELAB with interactions and a threshold; no film, no spectra.

    A coat takes hold only above a dose of its own; above a temperature of its own it turns to another colour; each
    pair of undercoat and chemical shifts the result in a direction of its own.
    """
    rng = np.random.default_rng([seed, 3])
    bare = np.array([66.0, 8.0, 24.0]) + rng.normal(0, 2, 3)
    darks = {name: np.array([24.0, 3.0, 4.0]) + rng.normal(0, [3, 3, 5]) for name in UNDERCOATS}
    ends = {name: np.array([36.0, 10.0, 16.0]) + rng.normal(0, [9, 9, 11]) for name in CHEMICALS}
    ends[CHEMICALS[0]] = np.array([26.0, 15.0, 16.0]) + rng.normal(0, 3, 3)
    turns = {name: rng.normal(0, [4, 6, 6]) for name in CHEMICALS}
    turns[CHEMICALS[0]][0] = -abs(turns[CHEMICALS[0]][0])
    starts = {name: rng.uniform(0.3, 1.2) for name in CHEMICALS}
    rates = {name: rng.uniform(2.0, 5.0) for name in CHEMICALS}
    turn_temps = {name: rng.uniform(100, 118) for name in CHEMICALS}
    pairs = {pair: rng.normal(0, [2.0, 3.5, 3.5]) for pair in itertools.product(UNDERCOATS, CHEMICALS)}

    def true(recipe: Recipe) -> Floats:
        coat, under = recipe.coats[0], recipe.undercoat
        dark = 0.0 if under is None else (1 - np.exp(-under.strength / 0.35)) * (1 - 0.85 * under.burnish)
        ground = bare if under is None else bare + dark * (darks[under.chemical] - bare)
        dose = coat.dose * np.exp(0.012 * (coat.surface_temp_c - 105))
        taken = 1 - np.exp(-max(0.0, dose - starts[coat.chemical]) / rates[coat.chemical])
        hot = 1 / (1 + np.exp(-(coat.surface_temp_c - turn_temps[coat.chemical]) / 2.0))
        lab = ground + 0.85 * taken * (ends[coat.chemical] + hot * turns[coat.chemical] - ground)
        if under is not None:
            lab = lab + dark * taken * pairs[under.chemical, coat.chemical]
        return np.asarray(lab)

    return Process(true, lambda recipe, plate_rng: true(recipe) + plate_rng.normal(0, 0.3, 3), 0.3)


def dye(seed: int) -> Process:
    """Three broad bands, each dyed down at its own rate with its own power of passes and strength; strong heat."""
    rng = np.random.default_rng([seed, 4])
    weights = np.array([[0.62, 0.28, 0.06], [0.30, 0.64, 0.06], [0.02, 0.06, 0.74]])
    metal = np.array([0.45, 0.33, 0.20]) * np.exp(rng.normal(0, 0.1, 3))
    dark = {name: np.exp(rng.normal(0.3, 0.3, 3)) for name in UNDERCOATS}
    dye_rates = {name: np.exp(rng.normal([-1.2, -0.7, -0.1], 0.5)) for name in CHEMICALS}
    powers = {name: (rng.uniform(0.6, 1.1), rng.uniform(0.4, 0.9)) for name in CHEMICALS}
    heats = {name: rng.uniform(0.005, 0.04) for name in CHEMICALS}
    glow = {name: rng.uniform(0.0, 0.06, 3) for name in CHEMICALS}
    glow[CHEMICALS[0]] = np.zeros(3)

    def true(recipe: Recipe) -> Floats:
        coat, under = recipe.coats[0], recipe.undercoat
        bands = metal
        if under is not None:
            depth = under.strength**0.7 * (1 - under.burnish) ** 0.8
            bands = bands * np.exp(-dark[under.chemical] * 1.4 * depth)
        by_strength, by_passes = powers[coat.chemical]
        dose = (
            coat.strength**by_strength
            * coat.passes**by_passes
            * np.exp(heats[coat.chemical] * (coat.surface_temp_c - 105))
        )
        bands = bands * np.exp(-dye_rates[coat.chemical] * dose / 2) + glow[coat.chemical] * (1 - np.exp(-dose / 3))
        return xyz_to_lab(weights @ (bands + 0.012) * np.array([0.9642, 1.0, 0.8249]))

    return Process(true, lambda recipe, plate_rng: true(recipe) + plate_rng.normal(0, 0.4, 3), 0.3)


def network(seed: int) -> Process:
    """Nothing that a bronze does: CIELAB by a random layer of bends in all that a recipe says, against every fact."""
    rng = np.random.default_rng([seed, 5])
    bends, offsets, ends = rng.normal(0, 0.6, (10, 12)), rng.normal(0, 0.5, 12), rng.normal(0, [7, 4, 6], (12, 3))

    def row(recipe: Recipe) -> Floats:
        coat, under = recipe.coats[0], recipe.undercoat
        held = 0.0 if under is None else under.strength * (1 - under.burnish)
        grounds = [float(under is not None and under.chemical == name) for name in UNDERCOATS[:2]]
        kinds = [float(coat.chemical == name) for name in CHEMICALS]
        laid = [np.log2(coat.dose + 0.1) / 2, (coat.surface_temp_c - 105) / 15, np.log2(coat.passes) / 2]
        return np.array([*grounds, held, *kinds, *laid])

    def bent(recipe: Recipe) -> Floats:
        return np.asarray(np.tanh(row(recipe) @ bends + offsets) @ ends)

    some = np.array([bent(recipe) for recipe in recipe_space()[::37]])
    middle, spread = some.mean(axis=0), some.std(axis=0)

    def true(recipe: Recipe) -> Floats:
        lab = (bent(recipe) - middle) / spread * [11, 6, 9] + [42, 10, 18]
        return np.asarray([np.clip(lab[0], 5, 90), lab[1], lab[2]])

    return Process(true, lambda recipe, plate_rng: true(recipe) + plate_rng.normal(0, 0.3, 3), 0.3)


PROCESSES: dict[str, Callable[[int], Process]] = {
    "film": film,
    "threshold": threshold,
    "noisy": noisy,
    "dye": dye,
    "network": network,
}
