"""How well readings repeat: one plate photographed several times shows which differences this set-up can tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.colour.difference import delta_e_2000
from ui.escaped import escaped
from ui.photograph.plate_photographs import bring_in_several, show_photographs, the_photographs
from ui.reading.repeat_marks import ask_for_marks, marks_of, read_all
from ui.show import look
from ui.show.swatches import field, show_warnings
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.open_studio import the_studio

if TYPE_CHECKING:
    from matcher.reading.reading import Reading
    from matcher.reading.repeatability import Repeatability
    from matcher.studio import Studio
    from ui.photograph.plate_photographs import PlatePhotograph

FEWEST = 3


def show() -> None:
    studio = the_studio()
    draft = Draft(studio, "repeats")
    look.title(
        "How well readings repeat",
        "Photograph one plate three times or more. Each time, set up plate, card and camera again from scratch, as "
        "you would on another day.",
    )
    bring_in_several(studio, draft)
    photographs = the_photographs(studio, draft)
    if not photographs:
        return
    numbers = {item.sha256: number for number, item in enumerate(photographs, start=1)}
    usable = [item for item in photographs if item.card is not None]
    with told():
        marks = {sha256: shape.points for sha256, shape in marks_of(studio, draft, usable).items()}
        show_photographs(studio, draft, photographs, marks)
        st.header("Mark the finish", anchor=False)
    with told():
        ask_for_marks(studio, draft, photographs)
    with told():
        if usable:
            _result(studio, draft, usable, numbers)


def _result(studio: Studio, draft: Draft, usable: Sequence[PlatePhotograph], numbers: dict[str, int]) -> None:
    from matcher.reading.repeatability import repeatability

    readings = read_all(studio, draft, usable, numbers)
    if not readings:
        return
    st.header("How much they vary", anchor=False)
    if len(readings) < FEWEST:
        tell(
            f"{len(readings)} of {FEWEST} readings: take more photographs of the plate, each set up from scratch.",
            "warning",
        )
        return
    found = repeatability(readings)
    table_side, words_side = st.columns([1.3, 1], gap="medium")
    with table_side:
        st.html(_table(readings, numbers, found))
        _to_mind(readings, numbers)
    with words_side:
        _in_words(draft, found)


def _to_mind(readings: Sequence[Reading], numbers: dict[str, int]) -> None:
    """Say which of the photographs has a fault of its own: one with glare widens the scatter."""
    from matcher.reading.repeatability import to_mind_of_each

    show_warnings(
        [
            replace(caveat, message=f"Photograph {numbers[readings[place].photo or '']}: {caveat.message}")
            for place, caveat in to_mind_of_each(readings)
        ]
    )


def _table(readings: Sequence[Reading], numbers: dict[str, int], found: Repeatability) -> str:
    rows = "".join(
        _row(f"{numbers[reading.photo or '']}", reading.lab, float(delta_e_2000(reading.lab, found.lab)))
        for reading in readings
    )
    mean = _row("mean", found.lab, None)
    return (
        '<table class="pm-changes pm-readings"><thead><tr><th></th><th>No.</th><th>L*</th><th>a*</th>'
        f"<th>b*</th><th>ΔE00 from mean</th></tr></thead><tbody>{rows}{mean}</tbody></table>"
    )


def _row(name: str, lab: Any, away: float | None) -> str:
    values = "".join(f"<td>{value:.1f}</td>" for value in lab)
    distance = "" if away is None else f"{away:.1f}"
    return (
        f'<tr{" class=pm-new" if away is None else ""}><td><div class="pm-mat tight"><div class="pm-pair">'
        f"{field(lab, f'Photograph {name}')}</div></div></td><th>{name}</th>{values}<td>{distance}</td></tr>"
    )


def _in_words(draft: Draft, found: Repeatability) -> None:
    st.html(
        f'<p class="pm-distance">ΔE00 {found.smallest_delta_e00:.1f} <small>is the smallest difference between two '
        "plates that this set-up can detect from one photograph of each</small></p>"
        f'<p class="pm-said">{escaped(found.words)}</p>'
    )
    tolerance = st.number_input("For a tolerance of ΔE00", step=0.5, format="%g", **draft.field("tolerance", 2.0))
    with told():
        st.html(f'<p class="pm-tell">{escaped(found.for_tolerance(tolerance or 0.0))}</p>')
    show_warnings(found.caveats)
    st.html(
        '<p class="pm-soft">An error that all the readings share, such as a card that is off, does not show here.</p>'
    )


show()
