"""What a studio owns, asked for in one short form: the first plates are chosen to cover it. Kept as it is filled in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import SuggestionError
from matcher.recipe.recipe import Recipe, Seal, strength_in_words
from ui.recipe.recipe_form import COMMON, SEALS
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.suggestions.todays_limits import heat_fault, passes_fault

if TYPE_CHECKING:
    from matcher.plan.inventory import Means

COUNTS = (12, 24, 48)
STRENGTHS = (0.25, 0.5, 0.75, 1.0)
USUAL_SEAL_COATS = {"wax": 3, "lacquer": 1}
"""Three thin coats of wax are usual: common practice, no source."""


@dataclass(frozen=True)
class FirstChoice:
    """What the first plates are to cover; strengths as fractions of stock, temperatures in °C."""

    count: int
    alloy: str
    chemicals: tuple[str, ...]
    undercoats: tuple[str, ...]
    strengths: tuple[float, ...]
    most_passes: int
    temps_c: tuple[float, float]
    application: str
    seal: Seal | None

    def checked(self) -> FirstChoice:
        """Return the choice. Raises SuggestionError with what is missing or turned round in it."""
        missing = "Name at least one chemical for the coats." if not self.chemicals else None
        if not self.strengths:
            missing = "Choose at least one strength that you mix."
        fault = missing or passes_fault(self.most_passes) or heat_fault(*self.temps_c)
        if fault is not None:
            raise SuggestionError(fault)
        return self

    def plates(self) -> list[Recipe]:
        """Return the first plates that cover it, in the order to make them."""
        from matcher.plan.first_plates import first_plates

        return first_plates(
            self.count,
            alloy=self.alloy,
            chemicals=self.chemicals,
            undercoats=self.undercoats,
            strengths=self.strengths,
            most_passes=self.most_passes,
            temps_c=self.temps_c,
            application=self.application,
            seal=self.seal,
        )


def ask_what_is_owned(draft: Draft, have: Means, wanted: str | None = None) -> FirstChoice:
    """Show the form and return what stands in it. wanted: the alloy of the commission that is worked on."""
    left, right = st.columns(2, gap="medium")
    with left:
        alloy = _one_of(
            draft,
            "Alloy",
            "alloy",
            list(dict.fromkeys((*([wanted] if wanted else []), *have.alloys, *COMMON["alloy"]))),
        )
        chemicals = _some_of(draft, "Chemicals for coats", "chemicals", have.chemicals, COMMON["coat"])
        undercoats = _some_of(draft, "Undercoats", "undercoats", have.undercoats, COMMON["undercoat"])
        application = _one_of(draft, "Applied as", "application", list(COMMON["application"]))
    with right:
        strengths = _strengths(draft, have)
        passes, coolest, hottest = _numbers(draft)
        seal = _seal(draft)
    count = st.segmented_control(
        "How many plates", COUNTS, format_func=literal, required=True, **draft.field("count", COUNTS[1])
    )
    return FirstChoice(
        int(count or COUNTS[1]), alloy, chemicals, undercoats, strengths, passes, (coolest, hottest), application, seal
    )


def _one_of(draft: Draft, label: str, name: str, offered: list[str]) -> str:
    field = draft.field(name, offered[0])
    standing = st.session_state[field["key"]]
    if standing and standing not in offered:
        offered = [standing, *offered]
    return str(st.selectbox(label, offered, accept_new_options=True, **field) or "")


def _some_of(draft: Draft, label: str, name: str, logged: tuple[str, ...], common: tuple[str, ...]) -> tuple[str, ...]:
    """Ask for several names: those of the log, else the commonest, are chosen at first; others can be typed."""
    field = draft.field(name, list(logged or common[:1]))
    standing = list(st.session_state[field["key"]] or [])
    options = list(dict.fromkeys((*logged, *common, *standing)))
    return tuple(
        st.multiselect(label, options, accept_new_options=True, placeholder="choose, or type another", **field)
    )


def _strengths(draft: Draft, have: Means) -> tuple[float, ...]:
    field = draft.field("strengths", [0.25, 0.5, 1.0])
    standing = st.session_state[field["key"]] or []
    options = sorted({*STRENGTHS, *have.strengths, *standing})
    chosen = st.pills(
        "Strengths that you mix",
        options,
        selection_mode="multi",
        format_func=lambda one: literal(strength_in_words(one)),
        wrap=True,
        **field,
    )
    return tuple(sorted(float(one) for one in chosen or ()))


def _numbers(draft: Draft) -> tuple[int, float, float]:
    """Ask for passes and heat; an emptied field stands for what is usual."""
    usual = {"passes": 12, "coolest": 95.0, "hottest": 115.0}
    said = {}
    with st.container(key="three-first"):
        columns = st.columns(3, wrap=False, vertical_alignment="bottom", gap="small")
    for column, label, name in zip(
        columns,
        ("Most passes", "Metal, °C", "up to, °C"),
        usual,
        strict=True,
    ):
        kind: Any = type(usual[name])
        field = draft.field(name, usual[name])
        if st.session_state[field["key"]] is not None:
            st.session_state[field["key"]] = kind(st.session_state[field["key"]])
        step = 1 if kind is int else 5.0
        value = column.number_input(label, value=None, step=step, format="%d" if kind is int else "%g", **field)
        said[name] = kind(usual[name] if value is None else value)
    return int(said["passes"]), float(said["coolest"]), float(said["hottest"])


def _seal(draft: Draft) -> Seal | None:
    kind = st.segmented_control(
        "Seal", list(SEALS), format_func=SEALS.__getitem__, required=True, **draft.field("seal", "none")
    )
    return None if kind in (None, "none") else Seal(str(kind), USUAL_SEAL_COATS[str(kind)])
