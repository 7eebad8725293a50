"""From a card reading to a Calibration: linear RGB to CIELAB under D50, and what is not known about it.

White balance and exposure come from the card's neutrals in linear light, then the encoding's own matrix. Every
input that is not exactly known contributes to the covariance, in the way of JCGM 100.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.cards import CardReading, PatchReading
from matcher.cielab import lab_jacobian, lab_to_xyz, xyz_to_lab
from matcher.errors import CardError, Caveat
from matcher.photo import Photo
from matcher.uncertainty import BudgetTerm

Floats = NDArray[np.float64]

MATRIX_SIGMA = {"daylight": 0.03, "unknown": 0.085}
"""Spread of the unknown camera-and-light matrix about the encoding's own, its rows summing to zero, by what is known
of the light. From two published sensors over 200 invented patinas: 0.01 to 0.05 in D50, D55 and D65; 0.02 to 0.26
under A, FL2, FL11, FL12, LED-B1 and LED-B3."""

TONE_SIGMA, TONE_CHANNEL_SIGMA = 0.12, 0.03
"""Spread of the exponent by which a camera's tone curve departs from its encoding's about the card's level, common
to the channels and of each on its own: between ordinary camera JPEGs of a chart and its published values."""

LINEAR_TONE_SIGMA = 0.005
FLARE_SIGMA = 0.004  # stray light in the lens, as a share of white
NO_CARD_EXPOSURE_SIGMA = 0.35  # of log exposure: half a stop
NO_CARD_BALANCE_SIGMA = 0.10  # of log gain in each channel
LIGHT_FALLOFF_SIGMA = 0.015  # of log light between card and finish when nothing tells of a gradient
STRONG_CAST = 2.0
FAR_IN_BRIGHTNESS = 8.0
UNPROFILED = "photograph a 24-patch chart under this light to learn how the camera sees it"


@dataclass(frozen=True, eq=False)
class Calibration:
    """Linear RGB of one photograph to CIELAB under D50.

    gains (3,): white balance and exposure. rgb_to_xyz (3, 3): balanced linear RGB to XYZ under D50.
    gain_terms: (name, covariance (3, 3) of log gains, remedy). level: balanced linear light of the card's grey,
    about which the tone curve is known. tone_sigma: of the exponent, common and of each channel. matrix_sigma: of the
    unknown camera-and-light matrix. card: None when
    there was nothing neutral.
    """

    gains: Floats
    rgb_to_xyz: Floats
    gain_terms: tuple[tuple[str, Floats, str], ...]
    level: Floats
    tone_sigma: tuple[float, float]
    matrix_sigma: float
    card: CardReading | None
    caveats: tuple[Caveat, ...] = ()

    def lab(self, rgb: ArrayLike) -> Floats:
        """Return CIELAB (..., 3) of this photograph's linear RGB (..., 3)."""
        return xyz_to_lab(self.balanced(rgb) @ self.rgb_to_xyz.T)

    def balanced(self, rgb: ArrayLike) -> Floats:
        """Return linear RGB (..., 3) after white balance and exposure: (1, 1, 1) is the perfect white."""
        return np.asarray(rgb, dtype=float) * self.gains

    def budget(self, rgb: Floats, rgb_covariance: Floats, place: Floats) -> tuple[BudgetTerm, ...]:
        """Return every part of the uncertainty of ``lab(rgb)`` for a region of mean rgb (3,) around place (2,).

        rgb_covariance (3, 3): of that mean, from the region's own spread.
        """
        light = self.balanced(rgb)
        to_lab = lab_jacobian(self.rgb_to_xyz @ light) @ self.rgb_to_xyz
        relative = to_lab * light  # d lab / d log gain
        region = to_lab @ (rgb_covariance * np.outer(self.gains, self.gains)) @ to_lab.T
        terms = [BudgetTerm("region", region, "mark a larger, more even region")]
        terms += [BudgetTerm(name, relative @ spread @ relative.T, remedy) for name, spread, remedy in self.gain_terms]
        if self.card is not None:
            falloff = light_falloff_sigma(self.card, place)
            terms.append(
                BudgetTerm(
                    "uneven light",
                    relative @ np.full((3, 3), falloff**2) @ relative.T,
                    "lay the card right beside the finish, and move the lamp further off",
                )
            )
        terms.append(
            BudgetTerm(
                "camera and light", self.matrix_sigma**2 * to_lab @ matrix_covariance(light) @ to_lab.T, UNPROFILED
            )
        )
        steps = np.log(np.maximum(light, 1e-4) / self.level)
        bend = np.outer(steps, steps) * (self.tone_sigma[0] ** 2 + np.eye(3) * self.tone_sigma[1] ** 2)
        remedy = "use a card with several grey steps, or camera raw"
        terms.append(BudgetTerm("tone curve", relative @ bend @ relative.T, remedy))
        flare = to_lab @ np.full((3, 3), FLARE_SIGMA**2) @ to_lab.T
        terms.append(BudgetTerm("stray light", flare, "keep lamps and windows out of the lens"))
        return tuple(terms)

    def caveats_for(self, rgb: Floats) -> tuple[Caveat, ...]:
        """Return what the light and the card give reason to doubt about a region of mean rgb (3,)."""
        caveats = list(self.caveats)
        ratio = float(np.median(np.maximum(self.balanced(rgb), 1e-6) / self.level))
        if self.card is not None and not 1 / FAR_IN_BRIGHTNESS < ratio < FAR_IN_BRIGHTNESS:
            which = "darker" if ratio < 1 else "lighter"
            caveats.append(
                Caveat(
                    "card-far-in-brightness",
                    f"The finish is far {which} than the card: keep both in the same light, or use a card with steps.",
                )
            )
        return tuple(caveats)


