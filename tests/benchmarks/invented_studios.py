"""Invented studios for the closed loop: a process, the recipes that it makes, and how its log comes about.

All physics and numbers are invented, and of other forms than the model's own curve. Every studio is drawn anew from its
seed; models were tuned on even seeds alone, so figures are reported from odd ones.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from matcher.colour.types import Floats
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.trials.trial import Trial
from tests.benchmarks.invented_processes import (
    CHEMICALS,
    PASSES,
    STRENGTHS,
    TEMPS_C,
    UNDERCOATS,
    Process,
    film,
    recipe_space,
)
from tests.rendering.process import (
    WAVELENGTHS_NM,
    DemoProcess,
    Film,
    PlateVariation,
    invented_process,
    plate_variation,
)

FIRST_DAY, PLATES_A_DAY = datetime(2024, 1, 8, tzinfo=UTC), 2
WIDE_TEMPS_C = (80.0, 90.0, 100.0, 110.0, 120.0, 130.0)


@dataclass
class Studio:
    """A process with its recipes and its log.

    space: every recipe that targets are drawn from. logged_first: plates before the first suggestion. habit: the
    recipes that those first plates come from; None for all of the space. Readings of ``sigma`` per axis.
    """

    process: Process
    space: Sequence[Recipe]
    logged_first: int = 24
    habit: Sequence[Recipe] | None = None
    mistakes: Mistakes | None = None
    made: int = field(default=0, init=False)

    def true(self, recipe: Recipe) -> Floats:
        """Return what a recipe gives (3,), today."""
        if self.mistakes is None or self.process.physics is None:
            return self.process.true(recipe)
        return self.process.physics(recipe, PlateVariation(dose=self.mistakes.drifted(self.made)))

    def first(self, rng: np.random.Generator) -> list[Trial]:
        """Return the log before the first suggestion."""
        self.made = 0
        pool = self.space if self.habit is None else self.habit
        rows = rng.choice(len(pool), self.logged_first, replace=len(pool) < self.logged_first)
        return [self.trial(pool[row], rng) for row in rows]

    def trial(self, recipe: Recipe, rng: np.random.Generator) -> Trial:
        """Return one plate made, read and written down, mistakes and all."""
        self.made += 1
        if self.mistakes is None:
            return replace(self.process.trial(recipe, rng), id=self.made)
        day = FIRST_DAY + timedelta(days=self.made // PLATES_A_DAY)
        return replace(self.mistakes.written(self, recipe, rng), id=self.made, made_at=day)


@dataclass(frozen=True)
class Mistakes:
    """How a messy studio's log departs from the truth: shares of plates, 0 to 1.

    mislabelled: made to another recipe than the one written down. misread: the reading is of a shadow or of glare.
    scatter: how much plates of one recipe differ, in the demo's own spread. drift: of the log of dose, which goes
    to and fro over 125 plates.
    """

    mislabelled: float = 0.05
    misread: float = 0.05
    scatter: float = 2.5
    drift: float = 0.15
    sigma: float = 0.5

    def written(self, studio: Studio, recipe: Recipe, rng: np.random.Generator) -> Trial:
        made = recipe
        if rng.uniform() < self.mislabelled:
            made = _another(recipe, rng)
        lab = self.plate(studio, made, rng) + rng.normal(0, self.sigma, 3)
        if rng.uniform() < self.misread:
            shadow = rng.uniform() < 0.5
            lab = lab * 0.55 - [0, 0, 4] if shadow else lab + (np.array([92.0, 0.0, 3.0]) - lab) * rng.uniform(0.2, 0.5)
        lab[0] = np.clip(lab[0], 0, 100)
        return Trial(recipe, Reading(lab=lab, covariance=np.eye(3) * self.sigma**2))

    def plate(self, studio: Studio, recipe: Recipe, rng: np.random.Generator) -> Floats:
        """Return what one plate truly is (3,), made today."""
        physics = studio.process.physics
        assert physics is not None, "a messy studio needs a process that plates can vary in"
        plate = plate_variation(rng, self.scatter)
        return np.asarray(physics(recipe, replace(plate, dose=plate.dose * self.drifted(studio.made))))

    def drifted(self, made: int) -> float:
        """Return by what factor a coat lays down more after so many plates."""
        return float(np.exp(self.drift * np.sin(made / 20)))


def _another(recipe: Recipe, rng: np.random.Generator) -> Recipe:
    """Return the recipe that was truly made: another chemical, other passes, or no undercoat."""
    coat = recipe.coats[-1]
    which = rng.integers(3)
    if which == 0:
        others = [name for name in CHEMICALS if name != coat.chemical]
        coat = replace(coat, chemical=others[rng.integers(len(others))])
    elif which == 1:
        coat = replace(coat, passes=int(rng.choice([n for n in PASSES if abs(n - coat.passes) > 3])))
    else:
        ground = None if recipe.undercoat is not None else Undercoat(UNDERCOATS[0], 0.75, 0.0)
        return replace(recipe, undercoat=ground)
    return replace(recipe, coats=(*recipe.coats[:-1], coat))


def of_process(make: Callable[[int], Process]) -> Callable[[int], Studio]:
    """Return studios that log any recipes of the common space in a process."""
    return lambda seed: Studio(make(seed), recipe_space())


def eight(seed: int) -> Studio:
    """A film studio with eight plates."""
    return Studio(film(seed), recipe_space(), 8)


def messy(seed: int, mistakes: Mistakes | None = None) -> Studio:
    """A film studio whose plates differ by 2 to 3, drift, are mislabelled and misread, and follow habits.

    Each chemical and each undercoat has a favourite or two, around which its first plates were made.
    """
    rng = np.random.default_rng([seed, 11])
    process = film(seed)
    space = recipe_space()
    grounds = rng.permutation([*UNDERCOATS, ""])
    usual = []
    for chemical, ground in zip([*CHEMICALS, CHEMICALS[0]], [*grounds, grounds[rng.integers(4)]], strict=True):
        rows = [k for k, recipe in enumerate(space) if _kind(recipe) == (chemical, ground)]
        usual.append(space[rows[rng.integers(len(rows))]])
    habit = [recipe for favourite in usual for recipe in _near(favourite)]
    return Studio(process, space, 24, habit, mistakes or Mistakes())


def _kind(recipe: Recipe) -> tuple[str, str]:
    return recipe.coats[0].chemical, "" if recipe.undercoat is None else recipe.undercoat.chemical


def _near(recipe: Recipe) -> list[Recipe]:
    """Return what a studio of habits makes around a favourite: its passes and its heat moved."""
    coat = recipe.coats[0]
    counts = [n for n in PASSES if abs(n - coat.passes) <= 4]
    temps = [t for t in TEMPS_C if abs(t - coat.surface_temp_c) <= 10]
    return [replace(recipe, coats=(replace(coat, passes=n, surface_temp_c=t),)) for n in counts for t in temps]


def window(seed: int) -> Studio:
    """Nothing takes below a temperature of its own, everything burns above another; mixing in CIELAB, no film.

    Both come on along a smoothstep over 6 to 14 °C, not along the model's curve.
    """
    rng = np.random.default_rng([seed, 12])
    bare = np.array([66.0, 8.0, 24.0]) + rng.normal(0, 2, 3)
    darks = {name: np.array([25.0, 3.0, 4.0]) + rng.normal(0, [3, 2, 4]) for name in UNDERCOATS}
    ends = {name: np.array([40.0, 6.0, 14.0]) + rng.normal(0, [9, 9, 10]) for name in CHEMICALS}
    ends[CHEMICALS[0]] = np.array([27.0, 15.0, 16.0]) + rng.normal(0, 3, 3)
    burnt = {name: np.array([22.0, 4.0, 5.0]) + rng.normal(0, [3, 2, 3]) for name in CHEMICALS}
    rates = {name: rng.uniform(1.5, 4.0) for name in CHEMICALS}
    holds, spans = ({name: draw() for name in CHEMICALS} for draw in (_between(rng, 86, 98), _between(rng, 6, 14)))
    burns, scorch = ({name: draw() for name in CHEMICALS} for draw in (_between(rng, 112, 124), _between(rng, 6, 14)))

    def true(recipe: Recipe) -> Floats:
        coat, under = recipe.coats[0], recipe.undercoat
        name = coat.chemical
        dark = 0.0 if under is None else (1 - np.exp(-under.strength / 0.35)) * (1 - 0.85 * under.burnish)
        ground = bare if under is None else bare + dark * (darks[under.chemical] - bare)
        takes = _smoothstep((coat.surface_temp_c - holds[name]) / spans[name] + 0.5)
        taken = 0.9 * (1 - np.exp(-coat.dose * takes / rates[name]))
        lab = ground + taken * (ends[name] - ground)
        ash = _smoothstep((coat.surface_temp_c - burns[name]) / scorch[name] + 0.5) * taken
        darker = np.array([min(burnt[name][0], lab[0]), *burnt[name][1:]])
        return np.asarray(lab + 0.8 * ash * (darker - lab))

    return Studio(
        Process(true, lambda recipe, plate_rng: true(recipe) + plate_rng.normal(0, 0.3, 3), 0.3),
        recipe_space(WIDE_TEMPS_C),
    )


def scorch(seed: int) -> Studio:
    """Films with spectra that keep nothing below a temperature and bake brown above another, by Arrhenius's law."""
    rng = np.random.default_rng([seed, 13])
    invented = invented_process(rng)
    holds, burns = _between(rng, 84, 99)(), _between(rng, 110, 122)()
    steep = rng.uniform(4e4, 9e4)
    soot = 0.5 + 0.5 * (1 - (WAVELENGTHS_NM - 380) / 350)

    def rate(temp_c: float, at_c: float) -> float:
        """Return how fast something goes, 1 at at_c, by an activation temperature of ``steep`` K."""
        return float(np.exp(-steep * (1 / (temp_c + 273.15) - 1 / (at_c + 273.15))))

    def lab(recipe: Recipe, plate: PlateVariation | None = None) -> Floats:
        from tests.rendering.process import MOTTLE_NODES, Layers, spectrum_lab

        coat = recipe.coats[0]
        temp = coat.surface_temp_c + (0.0 if plate is None else plate.temp_shift_c)
        kept = 1 - np.exp(-rate(temp, holds))
        variation = replace(plate or PlateVariation(), dose=(1.0 if plate is None else plate.dose) * float(kept))
        layers = invented.layers(recipe, variation)
        burnt = (1 - np.exp(-0.7 * rate(temp, burns))) * (1 - np.exp(-coat.dose * kept / 3))
        assert layers.spectra.shape[1] == MOTTLE_NODES.size
        return spectrum_lab(Layers(layers.spectra * np.exp(-1.2 * burnt * soot), layers.bare_share).mean())

    def plate(recipe: Recipe, plate_rng: np.random.Generator) -> Floats:
        return lab(recipe, plate_variation(plate_rng, 0.2))

    return Studio(Process(lab, plate, 0.3, lab), recipe_space(WIDE_TEMPS_C))


