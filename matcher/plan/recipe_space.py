"""The recipes that a studio could make next: what its trials show that it owns, within today's limits.

Between the log and the planner. A recipe is a workpiece (alloy, surface, seal), a ground (an undercoat or none) and a
stack of coats; every workpiece goes with every ground and every stack that the trials and limits hold.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from matcher.errors import SuggestionError
from matcher.plan.inventory import NOTHING_MORE, AtHand
from matcher.plan.limits import Limits
from matcher.process.design import Categories, Columns, coat_columns, columns_of
from matcher.recipe.names import canonical, same
from matcher.recipe.recipe import (
    MAX_PASSES,
    SURFACE_TEMP_RANGE_C,
    Coat,
    Recipe,
    Seal,
    Undercoat,
    as_compared,
    in_one_spelling,
)

MOST_RECIPES = 60_000
MOST_WORKPIECES = 6
MOST_STEPS = 8
MOST_NEAR, MOST_MOVED = 400, 3
FEWEST_STEPS = 4
"""Strengths, burnishes or temperatures in use below which the usual ones are thought of too."""
DILUTIONS, BURNISHES, HEAT_STEP_C = (0.25, 0.5, 0.75, 1.0), (0.0, 0.25, 0.5, 0.75), 10.0
"""Anyone can dilute to these, burnish back to these, and heat by so much more or less: common practice, no source."""
FEWEST_PASSES_TOP = 12
"""A coat may be laid on up to this many times even when no trial went so far: common practice, no source."""

Workpiece = tuple[str, str, Seal | None]


@dataclass(frozen=True, eq=False)
class RecipeSpace:
    """Every recipe is workpieces[i], grounds[j], stacks[k]; ``picks`` (n, 3) are those kept."""

    workpieces: tuple[Workpiece, ...]
    grounds: tuple[Undercoat | None, ...]
    stacks: tuple[tuple[Coat, ...], ...]
    picks: NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.picks)

    def recipe(self, row: int) -> Recipe:
        """Return one recipe."""
        i, j, k = self.picks[row]
        alloy, surface, seal = self.workpieces[i]
        return Recipe(alloy, self.grounds[j], self.stacks[k], seal, surface)

    def over(self, ground: Undercoat | None) -> RecipeSpace:
        """Return the recipes of the first workpiece with every stack over one ground."""
        rows = np.arange(len(self.stacks))
        picks = np.column_stack([np.zeros_like(rows), np.zeros_like(rows), rows])
        return RecipeSpace(self.workpieces[:1], (ground,), self.stacks, picks)

    def columns(self, categories: Categories) -> Columns:
        """Lay out all recipes as columns."""
        workpieces = columns_of(
            [Recipe(alloy, surface=surface, seal=seal) for alloy, surface, seal in self.workpieces], categories
        )
        alloy = self.workpieces[0][0]
        grounds = columns_of([Recipe(alloy, ground) for ground in self.grounds], categories)
        stacks = coat_columns(self.stacks, categories)
        i, j, k = self.picks.T
        return Columns(
            workpieces.alloy[i], workpieces.surface[i],
            grounds.undercoat[j], grounds.base_strength[j], grounds.burnish[j],
            stacks.chemical[k], stacks.application[k], stacks.strength[k], stacks.passes[k], stacks.temp_c[k],
            workpieces.seal[i], workpieces.seal_coats[i], workpieces.when[i],
        )  # fmt: skip

    def having(self, chemicals: Collection[str]) -> NDArray[np.intp]:
        """Return the rows of recipes that have any of some chemicals, given in their canonical form."""
        under = [ground is not None and canonical(ground.chemical) in chemicals for ground in self.grounds]
        coats = [any(canonical(coat.chemical) in chemicals for coat in stack) for stack in self.stacks]
        return np.flatnonzero(np.array(under)[self.picks[:, 1]] | np.array(coats)[self.picks[:, 2]])

    @cached_property
    def groups(self) -> NDArray[np.intp]:
        """Return (n,) a number for each kind of recipe: which undercoat under which chemicals."""
        under = _numbered(None if ground is None else ground.chemical for ground in self.grounds)
        coats = _numbered(tuple(coat.chemical for coat in stack) for stack in self.stacks)
        return np.asarray(under[self.picks[:, 1]] * (coats.max() + 1) + coats[self.picks[:, 2]])


def space_from(
    recipes: Sequence[Recipe], limits: Limits, rng: np.random.Generator, at_hand: AtHand = NOTHING_MORE
) -> RecipeSpace:
    """Return the recipes that trials' recipes (n ≥ 1) and the limits open; a sample of them when they are many.

    at_hand: chemicals that none of them has, for coats and undercoats as the trials lay theirs.
    """
    recipes = in_one_spelling(recipes)
    workpieces = _workpieces(recipes, limits)
    grounds, stacks = _grounds(recipes, at_hand), _stacks(recipes, limits, at_hand)
    if limits != Limits():
        grounds = [ground for ground in grounds if limits.allow(Recipe(workpieces[0][0], ground))]
        stacks = [stack for stack in stacks if limits.allow(Recipe(workpieces[0][0], None, stack))]
    sizes = (len(workpieces), len(grounds), len(stacks))
    many = int(np.prod(sizes))
    if many == 0:
        raise SuggestionError("No recipe is left within these limits: widen them.")
    kept = rng.choice(many, MOST_RECIPES, replace=False) if many > MOST_RECIPES else np.arange(many)
    picks = np.column_stack(np.unravel_index(kept, sizes))
    return RecipeSpace(tuple(workpieces), tuple(grounds), tuple(stacks), picks)


def _workpieces(recipes: Sequence[Recipe], limits: Limits) -> list[Workpiece]:
    counted = Counter((recipe.alloy, recipe.surface, recipe.seal) for recipe in recipes)
    workpieces = [workpiece for workpiece, _ in counted.most_common() if _is_on(workpiece, limits.alloy)]
    if not workpieces:
        _, surface, seal = counted.most_common(1)[0][0]
        workpieces = [(limits.alloy or recipes[0].alloy, surface, seal)]
    return workpieces[:MOST_WORKPIECES]


def _is_on(workpiece: Workpiece, alloy: str | None) -> bool:
    return alloy is None or same(workpiece[0], alloy)


def _grounds(recipes: Sequence[Recipe], at_hand: AtHand) -> list[Undercoat | None]:
    known = [recipe.undercoat for recipe in recipes if recipe.undercoat is not None]
    grounds: list[Undercoat | None] = []
    if len(known) < len(recipes) or not known:
        grounds.append(None)
    burnishes = _steps((under.burnish for under in known), BURNISHES) or list(BURNISHES)
    chemicals = dict.fromkeys((*(under.chemical for under in known), *at_hand.undercoats))
    strengths = _steps((under.strength for under in known), DILUTIONS) or list(DILUTIONS)
    for chemical, strength, burnish in itertools.product(chemicals, strengths, burnishes):
        grounds.append(Undercoat(chemical, strength, burnish))
    return grounds


def _stacks(recipes: Sequence[Recipe], limits: Limits, at_hand: AtHand) -> list[tuple[Coat, ...]]:
    """Return single coats on every step that the trials show, and their longer stacks with the passes moved."""
    coats = [coat for recipe in recipes for coat in recipe.coats]
    stacks: dict[tuple[Coat, ...], None] = {}
    if any(not recipe.coats for recipe in recipes):
        stacks[()] = None
    ways = Counter((coat.chemical, coat.application) for coat in coats)
    strengths = list(limits.strengths) if limits.strengths else _steps((coat.strength for coat in coats), DILUTIONS)
    temps = _temps(coats, limits)
    top = max([coat.passes for coat in coats], default=1)
    top = min(max(top, FEWEST_PASSES_TOP), limits.max_passes or MAX_PASSES)
    counts = sorted({*range(1, min(top, 16) + 1), *np.linspace(1, top, 16).round().astype(int).tolist()})
    single = _single_chemicals(recipes)
    laid = [(chemical, application) for chemical, application in ways if chemical in single]
    usual = [application for (_, application), _ in ways.most_common(1)]
    for chemical, application in (*laid, *itertools.product(at_hand.coats, usual)):
        for strength, passes, temp in itertools.product(strengths, counts, temps):
            stacks[(Coat(chemical, strength, passes, temp, application),)] = None
    for stack in dict.fromkeys(recipe.coats for recipe in recipes if len(recipe.coats) > 1):
        for near in _near_stacks(stack, top):
            stacks[near] = None
    return list(stacks)


def _temps(coats: Sequence[Coat], limits: Limits) -> list[float]:
    """Return the temperatures in use within the limits, or the limits' own when none in use lies there."""
    used = _steps((coat.surface_temp_c for coat in coats), ())
    if coats and len(used) < FEWEST_STEPS:
        low, high = SURFACE_TEMP_RANGE_C
        used = _steps(used, (max(low, used[0] - HEAT_STEP_C), min(high, used[-1] + HEAT_STEP_C)))
    if limits.surface_temp_c is None:
        return used
    coldest, hottest = SURFACE_TEMP_RANGE_C
    low, high = max(limits.surface_temp_c[0], coldest), min(limits.surface_temp_c[1], hottest)
    if low > high:
        return []
    return [temp for temp in used if low <= temp <= high] or sorted({low, (low + high) / 2, high})


