"""No line of the page breaks between a figure and its unit, and text that people read reaches HTML by one way."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ui.escaped import escaped, joined

UI = Path(__file__).parents[1] / "ui"
READ_BY_PROGRAMS = {
    "escaped.py": "it makes it",
    "show/literal.py": "plotly's own text",
    "sign_in/plain_pages.py": "forms and addresses",
    "photograph/picture_routes.py": "a drawing, whose lines are broken already",
    "photograph/intake.py": "a form's name",
    "people/by_code.py": "an address",
}
"""Files of the page that escape text for programs, and what it is."""


@pytest.mark.parametrize(
    ("apart", "kept"),
    [
        ("75 % sure", "75\u00a0% sure"),
        ("105 °C (221 °F)", "105\u00a0°C (221\u00a0°F)"),
        ("ΔE00 2.1 ± 0.4", "ΔE00\u00a02.1\u00a0±\u00a00.4"),
        ("400 g/L, 5 ml, 18 cm², 20 mm", "400\u00a0g/L, 5\u00a0ml, 18\u00a0cm², 20\u00a0mm"),
        ("per cent: % of 3", "per cent: % of 3"),
        ("5 mmols, 3 mlx", "5 mmols, 3 mlx"),
    ],
)
def test_a_figure_and_its_unit_stay_together_and_nothing_else_is_changed(apart: str, kept: str) -> None:
    assert joined(apart) == kept
    assert joined(kept) == kept and kept.replace("\u00a0", " ") == apart


def test_text_is_shown_sign_for_sign() -> None:
    assert escaped("<b>\"5 %\" & 'so'</b>") == "&lt;b&gt;&quot;5\u00a0%&quot; &amp; &#x27;so&#x27;&lt;/b&gt;"


def test_what_people_read_becomes_html_in_one_place() -> None:
    own = {
        file.relative_to(UI).as_posix()
        for file in UI.rglob("*.py")
        if re.search(r"\bhtml\.escape\(", file.read_text(encoding="utf-8"))
    }
    assert own == set(READ_BY_PROGRAMS)
