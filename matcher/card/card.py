"""Reference cards: what is known of each, read from its definition in ``reference_cards/*.toml``.

First of the rooms that read a card; ``card_in_photo`` finds one in a photograph.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.cielab import checked_lab
from matcher.colour.types import Floats
from matcher.errors import CardError, ReadingError, fault_in_words
from matcher.shipped import shipped

OWN_DELTA_E00 = 0.5
"""ΔE00 by which a studio's own measurement of its card may be off, where nobody says (from memory)."""
_OWN_SHARES = (0.6, 0.4, 0.4)  # standard uncertainty of L*, a*, b* per ΔE00 of it (from memory)
NEUTRAL_CHROMA = 3.5
BLACK = 3.0  # L*


@dataclass(frozen=True, eq=False)
class Patch:
    """One patch of a card: lab (3,) D50; tolerance (3,) standard uncertainty; box: left, top, right, bottom
    as shares of the card's width and height."""

    name: str
    lab: Floats
    tolerance: Floats
    box: tuple[float, float, float, float]

    @property
    def neutral(self) -> bool:
        return bool(np.hypot(self.lab[1], self.lab[2]) < NEUTRAL_CHROMA)


@dataclass(frozen=True, eq=False)
class Card:
    """A reference card. layout: "plain", "steps", "chart" or "carrier"; carrier: its drawing in mm, or None. own: the
    name of the very card whose measured values these are, None for nominal values; measured_to: the ΔE00 by which that
    measurement may be off."""

    name: str
    title: str
    layout: Literal["plain", "steps", "chart", "carrier"]
    source: str
    sides: tuple[float, float]
    patches: tuple[Patch, ...]
    carrier: Carrier | None = None
    columns: int = 1
    own: str | None = None
    measured_to: float | None = None

    def with_lab(self, lab: ArrayLike, own: str | None = None, measured_to: float = OWN_DELTA_E00) -> Card:
        """Return this card with its own measured CIELAB: (3,) for its grey, or (patches, 3).

        own: names it. measured_to: ΔE00 by which that may be off.
        """
        values = np.array(lab, dtype=float)
        if values.ndim == 1 and len(self.patches) == 1:
            values = values[None]
        if values.shape != (len(self.patches), 3):
            raise CardError(f"Give L*, a*, b* for each of the {len(self.patches)} patches of the {self.title}.")
        measured = [checked_lab(row) for row in values]
        patches = tuple(
            replace(patch, lab=row, tolerance=own_tolerance(measured_to))
            for patch, row in zip(self.patches, measured, strict=True)
        )
        name = own or f"{self.name} at {np.round(values[0], 2).tolist()}"
        source = f"measured by the studio ({self.title})"
        return replace(self, patches=patches, source=source, own=name, measured_to=measured_to)


def own_tolerance(delta_e00: float) -> Floats:
    """Return the standard uncertainty (3,) of a card's measured L*, a*, b*, from the ΔE00 by which it may be off.

    Examples
    --------
    >>> own_tolerance(0.5).tolist()
    [0.3, 0.2, 0.2]
    """
    return np.asarray(delta_e00 * np.array(_OWN_SHARES))


@dataclass(frozen=True, eq=False)
class Carrier:
    """The printed sheet around a card, in mm from its top left: size, marker dictionary, marker corners, window."""

    sheet_mm: tuple[float, float]
    dictionary: str
    marker_mm: float
    markers: Mapping[int, tuple[float, float]]
    window_mm: tuple[float, float, float, float]

    def places(self) -> dict[int, Floats]:
        """Return each marker's four corners (4, 2) in mm, from its top left, clockwise."""
        square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * self.marker_mm
        return {number: np.array(at) + square for number, at in self.markers.items()}

    def outline(self) -> Floats:
        """Return the sheet's corners (4, 2) in mm."""
        return np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * np.array(self.sheet_mm)


def load_cards(folder: Path | None = None) -> dict[str, Card]:
    """Return the card definitions in ``folder`` (default: those that travel with the package), by name."""
    where = shipped("reference_cards") if folder is None else folder
    return {card.name: card for card in (_read_card(path) for path in sorted(where.glob("*.toml")))}


@lru_cache(maxsize=1)
def shipped_cards() -> Mapping[str, Card]:
    """Return the card definitions that travel with the package, by name, read once."""
    return load_cards()


def _read_card(path: Path) -> Card:
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        patches = tuple(
            Patch(item["name"], checked_lab(item["lab"]), np.array(item["tolerance"], float), tuple(item["box"]))
            for item in data["patch"]
        )
        drawing = data.get("carrier")
        carrier = (
            None
            if drawing is None
            else Carrier(
                tuple(drawing["sheet_mm"]),
                drawing["dictionary"],
                drawing["marker_mm"],
                {marker["id"]: tuple(marker["at_mm"]) for marker in drawing["marker"]},
                tuple(drawing["window_mm"]),
            )
        )
        return Card(
            data["name"],
            data["title"],
            data["layout"],
            data["source"],
            tuple(data["sides"]),
            patches,
            carrier,
            data.get("columns", len(patches)),
        )
    except (OSError, KeyError, TypeError, ValueError, ReadingError) as error:
        raise CardError(f"Check the card definition {path.name}: {fault_in_words(error)}.") from error


def as_measured(card: Card, lab: ArrayLike | None, measured_to: float = OWN_DELTA_E00) -> Card:
    """Return the card with its own measured CIELAB, good to a ΔE00.

    Raises CardError when a grey of it would be none, or black.
    """
    if lab is None:
        return card
    measured = card.with_lab(lab, measured_to=measured_to)
    for patch, own in zip(card.patches, measured.patches, strict=True):
        if patch.neutral:
            check_grey(own.lab, card.title)
    return measured


def check_grey(lab: Floats, title: str) -> None:
    """Raise CardError when the measured CIELAB (3,) of a grey is not neutral, or black."""
    said = "L* {:g}, a* {:g}, b* {:g}".format(*lab)
    if np.hypot(lab[1], lab[2]) >= NEUTRAL_CHROMA:
        raise CardError(f"Check the measured {title}: {said} is not neutral, a* and b* of a grey are near 0.")
    if lab[0] < BLACK:
        raise CardError(f"Check the measured {title}: {said} is black, and black shows no light.")
