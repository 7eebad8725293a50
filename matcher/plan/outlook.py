"""What the process model expects of the recipes that could be made, for one target. Between model and planner.

All recipes get a quick look; those that may come near, and the best few of every kind of recipe (so that no undercoat
or chemical is overlooked because the model is wrong about it), are predicted with what the curve leaves over, and the
best of those with their covariance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from matcher.colour.difference import delta_e_2000, near_uniform, student_stretch
from matcher.colour.types import Floats
from matcher.colour.uncertainty import square_root
from matcher.plan.recipe_space import RecipeSpace
from matcher.process.design import Columns
from matcher.process.model import ProcessModel
from matcher.recipe.recipe import Recipe

NEAREST = 200
OF_EACH_KIND = 160
SCREENED = 3000
DRAWS_LOG2 = 8


@dataclass(frozen=True, eq=False)
class Outlook:
    """m recipes predicted for one target.

    labs: (m, 3). covariances: (m, 3, 3) of the recipe's own colour. draws: (m, k) of its ΔE00 to the target,
    heavy-tailed. kinds: (m,) a number for each pairing of undercoat and chemicals. considered: how many recipes there
    were.
    """

    recipes: tuple[Recipe, ...]
    labs: Floats
    covariances: Floats
    draws: Floats
    kinds: NDArray[np.intp]
    considered: int

    def __len__(self) -> int:
        return len(self.recipes)

    def without(self, drop: Sequence[bool]) -> Outlook:
        """Return the outlook without some recipes; all of it when none would be left."""
        keep = np.flatnonzero(~np.asarray(drop, dtype=bool))
        if not len(keep):
            return self
        return Outlook(
            tuple(self.recipes[k] for k in keep),
            self.labs[keep],
            self.covariances[keep],
            self.draws[keep],
            self.kinds[keep],
            self.considered,
        )


def look_ahead(
    model: ProcessModel, space: RecipeSpace, columns: Columns, places: Floats, target_lab: Floats, doubt: float = 1.0
) -> Outlook:
    """Return the outlook over a recipe space, laid out as ``columns``; ``doubt`` widens the draws.

    places: (n, 3) ``first_places`` of the columns, the same for every target.
    """
    kinds = space.groups
    away = np.linalg.norm(places - near_uniform(target_lab), axis=1)
    worth_a_look = _shortlist(away, kinds, SCREENED, SCREENED)
    distance = _distance(model.mean_lab(columns.rows(worth_a_look)), target_lab)
    rows = worth_a_look[_shortlist(distance, kinds[worth_a_look], NEAREST, OF_EACH_KIND)]
    labs, covariances = model.predict(columns.rows(rows))
    recipes = tuple(space.recipe(row) for row in rows)
    draws = draws_of(target_lab, labs, covariances * doubt**2, heavy=True)
    return Outlook(recipes, labs, covariances, draws, kinds[rows], len(space))


def first_places(model: ProcessModel, columns: Columns) -> Floats:
    """Return where a quick look puts each recipe (n, 3), in the space that nearly follows ΔE00."""
    return near_uniform(model.quick_lab(columns))


def outlook_on(model: ProcessModel, recipes: Sequence[Recipe], target_lab: Floats, doubt: float = 1.0) -> Outlook:
    """Return the outlook over given recipes, each a kind of its own."""
    labs, covariances = model.predict(model.columns(recipes))
    draws = draws_of(target_lab, labs, covariances * doubt**2, heavy=True)
    return Outlook(tuple(recipes), labs, covariances, draws, np.arange(len(recipes)), len(recipes))


def draws_of(target_lab: Floats, labs: Floats, covariances: Floats, heavy: bool = False) -> Floats:
    """Return ΔE00 (m, k) between an exact target (3,) and draws of colours (m, 3) with covariance (m, 3, 3).

    heavy: draw from Student's t of ``student_stretch`` with that scale, for a choice that must allow for a
    model learned from few trials being surer than it should.
    """
    normal, stretch = _standard_draws()
    draws = normal * stretch[:, None] if heavy else normal
    return delta_e_2000(target_lab, labs[:, None] + np.einsum("mij,kj->mki", square_root(covariances), draws))


def _distance(labs: Floats, target_lab: Floats) -> Floats:
    return np.asarray(np.linalg.norm(near_uniform(labs) - near_uniform(target_lab), axis=1))


def _shortlist(distance: Floats, kinds: NDArray[np.intp], many: int, of_kinds: int) -> NDArray[np.intp]:
    """Return the rows of the ``many`` nearest and, of every kind, of its nearest, ``of_kinds`` in all."""
    order = np.lexsort((distance, kinds))
    starts = np.flatnonzero(np.diff(kinds[order], prepend=-1))
    each = max(1, of_kinds // len(starts))
    place_in_kind = np.arange(len(order)) - np.repeat(starts, np.diff(np.append(starts, len(order))))
    of_kind = order[place_in_kind < each]
    if len(of_kind) > of_kinds:  # more kinds than may be looked at: those that come nearest
        of_kind = of_kind[np.argsort(distance[of_kind], kind="stable")[:of_kinds]]
    nearest = np.argsort(distance, kind="stable")[:many]
    return np.unique(np.concatenate([nearest, of_kind]))


@lru_cache(maxsize=1)
def _standard_draws() -> tuple[Floats, Floats]:
    """Return normal draws (k, 3) and the factors (k,) that make them Student's t."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    points = qmc.Sobol(4, scramble=True, rng=np.random.default_rng(20003)).random_base2(DRAWS_LOG2)
    return np.asarray(ndtri(points[:, :3])), student_stretch(points[:, 3])
