"""Recipes as columns of numbers: what the process model computes with. Between recipes and the model.

A category (alloy, chemical, ...) becomes its place in the list of those that the trials hold; one that no trial holds,
or one of very many, gets the place after the last, so that the model can answer for it from what the others share.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.recipe.names import canonical, is_ferric
from matcher.recipe.recipe import Coat, Recipe

UNSEEN_FERRIC = "another ferric salt"
"""The category of a ferric salt that no trial holds: nothing is known of it but what the trade knows of all."""
MOST_NAMES = 16
"""Names of one kind that are told apart: the time of a fit grows with the cube of their number, and a log of more has
few plates of each."""
Places = NDArray[np.intp]


@dataclass(frozen=True)
class Categories:
    """The names that the trials hold, each in its canonical form, the commonest first.

    Beyond ``MOST_NAMES`` the seldomer are one name together.
    """

    alloys: tuple[str, ...]
    surfaces: tuple[str, ...]
    undercoats: tuple[str, ...]
    chemicals: tuple[str, ...]
    applications: tuple[str, ...]
    seals: tuple[str, ...]

    def same_names(self, other: Categories) -> bool:
        """Tell whether two hold the same names, in whatever order."""
        return all(set(vars(self)[field]) == set(names) for field, names in vars(other).items())

    @classmethod
    def of(cls, recipes: Iterable[Recipe]) -> Categories:
        """Collect the names in recipes."""
        kept = list(recipes)
        return cls(
            _commonest(canonical(recipe.alloy) for recipe in kept),
            _commonest(canonical(recipe.surface) for recipe in kept),
            _commonest(canonical(recipe.undercoat.chemical) for recipe in kept if recipe.undercoat is not None),
            (*_commonest(canonical(coat.chemical) for recipe in kept for coat in recipe.coats), UNSEEN_FERRIC),
            _commonest(canonical(coat.application) for recipe in kept for coat in recipe.coats),
            _commonest(canonical(recipe.seal.kind) for recipe in kept if recipe.seal is not None),
        )


@dataclass(frozen=True, eq=False)
class Columns:
    """n recipes with at most m coats each, m ≥ 1. Places are −1 where there is none.

    alloy, surface, undercoat, seal: (n,) places. base_strength, burnish, seal_coats: (n,). chemical, application:
    (n, m) places. strength, passes, temp_c: (n, m). when: (n, k) of a drift (``drift``) at the day of making, or (n, 0)
    for today.
    """

    alloy: Places
    surface: Places
    undercoat: Places
    base_strength: Floats
    burnish: Floats
    chemical: Places
    application: Places
    strength: Floats
    passes: Floats
    temp_c: Floats
    seal: Places
    seal_coats: Floats
    when: Floats

    def __len__(self) -> int:
        return len(self.alloy)

    def rows(self, keep: NDArray[np.intp] | NDArray[np.bool_] | slice) -> Columns:
        """Return some of the recipes."""
        return Columns(*(column[keep] for column in vars(self).values()))

    def followed_by(self, other: Columns) -> Columns:
        """Return these recipes and then others, with room for the most coats of either."""
        most = max(self.chemical.shape[1], other.chemical.shape[1])
        times = max(self.when.shape[1], other.when.shape[1])
        ours, theirs = vars(self._with_room(most, times)), vars(other._with_room(most, times))
        return Columns(*(np.concatenate([ours[name], theirs[name]]) for name in ours))

    def _with_room(self, most: int, times: int) -> Columns:
        wide = {}
        for name, column in vars(self).items():
            room = times if name == "when" else most
            if column.ndim == 2 and column.shape[1] < room:
                fill = {"chemical": -1, "application": -1, "temp_c": 100.0}.get(name, 0)
                column = np.pad(column, ((0, 0), (0, room - column.shape[1])), constant_values=fill)
            wide[name] = column
        return Columns(**wide)


@dataclass(frozen=True, eq=False)
class CoatColumns:
    """The coats of n stacks, at most m each: the (n, m) columns of ``Columns``."""

    chemical: Places
    application: Places
    strength: Floats
    passes: Floats
    temp_c: Floats


def coat_columns(stacks: Sequence[Sequence[Coat]], categories: Categories) -> CoatColumns:
    """Lay out stacks of coats (n ≥ 1). A coat that stands in many stacks is looked at once."""
    most = max(1, max(len(stack) for stack in stacks))
    distinct: dict[int, int] = {}  # by identity: comparing coats takes longer than laying them out
    coats: list[Coat] = []
    which = np.full((len(stacks), most), -1)
    for i, stack in enumerate(stacks):
        for j, coat in enumerate(stack):
            place = distinct.setdefault(id(coat), len(coats))
            if place == len(coats):
                coats.append(coat)
            which[i, j] = place
    chemicals, applications = _places(categories.chemicals), _places(categories.applications)
    ferric, other = chemicals[UNSEEN_FERRIC], len(chemicals)

    def column(values: Iterable[float], none: float) -> Floats:
        return np.array([*values, none], dtype=float)[which]

    def places(values: Iterable[int]) -> Places:
        return np.array([*values, -1])[which]

    return CoatColumns(
        places(
            chemicals.get(canonical(coat.chemical), ferric if is_ferric(coat.chemical) else other) for coat in coats
        ),
        places(applications.get(canonical(coat.application), len(applications)) for coat in coats),
        column((coat.strength for coat in coats), 0.0),
        column((coat.passes for coat in coats), 0.0),
        column((coat.surface_temp_c for coat in coats), 100.0),
    )


def columns_of(recipes: Sequence[Recipe], categories: Categories) -> Columns:
    """Lay out recipes (n ≥ 1) as columns."""
    coats = coat_columns([recipe.coats for recipe in recipes], categories)
    places = {name: _places(known) for name, known in vars(categories).items()}
    under = [recipe.undercoat for recipe in recipes]
    seals = [recipe.seal for recipe in recipes]
    alloys, surfaces, bases, kinds = (places[name] for name in ("alloys", "surfaces", "undercoats", "seals"))
    return Columns(
        alloy=np.array([alloys.get(canonical(recipe.alloy), len(alloys)) for recipe in recipes]),
        surface=np.array([surfaces.get(canonical(recipe.surface), len(surfaces)) for recipe in recipes]),
        undercoat=np.array([-1 if u is None else bases.get(canonical(u.chemical), len(bases)) for u in under]),
        base_strength=np.array([0.0 if u is None else u.strength for u in under]),
        burnish=np.array([0.0 if u is None else u.burnish for u in under]),
        **vars(coats),
        seal=np.array([-1 if seal is None else kinds.get(canonical(seal.kind), len(kinds)) for seal in seals]),
        seal_coats=np.array([0.0 if seal is None else float(seal.coats) for seal in seals]),
        when=np.zeros((len(recipes), 0)),
    )


def _commonest(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(name for name, _ in Counter(names).most_common(MOST_NAMES))


def _places(names: Sequence[str]) -> dict[str, int]:
    return {name: place for place, name in enumerate(names)}
