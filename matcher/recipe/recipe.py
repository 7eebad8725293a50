"""What a patineur records of a finish: undercoat, coats, seal; and what makes a recipe valid.

Strength is always a fraction of the studio's stock solution (0.5 = half strength).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from matcher.errors import RecipeError
from matcher.recipe.names import canonical
from matcher.words import counted, percent

MAX_PASSES = 200
MAX_NAME = 200
SURFACE_TEMP_RANGE_C = (0.0, 400.0)


def _text(value: object, what: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise RecipeError(f"Give the {what} a name: {value!r} is empty.")
    text = " ".join(value.split())
    if len(text) > MAX_NAME or not text.isprintable():
        raise RecipeError(f"Write the {what} in at most {MAX_NAME} plain characters: {text[:40]!r} is not that.")
    return text


def _stock(value: object) -> str | None:
    return None if value is None or value == "" else _text(value, "stock's label")


def _whole(value: object, what: str, low: int, high: int) -> int:
    number = _number(value, what, low, high)
    if number != int(number):
        raise RecipeError(f"Give the {what} as a whole number: {value!r} is not one.")
    return int(number)


def _number(value: object, what: str, low: float, high: float, unit: str = "") -> float:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if isinstance(value, bool) or not math.isfinite(number) or not low <= number <= high:
        raise RecipeError(f"Give the {what} as a number from {low:g} to {high:g}{unit}: {value!r} is not one.")
    return number


def _strength(value: object, what: str) -> float:
    strength = _number(value, what, 0.0, 1.0, " (1 is the stock as it is, 0.5 half strength)")
    if strength == 0.0:
        raise RecipeError(f"Give the {what} more than 0: at 0 there is only water in the bottle.")
    return strength


@dataclass(frozen=True)
class Undercoat:
    """A dark base laid before the coats.

    strength: fraction of stock, above 0 up to 1. burnish: how far it was rubbed back, 0 (not) to 1 (bare high
    points). stock: label of the stock solution's lot, where the studio keeps one.
    """

    chemical: str
    strength: float
    burnish: float = 0.0
    stock: str | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "chemical", _text(self.chemical, "undercoat's chemical"))
        object.__setattr__(self, "strength", _strength(self.strength, "undercoat's strength"))
        object.__setattr__(self, "burnish", _number(self.burnish, "burnish", 0.0, 1.0))
        object.__setattr__(self, "stock", _stock(self.stock))


@dataclass(frozen=True)
class Coat:
    """One chemical laid on in passes over the heated metal.

    strength: fraction of stock, above 0 up to 1. surface_temp_c: the metal's surface, in °C.
    """

    chemical: str
    strength: float
    passes: int
    surface_temp_c: float
    application: str = "fine mist"
    stock: str | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "chemical", _text(self.chemical, "coat's chemical"))
        object.__setattr__(self, "strength", _strength(self.strength, "coat's strength"))
        object.__setattr__(self, "passes", _whole(self.passes, "number of passes", 1, MAX_PASSES))
        low, high = SURFACE_TEMP_RANGE_C
        temp = _number(self.surface_temp_c, "surface temperature", low, high, " °C")
        object.__setattr__(self, "surface_temp_c", temp)
        object.__setattr__(self, "application", _text(self.application, "way of application"))
        object.__setattr__(self, "stock", _stock(self.stock))

    @property
    def dose(self) -> float:
        """Strength × passes: how much of the stock went on."""
        return self.strength * self.passes


@dataclass(frozen=True)
class Seal:
    """What protects the finish: "wax" or "lacquer", how many coats, the first on hot or on cold metal."""

    kind: str
    coats: int = 1
    hot: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", _text(self.kind, "seal"))
        object.__setattr__(self, "coats", _whole(self.coats, "number of seal coats", 1, 20))
        if self.hot not in (True, False):
            raise RecipeError(f"Say with True or False if the first seal coat went on hot: {self.hot!r} is neither.")
        object.__setattr__(self, "hot", bool(self.hot))


@dataclass(frozen=True)
class Recipe:
    """All that is needed to make the finish again. No undercoat and no coats is the bare metal."""

    alloy: str
    undercoat: Undercoat | None = None
    coats: tuple[Coat, ...] = ()
    seal: Seal | None = None
    surface: str = "cleaned, bright"

    def __post_init__(self) -> None:
        object.__setattr__(self, "alloy", _text(self.alloy, "alloy"))
        object.__setattr__(self, "surface", _text(self.surface, "surface"))
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
