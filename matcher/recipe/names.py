"""Names of chemicals: which are one and the same, and what kind they are."""

from __future__ import annotations


def is_ferric(chemical: str) -> bool:
    """Tell whether a chemical is a ferric salt, by its name."""
    return "ferric" in chemical.lower()
