"""The photograph of a plate or a target read again: begun as it was read before, changed where more is known, kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.colour.difference import delta_e_2000
from matcher.dates import shown
from matcher.trials.trial import FINISHED
from ui.draw import Shape
from ui.escaped import escaped
from ui.reading.colour_in import colour_in
from ui.reading.profile_line import NAMED, NONE
from ui.recipe.later_reading import stage_in_words
from ui.show import look
from ui.show.swatches import lab_line, pair
from ui.state.drafts import Draft
from ui.state.light import CardChoice
from ui.state.messages import tell, told

if TYPE_CHECKING:
    from matcher.commissions.read_again import EarlierReading, Owner
    from matcher.reading.reading import Reading
    from matcher.studio import Studio


def offer_to_read_again(studio: Studio, owner: Owner, reading: Reading) -> None:
    """Show the button that begins it, and the readings that stood here before."""
    draft = _draft(studio, owner)
    if said := draft.said():
        tell(said, "done")
    if (
        reading.photo is not None
        and not draft.get("photo")
        and st.button("Read its photograph again", type="tertiary", key=f"{draft.form}.begin")
    ):
        draft.fill(begun_from(studio, reading))
        st.rerun()
    _by_which_plates(reading)
    _earlier(studio.readings.earlier(owner.kind, owner.number), owner.stage)


def _by_which_plates(reading: Reading) -> None:
    """Say which plates a kept reading was made by, and which a person left out of it."""
    from matcher.reading.wording import known_by_in_words

    if by := known_by_in_words(reading):
        st.html(f'<p class="pm-soft">{escaped(by)}</p>')


def reading_again(studio: Studio, owner: Owner, name: str, reading: Reading) -> bool:
    """Show the form over the page's whole width when it was begun; tell whether it was. Nothing is replaced until the
    person says so.
    """
    draft = _draft(studio, owner)
    if not draft.get("photo"):
        return False
    with look.panel(f"again-{owner.kind}-{owner.number}"):
        _form(studio, draft, owner, name, reading)
    return True


def _draft(studio: Studio, owner: Owner) -> Draft:
    return Draft(studio, f"again {owner.kind} {owner.number} {owner.stage}")


def begun_from(studio: Studio, reading: Reading) -> dict[str, Any]:
    """Return a form's fields as they were when a reading was made, as far as it tells."""
    from matcher.reading.reading import Conditions

    taken = reading.conditions or Conditions()
    region = None if reading.region is None else tuple((float(x), float(y)) for x, y in reading.region)
    card = None if not taken.noted else _card(studio, reading).as_dict()
    return {
        "photo": reading.photo,
        "card": card,
        "finishes": [] if region is None else [Shape("outline", region).as_dict()],
        "daylight": taken.light == "daylight",
        "same_light": taken.profile if taken.light == "profile" else "",
        "profile": NAMED + taken.profile if taken.profile else NONE if taken.noted else None,
        "pale_spots": taken.pale_spots,
        "plates_out": [item.tag for item in taken.left_out],
    }


def _card(studio: Studio, reading: Reading) -> CardChoice:
    """Return the card as the reading was made by it; a measured one by its name, where it is still kept."""
    taken = reading.conditions.card if reading.conditions else None
    if taken is None:
        return CardChoice("none")
    if taken.found_by == "neutral spot":
        return CardChoice("neutral", region=taken.corners)
    own = None
    if taken.lab is not None:
        kept = (
            card for card in studio.own_cards() if card.lab.reshape(-1, 3).tolist() == [list(lab) for lab in taken.lab]
        )
        own = next((card.name for card in kept), None)
    return CardChoice("card", taken.kind, own, taken.corners if taken.found_by == "corners" else None)


def _form(studio: Studio, draft: Draft, owner: Owner, name: str, before: Reading) -> None:
    st.html(
        "<p>It begins as it was read before. Change what you know better by now: the outline, the card, the light, the "
        "camera profile. The earlier reading stays in the history.</p>"
    )
    from matcher.commissions.read_again import nothing_changed

    after, beside = colour_in(studio, draft, "Mark the finish", name, owner.number if owner.kind == "plate" else None)
    with beside or st.container():
        if after is not None:
            apart = float(delta_e_2000(before.lab, after.lab))
            st.html(
                pair(before.lab, after.lab, "Before", "Now")
                + f'<p class="pm-soft">Before: </p>{lab_line(before)}<p class="pm-soft">ΔE00 {apart:.1f} apart.</p>'
            )
            why = st.text_input(
                "Why is it read again?", placeholder="it was daylight after all", live=True, **draft.field("why", "")
            )
            unchanged = nothing_changed(before, after)
            if unchanged:
                tell("Nothing changed: the colour and its ± are as they were.", "done")
            if st.button("Keep this reading", type="secondary" if unchanged else "primary", key=f"{draft.form}.keep"):
                with told():
                    not_kept = studio.replace_reading(owner, after, before, why or "")
                    draft.drop()
                    said = [caveat.message for caveat in not_kept]
                    draft.say(" ".join(["The new reading is kept; the earlier one is in the history.", *said]))
                    st.rerun()
        if st.button("Leave it as it was", type="tertiary", key=f"{draft.form}.leave"):
            draft.drop()
            st.rerun()


def _earlier(found: list[EarlierReading], stage: str) -> None:
    """List the readings that stood here before."""
    those = [item for item in found if item.owner.stage == stage]
    if not those:
        return
    with st.expander(f"Earlier readings ({len(those)})"):
        for item in reversed(those):
            who = f", {item.who}" if item.who else ""
            of = "" if stage == FINISHED else f"{stage_in_words(stage)}: "
            st.html(
                f"{lab_line(item.reading)}"
                f'<p class="pm-soft">{escaped(f"{of}until {shown(item.replaced_at)}{who}: {item.why}")}</p>'
            )
            _by_which_plates(item.reading)
