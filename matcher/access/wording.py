"""What is said of who let whom in, or let them go, sentence by sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matcher.dates import TO_THE_MINUTE, shown

if TYPE_CHECKING:
    from matcher.trials.log import Change

_WHAT = {
    "added": "added {whom} as {detail}",
    "role given": "gave {whom} the role of {detail}",
    "code made": "made a code for {whom}",
    "passphrase given": "gave {whom} a passphrase",
    "passphrase taken away": "took the passphrase of {whom} away",
    "let go": "let {whom} go",
}
_AT_THE_MACHINE = "Somebody at the machine that serves it"
"""Who is meant where nobody was signed in: a command, or a page that is served to its own machine alone."""


def change_in_words(change: Change) -> str:
    """Say what was done about one of the people, when and by whom. change: a line of the history of a "person"."""
    what = _WHAT.get(change.what, f"{change.what}: {{whom}}").format(whom=change.subject, detail=change.detail)
    by_hand = change.who and (change.what, change.who) != ("added", change.subject)
    return f"{shown(change.at, TO_THE_MINUTE)}: {change.who if by_hand else _AT_THE_MACHINE} {what}."
