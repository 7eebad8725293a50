"""The page's dress: one style sheet, the bar at the top, a title, a mat of neutral grey around pictures."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from matcher.hands import whose
from ui.escaped import escaped
from ui.show.literal import literal
from ui.state.addresses import below_the_base
from ui.state.messages import tell, told
from ui.state.places import AT_THE_FOOT, IN_THE_BAR, Place
from ui.state.remembered import as_seen
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.studio import Studio


def dress() -> None:
    """Put the style sheet into the page, once a run."""
    st.html(f"<style>{_style_sheet()}</style>")


@cache
def _style_sheet() -> str:
    own = sorted(Path(__file__).parent.glob("*.css"), key=lambda file: (file.name != "look.css", file.name))
    return "\n".join(file.read_text(encoding="utf-8") for file in own)


def bar(studio: Studio, here: Place | None) -> None:
    """Show the studio's name and the links to the pages; ``here`` is the page that is shown."""
    with st.container(key="bar", horizontal=True, vertical_alignment="center", gap="small"):
        demo = '<span class="pm-demo">demo: every plate in it is invented</span>' if studio.is_demo else ""
        st.html(f'<div class="pm-studio"><span>{escaped(studio.title)}</span>{demo}</div>', width="content")
        with st.container(key="links", horizontal=True, gap=None, width="content"):
            for place in IN_THE_BAR:
                with st.container(key="here" if place == here else f"to-{place.address}", width="content"):
                    st.page_link(place.file, label=literal(place.title))
    moved_to = studio.moved_to
    if moved_to is not None:
        tell(f"This studio was moved to {moved_to}. Here it can be looked at, and nothing is kept: open it there.")


def way_in(words: str, label: str, key: str) -> bool:
    """Show a row, given as HTML, that is itself the button which leads to what it tells of; True when it was pressed.

    label: what the button says to whoever does not see the row.
    """
    with st.container(key=f"way-in-{key}", gap=None):
        st.html(words)
        return st.button(literal(label), key=key, width="stretch")


def foot(studio: Studio) -> None:
    """Show what belongs at the end of every page: further pages, the studio's title to change, what holds for all."""
    with st.container(key="foot", gap="xsmall"):
        with st.container(key="more", horizontal=True, gap="medium"):
            for place in AT_THE_FOOT:
                st.page_link(place.file, label=literal(place.title), width="content")
            _ask_for_title(studio)
        _say_who_is_signed_in()
        st.html(
            "<p>These are starting points for sample plates and do not replace training. Local codes, safety data "
            "sheets and licensed practice come first.</p>"
        )


def _say_who_is_signed_in() -> None:
    hand = whose()
    if hand is not None:
        out = escaped(below_the_base("sign-out"))
        st.html(
            f'<p class="pm-hand">Signed in as <b>{escaped(hand.name)}</b>, {hand.role}. '
            f'<a href="{out}" target="_self">Sign out</a></p>'
        )


def _ask_for_title(studio: Studio) -> None:
    """Let the studio's title, which stands on every page and sheet, be given or changed."""
    label = "Change the studio's title" if studio.title else "Give the studio a title"
    seen = as_seen("studio.title", studio.title)
    with st.popover(label, type="tertiary", key="studio-title"):
        text = st.text_input("Title of the studio", value=studio.title, live=True, key="studio.title")
        st.html('<p class="pm-soft">It stands at the top of every page and on whatever is printed.</p>')
        if st.button("Save this title", key="studio.title.save"):
            with told():
                studio.give_title(text or "", seen, who())
                st.rerun()


def title(text: str, below: str = "") -> None:
    """Show the page's title and, in one or two sentences, what it is for."""
    st.html(f"<h1>{escaped(text)}</h1>" + (f'<p class="pm-lead">{escaped(below)}</p>' if below else ""))


@contextmanager
def mat(key: str) -> Iterator[None]:
    """Lay what is shown inside on neutral grey; ``key`` is unique on the page."""
    with st.container(key=f"mat-{key}", gap=None):
        yield


@contextmanager
def panel(key: str) -> Iterator[None]:
    """Set a part of the page off from the rest; ``key`` is unique on the page."""
    with st.container(key=f"panel-{key}"):
        yield
