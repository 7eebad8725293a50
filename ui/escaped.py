"""What people read as HTML: sign for sign, with every figure kept on one line with its unit."""

from __future__ import annotations

import html
import re

_UNITS = "%|°C|°F|g/L|ml|cm²|mm"
_APART = re.compile(rf"(?<=\d) (?=(?:{_UNITS})(?!\w))|(?<=ΔE00) (?=\d)|(?<= ±) (?=\d)| (?=± \d)")
"""The spaces between a figure and the unit or sign that it belongs to."""


def escaped(text: str) -> str:
    """Return text as HTML shows it, within an element or an attribute; no line breaks between a figure and its unit.

    Where a program reads it (an address, a form's name), ``html.escape`` alone does.

    >>> escaped("<1 % of 5 ml, ΔE00 2.1 ± 0.4")
    '&lt;1\\xa0% of 5\\xa0ml, ΔE00\\xa02.1\\xa0±\\xa00.4'
    """
    return html.escape(joined(text))


def joined(text: str) -> str:
    """Return text whose figures and units are joined by spaces that break no line."""
    return _APART.sub("\u00a0", text)
