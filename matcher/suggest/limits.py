"""What the studio can do today: recipes outside these limits are not suggested."""

from __future__ import annotations

from dataclasses import dataclass

from matcher.recipe import Recipe


@dataclass(frozen=True)
class Limits:
    """Bounds on the recipes suggested; a bound left None does not bind.

    alloy: only recipes on this alloy. max_passes: for every coat. surface_temp_c: (least, most) °C for every coat.
    excluded: chemicals that are not to be used today, by name. stock: the only chemicals there are. strengths: the
    only strengths that coats are mixed to, fractions of stock.
    """

    alloy: str | None = None
    max_passes: int | None = None
    surface_temp_c: tuple[float, float] | None = None
    excluded: frozenset[str] = frozenset()
    stock: frozenset[str] | None = None
    strengths: tuple[float, ...] | None = None

    def allow(self, recipe: Recipe) -> bool:
        """Tell whether a recipe keeps within the limits."""
        chemicals = {coat.chemical for coat in recipe.coats}
        if recipe.undercoat is not None:
            chemicals.add(recipe.undercoat.chemical)
        if self.alloy is not None and recipe.alloy != self.alloy:
            return False
        if not chemicals.isdisjoint(self.excluded) or (self.stock is not None and not chemicals <= self.stock):
            return False
        return all(
            self._allows_passes(coat.passes) and self._allows_temp(coat.surface_temp_c) and self._allows(coat.strength)
            for coat in recipe.coats
        )

    def _allows_passes(self, passes: int) -> bool:
        return self.max_passes is None or passes <= self.max_passes

    def _allows_temp(self, temp_c: float) -> bool:
        return self.surface_temp_c is None or self.surface_temp_c[0] <= temp_c <= self.surface_temp_c[1]

    def _allows(self, strength: float) -> bool:
        return self.strengths is None or any(abs(strength - known) < 1e-6 for known in self.strengths)
