"""What gives reason to doubt a card's reading: its face, the light on it, blur, or measured values far from its kind's.

Beside ``card_reading``; ``card_in_photo`` says it with each card that it finds.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike

from matcher.card.card import Card
from matcher.card.reading import CardReading, PatchReading
from matcher.card.search import signed_area
from matcher.colour.cielab import encode_srgb
from matcher.colour.types import Floats
from matcher.errors import CardError, Caveat
from matcher.photo.encoding import SENSOR_ENCODINGS
from matcher.photo.photo import Photo

BLUR_SHARE = 0.05  # an edge wider than this share of the card is blurred
FAR_FROM_KIND = 12.0  # CIELAB
MOTTLED, SPOTTED = 0.05, 0.025
"""Spread of the tints over a face, in log light, at which it is no card, and may be none: on the demo's cards up to
0.017 (a shadow's edge), on its finishes 0.02 to 0.2."""
COLOURED = 0.5  # of log balance: a card's own tint, and what it has more of it than the rest of the picture
DARK, FEWEST_BLOCKS = 0.01, 12  # below them noise makes tints of its own
DOUBTFUL = "card-doubtful"


def far_lab_caveats(card: Card, lab: ArrayLike | None) -> tuple[Caveat, ...]:
    """Say when a measured CIELAB is far from what a card of this kind has."""
    if lab is None:
        return ()
    own = card.with_lab(lab)
    away = [float(np.linalg.norm(new.lab - old.lab)) for old, new in zip(card.patches, own.patches, strict=True)]
    worst = int(np.argmax(away))
    if away[worst] <= FAR_FROM_KIND:
        return ()
    of = "" if len(away) == 1 else f" in {card.patches[worst].name}"
    usual, given = ("{:g}, {:g}, {:g}".format(*one.patches[worst].lab) for one in (card, own))
    message = (
        f"The card's own colour {given} is far from the {usual} of a {card.title}{of}: check it, or the kind of card."
    )
    return (Caveat("card-lab-far", message),)


def face_caveats(photo: Photo, found: CardReading) -> tuple[Caveat, ...]:
    """Give reason to doubt that what a person marked is a plain grey card. Raises CardError when it is plainly none.

    Light, even a shadow, leaves a card's face nearly of one tint; a finish is mottled. And a coloured light colours
    the whole picture: what is more coloured than the rest, and in the same way, is so by itself.
    """
    if len(found.patches) != 1 or not found.patches[0].patch.neutral:
        return ()
    tint, mottle = _tint(found.patches[0].rgb), _mottle(found.patches[0])
    strength = float(np.linalg.norm(tint))
    if mottle > MOTTLED or (mottle > SPOTTED and strength > COLOURED):
        raise CardError("What is marked as the card is mottled, as a finish is: mark the grey card's own corners.")
    rest = photo.linear(step=max(1, photo.width // 200)).reshape(-1, 3)
    excess = float((tint - _tint(np.median(rest, axis=0))) @ tint) / max(strength, 1e-9)
    finished = photo.encoding not in SENSOR_ENCODINGS  # a sensor's own greys are greenish
    if mottle > SPOTTED or (finished and strength > COLOURED and excess > COLOURED):
        message = "What is marked as the card does not look like grey card: check that the corners are the card's own."
        return (Caveat(DOUBTFUL, message),)
    return ()


def _tint(rgb: ArrayLike) -> Floats:
    """Return the balance of linear light (..., 3) as logs about their mean, 0 for a grey."""
    log = np.log(np.maximum(rgb, 1e-4))
    return np.asarray(log - log.mean(axis=-1, keepdims=True))


def _mottle(item: PatchReading) -> float:
    """Return the spread of the tints of a face's blocks about a slope over it; 0 where it is too small or dark."""
    places, means = item.blocks
    if len(places) < FEWEST_BLOCKS or item.rgb.min() < DARK:
        return 0.0
    tints, plane = _tint(means), np.column_stack([np.ones(len(places)), places - places.mean(axis=0)])
    return float(np.std(tints - plane @ np.linalg.lstsq(plane, tints, rcond=None)[0]))


def blur_caveats(photo: Photo, corners: Floats) -> tuple[Caveat, ...]:
    """Judge blur by how many pixels the steepest edge in and around the card takes to rise."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    margin = 0.12 * (high - low)
    side = float(np.sqrt(abs(signed_area(corners))))
    step = max(1, int(side / 300))
    box = (*(low - margin), *(high + margin))
    light = cv2.GaussianBlur(encode_srgb(photo.linear(box, step).mean(axis=2)), (0, 0), 1.0)
    if min(light.shape) < 8:
        return ()
    slope = np.hypot(cv2.Sobel(light, cv2.CV_64F, 1, 0, scale=1 / 8), cv2.Sobel(light, cv2.CV_64F, 0, 1, scale=1 / 8))
    contrast = float(np.subtract(*np.quantile(light, [0.98, 0.02])))
    width = step * contrast / max(float(np.quantile(slope, 0.998)), 1e-6)
    if contrast < 0.08 or width < max(BLUR_SHARE * side, 8.0):
        return ()
    return (Caveat("blur", "The photo is blurred: hold the camera still and let it focus on the plate."),)


def light_caveats(readings: tuple[PatchReading, ...]) -> tuple[Caveat, ...]:
    """Say what the light on the card gives reason to doubt."""
    neutrals = [item for item in readings if item.patch.neutral] or list(readings)
    caveats = []
    if max(item.clipped_share for item in neutrals) > 0.01 and len(neutrals) == 1:
        caveats.append(
            Caveat("card-clipped", "Part of the card is overexposed: retake the photo a stop darker or turn the card.")
        )
    if max(float(item.rgb.max()) for item in neutrals) < 0.02:
        caveats.append(Caveat("card-dark", "The card is very dark in the photo: retake it with more exposure."))
    if max(item.unevenness for item in neutrals) > 0.12:
        caveats.append(
            Caveat("card-uneven", "The light falls unevenly over the card: move the lamp back or turn the card.")
        )
    return tuple(caveats)
