"""What a label must say of a chemical: hazard statements by strength, signal word, precautions; and how long it keeps.

The wording is the Globally Harmonized System's own; which of it holds is from memory (`hazards.toml`), so every answer
defers to the supplier's safety data sheet.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from matcher.errors import StudioError
from matcher.recipe.cautions import Caution, known_chemical
from matcher.words import counted

FILE = Path(__file__).with_name("hazards.toml")
USUAL_FEW = 6
"""Precautionary statements on a label (from memory: Regulation (EC) No 1272/2008, article 28: not more than six)."""
COMMON = "Common practice, no source."


@dataclass(frozen=True)
class Statement:
    """One statement of the Globally Harmonized System: its code ("H314", "P280"), and its wording."""

    code: str
    text: str

    def as_dict(self) -> dict[str, str]:
        return {"code": self.code, "text": self.text}


@dataclass(frozen=True)
class Hazards:
    """What is said of a chemical as it is.

    Attributes
    ----------
    chemical : str
        As it was asked for.
    grams_per_litre : float or None
        Of the solution; None for the salt or the acid as it is bought.
    known : bool
        Whether it is in the list; where not, nothing is said that could be taken for "harmless".
    signal : str
        "Danger", "Warning" or "".
    statements : tuple of Statement
        The hazards.
    precautions : tuple of Statement
        All that they ask for, the most urgent first; a label has room for the first ``USUAL_FEW``.
    source, defer : str
        Where it is from, and what decides.
    """

    chemical: str
    grams_per_litre: float | None
    known: bool
    signal: str
    statements: tuple[Statement, ...]
    precautions: tuple[Statement, ...]
    source: str
    defer: str

    @property
    def sentence(self) -> str:
        """Say in one sentence what there is to say, where there are no statements."""
        if not self.known:
            return f"Nothing is known here of {self.chemical}: copy the label from its safety data sheet."
        if not self.statements:
            return "No hazard statement at this strength by the usual limits."
        return " ".join(f"{statement.text}." for statement in self.statements)

    def as_dict(self) -> dict[str, Any]:
        return {
            "chemical": self.chemical,
            "grams_per_litre": self.grams_per_litre,
            "known": self.known,
            "signal_word": self.signal,
            "statements": [statement.as_dict() for statement in self.statements],
            "precautions": [statement.as_dict() for statement in self.precautions],
            "source": self.source,
            "defer": self.defer,
        }


@dataclass(frozen=True)
class _Chemical:
    bought: tuple[str, ...]
    bought_signal: str | None
    bands: tuple[tuple[float, tuple[str, ...]], ...]
    keeping_days: int | None
    keeping: str


@dataclass(frozen=True)
class HazardBook:
    """All that `hazards.toml` says."""

    statements: Mapping[str, str]
    precautions: tuple[tuple[Statement, frozenset[str]], ...]
    signals: Mapping[str, frozenset[str]]
    chemicals: Mapping[str, _Chemical]
    source: str
    defer: str


def hazards_of(chemical: str, grams_per_litre: float | None = None, book: HazardBook | None = None) -> Hazards:
    """Return what is said of a chemical: of its solution, or, without grams per litre, as it is bought.

    Parameters
    ----------
    chemical : str
        By any of its names.
    grams_per_litre : float or None
        Of the solution in hand: the stock's for a bottle, strength × the stock's for what is mixed from it. Limits of
        concentration are shares of mass; 10 g/L is taken as 1 %, which says rather too much than too little.
    book : HazardBook or None
        None is what travels with the package.

    Returns
    -------
    Hazards
        With ``known`` False for a chemical that is not in the list.
    """
    book = book if book is not None else shipped_hazards()
    listed = book.chemicals.get(known_chemical(chemical) or "")
    if listed is None:
        return Hazards(chemical, grams_per_litre, False, "", (), (), book.source, book.defer)
    codes = listed.bought if grams_per_litre is None else _band(listed, grams_per_litre)
    signal = next((word for word, of in book.signals.items() if of & set(codes)), "")
    if grams_per_litre is None:
        signal = listed.bought_signal or signal
    statements = tuple(Statement(code, book.statements[code]) for code in codes)
    precautions = tuple(statement for statement, of in book.precautions if of & set(codes))
    return Hazards(chemical, grams_per_litre, True, signal, statements, precautions, book.source, book.defer)


def keeping_of(chemical: str, book: HazardBook | None = None) -> str:
    """Return what the trade says of keeping a chemical's solution, "" when it says nothing."""
    book = book if book is not None else shipped_hazards()
    listed = book.chemicals.get(known_chemical(chemical) or "")
    return "" if listed is None else listed.keeping


