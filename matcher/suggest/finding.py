"""Plates found among many: by colour, by what was done and who did it, by words; laid out by colour, likeness or date.

Everything is looked up once when a `Finder` is made of the log; a search then asks no database. What it says it found
is facts: the page and the command line make the sentences.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.colour.cielab import checked_lab
from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.colour.words_for_colours import (
    COLOUR_WORDS,
    FAMILIES,
    SHADES,
    colour_family,
    colour_in_words,
    colour_shade,
)
from matcher.dates import SHORT, local, shown
from matcher.errors import SuggestionError
from matcher.recipe.names import canonical
from matcher.recipe.recipe import describe

if TYPE_CHECKING:
    from matcher.trials.trial import Trial

Order = Literal["newest", "oldest", "colour", "likeness"]
ORDERS: tuple[Order, ...] = ("newest", "oldest", "colour", "likeness")
Facet = Literal["shade", "chemical", "undercoat", "alloy", "seal", "maker", "season", "year", "target"]
FACETS: tuple[Facet, ...] = ("shade", "chemical", "undercoat", "alloy", "seal", "maker", "season", "year", "target")

NONE = "none"
"""What a plate without coats, an undercoat, a seal, a maker or a target has of it."""

SEASONS = ("December to February", "March to May", "June to August", "September to November")
"""Named by their months, since a workshop may lie on either half of the earth."""

Rows = NDArray[np.bool_]


@dataclass(frozen=True)
class Wanted:
    """What is looked for. Of each kind, one of several is enough; of words, all must be there.

    words: to be found in a plate's row: its number and mark, recipe, date, maker, notes, target, colour. colours: in
    plain words, each "dark green" or "brown": all words of one must be among those that the plate is called by. chosen:
    values of the facets, as ``Finder.choices`` gives them. set_aside: whether plates that no longer count are wanted
    too.
    """

    words: str = ""
    colours: tuple[str, ...] = ()
    chosen: tuple[tuple[Facet, tuple[str, ...]], ...] = ()
    set_aside: bool = False


@dataclass(frozen=True, eq=False)
class Found:
    """What was found, in order.

    delta_e00: (n,) how far each is from what it should be like; None where nothing was named. groups: headings with
    how many plates stand under each, in order: shades for "colour", years for "newest" and "oldest", none for
    "likeness".
    """

    trials: tuple[Trial, ...]
    delta_e00: Floats | None = None
    groups: tuple[tuple[str, int], ...] = ()


class Finder:
    """The plates of a log, ready to be searched.

    Parameters
    ----------
    trials : sequence of Trial
        Those that count and those set aside, oldest first.
    target_names : mapping of int to str
        What each target is called, by its number.
    """

    def __init__(self, trials: Sequence[Trial], target_names: Mapping[int, str] | None = None) -> None:
        self.trials = tuple(trials)
        self.target_names = dict(target_names or {})
        self.labs: Floats = np.array([trial.reading.lab for trial in self.trials], dtype=float).reshape(-1, 3)
        self._counts = np.array([trial.set_aside is None for trial in self.trials], dtype=bool)
        self._called = [colour_in_words(lab) for lab in self.labs]
        self._shades = [colour_shade(lab) for lab in self.labs]

    def find(self, wanted: Wanted = Wanted(), order: Order = "newest", like: ArrayLike | None = None) -> Found:
        """Return the plates that are wanted, in order.

        Parameters
        ----------
        wanted : Wanted
            What they must have.
        order : {"newest", "oldest", "colour", "likeness"}
            "colour" goes by shade, from the neutral ones round the hues, and in each from dark to light.
        like : array_like, shape (3,), optional
            CIELAB under D50 that "likeness" goes by, the nearest first (CIEDE2000, ISO/CIE 11664-6); plates that are
            equally near by number.

        Raises
        ------
        SuggestionError
            A colour that has no such name here, a facet's value that no plate has, or "likeness" to nothing.
        ReadingError
            ``like`` is no colour.
        """
        rows = np.flatnonzero(self._wanted(wanted))
        delta = None if like is None else delta_e_2000(checked_lab(like), self.labs[rows])
        if order == "likeness":
            if delta is None:
                raise SuggestionError("Name the plate or the colour that they should be like.")
            by = np.lexsort((rows, delta))
        elif order == "colour":
            by = np.lexsort((rows, self.labs[rows, 0], self._shade_places[rows]))
        else:
            by = np.lexsort((rows, self._moments[rows]))
            by = by[::-1] if order == "newest" else by
        rows = rows[by]
        headings = {"colour": self._shades, "newest": self._years, "oldest": self._years}.get(order)
        return Found(
            trials=tuple(self.trials[row] for row in rows),
            delta_e00=None if delta is None else np.asarray(delta[by]),
            groups=() if headings is None else _grouped([headings[row] for row in rows]),
        )

    def choices(self, facet: Facet, wanted: Wanted = Wanted()) -> tuple[tuple[str, int], ...]:
        """Return the values of a facet with how many plates each would leave, of those wanted but for this facet.

        The values that are chosen are among them, whatever they leave; else those that leave none are not. Shades,
        seasons and years in their own order, the others by how often they occur. Raises SuggestionError.
        """
        others = replace(wanted, chosen=tuple((name, values) for name, values in wanted.chosen if name != facet))
        rows = self._wanted(others)
        kept = {value for name, values in wanted.chosen if name == facet for value in values}
        counted = [(value, int((has & rows).sum())) for value, has in self._has[facet].items()]
        shown_ones = [(value, count) for value, count in counted if count or value in kept]
        if facet in ("shade", "season", "year"):
            return tuple(shown_ones)
        return tuple(sorted(shown_ones, key=lambda item: (-item[1], item[0])))

    def _wanted(self, wanted: Wanted) -> Rows:
        rows = np.ones(len(self.trials), dtype=bool) if wanted.set_aside else self._counts.copy()
        for facet, values in wanted.chosen:
            if values:
                rows &= np.logical_or.reduce([self._rows_of(facet, value) for value in values])
        if wanted.colours:
            asked = [_colour_words(colour) for colour in wanted.colours]
            fits = {said: any(colour <= set(said.split()) for colour in asked) for said in set(self._sayings)}
            rows &= np.fromiter((fits[said] for said in self._sayings), bool, len(self.trials))
        for word in wanted.words.casefold().split():
            rows &= np.fromiter((word in text for text in self._texts), bool, len(self.trials))
        return rows

    def _rows_of(self, facet: Facet, value: str) -> Rows:
        try:
            return self._has[facet][value]
        except KeyError:
            raise SuggestionError(f"No plate has {value!r} as its {facet}: choose another.") from None

    @cached_property
    def _has(self) -> dict[Facet, dict[str, Rows]]:
        """Which plates (n,) have each value of each facet."""
        of: dict[Facet, list[tuple[str, ...]]] = {facet: [] for facet in FACETS}
        for trial, shade, year in zip(self.trials, self._shades, self._years, strict=True):
            for facet, values in self._values(trial, shade, year).items():
                of[facet].append(values)
        has = {facet: _rows_by_value(values) for facet, values in of.items()}
        for facet, known in (("shade", SHADES), ("season", SEASONS)):
            has[facet] = {value: has[facet][value] for value in known if value in has[facet]}
        has["year"] = dict(sorted(has["year"].items(), reverse=True))
        return has

    def _values(self, trial: Trial, shade: str, year: str) -> dict[Facet, tuple[str, ...]]:
        recipe = trial.recipe
        target = self.target_names.get(trial.target_id) if trial.target_id is not None else None
        return {
            "shade": (shade,),
            "chemical": tuple(dict.fromkeys(canonical(coat.chemical) for coat in recipe.coats)) or (NONE,),
            "undercoat": (NONE if recipe.undercoat is None else canonical(recipe.undercoat.chemical),),
            "alloy": (canonical(recipe.alloy),),
            "seal": (NONE if recipe.seal is None else canonical(recipe.seal.kind),),
            "maker": (trial.made_by or NONE,),
            "season": (SEASONS[local(trial.made_at).month % 12 // 3],),
            "year": (year,),
            "target": (target or NONE,),
        }

    @cached_property
    def _years(self) -> list[str]:
        return [str(local(trial.made_at).year) for trial in self.trials]

    @cached_property
    def _moments(self) -> Floats:
        return np.array([trial.made_at.timestamp() for trial in self.trials], dtype=float)

    @cached_property
    def _shade_places(self) -> NDArray[np.intp]:
        place = {shade: number for number, shade in enumerate(SHADES)}
        return np.array([place[shade] for shade in self._shades], dtype=np.intp)

    @cached_property
    def _sayings(self) -> list[str]:
        """All that each plate's colour may be called by."""
        return [
            f"{colour_family(lab)} {shade} {called}"
            for lab, shade, called in zip(self.labs, self._shades, self._called, strict=True)
        ]

    @cached_property
    def _texts(self) -> list[str]:
        """What stands in each plate's row, folded."""
        return [
            " ".join(
                (
                    f"plate {trial.id}",
                    describe(trial.recipe),
                    trial.piece,
                    trial.made_by,
                    shown(trial.made_at, SHORT),
                    trial.notes,
                    trial.set_aside or "",
                    self.target_names.get(trial.target_id or 0, ""),
                    called,
                )
            ).casefold()
            for trial, called in zip(self.trials, self._called, strict=True)
        ]


