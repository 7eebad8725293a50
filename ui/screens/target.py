"""The target: the finish that a client wants, from a photograph or typed, becomes a saved Target.

Read for an area of a commission ("area" in the address) it takes that commission's tolerance and alloy, and leads back.
Any number may be half read ("form" in the address).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from matcher.typed import whole_number
from ui.photograph.plates_there import keep_seen
from ui.reading.colour_in import colour_in
from ui.reading.typed_in import forget_file
from ui.show import look
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.open_studio import choose_target, the_studio
from ui.state.places import COMMISSIONS, SUGGESTIONS
from ui.state.who import who
from ui.suggestions.change_target import set_aside_before
from ui.suggestions.todays_limits import ask_alloy_of_job, keep_alloy_of_job
from ui.target.half_read import FORMS, form_for_area, open_form, put_by, show_half_read

if TYPE_CHECKING:
    from matcher.commissions.commission import Area, Commission
    from matcher.reading.reading import Reading
    from matcher.studio import Studio


def show() -> None:
    studio = the_studio()
    draft = _form(studio)
    look.title(
        "The finish to match",
        "Start from the client's photograph. A grey card in the picture makes the reading far more accurate.",
    )
    with st.container(key="target.above"):  # what comes and goes in it does not unseat a field that is being typed in
        show_half_read(studio, draft)
        area = _for_area(studio, draft)
    reading, beside = colour_in(studio, draft, "Mark the finish", "Target")
    if reading is not None:
        with beside or st.container():
            _save(studio, draft, reading, area)
    put_by(studio, draft)  # below: on a phone what was proposed stands in the first screen
    set_aside_before(studio)


def _form(studio: Studio) -> Draft:
    """Return the form to show; an area that the address names has one of its own."""
    area = whole_number(st.query_params.pop("area", ""))
    return open_form(studio) if area is None else form_for_area(studio, area)


def _for_area(studio: Studio, draft: Draft) -> tuple[Commission, Area] | None:
    """Say for which area the target is read, where it is for one; it stays so until the target is saved."""
    if not draft.get("area"):
        return None
    try:
        commission, area = studio.commissions.area(draft.get("area"))
    except MatcherError as error:
        tell(str(error), "warning")
        draft.forget(["area"])
        return None
    with st.container(horizontal=True, vertical_alignment="center"):
        tell(f"For {area.name} of {commission.title}, in {commission.alloy}.", "done")
        if st.button("Not for this area", type="tertiary", key="target.no-area"):
            draft.forget(["area", "name", "tolerance"])
            st.rerun()
    return commission, area


def _save(studio: Studio, draft: Draft, reading: Reading, area: tuple[Commission, Area] | None) -> None:
    """Ask for a name and a tolerance, both filled in already, and for the alloy; and save."""
    name, tolerance = f"Target {len(studio.targets()) + 1}", 2.0
    if area is not None:
        name, tolerance = f"{area[0].title}, {area[1].name}", area[0].tolerance
    st.text_input("Name of the target", live=True, **draft.field("name", name))
    if area is None:
        ask_alloy_of_job(studio, draft)
    st.number_input(
        "A plate matches within ΔE00",
        step=0.5,
        format="%g",
        help="2 is a close match: side by side, most people just see the difference. 1 is hard to see.",
        **draft.field("tolerance", tolerance),
    )
    label = "Save and rank the plates" if area is None else f"Save it for {area[1].name}"
    if st.button(literal(label), type="primary", key="target.save"):
        with told():
            _saved(studio, draft, reading, area)


def _saved(studio: Studio, draft: Draft, reading: Reading, area: tuple[Commission, Area] | None) -> None:
    from matcher.trials.trial import Target

    target = studio.save_target(
        Target(
            name=_shown(draft, "name") or "",
            reading=reading,
            tolerance=_shown(draft, "tolerance"),
            photo=draft.get("photo"),
        )
    )
    keep_seen(studio, draft)
    if area is None:
        keep_alloy_of_job(studio, target, draft)
    else:
        studio.commissions.change_area(replace(area[1], target_id=target.id), area[1], who())
    forget_file(studio, draft)
    draft.drop()
    FORMS.close()
    choose_target(target)
    if area is not None:
        st.switch_page(COMMISSIONS.file, query_params={"commission": str(area[0].id)})
    st.switch_page(SUGGESTIONS.file, query_params={"target": str(target.id)})


def _shown(draft: Draft, name: str) -> Any:
    return st.session_state.get(draft.key(name))


show()
