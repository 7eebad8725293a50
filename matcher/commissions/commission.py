"""What a client's commission is: the piece in so many casts, its areas, and what people write about it on the way.

Plain values. How far it has come is nowhere among them: that follows from what has happened, the casts that the client
has among it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from matcher.dates import in_utc, moment, now
from matcher.errors import StudioError

NOTE, DECISION, HANDOVER = "note", "decision", "handover"
KINDS = (NOTE, DECISION, HANDOVER)
"""What a line of the journal is: a note, something that was decided, or what the piece's keeper must know."""


@dataclass(frozen=True)
class Area:
    """An area of the piece with one finish: head, drapery, base.

    Parameters
    ----------
    name : str
        As the workshop calls it.
    area_cm2 : float or None
        Its surface, cm².
    target_id : int or None
        Number of the target that it is to match, None until there is one.
    position : int
        Its place among the commission's areas, from 0.
    id, commission_id : int or None
        Their numbers in this studio, None until it is kept.
    uid : str or None
        The same in every studio that it is carried to; the store gives one where it is None.
    repairs_uid : str or None
        The uid of the area of an earlier commission that is repaired here.
    set_aside : str or None
        The reason why it is no longer an area of the piece.
    """

    name: str
    area_cm2: float | None = None
    target_id: int | None = None
    position: int = 0
    id: int | None = None
    commission_id: int | None = None
    uid: str | None = None
    repairs_uid: str | None = None
    set_aside: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Area.from_dict`` takes them back."""
        return dict(vars(self))

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Area:
        """Take back what ``as_dict`` gave; "name" is enough. Raises StudioError."""
        try:
            return cls(**data)
        except TypeError as error:
            raise StudioError(f"Check the area's fields against an exported commission: {error!r}.") from error


@dataclass(frozen=True)
class Delivery:
    """A cast that was delivered: it is with the client.

    Parameters
    ----------
    number : int
        Of the cast, from 1.
    on : date
        The day.
    to : str
        Whom it was handed to; "" where nobody noted it.
    who, at
        Who noted it, and when.
    taken_back_at, taken_back_by
        When that was taken back, as noted in error, and by whom; None and "" while it stands.
    id, commission_id, uid
        As for `Area`.
    """

    number: int
    on: date
    to: str = ""
    who: str = ""
    at: datetime = field(default_factory=now)
    taken_back_at: datetime | None = None
    taken_back_by: str = ""
    id: int | None = None
    commission_id: int | None = None
    uid: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Delivery.from_dict`` takes them back."""
        back = None if self.taken_back_at is None else in_utc(self.taken_back_at).isoformat()
        return {**vars(self), "on": self.on.isoformat(), "at": in_utc(self.at).isoformat(), "taken_back_at": back}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Delivery:
        """Take back what ``as_dict`` gave. Raises StudioError."""
        try:
            back = None if data.get("taken_back_at") is None else moment(data["taken_back_at"])
            given = {"on": date.fromisoformat(data["on"]), "at": moment(data["at"]), "taken_back_at": back}
            return cls(**{**data, **given})
        except (KeyError, TypeError, ValueError) as error:
            raise StudioError(f"Check the delivery's fields against an exported one: {error!r}.") from error


