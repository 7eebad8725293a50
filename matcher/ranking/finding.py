"""Plates found among many: by colour, by what was done and who did it, by words; laid out by colour, likeness or date.

Everything is looked up once when a `Finder` is made of plates; a search then asks no database. A log too long for that
is searched by `long_log`, which asks the same of its plates portion by portion. What is found is facts: the page and
the command line make the sentences.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal, Protocol

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
from matcher.ranking.made_for import Job, MadeFor
from matcher.recipe.names import canonical
from matcher.recipe.recipe import describe

if TYPE_CHECKING:
    from matcher.trials.trial import Trial

Order = Literal["newest", "oldest", "colour", "likeness", "number"]
ORDERS: tuple[Order, ...] = ("newest", "oldest", "colour", "likeness")
"""Those that people lay plates out by."""
UNDER_HEADINGS = ("newest", "oldest", "colour")
Facet = Literal["shade", "chemical", "undercoat", "alloy", "seal", "maker", "season", "year", "commission", "target"]
FACETS: tuple[Facet, ...] = (
    "shade", "chemical", "undercoat", "alloy", "seal", "maker", "season", "year", "commission", "target",
)  # fmt: skip

NONE = "none"
"""What a plate without coats, an undercoat, a seal, a maker, a commission or a target has of it."""

SEASONS = ("December to February", "March to May", "June to August", "September to November")
"""Named by their months, since a workshop may lie on either half of the earth."""

Rows = NDArray[np.bool_]


@dataclass(frozen=True)
class Wanted:
    """What is looked for. Of each kind, one of several is enough; of words, all must be there.

    words: to be found in a plate's row: its number and mark, recipe, date, maker, notes, target, colour, and the
    commission that it was made for: title, client, area. colours: in plain words, each "dark green" or "brown": all
    words of one must be among those that the plate is called by. chosen: values of the facets, as ``Finder.choices``
    gives them. set_aside: whether plates that no longer count are wanted too.
    """

    words: str = ""
    colours: tuple[str, ...] = ()
    chosen: tuple[tuple[Facet, tuple[str, ...]], ...] = ()
    set_aside: bool = False


ANY = Wanted()


@dataclass(frozen=True)
class Group:
    """A heading over plates. first: the place of the first of them. count: how many there are in all, if counted."""

    heading: str
    first: int
    count: int | None


@dataclass(frozen=True, eq=False)
class Found:
    """What was found, in order.

    delta_e00: (n,) how far each is from what it should be like; None where nothing was named. groups: headings, in
    order: shades for "colour", years for "newest" and "oldest", none else. total: how many there are in all,
    None where a long log was not searched to its end. looked_through: how many plates were looked at, where the search
    of a long log was halted before it had found as many as were asked for; None else.
    """

    trials: tuple[Trial, ...]
    delta_e00: Floats | None = None
    groups: tuple[Group, ...] = ()
    total: int | None = None
    looked_through: int | None = None

    @property
    def left(self) -> bool:
        """Whether there are, or may be, more."""
        return self.total is None or self.total > len(self.trials)


class Finds(Protocol):
    """What searches a log, short or long. count: how many plates it has, those set aside too."""

    @property
    def count(self) -> int: ...

    def plates(self, numbers: Sequence[int]) -> list[Trial]:
        """Return plates by their numbers, in this order; those that are not there are left out."""
        ...

    def find(
        self,
        wanted: Wanted = ...,
        order: Order = ...,
        like: ArrayLike | None = None,
        most: int | None = None,
        looks: int | None = 1,
    ) -> Found:
        """Return the plates that are wanted, in order; most: the first so many. See ``Finder.find``.

        looks: how many times a long log is gone on with where few plates are found; None until enough are.
        """
        ...

    def choices(self, facet: Facet, wanted: Wanted = ...) -> tuple[tuple[str, int | None], ...]:
        """Return the values of a facet with how many plates each would leave, None where that is not counted."""
        ...


class Finder:
    """The plates of a log, ready to be searched.

    Parameters
    ----------
    trials : sequence of Trial
        Those that count and those set aside, oldest first.
    target_names : mapping of int to str
        What each target is called, by its number.
    made_for : MadeFor
        The commissions that plates were made for.
    """

    def __init__(
        self, trials: Sequence[Trial], target_names: Mapping[int, str] | None = None, made_for: MadeFor | None = None
    ) -> None:
        self.trials = tuple(trials)
        self.target_names = dict(target_names or {})
        self.made_for = made_for or MadeFor()
        self.labs: Floats = np.array([trial.reading.lab for trial in self.trials], dtype=float).reshape(-1, 3)
        self._counts = np.array([trial.set_aside is None for trial in self.trials], dtype=bool)
        self._called = [colour_in_words(lab) for lab in self.labs]
        self._shades = [colour_shade(lab) for lab in self.labs]

    @property
    def count(self) -> int:
        return len(self.trials)

    def plates(self, numbers: Sequence[int]) -> list[Trial]:
        """Return plates by their numbers, in this order; those that are not there are left out."""
        return [self._by_number[number] for number in numbers if number in self._by_number]

    def find(
        self,
        wanted: Wanted = ANY,
        order: Order = "newest",
        like: ArrayLike | None = None,
        most: int | None = None,
        looks: int | None = 1,
    ) -> Found:
        """Return the plates that are wanted, in order.

        Parameters
        ----------
        wanted : Wanted
            What they must have.
        order : {"newest", "oldest", "colour", "likeness", "number"}
            "colour" goes by shade, from the neutral ones round the hues, and in each from dark to light.
        like : array_like, shape (3,), optional
            CIELAB under D50 that "likeness" goes by, the nearest first (CIEDE2000, ISO/CIE 11664-6); plates that are
            equally near by number.
        most : int, optional
            The first so many; None for all.
        looks : int, optional
            Of a long log alone: here every plate is looked at.

        Raises
        ------
        SuggestionError
            A colour that has no such name here, a facet's value that no plate has, "likeness" to nothing, or ``most``
            below 1.
        ReadingError
            ``like`` is no colour.
        """
        self._check(wanted, most)
        rows = np.flatnonzero(self.rows(wanted))
        delta = None if like is None else delta_e_2000(checked_lab(like), self.labs[rows])
        if order == "likeness":
            if delta is None:
                raise SuggestionError("Name the plate or the colour that they should be like.")
            by = np.lexsort((rows, delta))
        elif order == "colour":
            by = np.lexsort((rows, self.labs[rows, 0], self._shade_places[rows]))
        elif order == "number":
            by = np.arange(len(rows))
        else:
            by = np.lexsort((rows, self._moments[rows]))
            by = by[::-1] if order == "newest" else by
        rows, total = rows[by], len(rows)
        headings = self.headings(order)
        return Found(
            trials=tuple(self.trials[row] for row in rows[:most]),
            delta_e00=None if delta is None else np.asarray(delta[by][:most]),
            groups=() if order not in UNDER_HEADINGS else grouped([headings[row] for row in rows]),
            total=total,
        )

    def choices(self, facet: Facet, wanted: Wanted = ANY) -> tuple[tuple[str, int], ...]:
        """Return the values of a facet with how many plates each would leave, of those wanted but for this facet.

        The values that are chosen are among them, whatever they leave; else those that leave none are not. Shades,
        seasons and years in their own order, the others by how often they occur. Raises SuggestionError.
        """
        others = replace(wanted, chosen=tuple((name, values) for name, values in wanted.chosen if name != facet))
        self._check(others)
        rows = self.rows(others)
        kept = {value for name, values in wanted.chosen if name == facet for value in values}
        counted = [(value, int((has & rows).sum())) for value, has in self._has[facet].items()]
        shown_ones = [(value, count) for value, count in counted if count or value in kept]
        if facet in ("shade", "season", "year"):
            return tuple(shown_ones)
        return tuple(sorted(shown_ones, key=lambda item: (-item[1], item[0])))

    def headings(self, order: Order) -> list[str]:
        """Return what each plate (n,) stands under in an order: its shade, or its year."""
        return self._shades if order == "colour" else self._years

    def rows(self, wanted: Wanted) -> Rows:
        """Tell of each plate (n,) whether it is wanted. Raises SuggestionError for a colour that has no such name."""
        rows = np.ones(len(self.trials), dtype=bool) if wanted.set_aside else self._counts.copy()
        for facet, values in wanted.chosen:
            if values:
                rows &= np.logical_or.reduce([self._rows_of(facet, value) for value in values])
        if wanted.colours:
            rows &= are_called(self._sayings, wanted.colours)
        for word in wanted.words.casefold().split():
            rows &= np.fromiter((word in text for text in self._texts), bool, len(self.trials))
        return rows

    def _rows_of(self, facet: Facet, value: str) -> Rows:
        found = self._has[facet].get(value)
        return np.zeros(len(self.trials), dtype=bool) if found is None else found

    def _check(self, wanted: Wanted, most: int | None = None) -> None:
        check_search(wanted, most, lambda facet: self._has[facet])

    @cached_property
    def _by_number(self) -> dict[int | None, Trial]:
        return {trial.id: trial for trial in self.trials}

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
            "commission": tuple(dict.fromkeys(job.commission for job in self._jobs(trial))) or (NONE,),
            "target": (target or NONE,),
        }

    def _jobs(self, trial: Trial) -> tuple[Job, ...]:
        return self.made_for.jobs(trial.id, trial.target_id)

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
            _saying(lab, shade, called)
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
                    self._for(trial),
                    called,
                )
            ).casefold()
            for trial, called in zip(self.trials, self._called, strict=True)
        ]

    def _for(self, trial: Trial) -> str:
        """Return what a plate was made for as the page names it, "Title, area: target", and who asked for it."""
        target = self.target_names.get(trial.target_id or 0, "")
        jobs = self._jobs(trial)
        return " ".join(f"{job.commission}, {job.area}: {target} {job.client}" for job in jobs) if jobs else target


def all_called(lab: Floats) -> str:
    """Return all that a CIELAB colour (3,) may be called by."""
    return _saying(lab, colour_shade(lab), colour_in_words(lab))


def _saying(lab: Floats, shade: str, called: str) -> str:
    return f"{colour_family(lab)} {shade} {called}"


def are_called(sayings: Sequence[str], colours: Sequence[str]) -> Rows:
    """Tell of each saying (n,) whether it holds all words of one of the colours asked for. Raises SuggestionError."""
    asked = [_colour_words(colour) for colour in colours]
    fits = {said: any(colour <= set(said.split()) for colour in asked) for said in set(sayings)}
    return np.fromiter((fits[said] for said in sayings), bool, len(sayings))


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


def check_search(wanted: Wanted, most: int | None, known: Callable[[Facet], Container[str]]) -> None:
    """Raise SuggestionError for fewer plates than one, and when a facet's value is none that the log knows."""
    if most is not None and most < 1:
        raise SuggestionError(f"Ask for one plate or more: {most} is not that.")
    for facet, values in wanted.chosen:
        for value in values:
            if value not in known(facet):
                raise SuggestionError(f"No plate has {value!r} as its {facet}: choose another.")


def grouped(headings: Sequence[str], counted: bool = True) -> tuple[Group, ...]:
    """Return each heading once for all the places where it follows itself."""
    firsts = [place for place, heading in enumerate(headings) if place == 0 or headings[place - 1] != heading]
    ends = [*firsts[1:], len(headings)] if firsts else []
    return tuple(
        Group(headings[first], first, end - first if counted else None) for first, end in zip(firsts, ends, strict=True)
    )