class Made:
    """The recipes made: one is among them however its names are written, and from whatever bottle."""

    def __init__(self, recipes: Iterable[Recipe]) -> None:
        self._compared = frozenset(map(as_compared, recipes))

    def __contains__(self, recipe: object) -> bool:
        return isinstance(recipe, Recipe) and as_compared(recipe) in self._compared


def _single_chemicals(recipes: Sequence[Recipe]) -> set[str]:
    """Return chemicals that go on alone; when none ever did, all of them."""
    alone = {recipe.coats[0].chemical for recipe in recipes if len(recipe.coats) == 1}
    return alone or {coat.chemical for recipe in recipes for coat in recipe.coats}


def _near_stacks(stack: tuple[Coat, ...], top: int) -> Iterable[tuple[Coat, ...]]:
    """Return stacks with the passes moved: of all coats together; of one at a time where those would be too many."""
    most = max(top, max(coat.passes for coat in stack))

    def moved(coat: Coat, widest: int) -> list[Coat]:  # every coat is made once, not once in each stack it is part of
        counts = range(max(1, coat.passes - widest), min(most, coat.passes + widest) + 1)
        return [_with_passes(coat, count) for count in counts]

    for widest in (MOST_MOVED, 1):
        choices = [moved(coat, widest) for coat in stack]
        if math.prod(map(len, choices)) <= MOST_NEAR:
            return itertools.product(*choices)
    own = tuple(_with_passes(coat, coat.passes) for coat in stack)
    singly = (
        (*own[:place], other, *own[place + 1 :])
        for place, coat in enumerate(stack)
        for other in moved(coat, MOST_MOVED)
    )
    return itertools.chain([own], itertools.islice(singly, MOST_NEAR))


@lru_cache(maxsize=4096)
def _with_passes(coat: Coat, passes: int) -> Coat:
    return Coat(coat.chemical, coat.strength, passes, coat.surface_temp_c, coat.application)


def _steps(values: Iterable[float], usual: Sequence[float]) -> list[float]:
    """Return the values in use, with the usual ones where few are, thinned to their quantiles when there are very many.

    No log shows by itself what it could be diluted to: of ``FEWEST_STEPS`` values or more none is added.
    """
    seen = sorted({round(float(value), 4) or float(value) for value in values})  # a weak strength never becomes none
    if seen and len(seen) < FEWEST_STEPS:
        seen = sorted({*seen, *usual})
    if len(seen) <= MOST_STEPS:
        return seen
    return [seen[k] for k in np.unique(np.linspace(0, len(seen) - 1, MOST_STEPS).round().astype(int))]


def _numbered(names: Iterable[object]) -> NDArray[np.intp]:
    places: dict[object, int] = {}
    return np.array([places.setdefault(name, len(places)) for name in names], dtype=np.intp)