def reacting(seed: int) -> Studio:
    """Two coats that react with each other, waxed or not: what the second lays down depends on the first."""
    rng = np.random.default_rng([seed, 14])
    invented = invented_process(rng)
    names = CHEMICALS[:3]
    product = {pair: rng.uniform(0.2, 0.7) * np.exp(-(((WAVELENGTHS_NM - rng.uniform(420, 640)) / 60) ** 2))
               for pair in itertools.permutations(names, 2)}  # fmt: skip
    grounds: list[Undercoat | None] = [None]
    grounds += [Undercoat(UNDERCOATS[0], strength, burnish) for strength in (0.5, 1.0) for burnish in (0.0, 0.5)]
    space = tuple(
        Recipe("silicon bronze", ground, (Coat(a, one, n, temp), Coat(b, 0.5, m, temp)), seal)
        for ground in grounds
        for a, b in itertools.permutations(names, 2)
        for one in (0.5, 1.0)
        for n in (1, 2, 3, 5, 7)
        for m in (1, 2, 3, 5, 7)
        for temp in (100.0, 110.0)
        for seal in (None, Seal("wax", 1))
    )

    def lab(recipe: Recipe, plate: PlateVariation | None = None) -> Floats:
        from tests.rendering.process import Layers, spectrum_lab

        layers = invented.layers(recipe, plate)
        if len(recipe.coats) < 2:
            return spectrum_lab(layers.mean())
        first, second = recipe.coats[-2:]
        laid = invented.laid_down(first, plate)[0], invented.laid_down(second, plate)[0]
        formed = laid[0] * laid[1] / (laid[0] + laid[1] + 1e-9)
        passed = np.exp(-product[first.chemical, second.chemical] * formed)
        return spectrum_lab(Layers(layers.spectra * passed, layers.bare_share).mean())

    def plate(recipe: Recipe, plate_rng: np.random.Generator) -> Floats:
        return lab(recipe, plate_variation(plate_rng, 0.2))

    return Studio(Process(lab, plate, 0.3, lab), space)


