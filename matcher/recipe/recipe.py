"""What a patineur records of a finish: undercoat, coats, seal; and what makes a recipe valid.

Strength is always a fraction of the studio's stock solution (0.5 = half strength).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from matcher.errors import RecipeError
from matcher.recipe.fields import COAT, MAX_NAME, MAX_PASSES, METAL, SEAL, SURFACE_TEMP_RANGE_C, UNDERCOAT, Field
from matcher.recipe.names import canonical
from matcher.words import counted, percent

__all__ = [
    "MAX_NAME", "MAX_PASSES", "SURFACE_TEMP_RANGE_C", "Coat", "Recipe", "Seal", "Undercoat", "as_compared",
    "coat_in_words", "describe", "in_one_spelling", "seal_in_words", "steps_in_words", "strength_in_words",
    "undercoat_in_words",
]  # fmt: skip


def _check(value: object, fields: Iterable[Field]) -> None:
    """Put every field of a value right, or raise RecipeError."""
    for field in fields:
        object.__setattr__(value, field.name, field.checked(getattr(value, field.name)))


@dataclass(frozen=True)
class Undercoat:
    """A dark base laid before the coats.

    Parameters
    ----------
    chemical : str
        As typed; names that say the same are told by `matcher.recipe.names`.
    strength : float
        Fraction of the stock solution, above 0 up to 1.
    burnish : float
        How far it was rubbed back, from 0 (not) to 1 (bare high points).
    stock : str or None
        Label of the stock solution's lot, where the studio keeps one.

    Raises
    ------
    RecipeError
        For a value that cannot be.

    Examples
    --------
    >>> undercoat_in_words(Undercoat("liver of sulphur", 0.5, burnish=0.25))
    'liver of sulphur undercoat at half strength, burnished back 25 %'
    """

    chemical: str
    strength: float
    burnish: float = 0.0
    stock: str | None = None

    def __post_init__(self) -> None:
        _check(self, UNDERCOAT)


@dataclass(frozen=True)
class Coat:
    """One chemical laid on in passes over the heated metal.

    Parameters
    ----------
    chemical : str
        As typed.
    strength : float
        Fraction of the stock solution, above 0 up to 1.
    passes : int
        How often it went over the whole piece, 1 to 200.
    surface_temp_c : float
        Temperature of the metal's surface in °C, 0 to 400.
    application : str
        How it was put on: "fine mist", "brush", "stipple".
    stock : str or None
        Label of the stock solution's lot, where the studio keeps one.

    Raises
    ------
    RecipeError
        For a value that cannot be.

    Examples
    --------
    >>> coat = Coat("ferric nitrate", 0.5, 6, 105.0)
    >>> coat.dose, coat_in_words(coat)
    (3.0, 'ferric nitrate at half strength, 6 passes as fine mist at 105 °C')
    """

    chemical: str
    strength: float
    passes: int
    surface_temp_c: float
    application: str = "fine mist"
    stock: str | None = None

    def __post_init__(self) -> None:
        _check(self, COAT)

    @property
    def dose(self) -> float:
        """Strength × passes: how much of the stock went on."""
        return self.strength * self.passes


@dataclass(frozen=True)
class Seal:
    """What protects the finish.

    Parameters
    ----------
    kind : str
        "wax", "lacquer" or another, as typed.
    coats : int
        How many coats of it, 1 to 20.
    hot : bool
        Whether the first went on warm metal.

    Raises
    ------
    RecipeError
        For a value that cannot be.

    Examples
    --------
    >>> seal_in_words(Seal("wax", 3, hot=True))
    '3 coats of wax, the first hot'
    """

    kind: str
    coats: int = 1
    hot: bool = False

    def __post_init__(self) -> None:
        _check(self, SEAL)


@dataclass(frozen=True)
class Recipe:
    """All that is needed to make the finish again. No undercoat and no coats is the bare metal.

    Parameters
    ----------
    alloy : str
        As typed: "silicon bronze".
    undercoat : Undercoat or None
        What was laid before the coats.
    coats : tuple of Coat
        In the order in which they were laid.
    seal : Seal or None
        What went on last.
    surface : str
        How the metal was before: cleaned, and how bright.

    Raises
    ------
    RecipeError
        For a value that cannot be.

    Examples
    --------
    >>> recipe = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 6, 105.0),))
    >>> describe(recipe)
    'silicon bronze; ferric nitrate at half strength, 6 passes as fine mist at 105 °C; unsealed'
    >>> Recipe.from_dict(recipe.as_dict()) == recipe
    True
    """

    alloy: str
    undercoat: Undercoat | None = None
    coats: tuple[Coat, ...] = ()
    seal: Seal | None = None
    surface: str = "cleaned, bright"

    def __post_init__(self) -> None:
        _check(self, METAL)
        object.__setattr__(self, "coats", tuple(self.coats))
        if self.undercoat is not None and not isinstance(self.undercoat, Undercoat):
            raise RecipeError(f"Give the undercoat as an Undercoat or None: {self.undercoat!r} is neither.")
        if self.seal is not None and not isinstance(self.seal, Seal):
            raise RecipeError(f"Give the seal as a Seal or None: {self.seal!r} is neither.")
        for coat in self.coats:
            if not isinstance(coat, Coat):
                raise RecipeError(f"Give each coat as a Coat: {coat!r} is not one.")

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Recipe.from_dict`` takes them back."""
        return {
            "alloy": self.alloy,
            "surface": self.surface,
            "undercoat": None if self.undercoat is None else dict(vars(self.undercoat)),
            "coats": [dict(vars(coat)) for coat in self.coats],
            "seal": None if self.seal is None else dict(vars(self.seal)),
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> Recipe:
        """Take back what ``as_dict`` gave. Raises RecipeError for missing, unknown or invalid fields."""
        try:
            unknown = set(data) - {"alloy", "surface", "undercoat", "coats", "seal"}
            if unknown:
                raise TypeError(f"unknown {', '.join(sorted(unknown))}")
            undercoat, seal = data.get("undercoat"), data.get("seal")
            return cls(
                alloy=data["alloy"],
                surface=data.get("surface", cls.surface),
                undercoat=None if undercoat is None else Undercoat(**undercoat),
                coats=tuple(Coat(**coat) for coat in data.get("coats", ())),
                seal=None if seal is None else Seal(**seal),
            )
        except (TypeError, KeyError, AttributeError) as error:
            raise RecipeError(f"Check the recipe's fields against an exported recipe: {error}.") from error


def as_compared(recipe: Recipe) -> Recipe:
    """Return a recipe by its names' canonical forms and without bottles: equal for recipes of the same work."""
    under = None if recipe.undercoat is None else replace(recipe.undercoat, stock=None)
    coats = tuple(replace(coat, stock=None) for coat in recipe.coats)
    return _spelt(replace(recipe, undercoat=under, coats=coats), canonical)


def in_one_spelling(recipes: Iterable[Recipe]) -> list[Recipe]:
    """Return recipes in which each name is written as it first was among them."""
    first: dict[str, str] = {}
    return [_spelt(recipe, lambda name: first.setdefault(canonical(name), name)) for recipe in recipes]


def _spelt(recipe: Recipe, spell: Callable[[str], str]) -> Recipe:
    under, seal = recipe.undercoat, recipe.seal
    return Recipe(
        spell(recipe.alloy),
        None if under is None else replace(under, chemical=spell(under.chemical)),
        tuple(
            replace(coat, chemical=spell(coat.chemical), application=spell(coat.application)) for coat in recipe.coats
        ),
        None if seal is None else replace(seal, kind=spell(seal.kind)),
        spell(recipe.surface),
    )


def strength_in_words(strength: float) -> str:
    """Say a fraction of stock as the bench does: "half strength", else "0.35 of stock"."""
    words = {
        1.0: "full strength",
        0.75: "three-quarter strength",
        0.5: "half strength",
        0.25: "quarter strength",
    }
    return words.get(round(strength, 3), f"{strength:.2g} of stock")


def describe(recipe: Recipe) -> str:
    """Say a recipe in the trade's words in one line, in the order of the bench; `steps_in_words` has it in steps."""
    return "; ".join(steps_in_words(recipe))


def steps_in_words(recipe: Recipe) -> tuple[str, ...]:
    """Say a recipe in the trade's words, the metal first and then each step in the order of the bench."""
    steps = [recipe.alloy]
    if recipe.undercoat is not None:
        steps.append(undercoat_in_words(recipe.undercoat))
    steps += [coat_in_words(coat) for coat in recipe.coats]
    if recipe.undercoat is None and not recipe.coats:
        steps.append("bare metal")
    if recipe.seal is not None:
        steps.append(seal_in_words(recipe.seal))
    else:
        steps.append("unsealed")
    return tuple(steps)


def undercoat_in_words(under: Undercoat) -> str:
    """Say an undercoat as `describe` does."""
    back = f", burnished back {percent(under.burnish)}" if under.burnish else ", not burnished"
    return f"{under.chemical} undercoat at {strength_in_words(under.strength)}{back}"


def coat_in_words(coat: Coat) -> str:
    """Say a coat as `describe` does."""
    passes = counted(coat.passes, "pass")
    return (
        f"{coat.chemical} at {strength_in_words(coat.strength)}, {passes} as {coat.application} "
        f"at {coat.surface_temp_c:.0f} °C"
    )


def seal_in_words(seal: Seal) -> str:
    """Say a seal as `describe` does."""
    times = counted(seal.coats, "coat")
    return f"{times} of {seal.kind}, the first {'hot' if seal.hot else 'cold'}"
