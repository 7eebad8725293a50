"""What a studio's recipes show that it has: alloys, chemicals, strengths, heats. Beside the limits, which narrow it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from matcher.plan.limits import Limits
from matcher.recipe.names import canonical, each_once
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
        return each_once((*self.chemicals, *self.undercoats))


@dataclass(frozen=True)
class AtHand:
    """Chemicals that a studio has whatever its plates show, as undercoats and as coats, named as it names them.

    Examples
    --------
    >>> from matcher import AtHand, Coat, Recipe
    >>> made = [Recipe("tin bronze", coats=(Coat("ferric nitrate", 0.5, 4, 105.0),))]
    >>> AtHand(coats=("iron(III) nitrate", "silver nitrate")).untried(made).names
    ('silver nitrate',)
    """

    undercoats: tuple[str, ...] = ()
    coats: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """All of them, each once."""
        return each_once((*self.undercoats, *self.coats))

    def untried(self, recipes: Iterable[Recipe]) -> AtHand:
        """Return those that none of the recipes has, neither as an undercoat nor as a coat."""
        known = {canonical(name) for name in means_of(recipes).all_chemicals}
        under, coats = (
            tuple(name for name in each_once(names) if canonical(name) not in known)
            for names in (self.undercoats, self.coats)
        )
        return AtHand(under, coats)

    def within(self, limits: Limits) -> AtHand:
        """Return those that may be used today."""
        under, coats = (
            tuple(name for name in names if limits.allow_chemical(name)) for names in (self.undercoats, self.coats)
        )
        return AtHand(under, coats)


NOTHING_MORE = AtHand()


def means_of(recipes: Iterable[Recipe]) -> Means:
    """Return what the recipes show that there is."""
    alloys, chemicals, undercoats = _Used(), _Used(), _Used()
    strengths: set[Any] = set()
    undercoat_strengths: set[Any] = set()
    temps: set[Any] = set()
    passes: set[Any] = {0}
    for recipe in recipes:
        alloys.add(recipe.alloy)
        if recipe.undercoat is not None:
            undercoats.add(recipe.undercoat.chemical)
            undercoat_strengths.add(recipe.undercoat.strength)
        for coat in recipe.coats:
            chemicals.add(coat.chemical)
            strengths.add(coat.strength)
            temps.add(coat.surface_temp_c)
            passes.add(coat.passes)
    for noted in (undercoat_strengths, strengths, temps, passes):
        noted.discard(None)  # of a plate that nobody noted it of
    return Means(
        alloys.by_use(),
        chemicals.by_use(),
        undercoats.by_use(),
        tuple(sorted(strengths)),
        tuple(sorted(undercoat_strengths)),
        tuple(sorted(temps)),
        max(passes),
    )


def one_alloy(recipes: Iterable[Recipe]) -> str | None:
    """Return the alloy that all recipes are on, None when they differ or there are none."""
    alloys = each_once(recipe.alloy for recipe in recipes)
    return alloys[0] if len(alloys) == 1 else None


class _Used:
    """Counts names by what they name, and remembers how each was first typed."""

    def __init__(self) -> None:
        self.counted: Counter[str] = Counter()
        self.typed: dict[str, str] = {}

    def add(self, name: str) -> None:
        plain = canonical(name)
        self.counted[plain] += 1
        self.typed.setdefault(plain, name)

    def by_use(self) -> tuple[str, ...]:
        """Return the names as typed, the most used first."""
        return tuple(self.typed[plain] for plain, _ in self.counted.most_common())
