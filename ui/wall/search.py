"""What is looked for on the wall, as the address says it: so it survives opening a plate, the way back and a reload."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, Literal

import streamlit as st

from matcher.errors import MatcherError
from matcher.ranking.finding import FACETS, ORDERS, Facet, Found, Order, Wanted
from matcher.typed import numbers, whole_number
from ui.photograph.lay_beside import TO_TAG

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from matcher.ranking.finding import Finds
    from matcher.tags.given import TagLookedFor

View = Literal["wall", "list"]
VIEWS: tuple[View, ...] = ("wall", "list")
MOST_PICKED = 4
MOST_LOOKED_UP = 20
"""Numbers in an address of which no more than the picked ones should be plates."""
_BESIDE = ("plate", "logged", "piece", "target", TO_TAG)
"""What the address holds beside a search."""


@dataclass(frozen=True)
class Search:
    """words, chosen, set_aside: see ``Wanted``. like: a plate's number, or L*, a*, b*, as typed. picked: numbers of
    plates to be seen beside each other.
    """

    words: str = ""
    chosen: Mapping[Facet, tuple[str, ...]] = field(default_factory=dict)
    set_aside: bool = False
    order: Order = "colour"
    like: str = ""
    view: View = "wall"
    picked: tuple[int, ...] = ()

    @property
    def wanted(self) -> Wanted:
        return Wanted(self.words, (), tuple(self.chosen.items()), self.set_aside)

    def as_query(self) -> dict[str, list[str]]:
        """Return what the address says of it: what is as it always is, is left out."""
        query: dict[str, list[str]] = {facet: list(values) for facet, values in self.chosen.items() if values}
        said = {
            "words": self.words,
            "order": "" if self.order == "colour" else self.order,
            "like": self.like,
            "view": "" if self.view == "wall" else self.view,
            "aside": "1" if self.set_aside else "",
        }
        picked = {"pick": [str(plate) for plate in self.picked]} if self.picked else {}
        return {**query, **{name: [value] for name, value in said.items() if value}, **picked}

    def with_pick(self, plate: int) -> Search:
        """Return the search with a plate picked, or no longer picked; of too many, the first makes room."""
        if plate in self.picked:
            return replace(self, picked=tuple(other for other in self.picked if other != plate))
        return replace(self, picked=(*self.picked, plate)[-MOST_PICKED:])


def in_address(finder: Finds) -> Search:
    """Return the search that the address holds; what no plate has, and what is no search, is passed over."""
    asked = st.query_params
    chosen: dict[Facet, tuple[str, ...]] = {}
    for facet in FACETS:
        if values := asked.get_all(facet) if facet != "target" else asked.get_all("for"):
            known = {value for value, _ in finder.choices(facet, Wanted(set_aside=True))}
            chosen[facet] = tuple(value for value in values if value in known)
    order, view = asked.get("order", "colour"), asked.get("view", "wall")
    named = dict.fromkeys(plate for plate in map(whole_number, asked.get_all("pick")) if plate is not None)
    picked = [trial.id or 0 for trial in finder.plates(list(named)[:MOST_LOOKED_UP])]
    return Search(
        words=asked.get("words", ""),
        chosen={facet: values for facet, values in chosen.items() if values},
        set_aside=asked.get("aside") == "1",
        order=next((known for known in ORDERS if known == order), "colour"),
        like=asked.get("like", ""),
        view=next((known for known in VIEWS if known == view), "wall"),
        picked=tuple(picked[:MOST_PICKED]),
    )


def to_address(search: Search) -> None:
    """Put a search into the address; what else stands there stays."""
    query = search.as_query()
    if "target" in query:
        query["for"] = query.pop("target")
    kept = {name: st.query_params.get_all(name) for name in _BESIDE if name in st.query_params}
    now = {name: st.query_params.get_all(name) for name in st.query_params}
    if now != {**kept, **query}:
        st.query_params.from_dict({**kept, **query})


def found_by(finder: Finds, search: Search, most: int, looks: int) -> tuple[Found, str]:
    """Return the first ``most`` found, and a sentence when they are not in the order that was asked for."""
    find = partial(finder.find, search.wanted, most=most, looks=looks)
    if search.order != "likeness":
        return find(search.order), ""
    lab = lab_of(search.like, finder)
    if lab is None:
        said = "Type a plate's number, or L*, a*, b*, that the plates should be like: “88”, or “36.2, 17.1, 28.8”."
        return find("colour"), said
    try:
        return find("likeness", lab), ""
    except MatcherError as error:
        return find("colour"), str(error)


def by_tag(finder: Finds, looked: TagLookedFor) -> Found:
    """Return the plate that carries a tag, set aside or not; none where it is on none."""
    trials = tuple(finder.plates([] if looked.trial_id is None else [looked.trial_id]))
    return Found(trials, total=len(trials))


def lab_of(like: str, finder: Finds) -> ArrayLike | None:
    """Return the CIELAB (3,) that "likeness" goes by: a plate's, or the figures typed; None for neither."""
    plate = whole_number(like.strip().casefold().removeprefix("plate").strip())
    if plate is not None:
        return next((trial.reading.lab for trial in finder.plates([plate])), None)
    figures = numbers(like)
    return figures if figures is not None and len(figures) == 3 else None


def in_words(values: Iterable[str]) -> str:
    """Say the chosen values of a facet shortly, as a button does."""
    said = list(values)
    return ", ".join(said[:2]) + (f" +{len(said) - 2}" if len(said) > 2 else "")
