"""What can be used today for a target: asked for in one folded panel, kept with the target, used for every figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.recipe.names import each_once
from matcher.recipe.recipe import MAX_PASSES, SURFACE_TEMP_RANGE_C, strength_in_words
from ui.escaped import escaped
from ui.show.literal import literal
from ui.state.cache_keys import Key, log_key, target_key
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.open_studio import alloy_for, logged

if TYPE_CHECKING:
    from matcher.plan.inventory import Means
    from matcher.plan.limits import Limits
    from matcher.studio import Studio
    from matcher.trials.trial import Target

ANY = ""


def limits_of(studio: Studio, target: Target) -> Limits:
    """Return the limits as they stand on the page, or as they were kept."""
    from matcher.plan.limits import Limits

    draft = _draft(studio, target)
    default = _usual(studio, target)

    def standing(name: str) -> Any:
        return draft.shown(name, default[name])

    passes, strengths = standing("passes"), standing("strengths")
    heat = standing("coolest"), standing("hottest")
    return Limits(
        alloy=standing("alloy") or None,
        max_passes=None if passes is None or passes_fault(passes) else int(passes),
        surface_temp_c=None if heat == (None, None) or heat_fault(*heat) else _heat(*heat),
        excluded=frozenset(sorted(standing("excluded") or ())),
        strengths=tuple(sorted(strengths)) if strengths else None,
    )


def show_limits(studio: Studio, target: Target, limits: Limits) -> None:
    """Show the panel, folded, its state in its heading; what can't be a limit is said above it and binds nothing."""
    draft = _draft(studio, target)
    passes = draft.shown("passes")
    for fault in (
        None if passes is None else passes_fault(passes),
        heat_fault(draft.shown("coolest"), draft.shown("hottest")),
    ):
        if fault is not None:
            tell(f"{fault} Until then this limit is ignored.")
    with st.expander(f"What can be used today: {literal(limits.in_words())}", key=f"limits-{target.id}"):
        _ask(studio, target)


def lift_all(studio: Studio, target: Target) -> None:
    """Let nothing bind, the alloy neither."""
    _draft(studio, target).fill({"alloy": ANY})


def ask_alloy_of_job(studio: Studio, draft: Draft) -> None:
    """Ask, where a target is made, what the client's piece is of; nothing when every plate is of one alloy."""
    alloys = means(studio).alloys
    if len(alloys) > 1:
        _alloy(draft, alloys, ANY, "Alloy of the piece", "Not known: plates of every alloy")


def keep_alloy_of_job(studio: Studio, target: Target, draft: Draft) -> None:
    """Let only plates of the alloy that was chosen with a new target be ranked for it."""
    if alloy := draft.shown("alloy"):
        _draft(studio, target).set(alloy=alloy)


def means(studio: Studio) -> Means:
    """Return what the log shows that the studio has."""
    return _means(log_key(studio), studio)


@st.cache_resource(show_spinner=False, max_entries=2)
def _means(key: Key, _studio: Studio) -> Means:
    from matcher.plan.inventory import means_of

    return means_of(trial.recipe for trial in logged(_studio))


def _ask(studio: Studio, target: Target) -> None:
    draft, have = _draft(studio, target), means(studio)
    chemicals = sorted(each_once((*have.all_chemicals, *studio.at_hand().names)))
    usual = _usual(studio, target)
    left, right = st.columns(2, gap="medium")
    with left:
        _alloy(draft, have.alloys, usual["alloy"])
        st.number_input("Most passes in a coat", value=None, step=1, placeholder="any", **_whole(draft, "passes"))
    with right:
        pair = st.columns(2, wrap=False, vertical_alignment="bottom")
        for column, label, name in zip(pair, ("Metal from, °C", "up to, °C"), ("coolest", "hottest"), strict=True):
            column.number_input(
                label, value=None, step=5.0, format="%g", placeholder="any", **draft.field(name, usual[name])
            )
        _several(draft, "Only these strengths (none chosen: any)", "strengths", have.strengths, strength_in_words)
    _several(draft, "Chemicals not available today", "excluded", chemicals, str)
    with st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="distribute"):
        st.html(f'<p class="pm-soft">Saved for {escaped(target.name)}, and used for every figure on this page.</p>')
        if st.button("Clear all limits", key=f"limits.lift.{target.id}", type="tertiary"):
            lift_all(studio, target)
            st.rerun()


def _alloy(draft: Draft, alloys: Sequence[str], usual: str, label: str = "Alloy", any_alloy: str = "Any alloy") -> None:
    field = draft.field("alloy", usual)
    standing = st.session_state[field["key"]]
    offered = list(dict.fromkeys((ANY, *alloys, *([standing] if standing else []))))
    st.selectbox(label, offered, format_func=lambda alloy: alloy or any_alloy, **field)


def _several(draft: Draft, label: str, name: str, offered: Sequence[Any], words: Any) -> None:
    """Ask for any number of things; what was kept and is no longer in the log stays to be chosen."""
    field = draft.field(name, [])
    standing = st.session_state[field["key"]] or []
    options = list(dict.fromkeys((*offered, *standing)))
    if options:
        st.pills(
            label, options, selection_mode="multi", format_func=lambda one: literal(words(one)), wrap=True, **field
        )


def _whole(draft: Draft, name: str) -> dict[str, Any]:
    """Return a field whose kept value may have come in as 6.0."""
    field = draft.field(name)
    if st.session_state[field["key"]] is not None:
        st.session_state[field["key"]] = int(st.session_state[field["key"]])
    return field


def _usual(studio: Studio, target: Target) -> dict[str, Any]:
    """Return what holds until something else is said: the commission's alloy, else that of the job when its plates
    agree on one."""
    alloy = alloy_for(studio, target.id) or _alloy_of_job(target_key(studio, target), studio, target.id)
    return {"alloy": alloy, "passes": None, "coolest": None, "hottest": None, "excluded": [], "strengths": []}


@st.cache_data(show_spinner=False, max_entries=8)
def _alloy_of_job(key: Key, _studio: Studio, _target_id: int | None) -> str:
    from matcher.plan.inventory import one_alloy

    return one_alloy(trial.recipe for trial in _studio.log.for_target(_target_id)) or ANY


def passes_fault(passes: float) -> str | None:
    """Return what is wrong with the most passes of a coat, or None."""
    if 1 <= passes <= MAX_PASSES:
        return None
    return f"The most passes in a coat are a number from 1 to {MAX_PASSES}, not {passes:.15g}: type one."


def heat_fault(coolest: float | None, hottest: float | None) -> str | None:
    """Return what is wrong with two bounds of the metal's temperature, °C, or None; a bound of None is open."""
    least, most = SURFACE_TEMP_RANGE_C
    for bound in (coolest, hottest):
        if bound is not None and not least <= bound <= most:
            return f"The metal's temperature is a number from {least:g} to {most:g} °C, not {bound:.15g}: type one."
    if coolest is not None and hottest is not None and coolest > hottest:
        return f"{coolest:g} to {hottest:g} °C is the wrong way round: put the lower one first."
    return None


def _heat(coolest: float | None, hottest: float | None) -> tuple[float, float]:
    least, most = SURFACE_TEMP_RANGE_C
    return float(least if coolest is None else coolest), float(most if hottest is None else hottest)


def _draft(studio: Studio, target: Target) -> Draft:
    return Draft(studio, f"limits {target.id}")
