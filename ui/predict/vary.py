"""What of a recipe can be moved by hand to see what it would give: a slider each, or the whole recipe as a form."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.bench.wording import in_both_degrees
from matcher.recipe.fields import MAX_PASSES, SURFACE_TEMP_RANGE_C
from ui.recipe.recipe_form import RecipeForm, bottles, recipe_of, standing
from ui.show.literal import literal

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio
    from matcher.trials.trial import Trial
    from ui.state.drafts import Draft

SLIDE, WHOLE = "Move it", "The whole recipe"
LEAST_STRENGTH, STRENGTH_STEP, BURNISH_STEP = 0.05, 0.05, 0.05
USUAL_PASSES, USUAL_TEMPS_C = 12, (90, 125)
BEYOND_C = 15
"""How far beyond the coolest and the hottest plate the heat can be moved, in °C."""


def ask_to_vary(studio: Studio, draft: Draft, trials: list[Trial]) -> Recipe | None:
    """Show the sliders, or the whole recipe as a form; return the recipe as it stands, None while it is unfinished."""
    slot = "predicted.how"

    def anew() -> None:
        draft.fill(standing(draft))  # the same fields get other widgets

    how = st.segmented_control(
        "How to change it",
        [SLIDE, WHOLE],
        default=SLIDE,
        required=True,
        format_func=literal,
        key=slot,
        on_change=anew,
        label_visibility="collapsed",
    )
    if how == WHOLE:
        return RecipeForm(draft, trials, bottles(studio), strict=False).show()
    _sliders(draft, _spans(draft, trials))
    return recipe_of({**draft.values, **_as_shown(draft)})


def _sliders(draft: Draft, spans: dict[str, tuple[float, float]]) -> None:
    if draft.get("under_on"):
        name = literal(str(draft.get("under_chemical")))
        _slider(draft, f"Undercoat strength: {name}", "under_strength", spans, STRENGTH_STEP)
        _slider(draft, "Burnished back", "under_burnish", spans, BURNISH_STEP)
    for number in range(int(draft.get("coats") or 0)):
        prefix, name = f"coat{number}_", literal(str(draft.get(f"coat{number}_chemical")))
        _slider(draft, f"Passes: {name}", f"{prefix}passes", spans, 1)
        _slider(draft, f"Strength: {name}", f"{prefix}strength", spans, STRENGTH_STEP)
        temp_c = draft.shown(f"{prefix}surface_temp_c")
        heat = "" if temp_c is None else f": {in_both_degrees(temp_c)}"
        _slider(draft, f"Surface{heat}", f"{prefix}surface_temp_c", spans, 1)
    if not draft.get("under_on") and not draft.get("coats"):
        st.html('<p class="pm-soft">Bare metal: there is nothing to move. Add a coat under “The whole recipe”.</p>')


def _slider(draft: Draft, label: str, name: str, spans: dict[str, tuple[float, float]], step: float) -> None:
    if draft.shown(name) is None or name not in spans:
        return  # was emptied in the form: what is missing is asked for there
    kind = int if name.endswith("passes") else float
    low, high = (kind(end) for end in spans[name])
    field = draft.field(name)
    # what was typed in the form may be more or less than a recipe holds: the slider stands as near as it can
    st.session_state[field["key"]] = kind(min(max(st.session_state[field["key"]], low), high))
    shape = {"passes": "%d", "strength": "%.2f of stock", "surface_temp_c": "%.0f °C"}
    form = next((form for end, form in shape.items() if name.endswith(end)), "%.2f")
    st.slider(label, low, high, step=kind(step), format=form, **field)


def _as_shown(draft: Draft) -> dict[str, Any]:
    """Return the fields that sliders show, as they stand now."""
    return {name: draft.shown(name) for name in draft.values if name.startswith(("under_", "coat"))}


def _spans(draft: Draft, trials: Iterable[Trial]) -> dict[str, tuple[float, float]]:
    """Return from where to where each figure can be moved; it stays so while it is moved.

    From what the log holds and a little beyond; wherever the recipe stands is within.
    """
    slot = f"predicted.spans.{draft.key('')}"
    if slot not in st.session_state:
        coats = [coat for trial in trials for coat in trial.recipe.coats]
        temps = [coat.surface_temp_c for coat in coats if coat.surface_temp_c is not None]
        most = max([USUAL_PASSES, *(coat.passes for coat in coats if coat.passes is not None)])
        coolest, hottest = min([*USUAL_TEMPS_C, *temps]) - BEYOND_C, max([*USUAL_TEMPS_C, *temps]) + BEYOND_C
        spans: dict[str, tuple[float, float]] = {}
        for name, value in draft.values.items():
            if not name.startswith(("under_", "coat")) or not isinstance(value, int | float):
                continue
            if name.endswith("strength"):
                spans[name] = LEAST_STRENGTH if value <= 0 else min(LEAST_STRENGTH, value), 1.0
            elif name.endswith("burnish"):
                spans[name] = 0.0, 1.0
            elif name.endswith("passes"):
                spans[name] = 1, min(MAX_PASSES, max(most, value) + 4)
            elif name.endswith("temp_c"):
                low, high = SURFACE_TEMP_RANGE_C
                spans[name] = max(low, min(coolest, value)), min(high, max(hottest, value))
        st.session_state[slot] = spans
    held: dict[str, tuple[float, float]] = st.session_state[slot]
    return held
