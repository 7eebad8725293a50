"""Where the data that travels with the package lies: beside it in a checkout, inside it in a wheel."""

from __future__ import annotations

from pathlib import Path


def shipped(name: str) -> Path:
    """Return the folder ``name`` ("reference_cards" or "demo_images") that travels with the package."""
    package = Path(__file__).resolve().parent
    installed = package / "_shipped" / name
    return installed if installed.is_dir() else package.parent / name
