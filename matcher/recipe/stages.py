"""The stages of a plate at which it can be read: their names as the log keeps them, and what the names mean.

"bare" and "undercoat" come before any coat, "coat 1" when a further coat follows, "coat 1, pass 3" within it, "pass 3"
within the last coat; "cool" and "waxed" once the coats are on.
"""

from __future__ import annotations

from matcher.recipe.recipe import Recipe

_PASS, _COAT = "pass", "coat"
SEALED_STAGES = {"wax": "waxed", "lacquer": "lacquered"}
"""The stage of a reading taken after a seal, by its kind; "sealed" is whatever the recipe says."""


def stage_after(recipe: Recipe, passes: int) -> str:
    """Return the stage that a reading belongs to, taken after so many passes of the last coat."""
    if passes:
        return f"{_PASS} {passes}"
    if len(recipe.coats) > 1:
        return f"{_COAT} {len(recipe.coats) - 1}"
    return "bare" if recipe.undercoat is None else "undercoat"


def stage_at(recipe: Recipe, coat: int, passes: int) -> str:
    """Return the stage of a reading taken after so many passes of a coat, counted from 0; no passes: the ground.

    >>> from matcher.recipe.recipe import Coat
    >>> two = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 6, 105), Coat("cupric nitrate", 1, 2, 95)))
    >>> stage_at(two, 0, 3), stage_at(two, 0, 6), stage_at(two, 1, 2)
    ('coat 1, pass 3', 'coat 1', 'pass 2')
    """
    if not passes:
        return "bare" if recipe.undercoat is None else "undercoat"
    if coat >= len(recipe.coats) - 1:
        return f"{_PASS} {passes}"
    whole = f"{_COAT} {coat + 1}"
    whole_coat = recipe.coats[coat].passes
    return whole if whole_coat is not None and passes >= whole_coat else f"{whole}, {_PASS} {passes}"


def last_stage(recipe: Recipe) -> str | None:
    """Return the stage after the last pass of all; None where there is no coat, or nobody counted its passes."""
    passes = recipe.coats[-1].passes if recipe.coats else None
    return None if passes is None else stage_after(recipe, passes)


def passes_at(stage: str) -> int | None:
    """Return after how many passes of the last coat a stage is; None for one that no pass names."""
    return _number(stage, _PASS)


def is_on_the_way(stage: str) -> bool:
    """Tell whether a stage is within the coats: after a pass or after a coat that another follows."""
    whole, _, within = stage.partition(", ")
    if within:
        return _number(whole, _COAT) is not None and _number(within, _PASS) is not None
    return _number(stage, _PASS) is not None or _number(stage, _COAT) is not None


def _number(stage: str, kind: str) -> int | None:
    name, _, number = stage.partition(" ")
    return int(number) if name == kind and number.isdecimal() else None
