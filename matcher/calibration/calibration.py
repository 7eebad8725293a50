"""A Calibration: linear RGB of one photograph to CIELAB under D50, and what is not known about it.

Every input that is not exactly known has its part in the uncertainty, in the way of JCGM 100. ``calibrating`` makes
one; ``finish`` reads with it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from matcher.calibration.camera_priors import BLACK_SIGMA, matrix_effect
from matcher.calibration.illumination import LightField
from matcher.calibration.profile import CameraProfile
from matcher.calibration.references.reference import Reference
from matcher.calibration.transform import ToneCurve, log_position
from matcher.calibration.white_balance import GainTerm, anchored, middle_grey
from matcher.card.reading import CardReading
from matcher.colour.cielab import SRGB_TO_XYZ_D50, XYZ_D50_TO_SRGB, xyz_to_lab
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import CAMERA_AND_LIGHT_OF, TONE_CURVE_OF, BudgetTerm, square_root
from matcher.errors import Caveat

FLARE_SIGMA, LEARNED_FLARE_SIGMA = 0.003, 0.0015
"""Stray light in the lens as a share of white; and how far it differs from that of a profile's chart."""
TOO_DARK_CODE = "region-dark"
TOO_DARK = 0.003  # of white: no more than stray light
FAR_IN_BRIGHTNESS = 8.0
LEAST_RESIDUAL = 0.15  # CIELAB: no camera sees quite as the eye does
UNPROFILED = "photograph a 24-patch chart under this light to learn how the camera sees it"


