"""A colour from elsewhere than a photograph: an instrument's figures or file, or a match in Munsell notation.

Figures are read as they are typed; a file is kept beside the draft that names it, so that a reload brings its colours
back and another target never begins with them.
"""

from __future__ import annotations

import base64
import hashlib
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import InstrumentFileError, MatcherError
from matcher.instrument.choices import LIGHTS, what_is_open
from ui.escaped import escaped
from ui.photograph.lab_fields import lab_fields
from ui.reading.file_choices import FIELDS, choices_of_file
from ui.show import look
from ui.show.literal import literal
from ui.show.swatches import figures, show_reading
from ui.state.drafts import Draft
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.instrument.files import InstrumentFile
    from matcher.reading.reading import Reading
    from matcher.studio import Studio

WAYS = {"figures": "Figures", "file": "Instrument's file", "munsell": "Munsell"}
OBSERVERS = {"2": "2°", "10": "10°"}


def typed_in(studio: Studio, draft: Draft, name: str) -> tuple[Reading | None, Any]:
    """Take a colour without a photograph; return it, or None when there is none yet, and the column beside."""
    fields_side, words_side = st.columns([1.75, 1], gap="medium")
    reading, said, wanted = None, "", ""
    with fields_side, look.panel(f"typed-{draft.form}"):
        field = draft.field("typed_way", "figures")
        way = st.segmented_control(
            "How is the colour given?", list(WAYS), format_func=WAYS.__getitem__, required=True, **field
        )
        try:
            if way == "file":
                reading, said, wanted = _from_file(studio, draft)
            elif way == "munsell":
                reading, said, wanted = _from_munsell(draft)
            else:
                reading, said, wanted = _from_figures(draft)
        except MatcherError as error:
            tell(str(error))
    with words_side:
        if reading is not None or wanted:
            st.header(literal(name), anchor=False)
        if reading is not None:
            show_reading(reading, name, said)
        elif wanted:
            st.html(f"<p>{wanted}</p>")
    return reading, words_side


Given = tuple["Reading | None", str, str]
"""A reading or None, what to say beside it, and what to ask for while there is none."""


def _from_figures(draft: Draft) -> Given:
    """Take L*, a*, b*; light, observer and uncertainty are folded away, being the usual ones most often."""
    from matcher.instrument.measured import lab_reading

    values = lab_fields(draft, draft.form, ("lab_l", "lab_a", "lab_b"))
    st.html(
        '<p class="pm-soft">From a spectrophotometer set to D50 and the 2° observer, specular reflection '
        "excluded (SCE).</p>"
    )
    with st.expander("Other settings, or a known uncertainty"):
        light = st.selectbox("Light", LIGHTS, **draft.field("lab_light", "D50"))
        observer = st.segmented_control(
            "Observer", list(OBSERVERS), format_func=OBSERVERS.__getitem__, required=True,
            **draft.field("lab_observer", "2"),
        )  # fmt: skip
        sigma = st.number_input(
            "Standard uncertainty of L*, a* and b*", value=None, step=None, format="%g",
            placeholder="usually 0.3", **draft.field("lab_sigma"),
        )  # fmt: skip
    if any(value is None for value in values):
        return None, "", "Enter all three values as the instrument shows them."
    return lab_reading(values, light or "D50", observer or "2", sigma), "", ""


def _from_munsell(draft: Draft) -> Given:
    """Take a Munsell notation."""
    from matcher.instrument.munsell import munsell_reading

    notation = st.text_input("Munsell notation", placeholder="5YR 3/4", live=True, **draft.field("munsell", ""))
    st.html(
        '<p class="pm-soft">Hue, value and chroma of the chip that matches best by eye, in daylight, chip and finish '
        "side by side. A grey is N 5/.</p>"
    )
    if not (notation or "").strip():
        return None, "", "Type the notation of the chip."
    said = f"From {notation.strip()}, illuminant C and the 2° observer, converted to D50."
    return munsell_reading(notation), said, ""


def _from_file(studio: Studio, draft: Draft) -> Given:
    """Take a file that an instrument wrote, and one of the colours in it."""
    kept = _kept_file(studio, draft)
    if kept is None:
        _upload(studio, draft)
        return None, "", "The colours of the file are listed once it is read."
    name = str(kept.get("name"))
    data = base64.b64decode(kept.get("data"))
    try:
        file = choices_of_file(draft, lambda answers: _file(data, name, tuple(sorted(answers.items()))))
    except InstrumentFileError:
        forget_file(studio, draft)
        raise
    samples = file.samples
    if not samples:
        _another_file(studio, draft)
        asks = "" if file.unanswered is None else what_is_open(file.unanswered)
        return None, "", f"{escaped(name)} leaves a choice to you. {escaped(asks)}"
    field = draft.field("file_sample", 0)
    if st.session_state[field["key"]] not in range(len(samples)):
        st.session_state[field["key"]] = 0
    number = st.selectbox(
        f"Colour in {literal(name)}",
        range(len(samples)),
        format_func=lambda k: f"{samples[k].name}: {figures(samples[k].reading.lab)}",
        **field,
    )
    _another_file(studio, draft)
    sample = samples[number or 0]
    return sample.reading, f"{sample.name}, given as {sample.given_as}.", ""


def _another_file(studio: Studio, draft: Draft) -> None:
    if st.button("Use another file", type="tertiary", key=f"{draft.form}.file.other"):
        forget_file(studio, draft)
        st.rerun()


def forget_file(studio: Studio, draft: Draft) -> None:
    """Forget the instrument's file that a form names, when there is one: it has been used, or another one is wanted."""
    kept = _kept_file(studio, draft)
    if kept is not None:
        kept.drop()
        draft.forget(("file", "file_sample", *FIELDS.values()))


def _kept_file(studio: Studio, draft: Draft) -> Draft | None:
    """Return the draft that holds the file a form names, or None."""
    kept = Draft(studio, draft.get("file")) if draft.get("file") else None
    return kept if kept is not None and kept.get("data") else None


def _upload(studio: Studio, draft: Draft) -> None:
    file = st.file_uploader(
        "Instrument's file", key=f"{draft.form}.file.upload", label_visibility="collapsed", max_upload_size=16
    )
    st.html(
        '<p class="pm-soft">CGATS text (ISO 28178), CxF3 (ISO 17972) or CSV, with CIELAB, XYZ or spectra. '
        "Spectra are the most accurate: no light or observer has to be stated.</p>"
    )
    if file is None:
        return
    with st.spinner("Reading the file…"):
        _file(file.getvalue(), file.name, ())
    form = f"{draft.form} file {hashlib.sha256(file.getvalue()).hexdigest()[:16]}"
    Draft(studio, form).set(name=file.name, data=base64.b64encode(file.getvalue()).decode("ascii"))
    draft.forget(("file_sample", *FIELDS.values()))
    draft.set(file=form)
    st.rerun()


@st.cache_resource(show_spinner=False, max_entries=8)
def _file(data: bytes, name: str, answers: tuple[tuple[str, str], ...]) -> InstrumentFile:
    from matcher.instrument.files import read_file

    return read_file(data, name, dict(answers))
