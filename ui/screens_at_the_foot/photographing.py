"""How to photograph a finish so that its colour can be read, and how to make the reading surer."""

from __future__ import annotations

import streamlit as st

from ui.camera.example_photographs import show_examples
from ui.escaped import escaped
from ui.show import look
from ui.show.literal import literal
from ui.state.messages import told
from ui.state.places import CAMERA, COMPARE, REPEATS

SETTING_UP = (
    "Let the plate cool, and photograph it in the state that you want to match: bare, or sealed.",
    "Lay the grey card flat beside the finish, touching it if you can, facing the same way.",
    "Use one kind of light. Open shade or a window is best; lamps that lean to yellow or green make the reading less "
    "certain.",
    "Turn the plate until the shine goes away from the lens. What glares is left out of the reading.",
    "A dark plate that shines mirrors the walls too: hang a dark cloth where it mirrors the room.",
    "Keep your shadow, and coloured walls and clothes, off both the card and the plate.",
)
TAKING = (
    "Fill the frame with plate and card. Both must be sharp and wholly in the picture.",
    "No flash, no filters, no portrait or night setting.",
    "If the card comes out white, or the plate black, take another with less or more exposure.",
    "Use the file as the camera wrote it: picture messages change the colours.",
)
MARKING = (
    "Mark an even part of the finish. Leave edges, scratches and glare out.",
    "A mottled finish needs a large mark, so that light and dark parts are in it as they are on the piece.",
)
WITH_PLATES = (
    "Print a tag for each plate, and fix it flat beside the finish, not on it, once the metal is cold. Seal it against "
    "heat and water.",
    "Log the plate with the tag in its photograph, or mark its finish in a later one: after that once, it is found by "
    "itself.",
    "Lay plates of about the piece's colour beside it, close, flat, in the same light, without glare, each tag whole "
    "and sharp. One of like colour is worth more than many others.",
    "A plate can't make a reading surer than it is known itself: measure it, or photograph the tagged plates once "
    "beside a 24-patch chart in daylight.",
)
WHAT_IS_SAID = (
    "The plates that were found are drawn on the picture. It says which it was read by, which were left out and why; a "
    "tap leaves one out. The ± becomes smaller.",
    "“As logged, as far as the others can tell: ΔE00 4.7 at most”: the others read that plate too, and it may be as "
    "logged or differ by up to that much. It says how well the plate could be checked, not how far it is off.",
    "It works without a grey card too, and better with one. One plate alone is taken at its word.",
)
PLATES_CANNOT = (
    "Plates that all age alike agree with each other, and are believed: read one now and then with a chart or an "
    "instrument.",
    "A plate waxed or cleaned since it was logged is another colour: log that reading.",
    "Glare or shadow on a plate, or a tag on the wrong one, misleads as a wrong card would.",
)
CAUTIONS = (
    "Hot metal looks like cold metal. Let it cool before you lean over it with a camera, and keep the card and the "
    "phone away from the torch.",
    "Take the gloves off, and wash your hands, before you touch a phone or a laptop: salts and acids travel on "
    "fingers.",
    "Do not photograph over open baths, or during spraying: fumes harm you and the lens.",
)

MORE_ACCURATE = (
    (CAMERA, "Photograph a 24-patch chart once under your light. Under shop lamps most of the error goes."),
    (COMPARE, "Put two finishes in one photograph: what the camera gets wrong, it gets wrong for both."),
    (
        REPEATS,
        "Photograph one plate three times, set up from scratch each time, and see which differences you can trust.",
    ),
)


def show() -> None:
    look.title(
        "How to photograph a finish", "A phone is enough. The grey card and the light matter more than the camera."
    )
    sections = _section("Set it up", SETTING_UP) + _section("Take it", TAKING) + _section("Mark it", MARKING)
    st.html(f'<div class="pm-three">{sections}</div>')
    _examples()
    _with_plates()
    _more_accurate()
    _carrier_sheet()
    st.header("Cautions", anchor=False)
    items = "".join(f"<li>{escaped(text)}</li>" for text in CAUTIONS)
    st.html(f'<ul class="pm-warnings">{items}</ul>')


def _examples() -> None:
    """Show good and bad photographs of one plate, with what was read from each."""
    from matcher.demo_examples import read_examples

    st.header("One plate, photographed well and badly", anchor=False)
    st.html(
        "<p>The plate is invented and its true colour is known, so each reading can be held against it. ΔE00 2 is a "
        "close match.</p>"
    )
    with told():
        show_examples(read_examples())


def _with_plates() -> None:
    """Say what plates of known colour in a picture are good for, how to lay them, and what they can't do."""
    st.header("With plates of known colour beside it", anchor=False)
    st.html(
        "<p>A card shows what camera and light do to grey; a logged plate with a tag shows what they do to a finish "
        "like it, and the photograph is read by it too.</p>"
    )
    parts = (("Lay them", WITH_PLATES), ("What it then says", WHAT_IS_SAID), ("What it can't do", PLATES_CANNOT))
    st.html(f'<div class="pm-three">{"".join(_section(name, lines, "h3") for name, lines in parts)}</div>')


def _more_accurate() -> None:
    """Point to the pages that make readings surer."""
    st.header("To improve accuracy", anchor=False)
    for place, why in MORE_ACCURATE:
        with st.container(key=f"onward-{place.address}", gap=None):
            st.page_link(place.file, label=literal(place.title))
            st.html(f'<p class="pm-soft">{escaped(why)}</p>')


def _carrier_sheet() -> None:
    """Offer the printable sheet that makes a grey card easy to find."""
    st.header("A sheet that holds the grey card", anchor=False)
    st.html(
        "<p>Print it at true size, cut out the window, and fix your grey card behind it. The four printed corners let "
        "the card be found at any angle.</p>"
    )
    st.download_button(
        "Carrier sheet to print", _carrier_pdf, "carrier-sheet.pdf", "application/pdf", on_click="ignore"
    )


def _carrier_pdf() -> bytes:
    from matcher.card.card import load_cards
    from matcher.card.printable import carrier_sheet

    return carrier_sheet(load_cards()["carrier sheet"])


def _section(name: str, lines: tuple[str, ...], heading: str = "h2") -> str:
    items = "".join(f"<li>{escaped(line)}</li>" for line in lines)
    return f'<section><{heading}>{name}</{heading}><ul class="pm-steps">{items}</ul></section>'


show()