@dataclass(frozen=True)
class Commission:
    """A client's commission. It is never deleted.

    Parameters
    ----------
    title : str
        Of the piece.
    alloy : str
        What it is cast in; every plate made for it is of this alloy.
    client : str
        The workshop's label for whoever asked for it.
    size : str
        In words ("1.8 m high, some 60 kg").
    area_cm2 : float or None
        The surface of one cast, cm².
    casts : int
        How many the edition has, from 1.
    due_on : date or None
        The day on which it is due.
    tolerance : float
        How near a finish must come, in ΔE00, where a target says nothing else.
    notes : str
        Anything else.
    areas : tuple of Area
        In their order, without those set aside.
    made_at, made_by
        When it was taken on, and who did.
    set_aside : str or None
        The reason why it is no longer worked on.
    areas_set_aside : tuple of Area
        Those that are no longer areas of the piece, in their order.
    deliveries : tuple of Delivery
        Those that stand, by the casts' numbers.
    id : int or None
        Its number in this studio, None until it is kept.
    uid : str or None
        The same in every studio that it is carried to; the store gives one where it is None.

    Examples
    --------
    >>> heron = Commission("Heron fountain", "silicon bronze", casts=3, areas=(Area("bird"), Area("reeds")))
    >>> heron.casts, [area.name for area in Commission.from_dict(heron.as_dict()).areas]
    (3, ['bird', 'reeds'])
    """

    title: str
    alloy: str
    client: str = ""
    size: str = ""
    area_cm2: float | None = None
    casts: int = 1
    due_on: date | None = None
    tolerance: float = 2.0
    notes: str = ""
    areas: tuple[Area, ...] = ()
    made_at: datetime = field(default_factory=now)
    made_by: str = ""
    set_aside: str | None = None
    areas_set_aside: tuple[Area, ...] = ()
    deliveries: tuple[Delivery, ...] = ()
    id: int | None = None
    uid: str | None = None

    @property
    def every_area(self) -> tuple[Area, ...]:
        """Its areas, and behind them those set aside."""
        return (*self.areas, *self.areas_set_aside)

    @property
    def casts_with_us(self) -> list[int]:
        """Numbers of the edition's casts that are not delivered."""
        gone = {delivery.number for delivery in self.deliveries}
        return [number for number in range(1, self.casts + 1) if number not in gone]

    @property
    def delivered(self) -> bool:
        """Whether the client has every cast of the edition."""
        return not self.casts_with_us

    def area(self, area_id: int | None) -> Area:
        """Return one of its areas, set aside or not. Raises StudioError when it has none of that number."""
        found = next((area for area in self.every_area if area.id == area_id), None)
        if found is None:
            raise StudioError(f"{self.title} has no area {area_id}: look at the commission to see its areas.")
        return found

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Commission.from_dict`` takes them back."""
        plain = {name: value for name, value in vars(self).items() if name != "tolerance"}
        return {
            **plain,
            "tolerance_delta_e00": self.tolerance,
            "due_on": None if self.due_on is None else self.due_on.isoformat(),
            "made_at": in_utc(self.made_at).isoformat(),
            "areas": [area.as_dict() for area in self.areas],
            "areas_set_aside": [area.as_dict() for area in self.areas_set_aside],
            "deliveries": [delivery.as_dict() for delivery in self.deliveries],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Commission:
        """Take back what ``as_dict`` gave; "title" and "alloy" are enough. Raises StudioError."""
        try:
            known = {name: value for name, value in data.items() if name != "tolerance_delta_e00"}
            if "tolerance_delta_e00" in data:
                known["tolerance"] = float(data["tolerance_delta_e00"])
            if "made_at" in data:
                known["made_at"] = moment(data["made_at"])
            if data.get("due_on") is not None:
                known["due_on"] = date.fromisoformat(data["due_on"])
            for name in ("areas", "areas_set_aside"):
                known[name] = tuple(Area.from_dict(item) for item in data.get(name, ()))
            known["deliveries"] = tuple(Delivery.from_dict(item) for item in data.get("deliveries", ()))
            return cls(**known)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise StudioError(f"Check the commission's fields against an exported one: {error!r}.") from error


@dataclass(frozen=True)
class JournalLine:
    """What somebody wrote about a commission, or one area of it: written once, never changed.

    Parameters
    ----------
    commission_id : int or None
        Number of the commission.
    text : str
        What was written.
    kind : str
        One of ``KINDS``: "note", "decision" or "handover".
    area_id : int or None
        Number of the area that it is about, None for the whole piece.
    photo : str or None
        Content hash (SHA-256, hex) of a kept photograph.
    who, at
        Who wrote it, and when.
    id, uid
        As for `Commission`.
    """

    commission_id: int | None
    text: str
    kind: str = NOTE
    area_id: int | None = None
    photo: str | None = None
    who: str = ""
    at: datetime = field(default_factory=now)
    id: int | None = None
    uid: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``JournalLine.from_dict`` takes them back."""
        return {**vars(self), "at": in_utc(self.at).isoformat()}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> JournalLine:
        """Take back what ``as_dict`` gave. Raises StudioError."""
        try:
            return cls(**{**data, "at": moment(data["at"])})
        except (KeyError, TypeError) as error:
            raise StudioError(f"Check the journal line's fields against an exported one: {error!r}.") from error
