"""All photographs that a camera profile fits, read again with it: what would change is shown, and kept when asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.colour.difference import delta_e_2000
from matcher.errors import MatcherError
from matcher.words import capital, counted
from ui.show.literal import literal
from ui.show.swatches import lab_line, pair
from ui.state.drafts import Draft
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.calibration.profile import CameraProfile
    from matcher.commissions.read_again import Proposal
    from matcher.studio import Studio

SAME, OTHER = "Yes, all of them", "Not all, or not sure"


def read_again_with(studio: Studio, draft: Draft, profile: CameraProfile, slug: str) -> None:
    """Offer to read again what a profile fits; ``slug`` is the profile's name as a key."""
    slot = f"profiles.again.{slug}"
    light = st.radio(
        "Were the photographs to be read again taken in this profile's light?",
        (OTHER, SAME),
        format_func=literal,
        help="When the camera balances white by itself the files do not show it, and without this the profile makes "
        "a reading hardly surer.",
        **draft.field(f"same.{slug}", OTHER),
    )
    if st.button("Read again what this profile fits", key=f"{slot}.begin"):
        st.session_state[slot] = _found(studio, profile, "profile" if light == SAME else None)
    found: list[Proposal] | None = st.session_state.get(slot)
    if found is None:
        return
    if not found:
        tell(f"No photograph that {profile.name} fits is left to read again.", "done")
        return
    _show(studio, draft, profile, slot, found)


def _found(studio: Studio, profile: CameraProfile, light: str | None) -> list[Proposal]:
    from matcher.commissions.read_again import proposals, readings_of

    kept = readings_of(studio.targets(), studio.trials())
    with st.spinner(f"Looking through {counted(len(kept), 'reading')} of photographs…"):
        return list(proposals(kept, studio.photo_path, profile, light, studio.known_in))


def _show(studio: Studio, draft: Draft, profile: CameraProfile, slot: str, found: list[Proposal]) -> None:
    chosen = []
    for one in found:
        owner = one.owner
        stage = "" if owner.stage == "finished" else f", {owner.stage}"
        who = f"{capital(owner.kind)} {owner.number}{stage}{f', {one.name}' if one.name else ''}"
        if one.after is None:
            tell(f"{who} stays as it is: {one.why}", "warning")
            continue
        words, colours = st.columns([1.6, 1], vertical_alignment="center")
        with words:
            if st.checkbox(literal(who), value=True, key=f"{slot}.{owner.kind}.{owner.number}.{owner.stage}"):
                chosen.append(one)
            apart = float(delta_e_2000(one.before.lab, one.after.lab))
            st.html(
                f'<p class="pm-soft">Before</p>{lab_line(one.before)}<p class="pm-soft">Now, '
                f"ΔE00 {apart:.1f} from it</p>{lab_line(one.after)}"
            )
        with colours:
            st.html(pair(one.before.lab, one.after.lab, "Before", "Now"))
    if st.button(f"Keep {counted(len(chosen), 'new reading')}", disabled=not chosen, key=f"{slot}.keep"):
        _keep(studio, draft, profile, chosen)
        st.session_state.pop(slot)
        st.rerun()


def _keep(studio: Studio, draft: Draft, profile: CameraProfile, chosen: list[Proposal]) -> None:
    """Keep the new readings one by one; what was changed meanwhile stays as it is, and is told."""
    kept, refused = 0, list[str]()
    for one in chosen:
        if one.after is None:
            continue
        try:
            why = f"read with the camera profile {profile.name}"
            not_kept = studio.replace_reading(one.owner, one.after, one.before, why)
            kept += 1
            refused += [caveat.message for caveat in not_kept]
        except MatcherError as error:
            refused.append(str(error))
    draft.say(" ".join([f"{counted(kept, 'new reading')} kept; the earlier ones are in the history.", *refused]))
