"""What to make next: the one plate most worth making, or several in one session, planned once and kept until done."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import streamlit as st

from matcher.recipe.recipe import Recipe
from matcher.words import agreeing, counted, listed, percent, plural
from ui.escaped import escaped
from ui.recipe.piece import as_listed, take_run_to_bench
from ui.recipe.print_card import say_what_prints_not
from ui.recipe.recipe_actions import ALL_OF_THEM, made_as, ways_on
from ui.show.cautions import show_cautions_for_all
from ui.show.steps import recipe_steps
from ui.show.strips import low_pair
from ui.show.swatches import pair
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.open_studio import logged, newest
from ui.suggestions.answers import Answers
from ui.suggestions.ranked import in_words

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target

FEWEST, MOST, USUAL = 2, 12, 4
NEXT = "the plate most worth making"
OUTSIDE = "<p>Outside today’s limits: plan the session again to keep to them.</p>"


def show_next(studio: Studio, target: Target, answers: Answers) -> None:
    """Name the plate most worth making next: on a long log it may take a while."""
    with st.spinner("Looking for the plate most worth making…"):
        suggestion = answers.next_trial()
    st.subheader("Most worth making next", anchor=False)
    colours, words = st.columns([1, 1.6], gap="medium")
    with colours:
        st.html(pair(target.reading.lab, suggestion.lab, "Target", "Expected"))
    with words:
        st.html(
            in_words(
                target,
                suggestion.lab,
                suggestion.delta_e00,
                suggestion.delta_e00_interval,
                suggestion.chance_within(target.tolerance),
            )
            + recipe_steps(suggestion.recipe)
            + f'<p class="pm-soft">{escaped(suggestion.grounds)}</p>'
        )
        listed = as_listed(suggestion, target.tolerance)
        ways_on(studio, suggestion.recipe, "make-next", NEXT, target.id, listed=listed)


def show_session(studio: Studio, target: Target, answers: Answers) -> None:
    """Plan a session: ask how many plates, then show them, each with what is expected of it."""
    draft = Draft(studio, f"session {target.id}")
    planned: list[dict[str, Any]] = draft.get("plates", [])
    st.html(
        "<p>The plates are chosen together: each adds what those before it are not likely to give. The first is "
        "the best alone.</p>"
    )
    with st.container(horizontal=True, vertical_alignment="bottom"):
        count = int(st.number_input("Plates", step=1, width=140, **_count(draft)))
        pressed = st.button("Plan it again" if planned else "Plan the session", key=f"session.plan.{target.id}")
    if not FEWEST <= count <= MOST:
        tell(f"A session has {FEWEST} to {MOST} plates: enter a number in that range.")
    elif pressed:
        with st.spinner("Choosing the plates together…"):
            chosen = answers.batch(count)
        plates = [_kept(item, target.tolerance) for item in chosen]
        draft.fill({"count": count, "plates": plates, "revision": studio.log.revision(), "last": _last(studio)})
        st.rerun()
    if planned:
        _since_then(studio, draft)
        _plates(studio, target, answers, planned)


def _count(draft: Draft) -> dict[str, Any]:
    field = draft.field("count", USUAL)
    st.session_state[field["key"]] = int(st.session_state[field["key"]] or USUAL)
    return field


def _last(studio: Studio) -> int:
    return max((trial.id or 0 for trial in newest(studio, 1)), default=0)


def _since_then(studio: Studio, draft: Draft) -> None:
    """Say so when the log has changed since the session was planned: its figures are those of that day."""
    if draft.get("revision") in (None, studio.log.revision()):
        return
    newer = [str(trial.id) for trial in logged(studio) if (trial.id or 0) > draft.get("last", 0)]
    was = "the log was changed"
    if newer:
        was = f"{plural('plate', len(newer))} {listed(newer)} {agreeing(len(newer), 'was', 'were')} logged"
    tell(f"Planned before {was}: the figures here do not include it. Plan the session again to include it.", "warning")


def _kept(item: Suggestion, tolerance: float) -> dict[str, Any]:
    """Return what is kept of a planned plate: figures stay those of the day on which it was planned."""
    return {
        "recipe": item.recipe.as_dict(),
        "lab": item.lab.tolist(),
        "delta_e00": item.delta_e00,
        "interval": list(item.delta_e00_interval),
        "chance": item.chance_within(tolerance),
    }


def _plates(studio: Studio, target: Target, answers: Answers, planned: Sequence[dict[str, Any]]) -> None:
    recipes = [Recipe.from_dict(plate["recipe"]) for plate in planned]
    for number, (plate, recipe) in enumerate(zip(planned, recipes, strict=True), start=1):
        colours, words = st.columns([1, 1.6], gap="medium", vertical_alignment="center")
        with colours:
            st.html(low_pair(target.reading.lab, plate["lab"], "Target", f"Plate {number} of {len(planned)}"))
        with words:
            low, high = plate["interval"]
            near = in_words(target, np.array(plate["lab"]), plate["delta_e00"], (low, high), plate["chance"])
            outside = "" if answers.suggester.limits.allow(recipe) else OUTSIDE
            st.html(near + recipe_steps(recipe) + outside)
            made = made_as(studio, recipe)
            if made is not None:
                st.html(f'<p class="pm-soft">Logged as plate {made}</p>')
            else:
                ways_on(
                    studio,
                    recipe,
                    f"session.{target.id}.{number}",
                    f"plate {number} of the session",
                    target.id,
                    listed=_as_listed(plate),
                )
    with st.container(horizontal=True, vertical_alignment="center"):
        _take_along(studio, target, planned, recipes)
        _to_bench(studio, target, planned, recipes)
    with st.expander("Cautions for this session"):
        show_cautions_for_all(recipes, first=ALL_OF_THEM)


def _as_listed(plate: dict[str, Any]) -> dict[str, Any]:
    return {"delta_e00": plate["delta_e00"], "chance": plate["chance"], "basis": "predicted"}


def _to_bench(studio: Studio, target: Target, planned: Sequence[dict[str, Any]], recipes: Sequence[Recipe]) -> None:
    """Let the plates that are not made yet go to the bench as a run, each counted on its own."""
    from matcher.bench.work import UNSEALED, Piece

    pieces = [
        Piece(
            "",
            recipe,
            source=f"plate {number} of the session",
            target_id=target.id,
            sealed=UNSEALED if recipe.seal is None else recipe.seal.kind,
            listed=_as_listed(plate),
        )
        for number, (plate, recipe) in enumerate(zip(planned, recipes, strict=True), start=1)
        if recipe.coats and made_as(studio, recipe) is None
    ]
    if pieces and st.button(f"Take {counted(len(pieces), 'plate')} to the bench", key=f"session.bench.{target.id}"):
        take_run_to_bench(studio, f"the session for {target.name}", pieces)


def _take_along(studio: Studio, target: Target, planned: Sequence[dict[str, Any]], recipes: Sequence[Recipe]) -> None:
    """Offer the session on paper, and as a table to fill in."""
    from matcher.trials.spreadsheet import planned_table

    notes = [
        f"for {target.name}: expected at ΔE00 {plate['delta_e00']:.1f} "
        f"({plate['interval'][0]:.1f} to {plate['interval'][1]:.1f})"
        for plate in planned
    ]
    say_what_prints_not(studio, target.name, recipes)
    st.download_button(
        "Print the session sheet",
        lambda: _sheet(studio, target, planned, recipes),
        "session.pdf",
        "application/pdf",
        on_click="ignore",
        key=f"session.sheet.{target.id}",
    )
    st.download_button(
        "Table of this session",
        lambda: planned_table(recipes, notes),
        "session.csv",
        on_click="ignore",
        key=f"session.table.{target.id}",
        help="To fill in with the colours and import on the Log page.",
    )


def _sheet(studio: Studio, target: Target, planned: Sequence[dict[str, Any]], recipes: Sequence[Recipe]) -> bytes:
    from matcher.printed import planned_session
    from matcher.sheets.drawn import Shown
    from matcher.sheets.recipe_sheets import PlannedPlate

    plates = [
        PlannedPlate(
            recipe,
            Shown("", np.array(plate["lab"])),
            f"ΔE00 {plate['interval'][0]:.1f} to {plate['interval'][1]:.1f}; within {target.tolerance:g}: "
            f"{percent(plate['chance'])}",
        )
        for plate, recipe in zip(planned, recipes, strict=True)
    ]
    return planned_session(studio, plates, f"Session for {target.name}", target)
