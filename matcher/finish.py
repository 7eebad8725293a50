"""A marked region of a photograph becomes a Reading: CIELAB, its covariance, lights and darks, palette."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.calibration import Calibration
from matcher.cielab import checked_lab
from matcher.errors import Caveat, ReadingError, fault_in_words
from matcher.photo import Photo
from matcher.regions import Pixels, area_inside, covariance_of_mean, pixels_inside, share_within, trimmed_mean
from matcher.uncertainty import BudgetTerm, sum_of

Floats = NDArray[np.float64]

FEWEST_PIXELS = 9
FEW_PIXELS = 400
LEAST_LIGHT = 1e-5
MUCH_GLARE = 0.2
MUCH_CARD = 0.03  # of a region
NEARLY_ALL = 0.9  # of the picture
LEAST_PURITY = 0.12  # below it a finish is grey, and a highlight shows by brightness alone
LEAST_SPREAD = 0.03  # of log brightness: no photographed finish is more even

INSTRUMENT_SIGMA = 0.3
"""Standard uncertainty of L*, a*, b* typed in from an instrument when none is stated (from memory)."""
MOST_VARIANCE = 1e30
"""Of any reading: far beyond what a colour can have, and far within what its differences can be worked out with."""


@dataclass(frozen=True)
class PaletteColour:
    """One colour of a mottled finish and its share (0 to 1) of the region."""

    lab: tuple[float, float, float]
    share: float


@dataclass(frozen=True, eq=False)
class Reading:
    """The colour of a finish.

    lab: (3,) CIELAB, D50, 2 degrees. covariance: (3, 3) of lab, the whole standard uncertainty budget; when not
    given it is that of an instrument. source: "photograph", "instrument" or "typed". lights, darks: (3,) CIELAB
    of the lightest and darkest quarter, or None. left_out_share: share of the region left out as glare or
    clipped. region: (n, 2) pixels, or None. photo: SHA-256 of the photograph, or None.

    Raises ReadingError when lab or covariance is not finite, of the wrong shape, or out of range.
    """

    lab: Floats
    covariance: Floats = field(default_factory=lambda: np.diag([INSTRUMENT_SIGMA**2] * 3))
    source: str = "instrument"
    lights: Floats | None = None
    darks: Floats | None = None
    palette: tuple[PaletteColour, ...] = ()
    left_out_share: float = 0.0
    pixels: int = 0
    budget: tuple[BudgetTerm, ...] = ()
    caveats: tuple[Caveat, ...] = ()
    region: Floats | None = None
    photo: str | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "lab", checked_lab(self.lab))
        object.__setattr__(self, "covariance", checked_covariance(self.covariance))

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Reading.from_dict`` takes them back."""
        return {
            "lab": self.lab.tolist(),
            "covariance": self.covariance.tolist(),
            "source": self.source,
            "lights": _listed(self.lights),
            "darks": _listed(self.darks),
            "palette": [{"lab": list(colour.lab), "share": colour.share} for colour in self.palette],
            "left_out_share": self.left_out_share,
            "pixels": self.pixels,
            "budget": [term.as_dict() for term in self.budget],
            "warnings": [caveat.as_dict() for caveat in self.caveats],
            "region": _listed(self.region),
            "photo": self.photo,
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
                palette=tuple(
                    PaletteColour(_triple(colour["lab"]), float(colour["share"])) for colour in data.get("palette", ())
                ),
                budget=tuple(BudgetTerm.from_dict(term) for term in data.get("budget", ())),
                caveats=tuple(Caveat(item["code"], item["message"]) for item in data.get("warnings", ())),
                region=_array(data.get("region")),
                **known,
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise ReadingError(
                f"Check the reading's fields against an exported reading: {fault_in_words(error)}."
            ) from error


def read_finish(photo: Photo, calibration: Calibration, region: ArrayLike) -> Reading:
    """Read the colour of the finish inside an outline.

    region: (n, 2) pixels, n at least 3. Clipped and specular pixels are left out; the rest are averaged in linear
    light, trimmed. Raises ReadingError when the region is outside the picture, too small, or all glare.
    """
    seen = pixels_inside(photo, region)
    shown = Pixels(seen.xy, calibration.light(seen.rgb, seen.xy), seen.clipped)
    keep = ~seen.clipped & ~specular(calibration.balanced(shown.rgb))
    left_out = 1.0 - float(keep.mean())
    if keep.sum() < FEWEST_PIXELS:
        raise ReadingError(
            "The marked region is all glare or overexposed: retake the photo with the lamp moved."
            if len(keep) >= FEWEST_PIXELS
            else f"Mark a larger region: this one holds {len(keep)} pixels, and {FEWEST_PIXELS} are needed."
        )
    kept = shown.only(keep)
    light = np.maximum(trimmed_mean(kept), LEAST_LIGHT)
    lights, darks = _lights_and_darks(kept, calibration)
    budget = calibration.budget(light, covariance_of_mean(kept), kept.xy.mean(axis=0))
    return Reading(
        lab=calibration.lab_of_light(light),
        covariance=sum_of(budget),
        source="photograph",
        lights=lights,
        darks=darks,
        left_out_share=left_out,
        pixels=int(keep.sum()),
        budget=budget,
        caveats=(
            *photo.caveats,
            *calibration.caveats_for(light),
            *_region_caveats(int(keep.sum()), left_out),
            *_place_caveats(photo, calibration, np.asarray(region, dtype=float), seen.xy),
        ),
        region=np.asarray(region, dtype=float),
        photo=photo.sha256,
    )


def specular(light: Floats) -> NDArray[np.bool_]:
    """Tell which pixels (n,) of balanced linear RGB (n, 3) are highlights rather than the finish itself.

    A highlight is brighter than the body of the finish and takes the light's colour, which after white balance is
    neutral (dichromatic reflection: Shafer 1985, Color Res. Appl. 10(4)); burnished metal is brighter but keeps
    its colour. The body's spread is taken from its darker half, where no
    highlight reaches.
    """
    brightness = np.log(np.maximum(light.mean(axis=1), 1e-5))
    body = float(np.median(brightness))
    spread = max(1.4826 * float(np.median(body - brightness[brightness <= body])), LEAST_SPREAD)
    purity = 1 - light.min(axis=1) / np.maximum(light.max(axis=1), 1e-9)
    body_purity = float(np.median(purity[brightness <= body]))
    above = (brightness - body) / spread
    if body_purity < LEAST_PURITY:
        return np.asarray(above > 5)
    return np.asarray(((above > 1.2) & (purity < 0.75 * body_purity)) | ((above > 8) & (purity < 0.95 * body_purity)))


def _lights_and_darks(kept: Pixels, calibration: Calibration) -> tuple[Floats, Floats]:
    """Return CIELAB (3,) of the lightest and of the darkest quarter, each averaged in linear light."""
    brightness = kept.rgb.sum(axis=1)
    low, high = np.quantile(brightness, [0.25, 0.75])
    return (
        calibration.lab_of_light(kept.rgb[brightness >= high].mean(axis=0)),
        calibration.lab_of_light(kept.rgb[brightness <= low].mean(axis=0)),
    )


def _region_caveats(pixels: int, left_out: float) -> tuple[Caveat, ...]:
    caveats = []
    if pixels < FEW_PIXELS:
        caveats.append(Caveat("region-tiny", "The marked region is tiny: mark more of the finish, or go nearer."))
    if left_out > MUCH_GLARE:
        caveats.append(
            Caveat(
                "region-glare",
                f"{left_out:.0%} of the marked region is glare and was left out: move the lamp and take it again.",
            )
        )
    return tuple(caveats)


def _place_caveats(photo: Photo, calibration: Calibration, region: Floats, places: Floats) -> tuple[Caveat, ...]:
    """Say when a region holds what is no finish: the card, or nearly everything in the picture."""
    caveats = []
    card = calibration.card
    if card is not None and card.found_by != "neutral spot" and share_within(places, card.corners) > MUCH_CARD:
        caveats.append(Caveat("region-card", "The marked region covers the card: mark the finish alone."))
    if area_inside(region, photo.width, photo.height) > NEARLY_ALL * photo.width * photo.height:
        message = "The marked region is nearly the whole picture: check that it holds nothing but the finish."
        caveats.append(Caveat("region-all", message))
    return tuple(caveats)


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


def _triple(values: ArrayLike) -> tuple[float, float, float]:
    first, second, third = np.asarray(values, float)
    return float(first), float(second), float(third)


def _listed(values: Floats | None) -> list[Any] | None:
    return None if values is None else np.asarray(values).tolist()


def _array(values: ArrayLike | None) -> Floats | None:
    return None if values is None else np.asarray(values, float)
