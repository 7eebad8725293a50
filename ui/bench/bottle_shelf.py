"""The shelf of bottles: what each holds, how strong and how old, what to mind, and what became of it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.bench.mixing import standing_together
from matcher.bench.mixing_wording import about_bottle, strength_of
from matcher.recipe.hazards import Hazards, age_caution, hazards_of
from ui.escaped import escaped
from ui.recipe.print_card import paper_choice, say_what_prints_not
from ui.show.literal import literal
from ui.state.messages import tell, told
from ui.state.remembered import as_seen
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.trials.stocks import SolutionUse, Stock

MAKE = "make"


def show_shelf(studio: Studio) -> None:
    """Show all bottles, the latest first, with what stands side by side and must not."""
    shelf, uses = studio.stocks(), studio.bottles.uses()
    there = [stock for stock in reversed(shelf) if stock.used_up_at is None]
    gone = [stock for stock in reversed(shelf) if stock.used_up_at is not None]
    for place, clashes in standing_together(there):
        for caution in clashes:
            tell(f"Don't keep these side by side ({place}). {caution.message}", "warning")
    if not shelf:
        st.html(
            "<p>No bottle is on the shelf yet. Make the first one, and recipes can say what half strength is half "
            "of.</p>"
        )
        if st.button("Make the first bottle", type="primary", key="bottle.first"):
            st.query_params["part"] = MAKE
            st.rerun()
        return
    if not there:
        tell("Every bottle is used up: make the next one.", "warning")
    else:
        _labels(studio, there)
    for stock in there:
        _bottle(studio, stock, uses)
    if gone:
        with st.expander(f"Used up ({len(gone):d})"):
            for stock in gone:
                _bottle(studio, stock, uses)


def hazards_html(hazards: Hazards) -> str:
    """Return signal word and statements as a label has them, the wording's codes beside each."""
    if not hazards.statements:
        return f'<p class="pm-soft">{escaped(hazards.sentence)}</p>'
    word = f"<b>{escaped(hazards.signal)}</b> " if hazards.signal else ""
    said = " ".join(f'<span title="{escaped(one.code)}">{escaped(one.text)}.</span>' for one in hazards.statements)
    return f'<p class="pm-hazards">{word}{said}</p>'


def precautions_html(hazards: Hazards) -> str:
    """Return the precautions that hazards ask for, and what decides."""
    items = "".join(f"<li>{escaped(one.text)}</li>" for one in hazards.precautions)
    return f'<ul class="pm-steps">{items}</ul><p class="pm-soft">{escaped(f"{hazards.source} {hazards.defer}")}</p>'


def _bottle(studio: Studio, stock: Stock, uses: Sequence[SolutionUse]) -> None:
    now = datetime.now(UTC)
    hazards = hazards_of(stock.chemical, stock.grams_per_litre)
    with st.container(key=f"flask-bottle-{_slug(stock.label)}"):
        notes = f"<p>{escaped(stock.notes)}</p>" if stock.notes else ""
        st.html(
            f"<h2>{escaped(stock.label)}</h2>"
            f'<p class="pm-what">{escaped(stock.chemical)}, {escaped(strength_of(stock))}</p>'
            f'<p class="pm-soft">{escaped(about_bottle(stock, uses, now))}</p>{notes}{hazards_html(hazards)}'
        )
        caution = age_caution(stock.chemical, stock.made_at, now)
        if caution is not None and stock.used_up_at is None:
            tell(caution.message, "warning")
        if hazards.precautions:
            with st.expander("What the label asks for"):
                st.html(precautions_html(hazards))
        with st.container(horizontal=True, vertical_alignment="center", gap="xsmall"):
            _became(studio, stock)


def _became(studio: Studio, stock: Stock) -> None:
    """Let be noted what became of a bottle."""
    now, label = datetime.now(UTC), stock.label
    seen = as_seen(f"bottle.{label}", stock)
    if stock.used_up_at is not None:
        if st.button("Not used up after all", key=f"bottle.back.{label}"):
            _change(studio, seen, used_up_at=None)
        return
    if stock.opened_at is None:
        if st.button("Opened", key=f"bottle.open.{label}"):
            _change(studio, seen, opened_at=now)
    elif st.button("Not opened after all", type="tertiary", key=f"bottle.unopen.{label}"):
        _change(studio, seen, opened_at=None)
    with st.popover("Moved"):
        place = st.text_input("Where it stands now", value=stock.kept_where, live=True, key=f"bottle.place.{label}")
        if st.button("Note the place", key=f"bottle.move.{label}"):
            _change(studio, seen, kept_where=place or "")
    with st.popover("Used up"):
        st.html("<p>It leaves the shelf; the plates that were made from it keep its name.</p>")
        if st.button("Yes, it is used up", key=f"bottle.gone.{label}"):
            _change(studio, seen, used_up_at=now)


def _change(studio: Studio, seen: Stock, **changed: Any) -> None:
    with told():
        studio.bottles.change(seen.label, who(), seen, **changed)
        st.rerun()


def _labels(studio: Studio, there: Sequence[Stock]) -> None:
    say_what_prints_not(studio, there)
    with st.container(horizontal=True, vertical_alignment="bottom", key="bottle-labels"):
        chosen = st.multiselect(
            "Labels to print",
            [stock.label for stock in there],
            format_func=literal,
            placeholder="all on the shelf",
            key="bottle.print",
        )
        paper = paper_choice("bottle.paper")
        wanted = [stock for stock in there if not chosen or stock.label in chosen]
        st.download_button(
            "Print labels", lambda: _printed(studio, wanted, paper), "bottle-labels.pdf", on_click="ignore"
        )


def _printed(studio: Studio, stocks: Sequence[Stock], paper: str) -> bytes:
    from matcher.sheets.bottle_labels import bottle_labels, label_of_stock
    from matcher.sheets.paper import paper_named

    return bottle_labels([label_of_stock(stock) for stock in stocks], studio.title, paper_named(paper))


def _slug(label: str) -> str:
    """Return a label as a widget's key may end."""
    return label.encode().hex()
