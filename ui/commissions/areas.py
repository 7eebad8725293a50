"""The areas of a commission: the finish wanted beside the plate nearest to it, what comes next, and what may change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from matcher.bench.wording import title_of
from matcher.commissions.wording import (
    compared_in_words,
    figures_in_words,
    on_bench_in_words,
    step_in_words,
    without_target_in_words,
)
from matcher.words import agreeing, capital, counted, listed
from ui.commissions.approval import what_is_signed
from ui.commissions.edition import begin_repair, next_cast_to_bench, show_edition, show_repaired
from ui.escaped import escaped
from ui.show import look
from ui.show.literal import literal
from ui.show.patches import patch_strip, plate_patch, target_patch
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.open_studio import choose_target, how_many, target_choices
from ui.state.places import BENCH, FIRST_PLATES, SUGGESTIONS, TARGET
from ui.state.remembered import as_seen
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.commissions.commission import Area
    from matcher.commissions.known import Known
    from matcher.commissions.state import NextStep
    from matcher.studio import Studio

NO_TARGET = 0


def show_areas(studio: Studio, known: Known, steps: Sequence[NextStep]) -> None:
    """Show every area, two beside each other, with its next step as a button; the first that is open stands out."""
    first = next((step.area.id for step in steps if step.step != "done"), None)
    areas = known.commission.areas
    for start in range(0, len(areas), 2):
        for column, area in zip(st.columns(2, gap="medium"), areas[start : start + 2], strict=False):
            with column, look.panel(f"area-{area.id}"):
                _show(studio, known, area, [step for step in steps if step.area.id == area.id], area.id == first)
    _another_area(studio, known)
    _set_aside(studio, known)


def pictures(known: Known, area: Area) -> str:
    """Return target and nearest or approved plate of an area, touching, as HTML; words where there is no target."""
    target, approved, nearest = known.target_of(area), known.approved_for(area), known.nearest_for(area)
    if target is None:
        return f'<div class="pm-no-target">{escaped(without_target_in_words(area))}</div>'
    plate = approved or (None if nearest is None else nearest.trial)
    if plate is None:
        return patch_strip([target_patch(target)], ["wanted"])
    name = f"plate {plate.id}" if approved is None else f"plate {plate.id}, approved"
    return patch_strip([target_patch(target), plate_patch(plate)], ["wanted", name])


def _show(studio: Studio, known: Known, area: Area, steps: Sequence[NextStep], first: bool) -> None:
    surface = f" <small>{area.area_cm2:g} cm²</small>" if area.area_cm2 is not None else ""
    st.html(f'<h2 class="pm-area">{escaped(area.name)}{surface}</h2>{pictures(known, area)}{_words(known, area)}')
    for place, step in enumerate(steps):
        if step.step == "done":
            tell(f"{step_in_words(step)}.", "done")
            continue
        label, key = literal(step_in_words(step)), f"area.{'also' if place else 'next'}.{area.id}"
        if st.button(label, type="primary" if first and not place else "secondary", key=key, width="stretch"):
            go_on(studio, known, step)
    _others_on_the_bench(known, area, steps)
    _signed(studio, known, area, steps)
    if known.sign_off_of(area) is not None or known.commission.delivered:
        begin_repair(studio, known, area)
    show_repaired(studio, known, area)
    _change(studio, known, area)


def _others_on_the_bench(known: Known, area: Area, steps: Sequence[NextStep]) -> None:
    """List what else lies on the bench for an area, each the way to it: other casts, and trials for an old target."""
    led_to = {step.piece_uid for step in steps}
    others = [one for one in known.on_bench(area) if one.piece.uid not in led_to]
    if not others:
        return
    with st.container(key=f"waiting-{area.id}", gap=None):
        st.html(f'<p class="pm-soft">{"Also on" if led_to - {None} else "On"} the bench:</p>')
        for one in others:
            row, key = f"<p>{escaped(on_bench_in_words(one))}</p>", f"area.bench.{area.id}.{one.piece.uid}"
            if look.way_in(row, f"Go to {title_of(one.piece)}", key):
                st.switch_page(BENCH.file, query_params={"piece": one.piece.uid})


def _signed(studio: Studio, known: Known, area: Area, steps: Sequence[NextStep]) -> None:
    """Offer a sign-off where one may be given, and fold away what stands of it: sheet and casts."""
    if known.sign_off_of(area) is None:
        offered = any(step.step == "sign-off" for step in steps)
        may = known.target_of(area) is not None and known.plates_for(area) and not offered
        if may and st.button("Sign off a plate", type="tertiary", key=f"area.sign.{area.id}"):
            st.query_params["sign"] = str(area.id)
            st.rerun()
        return
    with st.expander("Sign-off and its sheet", key=f"area.signed.{area.id}"):
        what_is_signed(studio, known, area)
    folded = st.expander("Casts and drift", key=f"area.edition.{area.id}", on_change="rerun")
    if folded.open:
        with folded:
            show_edition(studio, known, area)


def _words(known: Known, area: Area) -> str:
    """Say what is wanted, and how near the best plate comes: words first, the figures small behind them."""
    target, nearest, signed = known.target_of(area), known.nearest_for(area), known.sign_off_of(area)
    if target is None:
        return ""
    tried = len(known.plates_for(area))
    said = f"<p class='pm-area-words'><b>{escaped(target.name)}</b>, within ΔE00 {target.tolerance:g}. "
    if signed is not None:
        by = f" by {escaped(signed.signed_by)}" if signed.signed_by else ""
        return f"{said}Plate {signed.trial_id} was signed off{by}.</p>"
    if nearest is None:
        return f"{said}No plate was made for it yet.</p>"
    about = f"{counted(tried, 'plate')} tried; plate {nearest.trial.id} {escaped(compared_in_words(nearest))}."
    return f"{said}{about} <small>{figures_in_words(nearest)}</small></p>"


def go_on(studio: Studio, known: Known, step: NextStep) -> None:
    """Lead to where the next step of an area is done."""
    target = str(step.area.target_id)
    match step.step:
        case "target":
            st.switch_page(TARGET.file, query_params={"area": str(step.area.id)})
        case "bench":
            st.switch_page(BENCH.file, query_params={"piece": str(step.piece_uid)})
        case "first plate" if not how_many(studio):
            choose_target(known.targets[step.area.target_id or 0])
            st.switch_page(FIRST_PLATES.file)
        case "first plate" | "another plate":
            st.switch_page(SUGGESTIONS.file, query_params={"target": target})
        case "cast":
            next_cast_to_bench(studio, known, step.area, step.cast)
        case "sign-off":
            st.query_params["sign"] = str(step.area.id)
            st.rerun()


def _another_area(studio: Studio, known: Known) -> None:
    from matcher.commissions.commission import Area

    draft = Draft(studio, f"area of commission {known.commission.id}")
    with st.expander("Another area", key=f"area.new.{known.commission.id}", expanded=bool(draft.values)):
        name, surface, action = st.columns([2, 1, 1], vertical_alignment="bottom")
        name.text_input("What it is called", placeholder="base", live=True, **draft.field("name", ""))
        surface.number_input("Surface, cm²", value=None, step=None, format="%g", **draft.field("area_cm2"))
        if action.button("Add this area", key=f"area.add.{known.commission.id}"):
            with told():
                area = Area(draft.shown("name") or "", draft.shown("area_cm2"))
                studio.commissions.add_area(known.commission.id or 0, area, who())
                draft.drop()
                st.rerun()


def _change(studio: Studio, known: Known, area: Area) -> None:
    """Offer, folded, another name, surface, target or place for an area."""
    draft = Draft(studio, f"change of area {area.id}")
    with st.expander("Change this area", key=f"area.change.{area.id}", expanded=bool(draft.values)):
        choices = {NO_TARGET: "No target", **target_choices(studio, keep=area.target_id)}
        st.text_input("Name of the area", live=True, **draft.field("name", area.name))
        st.number_input(
            "Its surface, cm²", value=None, step=None, format="%g", **draft.field("area_cm2", area.area_cm2)
        )
        field = draft.field("target_id", area.target_id or NO_TARGET)
        if st.session_state[field["key"]] not in choices:
            st.session_state[field["key"]] = NO_TARGET
        st.selectbox("Target of the area", list(choices), format_func=choices.__getitem__, **field)
        if draft.values and "before" not in draft.values:
            draft.set(before=area.as_dict())
        with st.container(horizontal=True, vertical_alignment="center"):
            if st.button("Save the area", key=f"area.save.{area.id}"):
                with told():
                    _changed(studio, draft, area)
            if area.target_id is not None and st.button(
                "Read another target", type="tertiary", key=f"area.read.{area.id}"
            ):
                st.switch_page(TARGET.file, query_params={"area": str(area.id)})
            if area.position > 0 and st.button("Move it forward", type="tertiary", key=f"area.up.{area.id}"):
                with told():
                    _moved_forward(studio, known, area)
            if draft.values and st.button("Discard", type="tertiary", key=f"area.discard.{area.id}"):
                draft.drop()
                st.rerun()
        _ask_to_set_aside(studio, known, area)


def _ask_to_set_aside(studio: Studio, known: Known, area: Area) -> None:
    """Offer to set an area aside, and say what stays."""
    if known.sign_off_of(area) is not None:
        st.html('<p class="pm-soft">To set this area aside, withdraw its sign-off first.</p>')
        return
    reason, action = st.columns([3, 1], vertical_alignment="bottom")
    why = reason.text_input(
        "Set this area aside because", placeholder="not wanted any more", live=True, key=f"area.reason.{area.id}"
    )
    if action.button("Set it aside", key=f"area.aside.{area.id}"):
        with told():
            studio.commissions.set_area_aside(area.id or 0, why or "", who())
            st.rerun()
    stays = [counted(len(known.plates_for(area)), "plate")] if known.plates_for(area) else []
    pieces = known.pieces_for(area)
    stays += [f"the {agreeing(len(pieces), 'piece', 'pieces')} on the bench"] if pieces else []
    if stays:
        said = listed(stays)
        st.html(f'<p class="pm-soft">{capital(said)} for it will stay.</p>')


def _set_aside(studio: Studio, known: Known) -> None:
    """List, folded, the areas that were set aside, each to be taken back."""
    aside = known.commission.areas_set_aside
    if not aside:
        return
    with st.expander(f"Areas set aside ({len(aside):d})", key=f"areas.aside.{known.commission.id}"):
        for area in aside:
            seen = as_seen(f"area set aside.{area.id}", area.set_aside)
            words, action = st.columns([4, 1], vertical_alignment="center")
            words.html(f"<p><b>{escaped(area.name)}</b> {escaped(area.set_aside or '')}</p>")
            if action.button(literal(f"Take {area.name} back"), key=f"area.back.{area.id}"):
                with told():
                    studio.commissions.take_area_back(area.id or 0, who(), seen)
                    st.rerun()


def _changed(studio: Studio, draft: Draft, area: Area) -> None:
    from matcher.commissions.commission import Area as Kept

    seen = Kept.from_dict(draft.get("before")) if draft.get("before") else area
    now = replace(
        seen,
        name=draft.shown("name", seen.name) or "",
        area_cm2=draft.shown("area_cm2", seen.area_cm2),
        target_id=draft.shown("target_id", seen.target_id) or None,
    )
    studio.commissions.change_area(now, seen, who())
    draft.drop()
    st.rerun()


def _moved_forward(studio: Studio, known: Known, area: Area) -> None:
    seen = [each.id or 0 for each in known.commission.areas]
    at = seen.index(area.id or 0)
    order = [*seen[: at - 1], seen[at], seen[at - 1], *seen[at + 1 :]]
    studio.commissions.reorder(known.commission.id or 0, order, seen, who())
    st.rerun()
