"""The studio's own measured cards: the colours of the very card that lies in its photographs.

Readings already logged keep what they were read with; a card measured anew counts from then on.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import ArrayLike, NDArray
from sqlalchemy.orm import Session

from matcher.colour.cielab import checked_lab
from matcher.dates import in_utc, moment, shown
from matcher.errors import StudioError
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import OwnCardPatchRow, OwnCardRow
from matcher.trials.log import note


@dataclass(frozen=True, eq=False)
class OwnCard:
    """A measured card. kind: as in the card definitions ("grey card").

    lab: CIELAB, D50, 2 degrees, (3,) of a card with one patch, else (patches, 3). tolerance: ΔE00 of the measurement.
    """

    name: str
    kind: str
    lab: NDArray[np.float64]
    tolerance: float
    measured_at: datetime = field(default_factory=lambda: datetime.now(UTC))

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", checked.line(self.name, "card's name", required=True))
        object.__setattr__(self, "kind", checked.line(self.kind, "kind of card", required=True))
        object.__setattr__(self, "lab", _patches(self.lab))
        object.__setattr__(self, "tolerance", checked.number(self.tolerance, "card's tolerance", 0.0, 20.0, " ΔE00"))
        object.__setattr__(self, "measured_at", checked.when(self.measured_at))

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``OwnCard.from_dict`` takes them back."""
        return {
            "name": self.name,
            "kind": self.kind,
            "lab": self.lab.tolist(),
            "tolerance_delta_e00": self.tolerance,
            "measured_at": in_utc(self.measured_at).isoformat(),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> OwnCard:
        """Take back what ``as_dict`` gave. Raises StudioError."""
        try:
            tolerance, measured_at = data["tolerance_delta_e00"], moment(data["measured_at"])
            return cls(data["name"], data["kind"], data["lab"], tolerance, measured_at)
        except (KeyError, TypeError) as error:
            raise StudioError(f"Check the card's fields against an exported card: {error!r}.") from error


class OwnCards:
    """The measured cards of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def cards(self) -> list[OwnCard]:
        """Return the measured cards by name, each as last measured."""
        return self.database.load("card", load_cards)

    def save(self, card: OwnCard, who: str = "", anew: bool = True) -> OwnCard:
        """Keep a measured card; one of the same name is measured anew, and its history keeps the old values.

        anew: whether there may be one of that name. Raises StudioError.
        """
        with self.database.writing() as session:
            there = next((known for known in load_cards(session) if known.name == card.name), None)
            if not anew and there is not None and not np.array_equal(there.lab, card.lab):
                raise StudioError(
                    f"A card {card.name!r} was measured on {shown(there.measured_at)}: give this one another name, or "
                    "say that it is the same card, measured anew."
                )
            return save_in(session, card, who)


def load_cards(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[OwnCard]:
    patches: dict[str, list[list[float]]] = {}
    for row in session.scalars(sa.select(OwnCardPatchRow).order_by(OwnCardPatchRow.position)):
        patches.setdefault(row.card_name, []).append([row.lab_l, row.lab_a, row.lab_b])
    query = sa.select(OwnCardRow).order_by(OwnCardRow.name)
    found = session.scalars(query if which is None else query.where(which))
    return [
        OwnCard(row.name, row.kind, np.array(patches[row.name]), row.tolerance_delta_e00, row.measured_at)
        for row in found
    ]


def save_in(session: Session, card: OwnCard, who: str = "") -> OwnCard:
    """Keep ``card`` within an open transaction; the very same one again changes nothing."""
    old = next((known for known in load_cards(session) if known.name == card.name), None)
    if old is not None and old.as_dict() == card.as_dict():
        return old
    session.execute(sa.delete(OwnCardPatchRow).where(OwnCardPatchRow.card_name == card.name))
    session.merge(
        OwnCardRow(
            name=card.name, kind=card.kind, tolerance_delta_e00=card.tolerance, measured_at=in_utc(card.measured_at)
        )
    )
    session.flush()
    patches = [
        {"card_name": card.name, "position": position, "lab_l": lab[0], "lab_a": lab[1], "lab_b": lab[2]}
        for position, lab in enumerate(np.atleast_2d(card.lab).tolist())
    ]
    session.execute(sa.insert(OwnCardPatchRow), patches)
    before = "" if old is None else f"before: {json.dumps(old.as_dict())}"
    note(session, "measured" if old is None else "measured anew", "card", card.name, before, who)
    return card


def _patches(lab: ArrayLike) -> NDArray[np.float64]:
    """Return (3,) for one patch, (patches, 3) for several. Raises ReadingError or StudioError."""
    try:
        values = np.array(lab, dtype=float)
    except (TypeError, ValueError):
        values = np.zeros(0)
    if values.ndim == 1:
        return checked_lab(lab)
    if values.ndim != 2 or not len(values):
        raise StudioError(
            f"Give the card's CIELAB as L*, a*, b*, or as one such line for each patch: {lab!r} is neither."
        )
    patches = np.array([checked_lab(row) for row in values])
    return patches[0] if len(patches) == 1 else patches
