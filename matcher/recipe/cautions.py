"""What can hurt someone in a recipe, and what is usually said of it: shown beside every suggestion and bench sheet.

The facts and their sources are data in `cautions.toml`, by family of chemical and by step of the work. Every list ends
by deferring to local codes, safety data sheets and licensed practice.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from matcher.errors import StudioError
from matcher.recipe.names import FILE, each_once, is_ferric, key, names_of
from matcher.recipe.recipe import Coat, Recipe, chemicals_of
from matcher.words import capital, listed

SKATES_OFF_ABOVE_C = 130.0
"""Well above the some 104 °C at which water flashes off with a hiss; drops then skate (common practice, no source)."""

ACIDIC = "acidic"
"""In a pair: every chemical of a family that is."""

WARM_FROM_C = 45.0
"""Metal that burns a hand that rests on it (from memory: ISO 13732-1 gives 51 °C for one minute on bare metal)."""


@dataclass(frozen=True)
class Caution:
    """One caution: a code that stays the same, one or two plain sentences, and where its facts come from."""

    code: str
    message: str
    source: str

    def as_dict(self) -> dict[str, str]:
        return {"code": self.code, "message": self.message, "source": self.source}


@dataclass(frozen=True)
class Family:
    """What chemicals of one kind have in common; acidic: sets gas free from a polysulphide.

    laid: how its solutions are laid on hot metal by themselves, as "coat" or "undercoat"; None where they are not.
    """

    name: str
    acidic: bool
    oxidiser: bool
    cautions: tuple[Caution, ...]
    laid: str | None = None


@dataclass(frozen=True)
class Pair:
    """Chemicals that must not meet. ones, others: names of chemicals or families, or "acidic"."""

    caution: Caution
    ones: frozenset[str]
    others: frozenset[str]


@dataclass(frozen=True)
class CautionBook:
    """All that `cautions.toml` says. names: chemical by every name for it, as ``key`` makes them alike."""

    names: Mapping[str, str]
    family_of: Mapping[str, Family]
    steps: Mapping[str, Caution]
    pairs: tuple[Pair, ...] = ()

    def chemical(self, name: str) -> str | None:
        """Return the name under which a chemical is listed, or None."""
        return self.names.get(key(name))

    def laid(self, name: str) -> str | None:
        """Return how a chemical is laid on hot metal by itself: "coat", "undercoat", or None where it is not known."""
        chemical = self.chemical(name)
        return None if chemical is None else self.family_of[chemical].laid

    def is_among(self, chemical: str, side: frozenset[str]) -> bool:
        """Tell whether a listed chemical belongs to one side of a pair."""
        family = self.family_of[chemical]
        return bool({chemical, family.name} & side) or (family.acidic and ACIDIC in side)


def cautions_for(recipe: Recipe, book: CautionBook | None = None) -> tuple[Caution, ...]:
    """Return the cautions for everything that ``recipe`` asks for, the gravest first, the deferral last."""
    return cautions_for_all([recipe], book)


def cautions_for_all(recipes: Sequence[Recipe], book: CautionBook | None = None) -> tuple[Caution, ...]:
    """Return the cautions for a day on which all of these are made: their solutions stand beside each other."""
    book = book if book is not None else shipped_book()
    used = each_once(name for recipe in recipes for name in chemicals_of(recipe))
    steps = [caution for recipe in recipes for caution in _of_steps(recipe, book)]
    found = [*_of_mixing(used, book), *_of_chemicals(used, book), *steps, book.steps["defer"]]
    return tuple(dict.fromkeys(found))


def known_chemical(name: str, book: CautionBook | None = None) -> str | None:
    """Return the name under which a chemical is listed, or None when nothing is known of it."""
    return (book if book is not None else shipped_book()).chemical(name)


@lru_cache(maxsize=1)
def shipped_book() -> CautionBook:
    """Return the cautions that travel with the package."""
    return read_book(FILE)


def read_book(file: Path) -> CautionBook:
    """Read a file of cautions. Raises StudioError when it cannot be used."""
    try:
        data = tomllib.loads(file.read_text(encoding="utf-8"))
        families = {name: _family(name, item) for name, item in data["families"].items()}
        names = {key(alias): name for name, alias in names_of(data["chemicals"])}
        family_of = {name: families[item["family"]] for name, item in data["chemicals"].items()}
        steps = {code: Caution(code, item["message"], item["source"]) for code, item in data["steps"].items()}
        pairs = tuple(_pair(item, {*family_of, *families, ACIDIC}) for item in data.get("pairs", ()))
        return CautionBook(names, family_of, steps, pairs)
    except (OSError, KeyError, TypeError, ValueError, AttributeError) as error:
        raise StudioError(f"The cautions in {file} cannot be read ({error!r}): install this program again.") from error


def _family(name: str, item: Mapping[str, Any]) -> Family:
    cautions = tuple(Caution(entry["code"], entry["message"], entry["source"]) for entry in item["cautions"])
    laid = item.get("laid")
    if laid not in (None, "coat", "undercoat"):
        raise ValueError(f"{laid!r} is no way of laying")
    return Family(name, item["acidic"], item["oxidiser"], cautions, laid)


def _pair(item: Mapping[str, Any], known: set[str]) -> Pair:
    ones, others = frozenset(item["ones"]), frozenset(item["others"])
    if unknown := (ones | others) - known:
        raise ValueError(f"no chemical or family {sorted(unknown)[0]!r}")
    return Pair(Caution(item["code"], item["message"], item["source"]), ones, others)


def what_must_not_meet(chemicals: Sequence[str], book: CautionBook | None = None) -> tuple[Caution, ...]:
    """Return what is said of chemicals that must not meet: in one recipe, in one bottle, on one shelf; () for none."""
    book = book if book is not None else shipped_book()
    return tuple(_of_mixing(each_once(chemicals), book))


def _of_mixing(used: Sequence[str], book: CautionBook) -> Iterator[Caution]:
    """What must not meet: on the metal, in a bucket, in a drain."""
    listed_as = {name: known for name in used if (known := book.chemical(name))}
    for pair in book.pairs:
        ones, others = (
            [name for name, known in listed_as.items() if book.is_among(known, side)]
            for side in (pair.ones, pair.others)
        )
        if ones and others:
            yield _filled(pair.caution, ones=listed(ones), others=listed(others))


def _of_chemicals(used: Sequence[str], book: CautionBook) -> Iterator[Caution]:
    for name in used:
        known = book.chemical(name)
        if known is None:
            yield _filled(book.steps["unknown"], chemical=name)
            continue
        family = book.family_of[known]
        for caution in family.cautions:
            yield _filled(caution, chemical=name, Chemical=capital(name))
        if is_ferric(known):
            yield _filled(book.steps["iron_salt"], chemical=name)
        if family.oxidiser:
            yield _filled(book.steps["oxidiser"], chemical=name)


def _of_steps(recipe: Recipe, book: CautionBook) -> Iterator[Caution]:
    chemicals = [book.chemical(name) for name in chemicals_of(recipe)]
    if any(known is None or book.family_of[known].acidic for known in chemicals):
        yield book.steps["dilution"]
    heated = [
        coat for coat in recipe.coats if coat.surface_temp_c is None or coat.surface_temp_c >= WARM_FROM_C
    ]  # not noted: as if hot
    if heated or (recipe.seal is not None and recipe.seal.hot):
        yield book.steps["torch"]
    yield from _of_great_heat(recipe.coats, book)
    if recipe.seal is not None:
        yield from _of_seal(recipe, book)
    if chemicals:
        yield book.steps["rinse_water"]


def _of_great_heat(coats: tuple[Coat, ...], book: CautionBook) -> Iterator[Caution]:
    hottest = max((coat.surface_temp_c for coat in coats if coat.surface_temp_c is not None), default=0.0)
    if hottest > SKATES_OFF_ABOVE_C:
        yield _filled(book.steps["over_hot"], temp=hottest)


def _of_seal(recipe: Recipe, book: CautionBook) -> Iterator[Caution]:
    seal = recipe.seal
    if seal is None:
        return
    kind = seal.kind.casefold()
    if "wax" in kind:
        yield book.steps["hot_wax" if seal.hot else "wax"]
    else:  # a lacquer, or something not known: the stricter words
        yield book.steps["lacquer"]


def _filled(caution: Caution, **words: object) -> Caution:
    return Caution(caution.code, caution.message.format(**words), caution.source)
