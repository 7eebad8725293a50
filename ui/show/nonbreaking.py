"""Figures kept on one line with what they belong to, wherever a sentence of ours is broken."""

from __future__ import annotations

import html

TOGETHER = (("ΔE00 ", "ΔE00\u00a0"), (" ± ", "\u00a0±\u00a0"), (" %", "\u00a0%"))


def nonbreaking(sentence: str) -> str:
    """Return a sentence as HTML in which no line breaks between a sign and its figure."""
    said = html.escape(sentence)
    for apart, kept in TOGETHER:
        said = said.replace(apart, kept)
    return said
