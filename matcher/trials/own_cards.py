"""The studio's own measured cards: the CIELAB of the very card that lies in its photographs."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from matcher.errors import StudioError
from matcher.trials.trial import in_utc, moment


@dataclass(frozen=True)
class OwnCard:
    """A measured card. kind: as in the card definitions ("grey card"). lab: CIELAB, D50, 2 degrees. tolerance: ΔE00."""

    name: str
    kind: str
    lab: tuple[float, float, float]
    tolerance: float
    measured_at: datetime = field(default_factory=lambda: datetime.now(UTC))

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``OwnCard.from_dict`` takes them back."""
        return {
            "name": self.name,
            "kind": self.kind,
            "lab": list(self.lab),
            "tolerance_delta_e00": self.tolerance,
            "measured_at": in_utc(self.measured_at).isoformat(),
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> OwnCard:
        """Take back what ``as_dict`` gave. Raises StudioError."""
        try:
            lightness, a, b = (float(value) for value in data["lab"])
            tolerance, measured_at = float(data["tolerance_delta_e00"]), moment(data["measured_at"])
            return cls(data["name"], data["kind"], (lightness, a, b), tolerance, measured_at)
        except (KeyError, TypeError, ValueError) as error:
            raise StudioError(f"Check the card's fields against an exported card: {error!r}.") from error
