"""Note how much of a solution was used: what is left of the bottle, and what a pass takes, follow from it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.bench.mixing import likeliest_first, noted_uses
from matcher.bench.mixing_wording import fraction, ml
from matcher.dates import shown
from matcher.errors import MatcherError
from matcher.recipe.names import each_once
from matcher.recipe.usage import USUAL_ML_PER_M2, pass_rate
from matcher.words import counted
from ui.escaped import escaped
from ui.recipe.mix_link import FORM as MIXED_FOR
from ui.recipe.mix_link import recipe_in
from ui.show import look
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.open_studio import newest

if TYPE_CHECKING:
    from matcher.bench.mixing import LayerMix
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio
    from matcher.trials.stocks import SolutionUse

FORM, USED = "solution use", "used"
SAID = "use.said"
LATEST = 12
PLATES_OFFERED = 500


def show_using(studio: Studio) -> None:
    draft = Draft(studio, FORM)
    uses = studio.bottles.uses()
    if said := st.session_state.pop(SAID, None):
        tell(said, "done")
    left, right = st.columns([1.25, 1], gap="medium")
    with left, look.panel("use-form"):
        _form(studio, draft, uses)
    with right, st.container(key="flask-known"):
        _known(uses)
    _latest(studio, uses)


def note_for(studio: Studio, mix: LayerMix, area_cm2: float) -> None:
    """Show the form with what is known of a layer that was mixed; how much of it was used is asked."""
    application = getattr(mix.layer, "application", "")
    known = {
        "stock": "" if mix.stock is None else mix.stock.label,
        "strength": mix.strength if mix.measured is None else round(mix.measured.strength, 4),
        "area": area_cm2,
        "passes": float(mix.passes),
        **({"application": application} if application else {}),
    }
    draft = Draft(studio, FORM)
    draft.fill({"who": draft.get("who", ""), **known})
    st.query_params["part"] = USED
    st.rerun()


def _form(studio: Studio, draft: Draft, uses: list[SolutionUse]) -> None:
    bottles = likeliest_first(_in_question(studio, draft), studio.stocks(), uses, studio.last_mixed_from())
    there = [stock.label for stock in bottles]
    if not there:
        tell("Make a bottle first: what is used is used of one.", "warning")
        return
    field = draft.field("stock", there[0])
    if st.session_state[field["key"]] not in there:
        st.session_state[field["key"]] = there[0]
    label = st.selectbox("Bottle", there, format_func=literal, **field)
    one, two = st.columns(2, wrap=False, vertical_alignment="bottom")
    with one:
        millilitres = _number("Used, ml", draft, "ml", None, 5.0)
        area = _number("Area, cm²", draft, "area", 100.0, 50.0)
    with two:
        strength = _number("At strength", draft, "strength", 0.5, 0.05)
        passes = _number("Passes", draft, "passes", None, 1.0)
    ways = list(each_once([*(use.application for use in reversed(uses) if use.application), *USUAL_ML_PER_M2]))
    way = draft.field("application", ways[0])
    standing = st.session_state[way["key"]]
    if standing and standing not in ways:
        ways.insert(0, standing)
    application = st.selectbox("Laid on as", ways, accept_new_options=True, **way)
    plates = [trial.id or 0 for trial in newest(studio, PLATES_OFFERED)]
    if (chosen := draft.get("plate")) and int(chosen) not in plates:
        plates.append(int(chosen))
    plate = st.selectbox(
        "For plate", plates, format_func=lambda number: f"Plate {number}", placeholder="not logged, or no plate",
        **{"index": None, **draft.field("plate", None)},
    )  # fmt: skip
    who = st.text_input("Noted by", live=True, **draft.field("who", ""))
    if st.button("Note it", type="primary", key="use.keep"):
        _keep(studio, draft, str(label), millilitres, strength, area, passes, str(application or ""), plate, who or "")


def _in_question(studio: Studio, draft: Draft) -> list[Recipe]:
    """Return the recipes that something was likely used for: the plate's, what was mixed for, those on the bench."""
    plate = draft.get("plate")
    found = [trial.recipe for trial in newest(studio, PLATES_OFFERED) if plate and trial.id == int(plate)]
    mixed_for = recipe_in(Draft(studio, MIXED_FOR))
    found += [] if mixed_for is None else [mixed_for]
    return [*found, *(piece.recipe for piece in studio.shelf.pieces())]


def _keep(
    studio: Studio,
    draft: Draft,
    label: str,
    millilitres: float | None,
    strength: float | None,
    area: float | None,
    passes: float | None,
    application: str,
    plate: int | None,
    who: str,
) -> None:
    from matcher.trials.stocks import SolutionUse

    if millilitres is None or strength is None:
        tell("Fill in how many millilitres were used, and at which strength. Everything you typed is saved.")
        return
    try:
        whole = None if passes is None else passes
        studio.bottles.note_use(
            SolutionUse(label, strength, millilitres, area, whole, application, plate, who=who)  # type: ignore[arg-type]
        )
    except MatcherError as error:
        tell(f"{error} Everything you typed is saved.")
        return
    draft.forget(["ml", "passes", "stock"])
    told_rate = "" if area and passes else " Without area and passes it tells nothing of what a pass takes."
    st.session_state[SAID] = f"Noted: {ml(millilitres)} of {label}.{told_rate}"
    st.rerun()


def _known(uses: list[SolutionUse]) -> None:
    """Say what a pass takes, by the way of laying on."""
    used = noted_uses(uses)
    ways = each_once([*(use.application for use in used if use.application), "fine mist"])
    items = "".join(f"<li>{escaped(pass_rate(used, way).sentence)}</li>" for way in ways)
    st.html(
        f'<strong>What a pass takes</strong><ul class="pm-steps">{items}</ul><p class="pm-soft">Weigh or measure the '
        "bottle before and after: the difference, the area and the passes are all that is needed.</p>"
    )


def _latest(studio: Studio, uses: list[SolutionUse]) -> None:
    if not uses:
        return
    with st.expander(f"Noted so far ({len(uses)})"):
        for use in list(reversed(uses))[:LATEST]:
            words, action = st.columns([4, 1.2], vertical_alignment="center")
            words.html(f"<p>{escaped(_line(use))}</p>")
            if action.button("Take back", type="tertiary", key=f"use.back.{use.uid}"):
                with told():
                    studio.bottles.take_back_use(str(use.uid))
                    st.rerun()


def _line(use: SolutionUse) -> str:
    said = [
        shown(use.at),
        f"{ml(use.millilitres)} of {use.stock} at {fraction(use.strength)}",
        f"{use.area_cm2:g} cm²" if use.area_cm2 is not None else "",
        counted(use.passes, "pass") if use.passes is not None else "",
        use.application,
        f"plate {use.trial_id}" if use.trial_id is not None else "",
        use.who,
    ]
    return " · ".join(part for part in said if part)


def _number(label: str, draft: Draft, name: str, default: float | None, step: float) -> float | None:
    return st.number_input(label, value=None, min_value=0.0, step=step, format="%g", **draft.field(name, default))
