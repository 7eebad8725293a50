"""Sign-off on the page: the plate beside the target, how near it is in words, who approves it and in what light."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.commissions.control_chart import how_finely_judged
from matcher.commissions.known import compared
from matcher.commissions.sign_off import approved_reading
from matcher.commissions.wording import compared_in_words, figures_in_words
from ui.escaped import escaped
from ui.recipe.print_card import say_what_prints_not
from ui.show import look
from ui.show.literal import literal
from ui.show.patches import patch_strip, plate_patch, target_patch
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.commissions.commission import Area
    from matcher.commissions.known import Known
    from matcher.studio import Studio
    from matcher.trials.trial import Target, Trial

LARGE = 480


def sign_off_form(studio: Studio, known: Known, area: Area) -> None:
    """Ask for all that a sign-off needs, plate and target large above it; nothing is frozen before the button."""
    target, plates = known.target_of(area), known.plates_for(area)
    look.title(f"Sign off {area.name}", f"{known.commission.title}. What is approved is frozen from then on.")
    if st.button("Back to the commission", type="tertiary", icon=":material/arrow_back:", key="sign.back"):
        _leave()
    if target is None or not plates:
        tell(f"Log a plate for {area.name} first: there is nothing yet that could be approved.", "warning")
        return
    draft = Draft(studio, f"sign-off of area {area.id}")
    nearest = known.nearest_for(area)
    plate = _which(draft, plates, nearest.trial if nearest is not None else plates[-1])
    _beside(target, plate)
    with look.panel(f"sign-{area.id}"):
        signed_by = st.text_input(
            "Approved by", placeholder="the client or the sculptor", live=True, **draft.field("signed_by", "")
        )
        light = st.text_input(
            "In what light it was judged", placeholder="daylight, north window", live=True, **draft.field("light", "")
        )
        note = st.text_input(
            "Note", placeholder="a little less green at the neck", live=True, **draft.field("note", "")
        )
        st.html(
            '<p class="pm-soft">Judge the plate itself, in the light that the piece will stand in. The target is '
            "frozen, and every further cast is aimed at this plate. A sign-off can be withdrawn with a reason, and "
            "stays in the record.</p>"
        )
        if st.button(literal(f"Sign off plate {plate.id}"), type="primary", key=f"sign.{area.id}"):
            with told():
                studio.sign_offs.sign(area.id or 0, plate.id or 0, signed_by or "", light or "", note or "", who())
                draft.drop()
                _leave()


def _which(draft: Draft, plates: list[Trial], offered: Trial) -> Trial:
    """Ask which plate is approved; the nearest is offered."""
    by_number = {str(trial.id): trial for trial in reversed(plates)}
    field = draft.field("plate", str(offered.id))
    if st.session_state[field["key"]] not in by_number:
        st.session_state[field["key"]] = str(offered.id)
    number = st.selectbox("Plate that is approved", list(by_number), format_func=lambda key: f"Plate {key}", **field)
    return by_number[str(number)]


def _beside(target: Target, plate: Trial) -> None:
    seen = compared(plate, target)
    both = patch_strip([target_patch(target, LARGE), plate_patch(plate, LARGE)], ["wanted", f"plate {plate.id}"])
    st.html(
        f'<div class="pm-judged">{both}</div>'
        f"<p><b>Plate {plate.id} {escaped(compared_in_words(seen))}.</b> "
        f'<small class="pm-soft">{escaped(figures_in_words(seen))}</small></p>'
    )
    unsure = how_finely_judged(approved_reading(plate)[1])
    if unsure:
        tell(unsure, "warning")


def what_is_signed(studio: Studio, known: Known, area: Area) -> None:
    """Show the sign-off that stands, its sheet, and the way to withdraw it."""
    signed = known.sign_off_of(area)
    if signed is None:
        return
    from matcher.dates import shown

    stage = "" if signed.stage == "finished" else f", {signed.stage}"
    st.html(
        f"<p>Plate {signed.trial_id}{escaped(stage)}, approved by {escaped(signed.signed_by)} on "
        f"{shown(signed.at)}, in {escaped(signed.light)}.</p>"
        + (f'<p class="pm-notes">{escaped(signed.note)}</p>' if signed.note else "")
    )
    from matcher.printed import named_on_sheets

    say_what_prints_not(studio, named_on_sheets(known.commission), signed)
    with_recipe = st.toggle("Print the recipe on it too", key=f"sign.recipe.{area.id}")
    with st.container(horizontal=True, vertical_alignment="center"):
        st.download_button(
            "Print the sign-off",
            lambda: _sheet(studio, area, with_recipe),
            f"sign-off-{area.id}.pdf",
            "application/pdf",
            key=f"sign.sheet.{area.id}",
            on_click="ignore",
        )
    draft = Draft(studio, f"withdrawal of area {area.id}")
    reason = st.text_input(
        "Reason to withdraw the sign-off",
        placeholder="seen outdoors, too green",
        live=True,
        **draft.field("reason", ""),
    )
    if st.button("Withdraw the sign-off", key=f"sign.withdraw.{area.id}.{signed.id}"):
        with told():
            studio.sign_offs.withdraw(signed.id or 0, reason or "", who())
            draft.drop()
            st.rerun()


def _sheet(studio: Studio, area: Area, with_recipe: bool) -> bytes:
    from matcher.printed import signed_sheet

    return signed_sheet(studio, area.id or 0, with_recipe)


def _leave() -> None:
    st.query_params.pop("sign", None)
    st.rerun()
