"""What a patineur records of a finish: undercoat, coats, seal; and what makes a recipe valid.

Strength is always a fraction of the studio's stock solution (0.5 = half strength). A figure that nobody noted is None,
and is kept so: a plate's colour is known all the same. Whoever needs the figure asks for it (`need_all_noted`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, TypeAlias

from matcher.errors import RecipeError
from matcher.recipe.fields import COAT, MAX_NAME, MAX_PASSES, METAL, SEAL, SURFACE_TEMP_RANGE_C, UNDERCOAT, Field
from matcher.recipe.names import canonical, each_once
from matcher.words import counted, listed, percent

__all__ = [
    "MAX_NAME", "MAX_PASSES", "SURFACE_TEMP_RANGE_C", "Coat", "Recipe", "Seal", "Undercoat", "as_compared",
    "chemicals_of", "coat_in_words", "describe", "in_one_spelling", "need_all_noted", "not_noted", "not_noted_in_words",
    "passes_in_words", "seal_in_words", "steps_in_words", "strength_in_words", "undercoat_in_words",
]  # fmt: skip

MaybeNone: TypeAlias = Any
"""None where nobody noted it. The few who meet such recipes ask with `not_noted`; all others are given whole ones."""


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
    strength : float or None
        Fraction of the stock solution, above 0 up to 1.
    burnish : float or None
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
    strength: float | MaybeNone
    burnish: float | MaybeNone = 0.0
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
    strength : float or None
        Fraction of the stock solution, above 0 up to 1.
    passes : int or None
        How often it went over the whole piece, 1 to 200.
    surface_temp_c : float or None
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
    strength: float | MaybeNone
    passes: int | MaybeNone
    surface_temp_c: float | MaybeNone
    application: str = "fine mist"
    stock: str | None = None

    def __post_init__(self) -> None:
        _check(self, COAT)

    @property
    def dose(self) -> float | MaybeNone:
        """Strength × passes: how much of the stock went on. None where one of them was not noted."""
        return None if self.strength is None or self.passes is None else self.strength * self.passes


@dataclass(frozen=True)
class Seal:
    """What protects the finish.

    Parameters
    ----------
    kind : str
        "wax", "lacquer" or another, as typed.
    coats : int or None
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
    coats: int | MaybeNone = 1
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


def chemicals_of(recipe: Recipe) -> tuple[str, ...]:
    """Return the chemicals of a recipe as it names them, each once, in the order of the bench."""
    under = () if recipe.undercoat is None else (recipe.undercoat.chemical,)
    return each_once((*under, *(coat.chemical for coat in recipe.coats)))


def not_noted(recipe: Recipe) -> tuple[tuple[str, Field], ...]:
    """Return the figures of a recipe that nobody noted: the part ("Coat 2") and the field, in the order of the bench.

    >>> recipe = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 6, None),))
    >>> [(part, field.name) for part, field in not_noted(recipe)]
    [('Coat', 'surface_temp_c')]
    """
    many = len(recipe.coats) > 1
    parts: list[tuple[str, object, Iterable[Field]]] = [
        (UNDERCOAT.title, recipe.undercoat, UNDERCOAT),
        *((f"{COAT.title} {at}" if many else COAT.title, coat, COAT) for at, coat in enumerate(recipe.coats, start=1)),
        (SEAL.title, recipe.seal, SEAL),
    ]
    return tuple(
        (title, field)
        for title, part, fields in parts
        if part is not None
        for field in fields
        if field.unknown and getattr(part, field.name) is None
    )


def not_noted_in_words(recipe: Recipe, among: Collection[str] | None = None) -> str:
    """Say what nobody noted: "the passes and the surface temperature of coat 1"; empty when all is noted.

    among: the names of the fields that are asked about, None for all.
    """
    of: dict[str, list[str]] = {}
    for part, field in not_noted(recipe):
        if among is None or field.name in among:
            of.setdefault(part.lower(), []).append(f"the {field.title}")
    return listed([f"{listed(names)} of {'the ' if part[-1].isalpha() else ''}{part}" for part, names in of.items()])


def need_all_noted(recipe: Recipe, before: str, among: Collection[str] | None = None) -> None:
    """Raise RecipeError where a figure was not noted that is needed ``before`` ("the bench starts").

    among: the names of the fields that are needed, None for all.
    """
    if lacking := not_noted_in_words(recipe, among):
        raise RecipeError(f"Fill in {lacking} before {before}: nobody noted it.")


@lru_cache(maxsize=8192)
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


def strength_in_words(strength: float | MaybeNone) -> str:
    """Say a fraction of stock as the bench does: "half strength", else "0.35 of stock", or that nobody noted it."""
    if strength is None:
        return "a strength not noted"
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
    if under.burnish is None:
        return f"{under.chemical} undercoat at {strength_in_words(under.strength)}, burnish not noted"
    back = f", burnished back {percent(under.burnish)}" if under.burnish else ", not burnished"
    return f"{under.chemical} undercoat at {strength_in_words(under.strength)}{back}"


def passes_in_words(coat: Coat) -> str:
    """Say how often a coat went on: "6 passes", or that nobody noted it."""
    return "passes not noted" if coat.passes is None else counted(coat.passes, "pass")


def coat_in_words(coat: Coat) -> str:
    """Say a coat as `describe` does."""
    passes = passes_in_words(coat) + ("," if coat.passes is None else "")
    heat = "a temperature not noted" if coat.surface_temp_c is None else f"{coat.surface_temp_c:.0f} °C"
    return f"{coat.chemical} at {strength_in_words(coat.strength)}, {passes} as {coat.application} at {heat}"


def seal_in_words(seal: Seal) -> str:
    """Say a seal as `describe` does."""
    times = "coats (how many not noted)" if seal.coats is None else counted(seal.coats, "coat")
    return f"{times} of {seal.kind}, the first {'hot' if seal.hot else 'cold'}"
