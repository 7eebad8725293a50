"""What a device is called in the list of those that are signed in, from what its browser says of itself."""

from __future__ import annotations


def device_name(user_agent: str) -> str:
    """Return what to call a device: browsers of what is held in the hand say "Mobi" (common practice, no source)."""
    return "Phone or tablet" if "Mobi" in user_agent else "Computer"
