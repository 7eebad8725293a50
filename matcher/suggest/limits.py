"""What the studio can do today: recipes outside these limits are not suggested."""

from __future__ import annotations

from dataclasses import dataclass

from matcher.recipe import Recipe


@dataclass(frozen=True)
class Limits:
    """Bounds on the recipes suggested; a bound left None does not bind.

    alloy: only recipes on this alloy. surface_temp_c: (least, most) °C for every coat. excluded: chemicals that
    are not to be used today, by name.
    """

    alloy: str | None = None
    max_passes: int | None = None
    surface_temp_c: tuple[float, float] | None = None
    excluded: frozenset[str] = frozenset()

    def allow(self, recipe: Recipe) -> bool:
        """Tell whether a recipe keeps within the limits."""
        chemicals = {coat.chemical for coat in recipe.coats}
        if recipe.undercoat is not None:
            chemicals.add(recipe.undercoat.chemical)
        if self.alloy is not None and recipe.alloy != self.alloy:
            return False
        if not chemicals.isdisjoint(self.excluded):
            return False
        if self.max_passes is not None and any(coat.passes > self.max_passes for coat in recipe.coats):
            return False
        if self.surface_temp_c is None:
            return True
        low, high = self.surface_temp_c
        return all(low <= coat.surface_temp_c <= high for coat in recipe.coats)
