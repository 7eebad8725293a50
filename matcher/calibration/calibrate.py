"""Calibrating a photograph: by its card, by a profile of its camera too, or by the camera's own word without a card.

White balance and exposure come from the card's neutrals in scene light; then the encoding's own matrix, or a camera
profile's transform. After ``card_gains`` and ``unknown_camera``; gives a ``Calibration``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from matcher.calibration.calibration import Calibration
from matcher.calibration.camera_priors import (
    ANOTHER_LIGHT_SHARE,
    LINEAR_TONE_SIGMA,
    MATRIX_SIGMA,
    TONE_CHANNEL_SIGMA,
    TONE_SIGMA,
    black_sigma_of,
    matrix_sigma_of,
    name_of_camera,
    name_of_camera_and_light,
    unlearned_tone,
)
from matcher.calibration.illumination import LightField
from matcher.calibration.profile import CameraProfile
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.calibration.references.reference import MOST_REFERENCES, Reference
from matcher.calibration.transform import ToneCurve, log_position, tone_from_greys
from matcher.calibration.white_balance import (
    BALANCE_SIGMA,
    NO_CARD_BALANCE_SIGMA,
    NO_CARD_EXPOSURE_SIGMA,
    GainTerm,
    anchored,
    gain_terms_of,
    middle_grey,
    usable_greys,
)
from matcher.card.reading import CardReading
from matcher.colour.cielab import lab_to_xyz
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import square_root
from matcher.errors import CardError, Caveat
from matcher.photo.encoding import SENSOR_ENCODINGS
from matcher.photo.photo import Photo
from matcher.words import listed

CHART_IN_PICTURE = "the chart in the picture"
LIGHTS = ("unknown", "daylight", "profile")
LIGHT_MOVED_SHARE = 0.35  # of a light's change of balance that comes back as a change of the matrix
STRONG_CAST = 2.0
UNPROVEN_LIGHT = Caveat(
    "profile-light-unproven",
    "Nothing in the file shows whether this is the light of the camera profile: say so if it is. Until then the ± "
    "allows for another light.",
)
FEWEST_GREYS = 3


def calibrate(
    photo: Photo,
    card: CardReading | None,
    camera: CameraProfile | None = None,
    light: str = "unknown",
    field: LightField | None = None,
    references: Sequence[Reference] = (),
) -> Calibration:
    """Calibrate a photograph by its card, and by a profile of its camera under its light where there is one.

    Parameters
    ----------
    photo : Photo
        The photograph, from ``open_photo``.
    card : CardReading or None
        The card in it, from ``find_card``. A 24-patch chart makes a profile on the spot; three or more greys
        straighten the tone curve. None when there is nothing neutral in the picture: the camera's own white balance
        and exposure are then taken, with a correspondingly larger uncertainty.
    camera : CameraProfile, optional
        How this camera sees under this light.
    light : {"unknown", "daylight", "profile"}
        "daylight" when the person knows that it was: a camera sees colour far truer in daylight, and the picture
        alone does not tell. "profile" when the person knows that it is the light which ``camera`` was made under:
        unless the file proves that, the uncertainty allows for another.
    field : LightField, optional
        The light over the picture, from a flat-field photograph or a second card.
    references : sequence of Reference, optional
        Finishes of known colour in the picture, with or without a card: what they show of camera and light makes
        every other finish's reading surer.

    Returns
    -------
    Calibration
        From linear RGB of this photograph to CIELAB under D50, 2 degrees (ISO/CIE 11664-4), with every part of its
        uncertainty (JCGM 100).

    Raises
    ------
    CardError
        No neutral patch can be used, the profile does not fit, the light is none of these or that of no profile, or
        there are more references than can be taken in.

    Examples
    --------
    The card's own grey comes out as what it is known to be:

    >>> from matcher.card.detect import find_card
    >>> from matcher.photo.photo import open_photo
    >>> from matcher.shipped import shipped
    >>> photo = open_photo(shipped("demo_images") / "plate_daylight.jpg")
    >>> card = find_card(photo)
    >>> calibration = calibrate(photo, card, light="daylight")
    >>> bool(abs(calibration.lab(card.patches[0].rgb) - card.patches[0].patch.lab).max() < 0.01)
    True
    """
    plain = _by_card(photo, card, camera, light, field)
    return replace(plain, references=checked_count(references)) if references else plain


def checked_count(references: Sequence[Reference]) -> tuple[Reference, ...]:
    """Return references as a calibration holds them. Raises CardError when there are more than can be taken in."""
    if len(references) > MOST_REFERENCES:
        raise CardError(f"Take at most {MOST_REFERENCES} known finishes in one picture: these are {len(references)}.")
    return tuple(references)


def _by_card(
    photo: Photo, card: CardReading | None, camera: CameraProfile | None, light: str, field: LightField | None
) -> Calibration:
    if light not in LIGHTS:
        raise CardError(f"Give the light as {listed(LIGHTS, 'or')}: {light!r} is none of them.")
    is_chart = card is not None and card.card.layout == "chart"
    if light == "profile" and camera is None and not is_chart:
        raise CardError("Name the camera profile whose light it is: none is used here.")
    is_linear = photo.encoding in SENSOR_ENCODINGS
    matrix_sigma = matrix_sigma_of(photo, "daylight" if light == "daylight" else "unknown")
    tone_root = unlearned_tone(*((LINEAR_TONE_SIGMA,) * 2 if is_linear else (TONE_SIGMA, TONE_CHANNEL_SIGMA)))
    if card is None:
        return _without_card(photo, camera, tone_root, matrix_sigma, light)
    if camera is None and is_chart:
        camera = profile_from_chart(photo, card, CHART_IN_PICTURE)
    caveats = (*card.caveats, *(() if camera is None else camera.caveats_for(photo, card)))
    if camera is not None:
        return _with_profile(photo, card, camera, field, light, caveats)
    neutrals = usable_greys(card)
    wanted = np.array([np.linalg.solve(photo.rgb_to_xyz, lab_to_xyz(item.patch.lab)) for item in neutrals])
    seen = np.array([item.rgb for item in neutrals])
    tone, seen_by = ToneCurve.none(), name_of_camera(photo)
    if len(neutrals) >= FEWEST_GREYS and not is_linear:
        tone, left = tone_from_greys(seen, wanted)
        tone_root, seen_by = square_root(left), photo.sha256
    weights = np.exp(-np.square((np.array([item.patch.lab[0] for item in neutrals]) - 48) / 18)) + 1e-9
    weights = weights / weights.sum()
    shown = tone(seen)
    gains = np.exp(weights @ np.log(np.maximum(wanted, 1e-6) / shown))
    held = log_position(seen)
    return Calibration(
        gains=gains,
        rgb_to_xyz=photo.rgb_to_xyz,
        gain_terms=gain_terms_of(photo, card, neutrals, weights),
        level=np.exp(weights @ np.log(shown)) * gains,
        tone_root=tone_root,
        tone_anchor=np.stack([weights @ held, weights @ held**2]),
        matrix_sigma=matrix_sigma,
        card=card,
        photo=photo.sha256,
        seen_by=seen_by,
        seen_in=name_of_camera_and_light(photo, light),
        tone=tone,
        field=field,
        black_sigma=black_sigma_of(photo),
        declared_light=light,
        caveats=(*caveats, *_cast_caveats(gains)),
    )


def _with_profile(
    photo: Photo,
    card: CardReading,
    camera: CameraProfile,
    field: LightField | None,
    light: str,
    caveats: tuple[Caveat, ...],
) -> Calibration:
    item = middle_grey(card)
    xyz = lab_to_xyz(item.patch.lab)
    gains, left = anchored(camera, item.rgb, xyz)
    moved = camera.light_moved(card)
    mismatched = any(caveat.code in ("profile-camera", "profile-encoding") for caveat in caveats)
    remedy = "fix the camera's white balance, so that it is the same as for the chart"
    balance = GainTerm(Source.WHITE_BALANCE, left[:, None], remedy, f"white balance of {photo.sha256}")
    followed = LIGHT_MOVED_SHARE * np.sqrt(max(moved**2 - BALANCE_SIGMA**2, 0.0))
    unknown = light != "profile" and camera.light_in_question(photo, card)
    matrix_sigma = np.maximum(followed, _another_light_sigma(camera, photo, card, light))
    return Calibration(
        gains=gains,
        rgb_to_xyz=photo.rgb_to_xyz,
        gain_terms=(*gain_terms_of(photo, card, (item,), np.ones(1), camera), balance),
        level=camera.tone(item.rgb) * gains,
        tone_root=np.zeros((6, 1)),
        tone_anchor=np.zeros((2, 3)),
        matrix_sigma=np.maximum(matrix_sigma, matrix_sigma_of(photo, "unknown")) if mismatched else matrix_sigma,
        card=card,
        photo=photo.sha256,
        seen_by=name_of_camera(photo),
        seen_in=photo.sha256,
        tone=camera.tone,
        profile=camera,
        profile_card_xyz=xyz,
        field=field,
        black_sigma=black_sigma_of(photo),
        declared_light=light,
        light_proven=not unknown,
        caveats=(*caveats, UNPROVEN_LIGHT) if unknown else caveats,
    )


def _another_light_sigma(camera: CameraProfile, photo: Photo, card: CardReading | None, light: str) -> Floats:
    """Return (6,) how far the matrix may be from the profile's, because the light may not be its own."""
    if light == "profile" or camera.light_is_proven(photo, card):
        return np.zeros(6)
    return ANOTHER_LIGHT_SHARE * MATRIX_SIGMA["unknown"]


