"""A Reading: the colour of a finish with everything that is not known of it, wherever it came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from matcher.card.card import OWN_DELTA_E00
from matcher.colour.cielab import checked_lab
from matcher.colour.difference import interval_of
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm
from matcher.errors import Caveat, ReadingError, fault_in_words
from matcher.photo.encoding import SENSOR_ENCODINGS

INSTRUMENT_SIGMA = 0.3
"""Standard uncertainty of L*, a*, b* typed in from an instrument when none is stated (from memory)."""


MOST_VARIANCE = 1e30
"""Of any reading: far beyond what a colour can have, and far within what its differences can be worked out with."""


@dataclass(frozen=True)
class PaletteColour:
    """One colour of a mottled finish and its share (0 to 1) of the region."""

    lab: tuple[float, float, float]
    share: float


@dataclass(frozen=True)
class CardAsRead:
    """The card that a reading was made by, so that its photograph can be read again.

    kind: the name of its definition, or "neutral spot". corners: x, y in pixels, clockwise from the card's own top
    left; of a neutral spot its outline. found_by: as ``CardReading.found_by``. lab: each patch's CIELAB where it was
    measured, None where the kind's nominal values were taken; measured_to: the ΔE00 by which that may be off.
    """

    kind: str
    corners: tuple[tuple[float, float], ...]
    found_by: str
    lab: tuple[tuple[float, float, float], ...] | None = None
    measured_to: float | None = None


@dataclass(frozen=True)
class ReferenceAsRead:
    """A finish of known colour that a reading was made by: its name, its outline in pixels, the colour that it was
    known to have with its covariance, and the uid of the plate where it is a logged one."""

    name: str
    outline: tuple[tuple[float, float], ...]
    lab: tuple[float, float, float]
    covariance: tuple[tuple[float, float, float], ...]
    uid: str | None = None


@dataclass(frozen=True)
class PlateLeftOut:
    """A known plate in the picture that a person did not want the finish read by: its tag, and how it was called."""

    tag: str
    name: str


@dataclass(frozen=True)
class Conditions:
    """How a photograph was taken and read, as far as is known.

    encoding: as ``Photo.encoding`` names it, or None. light: "daylight" when the person said that it was,
    "profile" when they said that it was the camera profile's own, else "unknown". card: None when there was none, or
    it was not noted. profile: the name of the camera profile. pale_spots: as ``read_finish`` takes it. exposures: how
    many photographs the reading is of. evened: whether a light field was taken out. references: the finishes of known
    colour in the picture that it was made by; none that was known as unsurely as the picture shows colours, which
    tells nothing of them. left_out: plates in it that a person left out. noted: whether all of this was kept (readings
    of earlier versions hold encoding and light alone).
    """

    encoding: str | None = None
    light: str = "unknown"
    card: CardAsRead | None = None
    profile: str | None = None
    pale_spots: str = "unknown"
    exposures: int = 1
    evened: bool = False
    noted: bool = False
    references: tuple[ReferenceAsRead, ...] = ()
    left_out: tuple[PlateLeftOut, ...] = ()

    @property
    def finished_by_camera(self) -> bool:
        """Whether a camera balanced and finished the picture, rather than leaving its sensor's own values."""
        return self.encoding is not None and self.encoding not in SENSOR_ENCODINGS

    @property
    def in_daylight(self) -> bool:
        """Whether the light is known to be daylight."""
        return self.light == "daylight"

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Conditions.from_dict`` takes them back."""
        card = None if self.card is None else dict(vars(self.card))
        references, left_out = ([dict(vars(item)) for item in items] for items in (self.references, self.left_out))
        return {**vars(self), "card": card, "references": references, "left_out": left_out}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Conditions:
        """Take back what ``as_dict`` gave; "encoding" and "light" alone are enough."""
        card = data.get("card")
        return cls(
            encoding=_text(data.get("encoding")),
            light=str(data.get("light", "unknown")),
            card=None if card is None else _card(card),
            profile=_text(data.get("profile")),
            pale_spots=str(data.get("pale_spots", "unknown")),
            exposures=int(data.get("exposures", 1)),
            evened=bool(data.get("evened", False)),
            references=tuple(_reference(item) for item in data.get("references", ())),
            left_out=tuple(PlateLeftOut(str(item["tag"]), str(item["name"])) for item in data.get("left_out", ())),
            noted=bool(data.get("noted", False)),
        )


@dataclass(frozen=True, eq=False)
class Reading:
    """The colour of a finish with everything that is not known of it.

    Parameters
    ----------
    lab : array_like, shape (3,)
        CIELAB under D50 for 2 degrees (ISO/CIE 11664-4).
    covariance : array_like, shape (3, 3), optional
        Of lab: the whole standard uncertainty budget (JCGM 100); that of an instrument when not given.
    source : str
        "photograph", "instrument" or "typed".
    lights, darks : ndarray, shape (3,), optional
        CIELAB of the lightest and of the darkest quarter.
    quarters_covariance : ndarray, shape (3, 3), optional
        Of lights − darks; None for a reading of an earlier version, which does not tell how surely the two differ.
    palette : tuple of PaletteColour
        What a mottled finish is made of.
    left_out_share : float
        Share of the region, 0 to 1, left out as glare or clipped.
    pixels : int
        How many were read.
    budget : tuple of BudgetTerm
        What the covariance is made of.
    caveats : tuple of Caveat
        What gives reason to doubt the reading.
    region : ndarray, shape (n, 2), optional
        Outline in pixels.
    photo : str, optional
        SHA-256 of the photograph.
    conditions : Conditions, optional
        How the photograph was taken; None when it is of none.

    Raises
    ------
    ReadingError
        When lab or covariance is not finite, of the wrong shape, or out of range.

    Examples
    --------
    >>> reading = Reading(lab=(38.0, 14.0, 22.0))
    >>> reading.covariance.diagonal().round(4).tolist()
    [0.09, 0.09, 0.09]
    >>> Reading.from_dict(reading.as_dict()).lab.tolist()
    [38.0, 14.0, 22.0]
    """

    lab: Floats
    covariance: Floats = field(default_factory=lambda: np.diag([INSTRUMENT_SIGMA**2] * 3))
    source: str = "instrument"
    lights: Floats | None = None
    darks: Floats | None = None
    quarters_covariance: Floats | None = None
    palette: tuple[PaletteColour, ...] = ()
    left_out_share: float = 0.0
    pixels: int = 0
    budget: tuple[BudgetTerm, ...] = ()
    caveats: tuple[Caveat, ...] = ()
    region: Floats | None = None
    photo: str | None = None
    conditions: Conditions | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "lab", checked_lab(self.lab))
        object.__setattr__(self, "covariance", checked_covariance(self.covariance))
        if self.quarters_covariance is not None:
            object.__setattr__(self, "quarters_covariance", checked_covariance(self.quarters_covariance))

    @property
    def quarters_interval(self) -> tuple[float, float] | None:
        """95 % of ΔE00 between its lights and its darks; None where it has none, or does not tell how surely."""
        if self.lights is None or self.darks is None or self.quarters_covariance is None:
            return None
        low, high = interval_of(self.darks, self.lights, self.quarters_covariance, given=True)
        return float(low), float(high)

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Reading.from_dict`` takes them back."""
        return {
            "lab": self.lab.tolist(),
            "covariance": self.covariance.tolist(),
            "source": self.source,
            "lights": _listed(self.lights),
            "darks": _listed(self.darks),
            "quarters_covariance": _listed(self.quarters_covariance),
            "palette": [{"lab": list(colour.lab), "share": colour.share} for colour in self.palette],
            "left_out_share": self.left_out_share,
            "pixels": self.pixels,
            "budget": [term.as_dict() for term in self.budget],
            "warnings": [caveat.as_dict() for caveat in self.caveats],
            "region": _listed(self.region),
            "photo": self.photo,
            "conditions": None if self.conditions is None else self.conditions.as_dict(),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Reading:
        """Take back what ``as_dict`` gave; "lab" alone is enough. Raises ReadingError."""
        try:
            known = {
                name: data[name]
                for name in ("covariance", "source", "left_out_share", "pixels", "photo")
                if name in data
            }
            return cls(
                lab=data["lab"],
                lights=_array(data.get("lights")),
                darks=_array(data.get("darks")),
                quarters_covariance=_array(data.get("quarters_covariance")),
                palette=tuple(
                    PaletteColour(_triple(colour["lab"]), float(colour["share"])) for colour in data.get("palette", ())
                ),
                budget=tuple(BudgetTerm.from_dict(term) for term in data.get("budget", ())),
                caveats=tuple(Caveat(item["code"], item["message"]) for item in data.get("warnings", ())),
                region=_array(data.get("region")),
                conditions=_conditions(data),
                **known,
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise ReadingError(
                f"Check the reading's fields against an exported reading: {fault_in_words(error)}."
            ) from error


def checked_covariance(covariance: ArrayLike) -> Floats:
    """Return a (3, 3) symmetric, positive semi-definite float array, or raise ReadingError."""
    try:
        values = np.array(covariance, dtype=float)
    except (TypeError, ValueError):
        values = np.full(0, np.nan)
    if values.shape != (3, 3) or not np.isfinite(values).all():
        raise ReadingError(f"Give the covariance as 3 by 3 finite numbers: {covariance!r} is not that.")
    if np.abs(values).max() > MOST_VARIANCE:
        raise ReadingError(f"Check the covariance: a variance of {np.abs(values).max():.0e} is more than a colour has.")
    values = np.asarray((values + values.T) / 2)
    if np.linalg.eigvalsh(values).min() < -1e-9 * max(1.0, float(np.trace(values))):
        raise ReadingError("Check the covariance: it has a negative variance in some direction.")
    return values


def _conditions(data: Mapping[str, Any]) -> Conditions | None:
    """Return how a stored reading was taken. Documents of before it was stored hold it in the names of two causes."""
    if "conditions" in data:
        stored = data["conditions"]
        return None if stored is None else Conditions.from_dict(stored)
    causes = {term["name"]: str(term.get("shared") or "") for term in data.get("budget", ())}
    if Source.TONE_CURVE not in causes:
        return None
    camera, _, encoding = causes[Source.TONE_CURVE].rpartition(", ")
    daylight = causes.get(Source.CAMERA_AND_LIGHT, "").endswith(", daylight")
    return Conditions(encoding if camera else None, "daylight" if daylight else "unknown")


def _card(data: Mapping[str, Any]) -> CardAsRead:
    corners = tuple((float(x), float(y)) for x, y in data["corners"])
    lab = data.get("lab")
    measured = None if lab is None else tuple(_triple(patch) for patch in lab)
    to = data.get("measured_to", None if measured is None else OWN_DELTA_E00)
    return CardAsRead(str(data["kind"]), corners, str(data["found_by"]), measured, None if to is None else float(to))


def _reference(data: Mapping[str, Any]) -> ReferenceAsRead:
    outline = tuple((float(x), float(y)) for x, y in data["outline"])
    covariance = tuple(_triple(row) for row in data["covariance"])
    return ReferenceAsRead(str(data["name"]), outline, _triple(data["lab"]), covariance, _text(data.get("uid")))


def _text(value: Any) -> str | None:
    return None if value is None else str(value)


def _triple(values: ArrayLike) -> tuple[float, float, float]:
    first, second, third = np.asarray(values, float)
    return float(first), float(second), float(third)


def _listed(values: Floats | None) -> list[Any] | None:
    return None if values is None else np.asarray(values).tolist()


def _array(values: ArrayLike | None) -> Floats | None:
    return None if values is None else np.asarray(values, float)
