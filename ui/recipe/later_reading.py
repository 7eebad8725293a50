"""A plate's readings besides its own, in the log: those on the way, and ones taken later, cool or sealed.

A reading before sealing and one after it teach what the seal does to a colour.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.recipe.stages import is_on_the_way
from matcher.trials.trial import StageReading
from matcher.words import capital
from ui.escaped import escaped
from ui.photograph.plates_there import keep_seen
from ui.reading.colour_in import colour_in
from ui.reading.typed_in import forget_file
from ui.show.swatches import field, figures
from ui.state.drafts import Draft
from ui.state.messages import tell, told

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.trials.trial import Trial

LATER = {"cool": "Cool", "waxed": "Waxed", "lacquered": "Lacquered"}
SAID = {"bare": "The bare metal", "undercoat": "The undercoat", **LATER}


def show_stages(stages: tuple[StageReading, ...]) -> None:
    """List readings taken on the way or later."""
    rows = "".join(
        f'<div class="pm-read"><div class="pm-mat">{field(step.reading.lab, stage_in_words(step.stage))}</div>'
        f"<p><b>{escaped(stage_in_words(step.stage))}</b><br>"
        f'<span class="pm-soft pm-figures">{figures(step.reading.lab)}</span></p></div>'
        for step in stages
    )
    st.html(rows)


def stage_in_words(stage: str) -> str:
    """Say a stage as the page does: "After pass 3"."""
    if is_on_the_way(stage):
        return f"After {stage}"
    return SAID.get(stage, capital(stage))


def add_later(studio: Studio, trial: Trial) -> None:
    """Ask for a reading that was taken later, and add it to the plate."""
    draft = Draft(studio, f"reading of plate {trial.id}")
    begun = bool(draft.values)
    if said := draft.said():
        tell(said, "done")
    with st.expander("Add a reading (cool, waxed, lacquered)", expanded=begun):
        st.html(
            "<p>A plate read before and after sealing teaches what wax or lacquer does to a colour, which the bench "
            "needs for a sealed target.</p>"
        )
        stage = st.segmented_control(
            "The plate is now",
            list(LATER),
            format_func=LATER.__getitem__,
            required=True,
            **draft.field("stage", "waxed"),
        )
        name = f"Plate {trial.id}, {LATER[str(stage)].lower()}"
        reading, beside = colour_in(studio, draft, "Mark the finish", name, trial.id)
        with beside or st.container():
            if reading is not None and st.button("Add this reading", type="primary", key=f"later.add.{trial.id}"):
                with told():
                    _add(studio, trial, StageReading(str(stage), reading), photographs_in(draft.values))
                    carried = studio.tag_of(trial.id or 0)
                    keep_seen(studio, draft, "" if carried is None else carried.tag)
                    forget_file(studio, draft)
                    draft.drop()
                    draft.say(f"The reading is added to plate {trial.id}: {LATER[str(stage)].lower()}.")
                    st.rerun()


def photographs_in(fields: Mapping[str, Any]) -> list[str]:
    """Return the photographs that a form's reading was made from: its own, and the frames with the lamp moved."""
    photo = fields.get("photo")
    return [] if photo is None else [photo, *fields.get("frames_used", ())]


def _add(studio: Studio, trial: Trial, step: StageReading, photographs: list[str]) -> None:
    studio.add_stage(trial.id or 0, step)
    for sha256 in photographs:
        studio.add_photo(trial.id or 0, sha256)