def _without_card(
    photo: Photo, camera: CameraProfile | None, tone_root: Floats, matrix_sigma: Floats, light: str
) -> Calibration:
    unknown = np.column_stack([np.full(3, NO_CARD_EXPOSURE_SIGMA), NO_CARD_BALANCE_SIGMA * np.eye(3)])
    remedy = "put a grey card beside the finish and take the photo again"
    caveat = Caveat(
        "no-card", "There is no card in this photo: its lightness and tint are the camera's guess, not a measurement."
    )
    term = GainTerm(Source.NO_CARD, unknown, remedy, f"exposure of {photo.sha256}")
    blank = Calibration(
        gains=np.ones(3),
        rgb_to_xyz=photo.rgb_to_xyz,
        gain_terms=(term,),
        level=np.full(3, 0.18),
        tone_root=tone_root,
        tone_anchor=np.zeros((2, 3)),
        matrix_sigma=matrix_sigma,
        card=None,
        photo=photo.sha256,
        seen_by=name_of_camera(photo),
        seen_in=name_of_camera_and_light(photo, light),
        black_sigma=black_sigma_of(photo),
        declared_light=light,
        caveats=(caveat,),
    )
    if camera is None:
        return blank
    grey = camera.grey_light
    gains = grey * 0.18 / camera.tone(np.full(3, 0.18))
    in_question = light != "profile" and camera.light_in_question(photo, None)
    caveats = (caveat, *camera.caveats_for(photo, None), *((UNPROVEN_LIGHT,) if in_question else ()))
    return replace(
        blank,
        gains=gains,
        level=grey * 0.18,
        tone=camera.tone,
        profile=camera,
        matrix_sigma=_another_light_sigma(camera, photo, None, light),
        light_proven=not in_question,
        caveats=caveats,
    )


def _cast_caveats(gains: Floats) -> tuple[Caveat, ...]:
    if gains.max() / gains.min() < STRONG_CAST:
        return ()
    return (
        Caveat(
            "strong-cast",
            "The light in this photo is strongly coloured: daylight, or a chart photographed in it, reads truer.",
        ),
    )
