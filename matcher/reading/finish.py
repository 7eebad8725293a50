"""A marked region of a photograph becomes a Reading: CIELAB, its covariance, lights and darks, palette."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from matcher.calibration.calibration import Calibration
from matcher.colour.types import Floats
from matcher.colour.uncertainty import sum_of
from matcher.errors import Caveat, ReadingError
from matcher.photo.photo import Photo
from matcher.photo.region import Pixels, area_inside, covariance_of_mean, pixels_inside, share_within, trimmed_mean
from matcher.reading.glare import specular
from matcher.reading.reading import Conditions, Reading
from matcher.words import counted, percent

FEWEST_PIXELS = 9
FEW_PIXELS = 400
LEAST_LIGHT = 1e-5
MUCH_GLARE = 0.2
MUCH_CARD = 0.03  # of a region
NEARLY_ALL = 0.9  # of the picture


def read_finish(photo: Photo, calibration: Calibration, region: ArrayLike) -> Reading:
    """Read the colour of the finish inside an outline.

    Clipped and specular pixels are left out; the rest are averaged in linear light, trimmed, because that is what the
    eye makes of a texture from a distance.

    Parameters
    ----------
    photo : Photo
        The photograph, upright.
    calibration : Calibration
        Of the same photograph.
    region : array_like, shape (n, 2)
        Outline of the finish in pixels, n at least 3.

    Returns
    -------
    Reading
        CIELAB under D50 for 2 degrees (ISO/CIE 11664-4) with its covariance, the parts that it is made of (JCGM 100),
        and what gives reason to doubt it.

    Raises
    ------
    ReadingError
        When the region is outside the picture, too small, or all glare.

    Examples
    --------
    >>> from matcher import calibrate, open_photo
    >>> from matcher.shipped import shipped
    >>> photo = open_photo(shipped("demo_images") / "plate_no_card.jpg")
    >>> reading = read_finish(photo, calibrate(photo, None), [(300, 450), (700, 450), (700, 800), (300, 800)])
    >>> reading.source, reading.lab.shape, reading.covariance.shape
    ('photograph', (3,), (3, 3))
    >>> [caveat.code for caveat in reading.caveats]
    ['no-card']
    """
    seen = pixels_inside(photo, region)
    shown = Pixels(seen.xy, calibration.light(seen.rgb, seen.xy), seen.clipped)
    keep = ~seen.clipped & ~specular(calibration.balanced(shown.rgb))
    left_out = 1.0 - float(keep.mean())
    if keep.sum() < FEWEST_PIXELS:
        raise ReadingError(
            "The marked region is all glare or overexposed: retake the photo with the lamp moved."
            if len(keep) >= FEWEST_PIXELS
            else f"Mark a larger region: this one holds {counted(len(keep), 'pixel')}, and {FEWEST_PIXELS} are needed."
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
        conditions=Conditions(photo.encoding, calibration.declared_light),
    )


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
                f"{percent(left_out)} of the marked region is glare and was left out: move the lamp and take it again.",
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
