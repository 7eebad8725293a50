"""By what the page keeps what it worked out: each key holds all that an answer hangs on, so that none outlives it.

A cached function takes one of these as its first argument, and what it works with behind an underscore.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matcher.plan.limits import Limits
    from matcher.reading.reading import Reading
    from matcher.studio import Studio
    from matcher.trials.own_cards import OwnCard
    from matcher.trials.trial import Target
    from ui.state.light import CardChoice, Light, More

Key = tuple[Any, ...]


def log_key(studio: Studio) -> Key:
    """Of what hangs on the logged plates alone, and on where they were seen since."""
    return studio.name, studio.log.revision(), studio.tag_log.revision()


def target_key(studio: Studio, target: Target | None) -> Key:
    """Of what hangs on the log and one target, whose reading never changes; None: on no target."""
    if target is None:
        return log_key(studio)
    return *log_key(studio), target.id, target.tolerance


def beside_key(studio: Studio, reading: Reading, plate: int | None, there: Sequence[int]) -> Key:
    """Of which plates are worth laying beside a finish; plate: its own number, None where it is of none; there: those
    in its photograph."""
    taken = reading.conditions
    seen = () if taken is None else (taken.light, *(item.name for item in taken.references))
    known = (reading.photo, reading.lab.tobytes(), reading.covariance.tobytes(), *seen)
    return *log_key(studio), plate, tuple(there), *known


def board_key(studio: Studio, of: object) -> Key:
    """Of what a board is worth; of: how many plates it is to have, or those that it has."""
    return *log_key(studio), *studio.tag_log.revision(), of


def answers_key(studio: Studio, target: Target, limits: Limits) -> Key:
    """Of what the suggester answers for a target within the limits, with what stands on the shelf."""
    excluded = tuple(sorted(limits.excluded))
    return *target_key(studio, target), repr(limits), excluded, studio.at_hand()


def photo_key(studio: Studio, sha256: str) -> Key:
    """Of what hangs on a kept photograph. Raises StudioError when it is not there."""
    return studio.name, str(studio.photo_path(sha256))


def card_key(studio: Studio, sha256: str, choice: CardChoice) -> Key:
    """Of what a photograph shows of a card: an own card counts as it was measured last."""
    own = own_card(studio, choice.own)
    return *photo_key(studio, sha256), choice, None if own is None else (str(own.lab.tolist()), own.tolerance)


def more_key(studio: Studio, sha256: str, choice: CardChoice, more: More) -> Key:
    """Of the light over a photograph, as something that was brought beside it shows."""
    return *card_key(studio, sha256, choice), more


def light_key(studio: Studio, sha256: str, light: Light) -> Key:
    """Of what is read in a photograph, apart from the mark."""
    profile = None if light.profile is None else light.profile.to_json()
    own = (light.kind, profile, light.pale_spots, light.plates_out)
    return *more_key(studio, sha256, light.card, light.more), *own, plates_key(studio, sha256)


def plates_key(studio: Studio, sha256: str) -> Key:
    """Of which of the studio's plates lie in a photograph, and what is known of them."""
    return *photo_key(studio, sha256), *log_key(studio)


def profiles_key(studio: Studio, sha256: str, choice: CardChoice) -> Key:
    """Of which of the studio's profiles fits a photograph."""
    return *card_key(studio, sha256, choice), tuple(profile.to_json() for profile in studio.profiles())


def own_card(studio: Studio, name: str | None) -> OwnCard | None:
    """Return the studio's own measured card of this name, or None."""
    return next((card for card in studio.own_cards() if name is not None and card.name == name), None)
