"""What the bench and the camera use: bottles of stock, cards that were measured, camera-and-light profiles."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from matcher.errors import Caveat
from matcher.files import check_ending
from matcher.studio.stores import StudioStores

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from matcher.calibration.profile import CameraProfile
    from matcher.card.reading import CardReading
    from matcher.photo.photo import Photo
    from matcher.trials.own_cards import OwnCard
    from matcher.trials.stocks import Layer, Stock


class StudioSupplies(StudioStores):
    """Bottles, cards and profiles, kept and found again."""

    def stocks(self) -> list[Stock]:
        """Return all stock solutions ever made, the oldest first."""
        return self.bottles.stocks()

    def save_stock(
        self,
        label: str,
        chemical: str,
        grams_per_litre: float,
        lot: str = "",
        made_at: datetime | None = None,
        notes: str = "",
    ) -> Stock:
        """Keep a stock solution; ``bottles.save`` takes one with all that can be noted of it.

        Raises StudioError when the label names another one already.
        """
        from matcher.trials.stocks import Stock

        stock = Stock(label, chemical, grams_per_litre, lot, made_at or datetime.now(UTC), notes)
        return self.bottles.save(stock)

    def equivalent_strength(self, layer: Layer, other_stock: str) -> Layer:
        """Return a coat or undercoat of an old recipe as it must be mixed from another stock, named by its label.

        Raises StudioError for a stock that is not known, RecipeError for one too weak or of another chemical.
        """
        from matcher.trials.stocks import equivalent_strength

        return equivalent_strength(layer, self.bottles.stock(layer.stock), self.bottles.stock(other_stock))

    def own_cards(self) -> list[OwnCard]:
        """Return the cards that the studio has measured itself, by name."""
        return self._own_cards.cards()

    def save_card(
        self,
        name: str,
        kind: str,
        lab: ArrayLike,
        tolerance: float | None = None,
        measured_at: datetime | None = None,
        anew: bool = True,
    ) -> OwnCard:
        """Keep a card's own measured CIELAB: (3,), or (patches, 3). Raises a MatcherError.

        tolerance: ΔE00 to which the measurement is good, the usual where nobody says. anew: whether one of that name
        may have been measured before; its history keeps what it was.
        """
        from matcher.card.card import OWN_DELTA_E00
        from matcher.trials.own_cards import OwnCard

        to = OWN_DELTA_E00 if tolerance is None else tolerance
        card = OwnCard(name, kind, np.asarray(lab), to, measured_at or datetime.now(UTC))
        return self._own_cards.save(card, anew=anew)

    # Camera-and-light profiles

    def profiles(self, include_retired: bool = False) -> list[CameraProfile]:
        """Return the camera-and-light profiles by name; those retired only when asked for. Raises CardError."""
        return self._profiles.profiles(include_retired)

    def profile(self, name: str) -> CameraProfile:
        """Return one profile, retired or not. Raises StudioError when there is none of that name."""
        return self._profiles.profile(name)

    def save_profile(self, profile: CameraProfile, who: str = "") -> CameraProfile:
        """Keep a profile and return it; an older one of its name is retired under its date. Raises StudioError."""
        return self._profiles.save(profile, who)

    def rename_profile(self, old: str, new: str, who: str = "") -> CameraProfile:
        """Give a profile another name. Raises StudioError when there is none, or the name is taken."""
        return self._profiles.rename(old, new, who)

    def retire_profile(self, name: str, reason: str, who: str = "") -> CameraProfile:
        """Let a profile be chosen no more, with the reason; nothing is deleted. Raises StudioError."""
        return self._profiles.retire(name, reason, who)

    def take_back_profile(self, name: str, who: str = "", seen: str | None = None) -> CameraProfile:
        """Let a retired profile be chosen again. seen: the reason that was seen. Raises StudioError."""
        return self._profiles.take_back(name, who, seen)

    def export_profile(self, name: str, path: str | Path, overwrite: bool = False) -> None:
        """Write a profile to a file of plain JSON, a new one unless ``overwrite``. Raises StudioError."""
        from matcher.trials.camera_profiles import write_profile

        check_ending(Path(path), ".json")
        write_profile(self.profile(name), Path(path), overwrite)

    def import_profile(self, path: str | Path, who: str = "") -> CameraProfile:
        """Keep a profile that another studio exported; one here of its name is retired. Raises a MatcherError."""
        from matcher.trials.camera_profiles import read_profile

        return self.take_in_profile(read_profile(Path(path)), who)

    def take_in_profile(self, profile: CameraProfile, who: str = "") -> CameraProfile:
        """Keep a profile that came from elsewhere, as ``import_profile`` does. Raises StudioError for one that is
        here already, whatever its name."""
        return self._profiles.take_in(profile, who)

    def profile_for(self, photo: Photo, card: CardReading | None) -> tuple[CameraProfile | None, tuple[Caveat, ...]]:
        """Return the kept profile that fits a photograph, or None with the reason why none does.

        The light is told by the card, so without one none is taken. A chart in the picture makes a profile itself.
        """
        from matcher.calibration.profile import best_profile

        kept = self.profiles()
        if not kept:
            return None, _no_profile("No camera profile is kept yet: photograph a 24-patch chart under this light.")
        if card is not None and card.card.layout == "chart":
            return None, _no_profile("The chart in the picture makes a profile of its own.")
        found, why = best_profile(kept, photo, card)
        if found is None and not why:
            return None, _no_profile("No camera profile is of this camera and kind of file: make one of a chart.")
        return found, why


def _no_profile(why: str) -> tuple[Caveat, ...]:
    return (Caveat("profile-none-fits", why),)