def six_by_four(seed: int) -> Studio:
    """Six chemicals over four undercoats, 24 plates: most pairs were never logged together."""
    rng = np.random.default_rng([seed, 15])
    base = invented_process(rng)
    slope = (WAVELENGTHS_NM - 555.0) / 175.0
    none = np.zeros_like(WAVELENGTHS_NM)

    def one(absorption: Floats, scattering: Floats, full: float, dose: float) -> Film:
        return Film(absorption * rng.uniform(0.8, 1.2), scattering, 0.1 + none, full, dose * rng.uniform(0.8, 1.2))

    rise = 1 / (1 + np.exp((500 - WAVELENGTHS_NM) / 25))
    coats = {
        **base.coats,
        "ferric chloride": one(0.9 * (1 - rise) + 0.25, none, 1.8, 3.5),
        "cupric chloride": one(
            0.35 * (1 - np.exp(-(((WAVELENGTHS_NM - 500) / 70) ** 2))) + 0.05, 0.25 + none, 2.0, 4.0
        ),
    }
    undercoats = {**base.undercoats, "barium sulphide": one(1.2 + 0.2 * slope, none, 1.25, 0.4)}
    invented = DemoProcess(base.alloys, base.takes, undercoats, coats)
    grounds: list[Undercoat | None] = [None]
    grounds += [Undercoat(*combo) for combo in itertools.product(undercoats, STRENGTHS, (0.0, 0.4, 0.75))]
    space = tuple(
        Recipe("silicon bronze", ground, (Coat(chemical, strength, passes, temp),))
        for ground in grounds
        for chemical in coats
        for strength in STRENGTHS
        for passes in PASSES
        for temp in (95.0, 110.0, 125.0)
    )

    def plate(recipe: Recipe, plate_rng: np.random.Generator) -> Floats:
        return invented.true_lab(recipe, plate_variation(plate_rng, 0.2))

    return Studio(Process(invented.true_lab, plate, 0.3, invented.true_lab), space)


def _between(rng: np.random.Generator, low: float, high: float) -> Callable[[], float]:
    return lambda: float(rng.uniform(low, high))


def _smoothstep(share: float) -> float:
    inside = min(max(share, 0.0), 1.0)
    return inside * inside * (3 - 2 * inside)
