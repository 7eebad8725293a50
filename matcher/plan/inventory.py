"""What a studio's recipes show that it has: alloys, chemicals, strengths, heats. Beside the limits, which narrow it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from matcher.recipe.recipe import Recipe


@dataclass(frozen=True)
class Means:
    """Names with the most used first, steps in rising order.

    chemicals: of coats. strengths: of coats, and undercoat_strengths: of undercoats, as fractions of stock.
    temps_c: surface temperatures, °C. most_passes: of any coat, 0 when there is none.
    """

    alloys: tuple[str, ...]
    chemicals: tuple[str, ...]
    undercoats: tuple[str, ...]
    strengths: tuple[float, ...]
    undercoat_strengths: tuple[float, ...]
    temps_c: tuple[float, ...]
    most_passes: int

    @property
    def all_chemicals(self) -> tuple[str, ...]:
        """Those of coats and of undercoats, each once."""
        return tuple(dict.fromkeys((*self.chemicals, *self.undercoats)))


def means_of(recipes: Iterable[Recipe]) -> Means:
    """Return what the recipes show that there is."""
    alloys: Counter[str] = Counter()
    chemicals: Counter[str] = Counter()
    undercoats: Counter[str] = Counter()
    strengths, undercoat_strengths, temps, passes = set(), set(), set(), {0}
    for recipe in recipes:
        alloys[recipe.alloy] += 1
        if recipe.undercoat is not None:
            undercoats[recipe.undercoat.chemical] += 1
            undercoat_strengths.add(recipe.undercoat.strength)
        for coat in recipe.coats:
            chemicals[coat.chemical] += 1
            strengths.add(coat.strength)
            temps.add(coat.surface_temp_c)
            passes.add(coat.passes)
    return Means(
        _by_use(alloys),
        _by_use(chemicals),
        _by_use(undercoats),
        tuple(sorted(strengths)),
        tuple(sorted(undercoat_strengths)),
        tuple(sorted(temps)),
        max(passes),
    )


def one_alloy(recipes: Iterable[Recipe]) -> str | None:
    """Return the alloy that all recipes are on, None when they differ or there are none."""
    alloys = {recipe.alloy for recipe in recipes}
    return alloys.pop() if len(alloys) == 1 else None


def _by_use(counted: Counter[str]) -> tuple[str, ...]:
    return tuple(name for name, _ in counted.most_common())
