"""What is known of the device that shows a secret: looked up in the studio, and taken as true for two seconds."""

from __future__ import annotations

import logging
import time
from typing import TYPE_CHECKING

from matcher.access.devices import digest
from ui.state.open_studio import the_studio

if TYPE_CHECKING:
    from matcher.access.devices import SignedIn

KNOWN_FOR_S = 2.0
"""How long it is taken as true: signing out takes that long to be felt everywhere."""
_known: dict[str, tuple[float, SignedIn]] = {}


def remembered(secret: str) -> SignedIn | None:
    """Return what was found of a device within the last two seconds, None for nothing."""
    at, found = _known.get(digest(secret), (0.0, None))
    return found if time.monotonic() - at < KNOWN_FOR_S else None


def looked_up(secret: str) -> SignedIn | None:
    """Return the device that shows a secret, and whose it is; None where it is not signed in.

    Raises MatcherError when the studio cannot be read: then nobody can tell, and nobody is let in.
    """
    found = remembered(secret)
    if found is not None:
        return found
    found = the_studio().access.devices.signed_in(secret)
    now = time.monotonic()
    for key in [key for key, (at, _) in list(_known.items()) if now - at >= KNOWN_FOR_S]:
        _known.pop(key, None)
    if found is not None:
        _known[digest(secret)] = (now, found)
    return found


def forget() -> None:
    """Look everybody up again: somebody was signed out, or has another role."""
    _known.clear()


def away(error: Exception) -> str:
    """Return what is said to whoever asks while the studio is away; why, with its server's name, only the log says.

    OWASP Error Handling Cheat Sheet: who is not signed in learns nothing of what lies behind.
    """
    logging.getLogger(__name__).warning("The studio is away: %s", error)
    return "The studio can't be reached just now: wait a moment, then try again."