def calibrate(photo: Photo, card: CardReading | None, light: str = "unknown") -> Calibration:
    """Calibrate a photograph by its card.

    card: None when there is nothing neutral in the picture; the camera's own white balance and exposure are then
    taken, with a correspondingly larger uncertainty. light: "daylight" when the person knows that it was, else
    "unknown": a camera sees colour far truer in daylight, and the picture alone does not tell. Raises CardError
    when no neutral patch can be used or the light is neither.
    """
    if light not in MATRIX_SIGMA:
        raise CardError(f"Give the light as daylight or unknown: {light!r} is neither.")
    matrix = MATRIX_SIGMA[light]
    is_linear = photo.encoding in ("linear", "camera raw")
    tone = (LINEAR_TONE_SIGMA, LINEAR_TONE_SIGMA) if is_linear else (TONE_SIGMA, TONE_CHANNEL_SIGMA)
    if card is None:
        unknown = np.full((3, 3), NO_CARD_EXPOSURE_SIGMA**2) + np.eye(3) * NO_CARD_BALANCE_SIGMA**2
        missing = ("no card", unknown, "put a grey card beside the finish and take the photo again")
        caveat = Caveat(
            "no-card",
            "There is no card in this photo: its lightness and tint are the camera's guess, not a measurement.",
        )
        return Calibration(np.ones(3), photo.rgb_to_xyz, (missing,), np.full(3, 0.18), tone, matrix, None, (caveat,))
    neutrals = card.neutrals
    if not neutrals:
        raise CardError("The card is over- or underexposed: retake the photo so that its grey is a middle grey.")
    wanted = np.array([np.linalg.solve(photo.rgb_to_xyz, lab_to_xyz(item.patch.lab)) for item in neutrals])
    seen = np.array([item.rgb for item in neutrals])
    weights = np.exp(-np.square((np.array([item.patch.lab[0] for item in neutrals]) - 48) / 18)) + 1e-9
    weights = weights / weights.sum()
    gains = np.exp(weights @ np.log(np.maximum(wanted, 1e-6) / seen))
    read = sum(weight**2 * _relative(item.covariance, item.rgb) for weight, item in zip(weights, neutrals, strict=True))
    known = sum(weight**2 * _tolerance(item, photo.rgb_to_xyz) for weight, item in zip(weights, neutrals, strict=True))
    terms = (
        ("card reading", np.asarray(read), "let the card fill more of the picture, evenly lit"),
        ("card tolerance", np.asarray(known), "measure your card and enter its own CIELAB"),
    )
    level = np.exp(weights @ np.log(seen)) * gains
    return Calibration(
        gains, photo.rgb_to_xyz, terms, level, tone, matrix, card, (*card.caveats, *_cast_caveats(gains))
    )


def matrix_covariance(light: Floats) -> Floats:
    """Return the covariance (3, 3) of balanced linear RGB (3,) that an unknown camera-and-light matrix leaves.

    A matrix error E whose rows sum to zero leaves neutrals alone and moves channel c by the sum over d of
    E_cd (light_d − light_c); its entries are taken as independent with standard deviation 1.
    """
    return np.diag(np.square(light[None, :] - light[:, None]).sum(axis=1))


def light_falloff_sigma(card: CardReading, place: Floats) -> float:
    """Return the standard deviation of log light between the card and a place (2,) in the picture.

    The gradient over the card's face, carried on to the place, is as likely to end as to go on.
    """
    patch = max(card.neutrals, key=lambda item: len(item.blocks[0]))
    places, rgb = patch.blocks
    if len(places) < 6:
        return 3 * LIGHT_FALLOFF_SIGMA
    middle = places.mean(axis=0)
    size = max(float(np.ptp(places, axis=0).max()), 1.0)
    design = np.column_stack([np.ones(len(places)), (places - middle) / size])
    slope = np.linalg.lstsq(design, np.log(np.maximum(rgb.mean(axis=1), 1e-9)), rcond=None)[0][1:]
    away = (place - middle) / size
    return float(np.hypot(LIGHT_FALLOFF_SIGMA * (1 + 0.25 * np.linalg.norm(away)), min(abs(slope @ away), 0.7)))


def _relative(covariance: Floats, rgb: Floats) -> Floats:
    return np.asarray(covariance / np.outer(rgb, rgb))


def _tolerance(item: PatchReading, rgb_to_xyz: Floats) -> Floats:
    """Return the covariance (3, 3) of log gains that a patch's own tolerance leaves."""
    xyz = lab_to_xyz(item.patch.lab)
    wanted = np.linalg.solve(rgb_to_xyz, xyz)
    to_log_gain = np.linalg.inv(lab_jacobian(xyz) @ rgb_to_xyz) / wanted[:, None]
    return np.asarray(to_log_gain @ np.diag(np.square(item.patch.tolerance)) @ to_log_gain.T)


def _cast_caveats(gains: Floats) -> tuple[Caveat, ...]:
    if gains.max() / gains.min() < STRONG_CAST:
        return ()
    return (
        Caveat(
            "strong-cast",
            "The light in this photo is strongly coloured: daylight, or a chart photographed in it, reads truer.",
        ),
    )