@dataclass(frozen=True, eq=False)
class Calibration:
    """Linear RGB of one photograph to CIELAB under D50.

    tone: decoded values to scene light. gains (3,): white balance and exposure of scene light. rgb_to_xyz (3, 3):
    balanced light to XYZ under D50, used when there is no profile. level (3,): light of the card's grey. tone_root
    (6, q): what is not known of the channels' slopes and bows of tone, by cause; tone_anchor (2, 3): u and u² of the
    card's greys, where the curve is held. matrix_sigma (6,): of the unknown camera-and-light matrix, 0 when it is
    known. card: None when there was nothing neutral. seen_by: the camera, seen_in: the camera and its light, where
    known, else the photograph: what other readings can share. field: the light over the picture. black_sigma: how far
    a decoded value of nothing may be from 0. declared_light: "daylight" or "profile" (the profile's own light) when the
    person said so, else "unknown". light_proven: whether the light is known to be the profile's,
    or known to be another. references: finishes of known colour in the picture, which ``read_finish`` takes in.
    """

    gains: Floats
    rgb_to_xyz: Floats
    gain_terms: tuple[GainTerm, ...]
    level: Floats
    tone_root: Floats
    tone_anchor: Floats
    matrix_sigma: Floats
    card: CardReading | None
    photo: str
    seen_by: str
    seen_in: str
    tone: ToneCurve = field(default_factory=ToneCurve.none)
    profile: CameraProfile | None = None
    profile_card_xyz: Floats | None = None
    field: LightField | None = None
    black_sigma: float = BLACK_SIGMA[8]
    declared_light: str = "unknown"
    light_proven: bool = True
    references: tuple[Reference, ...] = ()
    caveats: tuple[Caveat, ...] = ()

    def light(self, rgb: ArrayLike, places: ArrayLike | None = None) -> Floats:
        """Return scene light (..., 3) of decoded linear RGB (..., 3), as it would be where the card lies.

        places: (..., 2) pixels, for the light field where there is one.
        """
        light = self.tone(rgb) * self.gains
        if self.field is not None and places is not None:
            light = light / self.field.relative(np.asarray(places, dtype=float))[..., None]
        return np.asarray(light)

    def lab(self, rgb: ArrayLike, places: ArrayLike | None = None) -> Floats:
        """Return CIELAB (..., 3) of this photograph's linear RGB (..., 3)."""
        return self.lab_of_light(self.light(rgb, places))

    def lab_of_light(self, light: ArrayLike) -> Floats:
        """Return CIELAB (..., 3) of scene light (..., 3)."""
        if self.profile is not None:
            return xyz_to_lab(self.profile.xyz(light))
        return xyz_to_lab(np.asarray(light, dtype=float) @ self.rgb_to_xyz.T)

    def balanced(self, light: ArrayLike) -> Floats:
        """Return scene light (..., 3) scaled so that the perfect white is (1, 1, 1)."""
        white = np.ones(3) if self.profile is None else self.profile.grey_light
        return np.asarray(np.asarray(light, dtype=float) / white)

    def budget(self, light: Floats, covariance: Floats, place: Floats) -> tuple[BudgetTerm, ...]:
        """Return every part of the uncertainty of ``lab_of_light(light)`` for a region around place (2,).

        light (3,): the region's mean scene light; covariance (3, 3): of that mean, from the region's own spread.
        """
        relative = self._slopes(light)
        region = relative @ square_root(covariance / np.outer(light, light))
        terms = [BudgetTerm(Source.REGION, region, "mark a larger, more even region")]
        terms += [BudgetTerm(term.name, relative @ term.effect, term.remedy, term.shared) for term in self.gain_terms]
        terms += self._light_terms(relative, place)
        terms += self._camera_terms(relative, light)
        return tuple(terms)

    def caveats_for(self, light: Floats) -> tuple[Caveat, ...]:
        """Return what the light and the card give reason to doubt about a region of mean scene light (3,)."""
        caveats = list(self.caveats)
        if float(self.balanced(light).max()) < TOO_DARK:
            message = "The marked region is too dark to read: light it better or expose longer, and take it again."
            return (*caveats, Caveat(TOO_DARK_CODE, message))
        ratio = float(np.median(np.maximum(self.balanced(light), 1e-6) / self.balanced(self.level)))
        if self.card is not None and not 1 / FAR_IN_BRIGHTNESS < ratio < FAR_IN_BRIGHTNESS:
            which = "darker" if ratio < 1 else "lighter"
            caveats.append(
                Caveat(
                    "card-far-in-brightness",
                    f"The finish is far {which} than the card: keep both in the same light, or use a card with steps.",
                )
            )
        return tuple(caveats)

    def _slopes(self, light: Floats) -> Floats:
        """Return d CIELAB / d log light (3, 3)."""
        step = 1e-4
        sides = [[self.lab_of_light(light * np.exp(sign * step * row)) for sign in (1, -1)] for row in np.eye(3)]
        return np.stack([(up - down) / (2 * step) for up, down in sides], axis=1)

    def _light_terms(self, relative: Floats, place: Floats) -> list[BudgetTerm]:
        if self.card is None:
            return []
        known = self.field if self.field is not None else LightField.from_card_face(self.card)
        remedy = (
            "lay the card right beside the finish and move the lamp further off, or photograph even paper there too"
        )
        common = relative.sum(axis=1)[:, None]
        return [
            BudgetTerm(Source.UNEVEN_LIGHT, common @ known.effect(place)[None], remedy, f"light over {self.photo}"),
            BudgetTerm(Source.LIGHT_CLOSE_BY, common * known.local_sigma, remedy),
        ]

    def _camera_terms(self, relative: Floats, light: Floats) -> list[BudgetTerm]:
        balanced = np.maximum(self.balanced(light), 1e-6)
        per_log = relative / balanced  # d CIELAB / d balanced light
        terms = []
        if self.matrix_sigma.any():
            effect = self._matrix_moves(light)
            name, remedy = (Source.CAMERA_AND_LIGHT, UNPROFILED)
            if self.profile is not None:
                name, remedy = (Source.LIGHT_HAS_MOVED, "photograph the chart again under this light")
            if not self.light_proven:
                name, remedy = (Source.LIGHT_UNPROVEN, "say whether the light is that of the camera profile")
            terms.append(BudgetTerm(name, effect, remedy, f"{CAMERA_AND_LIGHT_OF}{self.seen_in}", unknown_camera=True))
        if self.profile is not None:
            terms += self._profile_terms(light)
        else:
            position = log_position(self._decoded(light))
            slope, bow = np.stack([position, position**2]) - self.tone_anchor
            bend = relative @ np.hstack([np.diag(slope), np.diag(bow)]) @ self.tone_root
            remedy = "use a card with several grey steps, or camera raw"
            tone = f"{TONE_CURVE_OF}{self.seen_by}"
            terms.append(BudgetTerm(Source.TONE_CURVE, bend, remedy, tone, unknown_camera=True))
        stray = FLARE_SIGMA if self.profile is None else LEARNED_FLARE_SIGMA
        flare = (per_log @ np.full(3, stray))[:, None]
        terms.append(
            BudgetTerm(Source.STRAY_LIGHT, flare, "keep lamps and windows out of the lens", f"flare in {self.photo}")
        )
        floor = per_log @ np.diag(self.black_sigma * self.balanced(self.gains))
        terms.append(BudgetTerm(Source.BLACK_LEVEL, floor, "light the finish better", f"blacks of {self.photo}"))
        return terms

    def _matrix_moves(self, light: Floats) -> Floats:
        """Return how CIELAB moves (3, 6) by one standard deviation of each entry of the matrix at scene light (3,).

        The entries are those of the encoding's primaries; what a profile has made of the light is taken to sRGB's.
        Half of the way from one side to the other: near black the slope itself would carry a channel below nothing.
        """
        if self.profile is None:
            shown, to_xyz = self.balanced(light), self.rgb_to_xyz
        else:
            shown, to_xyz = XYZ_D50_TO_SRGB @ self.profile.xyz(light), SRGB_TO_XYZ_D50
        shown = np.maximum(shown, 1e-6)
        step = (matrix_effect(shown) * self.matrix_sigma).T
        sides = [xyz_to_lab(np.maximum(shown + sign * step, 0.0) @ to_xyz.T) for sign in (1, -1)]
        return np.asarray((sides[0] - sides[1]).T / 2)

    def _profile_terms(self, light: Floats) -> list[BudgetTerm]:
        """Return what the profile's fit leaves unknown, and what it could not fit on its own chart."""
        assert self.profile is not None
        profile, decoded = self.profile, self._decoded(light)
        lab = self.lab_of_light(light)
        moved = [xyz_to_lab(other.xyz(other.tone(decoded) * gains)) - lab for other, gains in self._profile_moved]
        effect = np.stack(moved, axis=1)
        rest = square_root(profile.local.covariance(lab), least=LEAST_RESIDUAL**2)
        remedy = "photograph the chart again, large, even and sharp"
        return [
            BudgetTerm(Source.PROFILE, effect, remedy, f"profile {profile.photo or profile.name}"),
            BudgetTerm(Source.UNLIKE_THE_CHART, rest, "compare side by side in one photograph"),
        ]

    @cached_property
    def _profile_moved(self) -> list[tuple[CameraProfile, Floats]]:
        """The profile moved along each of its shared causes, and the gains (3,) that the card then gives."""
        assert self.profile is not None
        others = [self.profile.moved(cause) for cause in range(self.profile.spread.shape[1])]
        if self.card is None or self.profile_card_xyz is None:
            return [(other, self.gains) for other in others]
        grey = middle_grey(self.card).rgb
        return [(other, anchored(other, grey, self.profile_card_xyz)[0]) for other in others]

    def _decoded(self, light: Floats) -> Floats:
        """Return the decoded values (3,) whose scene light this is: the tone curve backwards, by bisection."""
        low, high = np.full(3, 1e-6), np.full(3, 64.0)
        for _ in range(60):
            middle = np.sqrt(low * high)
            below = self.tone(middle) * self.gains < light
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray(np.sqrt(low * high))
