"""What the studio can do today: recipes outside these limits are not suggested."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from matcher.recipe.names import canonical, same
from matcher.recipe.recipe import SURFACE_TEMP_RANGE_C, Recipe, chemicals_of, strength_in_words
from matcher.words import counted, listed

LIFTED: tuple[tuple[str, Any, str], ...] = (
    ("alloy", None, "Any alloy"),
    ("excluded", frozenset(), "Using the chemicals left out"),
    ("stock", None, "Using chemicals that are not in stock"),
    ("strengths", None, "Mixing to other strengths"),
    ("surface_temp_c", None, "Other surface temperatures"),
    ("max_passes", None, "More passes"),
)
"""Each bound, the value at which it does not bind, and what lifting it means."""


@dataclass(frozen=True)
class Limits:
    """Bounds on the recipes suggested; a bound left None does not bind.

    Parameters
    ----------
    alloy
        Only recipes on this alloy.
    max_passes
        At most so many passes of every coat.
    surface_temp_c
        Least and most surface temperature of every coat, °C.
    excluded
        Chemicals that are not to be used today, by any of their names.
    stock
        The only chemicals there are, by any of their names.
    strengths
        The only strengths that coats are mixed to, as fractions of stock.

    Examples
    --------
    >>> from matcher import Coat, Limits, Recipe
    >>> limits = Limits(max_passes=4, excluded=frozenset({"cupric nitrate"}))
    >>> limits.allow(Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 6, 105.0),)))
    False
    >>> limits.in_words()
    'at most 4 passes; without cupric nitrate'
    """

    alloy: str | None = None
    max_passes: int | None = None
    surface_temp_c: tuple[float, float] | None = None
    excluded: frozenset[str] = frozenset()
    stock: frozenset[str] | None = None
    strengths: tuple[float, ...] | None = None

    def allow(self, recipe: Recipe) -> bool:
        """Tell whether a recipe is known to keep within the limits: what nobody noted is within none."""
        if self.alloy is not None and not same(recipe.alloy, self.alloy):
            return False
        return all(map(self.allow_chemical, chemicals_of(recipe))) and all(
            self._allows_passes(coat.passes) and self._allows_temp(coat.surface_temp_c) and self._allows(coat.strength)
            for coat in recipe.coats
        )

    def allow_chemical(self, name: str) -> bool:
        """Tell whether a chemical may be used, by any of its names."""
        plain = canonical(name)
        if any(canonical(other) == plain for other in self.excluded):
            return False
        return self.stock is None or any(canonical(other) == plain for other in self.stock)

    def in_words(self) -> str:
        """Say what binds: "silicon bronze; at most 12 passes; without cupric nitrate"."""
        said = [] if self.alloy is None else [self.alloy]
        if self.max_passes is not None:
            said.append(f"at most {counted(self.max_passes, 'pass')}")
        if self.surface_temp_c is not None:
            said.append(_heat_in_words(*self.surface_temp_c))
        if self.strengths is not None:
            said.append(f"coats at {listed([strength_in_words(one) for one in self.strengths], 'or')}")
        if self.stock is not None:
            said.append(f"only {listed(sorted(self.stock))}" if self.stock else "no chemicals")
        if self.excluded:
            said.append(f"without {listed(sorted(self.excluded), 'or')}")
        return "; ".join(said) or "everything in the log"

    def _allows_passes(self, passes: int | None) -> bool:
        return self.max_passes is None or (passes is not None and passes <= self.max_passes)

    def _allows_temp(self, temp_c: float | None) -> bool:
        if self.surface_temp_c is None:
            return True
        return temp_c is not None and self.surface_temp_c[0] <= temp_c <= self.surface_temp_c[1]

    def _allows(self, strength: float | None) -> bool:
        if self.strengths is None:
            return True
        return strength is not None and any(abs(strength - known) < 1e-6 for known in self.strengths)


def _heat_in_words(low: float, high: float) -> str:
    least, most = SURFACE_TEMP_RANGE_C
    if low <= least:
        return f"metal up to {high:g} °C"
    return f"metal from {low:g} °C" if high >= most else f"metal at {low:g} to {high:g} °C"


def way_out(limits: Limits, recipes: Sequence[Recipe]) -> str:
    """Say that no recipe is left within the limits, and which one of them, lifted, lets most recipes in again."""
    none = (
        "The one logged plate does not keep"
        if len(recipes) == 1
        else f"None of the {counted(len(recipes), 'logged plate')} keeps"
    )
    return f"{none} within today's limits ({limits.in_words()}). {which_to_lift(limits, recipes)}"


def which_to_lift(limits: Limits, recipes: Sequence[Recipe]) -> str:
    """Say which one of the limits, lifted, lets most recipes in again."""
    freed = [(sum(map(freer.allow, recipes)), words) for freer, words in each_lifted(limits)]
    most, words = max(freed, key=lambda item: item[0], default=(0, ""))
    if most == 0:
        return "Lifting one of them is not enough: lift several."
    return f"{words} would let {most} in again."


def each_lifted(limits: Limits) -> list[tuple[Limits, str]]:
    """Return the limits with each bound that binds taken away in turn, and what taking it away means."""
    return [(replace(limits, **{name: free}), words) for name, free, words in LIFTED if getattr(limits, name) != free]
