"""The forms of one kind that are half filled: any number, each kept in the studio until it is finished or thrown away.

Which one is on the screen stands in the address, and in the session.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.words import agreeing, counted
from ui.escaped import escaped
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.places import Place

if TYPE_CHECKING:
    from matcher.storage.drafts import Kept
    from matcher.studio import Studio


@dataclass(frozen=True)
class HalfFilled:
    """A kind of form. first: the name of one form, and how the others' begin. place: the page that shows one.

    noun, how, until: "plate", "half recorded", "logged". holds: whether what is kept of a form is somebody's work.
    """

    first: str
    place: Place
    noun: str
    how: str
    until: str
    holds: Callable[[Mapping[str, Any]], bool] = bool

    @property
    def open_slot(self) -> str:
        """Where the session keeps which form it has open."""
        return f"{self.place.address}.form"

    def is_one(self, form: str) -> bool:
        """Tell whether a form of this name is of this kind."""
        return re.fullmatch(rf"{re.escape(self.first)}( [0-9a-f]{{12}})?", form) is not None

    def standing(self, studio: Studio) -> list[Kept]:
        """Return the forms that hold something, the one saved last at the head."""
        kept = reversed(studio.drafts(self.first))
        return [one for one in kept if self.is_one(one.form) and self.holds(one.body)]

    def fresh_name(self) -> str:
        """Return a name that no form has."""
        return f"{self.first} {uuid.uuid4().hex[:12]}"

    def go_to(self, form: str) -> None:
        """Show a form on its page."""
        st.session_state[self.open_slot] = form
        st.switch_page(self.place.file, query_params={"form": form})

    def show(self, form: str) -> None:
        """Show another form on this page."""
        st.session_state[self.open_slot] = form
        st.query_params["form"] = form
        st.rerun()

    def close(self) -> None:
        """Have no form open: it has become what it was for, or was thrown away."""
        st.session_state.pop(self.open_slot, None)
        st.query_params.pop("form", None)

    def show_others(
        self,
        studio: Studio,
        draft: Draft,
        in_words: Callable[[Kept], str],
        before_it_goes: Callable[[Draft], object] = bool,
    ) -> None:
        """List the other forms, and tell what this one has to say. in_words: says which form it is."""
        if said := draft.said():
            tell(said, "warning")
        others = [kept for kept in self.standing(studio) if kept.form != draft.form]
        address = self.place.address
        if others:
            counts = counted(len(others), f"other {self.noun}")
            said = f"{counts} {agreeing(len(others))} {self.how}, and kept until {self.until}"
            with st.expander(literal(said), key=f"{address}.half-filled"):
                for kept in others:
                    words, actions = st.columns([3, 1.2], vertical_alignment="center")
                    words.html(f"<p>{escaped(in_words(kept))}</p>")
                    with actions, st.container(horizontal=True, horizontal_alignment="right"):
                        if st.button("Open", key=f"{address}.open.{kept.form}"):
                            self.show(kept.form)
                        self._ask_to_throw_away(studio, kept.form, "Throw away", before_it_goes)

    def put_by(
        self,
        studio: Studio,
        draft: Draft,
        empty: Callable[[], str],
        another: str,
        before_it_goes: Callable[[Draft], object] = bool,
    ) -> None:
        """Let this form be put by for an empty one, or be thrown away, once it holds something.

        empty: the name of an empty form. another: what the button says that leads to it.
        """
        if self.holds(studio.draft(draft.form) or {}):
            with st.container(horizontal=True, vertical_alignment="center"):
                if st.button(literal(another), type="tertiary", key=f"{self.place.address}.another-form"):
                    self.show(empty())
                self._ask_to_throw_away(studio, draft.form, "Throw this form away", before_it_goes)

    def _ask_to_throw_away(
        self, studio: Studio, form: str, label: str, before_it_goes: Callable[[Draft], object]
    ) -> None:
        with st.popover(label, type="tertiary"):
            st.html(f"<p>What was typed in this form is gone for good then; nothing of it is {self.until}.</p>")
            if st.button("Yes, throw it away", key=f"{self.place.address}.away.{form}"):
                going = Draft(studio, form)
                before_it_goes(going)
                going.drop()
                self.close()
                st.rerun()
