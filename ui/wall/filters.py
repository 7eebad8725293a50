"""Asks what is looked for: words, an order, and by choice what the plates must have. The address follows."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.ranking.finding import FACETS, NONE, ORDERS, Facet
from ui.show.literal import literal
from ui.state.drafts import SHOWN_LATE
from ui.wall.search import VIEWS, Search, in_address, in_words, to_address

if TYPE_CHECKING:
    from matcher.ranking.finding import Finds

FACET_WORDS: dict[Facet, str] = {
    "shade": "Colour",
    "chemical": "Chemical",
    "undercoat": "Undercoat",
    "alloy": "Alloy",
    "seal": "Seal",
    "maker": "Made by",
    "season": "Season",
    "year": "Year",
    "commission": "Commission",
    "target": "Target",
}
ORDER_WORDS = {"colour": "By colour", "newest": "Newest first", "oldest": "Oldest first", "likeness": "By likeness"}
VIEW_WORDS = {"wall": "Wall", "list": "List"}
A_HANDFUL = 24
"""Up to how many values of a kind are laid out to be tapped; more are chosen from a list."""


def ask(finder: Finds) -> Search:
    """Show the fields, filled from the address, and return what is looked for."""
    said = in_address(finder)
    _fill(said)
    left, right = st.columns([1.1, 1], vertical_alignment="bottom")
    middle, right = right.columns([1.25, 1], vertical_alignment="bottom", wrap=False)
    with left:
        words = st.text_input(
            "Find plates",
            type="search",
            placeholder="colour, chemical, mark, tag, day, who, commission",
            live=True,
            key="log.words",
            **SHOWN_LATE,
        )
    with middle:
        order = st.selectbox("Order", ORDERS, format_func=ORDER_WORDS.__getitem__, key="log.order", **SHOWN_LATE)
    with right:
        view = st.segmented_control(
            "Shown as", VIEWS, format_func=VIEW_WORDS.__getitem__, required=True, key="log.view", **SHOWN_LATE
        )
    like = said.like
    if order == "likeness":
        like = (
            st.text_input(
                "Like which plate or colour?", placeholder="88, or 36.2, 17.1, 28.8", key="log.like", **SHOWN_LATE
            )
            or ""
        )
    now = replace(said, words=words or "", order=order, view=view or "wall", like=like)
    now = _facets(finder, now)
    to_address(now)
    return now


def _fill(said: Search) -> None:
    """Let the fields show what the address says: when it was changed elsewhere, and when they are put in anew."""
    query = said.as_query()
    anew = st.session_state.get("log.address") != query
    shown: dict[str, Any] = {
        "log.words": said.words,
        "log.order": said.order,
        "log.view": said.view,
        "log.like": said.like,
        "log.aside": said.set_aside,
        **{f"log.{facet}": list(said.chosen.get(facet, ())) for facet in FACETS},
    }
    for key, value in shown.items():
        if anew or key not in st.session_state:
            st.session_state[key] = value


def _facets(finder: Finds, search: Search) -> Search:
    """Let what the plates must have be chosen, kind by kind, each value with how many plates it would leave.

    In a long log those are not counted.
    """
    chosen: dict[Facet, tuple[str, ...]] = {}
    with st.container(horizontal=True, gap="small", key="facets"):
        for facet in FACETS:
            standing = tuple(st.session_state[f"log.{facet}"] or ())
            search = replace(search, chosen={**search.chosen, facet: standing})
        search = replace(search, set_aside=bool(st.session_state["log.aside"]))
        for facet in FACETS:
            counts = dict(finder.choices(facet, search.wanted))
            if len(counts) < 2 and not search.chosen[facet]:
                st.session_state.pop(f"log.{facet}", None)
                continue
            st.session_state[f"log.{facet}"] = list(search.chosen[facet])  # other values offered make another field
            with st.popover(literal(_label(facet, search.chosen[facet]))):
                chosen[facet] = _values(facet, counts)
        with st.popover("Set aside" if not search.set_aside else "Set aside: shown"):
            aside = st.toggle("Show plates set aside too", key="log.aside", **SHOWN_LATE)
    now = replace(search, chosen={facet: values for facet, values in chosen.items() if values}, set_aside=aside)
    st.session_state["log.address"] = now.as_query()
    return now


def _label(facet: Facet, values: tuple[str, ...]) -> str:
    shown = [_said(facet, value) for value in values]
    return f"{FACET_WORDS[facet]}: {in_words(shown)}" if shown else FACET_WORDS[facet]


def _values(facet: Facet, counts: dict[str, int | None]) -> tuple[str, ...]:
    key, label = f"log.{facet}", FACET_WORDS[facet]

    def said(value: str) -> str:
        count = counts.get(value, 0)
        return _said(facet, value) if count is None else f"{_said(facet, value)} ({count})"

    if len(counts) <= A_HANDFUL:
        values = st.pills(
            label,
            list(counts),
            selection_mode="multi",
            format_func=lambda value: literal(said(value)),
            key=key,
            **SHOWN_LATE,
            wrap=True,
        )
    else:
        values = st.multiselect(
            label,
            list(counts),
            format_func=lambda value: literal(said(value)),
            key=key,
            **SHOWN_LATE,
        )
    return tuple(values or ())


def _said(facet: Facet, value: str) -> str:
    """Return a value as people say it."""
    if value != NONE:
        return value
    none = {
        "chemical": "bare metal",
        "undercoat": "no undercoat",
        "seal": "unsealed",
        "maker": "nobody named",
        "commission": "no commission",
        "target": "no target",
    }
    return none.get(facet, value)