def age_days(made_at: datetime, at: datetime) -> int:
    """Return how many whole days old a solution is."""
    return max(0, (at - made_at).days)


def age_in_words(days: int) -> str:
    """Say an age as the shelf does: in days, weeks, months or years.

    >>> age_in_words(0), age_in_words(9), age_in_words(20), age_in_words(200), age_in_words(800)
    ('made today', '9 days old', '2 weeks old', '6 months old', '2 years old')
    """
    if days == 0:
        return "made today"
    for most, length, noun in ((14, 1, "day"), (70, 7, "week"), (730, 30.4, "month")):
        if days < most:
            return f"{counted(int(days / length), noun)} old"
    return f"{counted(int(days / 365.25), 'year')} old"


def age_caution(chemical: str, made_at: datetime, at: datetime, book: HazardBook | None = None) -> Caution | None:
    """Return a caution for a solution that is older than the trade lets it grow, None for one that is not."""
    book = book if book is not None else shipped_hazards()
    listed = book.chemicals.get(known_chemical(chemical) or "")
    days = age_days(made_at, at)
    if listed is None or listed.keeping_days is None or days <= listed.keeping_days:
        return None
    return Caution("old_solution", f"This {chemical} is {age_in_words(days)}. {listed.keeping}", COMMON)


def _band(listed: _Chemical, grams_per_litre: float) -> tuple[str, ...]:
    return next(codes for begins, codes in reversed(listed.bands) if grams_per_litre >= begins)


@lru_cache(maxsize=1)
def shipped_hazards() -> HazardBook:
    """Return the hazards that travel with the package."""
    return read_hazards(FILE)


def read_hazards(file: Path) -> HazardBook:
    """Read a file of hazards. Raises StudioError when it cannot be used."""
    try:
        data = tomllib.loads(file.read_text(encoding="utf-8"))
        statements = dict(data["statements"])
        precautions = tuple(
            (Statement(item["code"], item["text"]), frozenset(item["of"])) for item in data["precautions"]
        )
        signals = {word: frozenset(of) for word, of in data["signals"].items()}
        chemicals = {name: _chemical(name, item, statements) for name, item in data["chemicals"].items()}
        return HazardBook(statements, precautions, signals, chemicals, data["source"], data["defer"])
    except (OSError, KeyError, TypeError, ValueError, AttributeError) as error:
        raise StudioError(f"The hazards in {file} cannot be read ({error!r}): install this program again.") from error


def _chemical(name: str, item: Mapping[str, Any], statements: Mapping[str, str]) -> _Chemical:
    if known_chemical(name) != name:
        raise ValueError(f"{name!r} is not a chemical of the cautions")
    bought = tuple(item["solid"] if "solid" in item else item["neat"])
    bands = tuple((float(band["from_g_per_l"]), tuple(band["of"])) for band in item["bands"])
    begins = [begin for begin, _ in bands]
    if begins[:1] != [0.0] or begins != sorted(set(begins)):
        raise ValueError(f"the bands of {name!r} do not rise from 0")
    if unknown := {*bought, *(code for _, codes in bands for code in codes)} - set(statements):
        raise ValueError(f"no statement {sorted(unknown)[0]!r}")
    return _Chemical(bought, item.get("solid_signal"), bands, item.get("keeping_days"), item.get("keeping", ""))
