"""The steps in which a recipe is carried out at the bench: undercoat, wash, burnish, each coat, seal. Before `work`.

What is said of a step stands in `wording`; what can hurt someone at it, here, from the cautions of the recipe.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from matcher.recipe.cautions import Caution, cautions_for
from matcher.recipe.recipe import Recipe

UNDERCOAT, WASH, BURNISH, COAT, SEAL = "undercoat", "wash", "burnish", "coat", "seal"
_WHERE_THEY_MEET = "sulphide_meets_acid"
_AT_THE_SINK = (_WHERE_THEY_MEET, "rinse_water")


@dataclass(frozen=True)
class Step:
    """One step. coat: which coat, from 0, or None. planned: how often it is done: passes of a coat, coats of a seal."""

    kind: str
    planned: int = 1
    coat: int | None = None

    @property
    def counted(self) -> bool:
        """Tell whether the step is done several times, each of which is counted."""
        return self.kind in (COAT, SEAL)


def steps_of(recipe: Recipe) -> tuple[Step, ...]:
    """Return the steps of a recipe in the order of the bench; one that nobody counted has a count of 0.

    >>> from matcher.recipe.recipe import Coat, Seal, Undercoat
    >>> under, coat = Undercoat("liver of sulphur", 0.5, burnish=0.25), Coat("ferric nitrate", 0.5, 6, 105.0)
    >>> [step.kind for step in steps_of(Recipe("silicon bronze", under, (coat,), Seal("wax", 3)))]
    ['undercoat', 'wash', 'burnish', 'coat', 'seal']
    """
    steps = []
    if recipe.undercoat is not None:
        steps += [Step(UNDERCOAT), Step(WASH)]
        if recipe.undercoat.burnish != 0:
            steps.append(Step(BURNISH))
    steps += [Step(COAT, coat.passes or 0, place) for place, coat in enumerate(recipe.coats)]
    if recipe.seal is not None:
        steps.append(Step(SEAL, recipe.seal.coats or 0))
    return tuple(steps)


def cautions_at(recipe: Recipe, step: Step) -> tuple[Caution, ...]:
    """Return the cautions for one step of a recipe, the gravest first, the deferral last."""
    whole = cautions_for(recipe)
    met = tuple(caution for caution in whole if caution.code == _WHERE_THEY_MEET)
    bare = replace(recipe, undercoat=None, coats=(), seal=None)
    if step.kind in (WASH, BURNISH):
        here = tuple(caution for caution in whole if caution.code in _AT_THE_SINK)
        return (*here, *cautions_for(bare))
    if step.kind == UNDERCOAT:
        return cautions_for(replace(bare, undercoat=recipe.undercoat))
    if step.kind == SEAL:
        return cautions_for(replace(bare, seal=recipe.seal))
    return (*met, *cautions_for(replace(bare, coats=(recipe.coats[step.coat or 0],))))