def _colour_words(colour: str) -> set[str]:
    """Return the words of a colour that is asked for. Raises SuggestionError for one that none is called by."""
    words = {{"gray": "grey", "grayish": "greyish"}.get(word, word) for word in colour.casefold().split()}
    if not words or not words <= COLOUR_WORDS:
        raise SuggestionError(
            f"No plate is called {colour.strip()!r}: name a colour as {', '.join(FAMILIES[:-1])} or {FAMILIES[-1]}, "
            'with "dark", "light" or "greyish" before it if you like.'
        )
    return words


def _rows_by_value(values: Sequence[tuple[str, ...]]) -> dict[str, Rows]:
    """Return which rows (n,) have each value, given the values of each row."""
    rows: dict[str, list[int]] = {}
    for row, own in enumerate(values):
        for value in own:
            rows.setdefault(value, []).append(row)
    found = {}
    for value, own_rows in rows.items():
        found[value] = np.zeros(len(values), dtype=bool)
        found[value][own_rows] = True
    return found


def _grouped(headings: Sequence[str]) -> tuple[tuple[str, int], ...]:
    """Return each heading with how many times it follows itself."""
    groups: list[tuple[str, int]] = []
    for heading in headings:
        if groups and groups[-1][0] == heading:
            groups[-1] = (heading, groups[-1][1] + 1)
        else:
            groups.append((heading, 1))
    return tuple(groups)
