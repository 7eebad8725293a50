"""From a card reading to a Calibration: linear RGB to CIELAB under D50, and what is not known about it.

White balance and exposure come from the card's neutrals in scene light; then the encoding's own matrix, or a camera
profile's transform. Every input that is not exactly known has its part in the uncertainty, in the way of JCGM 100.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.camera_profile import CameraProfile
from matcher.card_doubts import DOUBTFUL
from matcher.card_reading import CardReading, PatchReading
from matcher.chart_profile import profile_from_chart
from matcher.cielab import lab_jacobian, lab_to_xyz, xyz_to_lab
from matcher.errors import CardError, Caveat
from matcher.light_field import LightField
from matcher.photo import Photo
from matcher.tone import ToneCurve, log_position, tone_from_greys
from matcher.uncertainty import BudgetTerm, square_root

Floats = NDArray[np.float64]

MATRIX_SIGMA = {
    "daylight": np.array([0.041, 0.028, 0.016, 0.030, 0.008, 0.052]),
    "unknown": np.array([0.17, 0.06, 0.18, 0.16, 0.04, 0.35]),
}
"""Spread of the unknown camera-and-light matrix about the encoding's own, entry by entry as ``matrix_effect`` orders
them (red from green, red from blue, green from red and so on), by what is known of the light. From root mean squares
over two published sensors and 200 invented patinas, in D50, D55 and D65, and under A, FL2, FL11, FL12, LED-B1 and
LED-B3; scaled by what the coverage benchmark finds enough (daylight by 0.75, unknown by up to 1.3)."""

FINISHED_SHARE = 0.6
"""In daylight, of the unknown light's spread, for pictures that the camera finished: it turns colours and changes their
saturation more than daylight does. From ordinary camera JPEGs of a chart and its published values."""

SENSOR_MATRIX_SIGMA = np.full(6, 0.35)
"""The same for values declared linear: they are the sensor's own, which are far from any encoding's primaries."""

TONE_SIGMA, TONE_CHANNEL_SIGMA = 0.13, 0.05
"""Spread of the exponent by which a camera's tone curve departs from its encoding's about the card's level, common
to the channels and of each on its own: between ordinary camera JPEGs of a chart and its published values."""

LINEAR_TONE_SIGMA = 0.005
FLARE_SIGMA, LEARNED_FLARE_SIGMA = 0.003, 0.0015
"""Stray light in the lens as a share of white; and how far it differs from that of a profile's chart."""
BLACK_SIGMA = {8: 3e-4, 16: 1e-4}
"""Standard uncertainty of each channel's black as a share of white, by bits: one step of an 8-bit file there (IEC
61966-2-1: 1/255/12.92), and of a sensor's black level (from memory)."""
TOO_DARK_CODE = "region-dark"
TOO_DARK = 0.003  # of white: no more than stray light
NO_CARD_EXPOSURE_SIGMA = 0.35  # of log exposure: half a stop
NO_CARD_BALANCE_SIGMA = 0.10  # of log gain in each channel
LIGHT_MOVED_SHARE = 0.35  # of a light's change of balance that comes back as a change of the matrix
BALANCE_SIGMA = 0.03  # of log balance between a profile's greys and a card under the same light
STRONG_CAST = 2.0
FAR_IN_BRIGHTNESS = 8.0
FEWEST_GREYS = 3
UNPROFILED = "photograph a 24-patch chart under this light to learn how the camera sees it"


@dataclass(frozen=True, eq=False)
class GainTerm:
    """What is not known of log gains: effect (3, p) on the three channels, its shared name and its remedy."""

    name: str
    effect: Floats
    remedy: str
    shared: str


@dataclass(frozen=True, eq=False)
class Calibration:
    """Linear RGB of one photograph to CIELAB under D50.

    tone: decoded values to scene light. gains (3,): white balance and exposure of scene light. rgb_to_xyz (3, 3):
    balanced light to XYZ under D50, used when there is no profile. level (3,): light of the card's grey. tone_root
    (6, q): what is not known of the channels' slopes and bows of tone, by cause; tone_anchor (2, 3): u and u² of the
    card's greys, where the curve is held. matrix_sigma (6,): of the unknown camera-and-light matrix, 0 when it is
    known. card: None when there was nothing neutral. seen_by: the camera, seen_in: the camera and its light, where
    known, else the photograph: what other readings can share. field: the light over the picture. black_sigma: how far
    a decoded value of nothing may be from 0.
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
        terms = [BudgetTerm("region", region, "mark a larger, more even region")]
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
        remedy = "lay the card right beside the finish and move the lamp further off, or photograph a flat field"
        common = relative.sum(axis=1)[:, None]
        return [
            BudgetTerm("uneven light", common @ known.effect(place)[None], remedy, f"light over {self.photo}"),
            BudgetTerm("light close by", common * known.local_sigma, remedy),
        ]

    def _camera_terms(self, relative: Floats, light: Floats) -> list[BudgetTerm]:
        balanced = np.maximum(self.balanced(light), 1e-6)
        per_log = relative / balanced  # d CIELAB / d balanced light
        terms = []
        if self.matrix_sigma.any():
            effect = self._matrix_moves(balanced)
            name, remedy = ("camera and light", UNPROFILED)
            if self.profile is not None:
                name, remedy = ("light has moved", "photograph the chart again under this light")
            terms.append(BudgetTerm(name, effect, remedy, f"camera and light of {self.seen_in}"))
        if self.profile is not None:
            terms += self._profile_terms(light)
        else:
            position = log_position(self._decoded(light))
            slope, bow = np.stack([position, position**2]) - self.tone_anchor
            bend = relative @ np.hstack([np.diag(slope), np.diag(bow)]) @ self.tone_root
            remedy = "use a card with several grey steps, or camera raw"
            terms.append(BudgetTerm("tone curve", bend, remedy, f"tone curve of {self.seen_by}"))
        stray = FLARE_SIGMA if self.profile is None else LEARNED_FLARE_SIGMA
        flare = (per_log @ np.full(3, stray))[:, None]
        terms.append(
            BudgetTerm("stray light", flare, "keep lamps and windows out of the lens", f"flare in {self.photo}")
        )
        floor = per_log @ np.diag(self.black_sigma * self.balanced(self.gains))
        terms.append(BudgetTerm("black level", floor, "light the finish better", f"blacks of {self.photo}"))
        return terms

    def _matrix_moves(self, balanced: Floats) -> Floats:
        """Return how CIELAB moves (3, 6) by one standard deviation of each entry of the matrix at balanced light (3,).

        Half of the way from one side to the other: near black the slope itself would carry a channel below nothing.
        """
        white = self.balanced(np.ones(3))
        step = (matrix_effect(balanced) * self.matrix_sigma).T
        sides = [self.lab_of_light(np.maximum(balanced + sign * step, 0.0) / white) for sign in (1, -1)]
        return np.asarray((sides[0] - sides[1]).T / 2)

    def _profile_terms(self, light: Floats) -> list[BudgetTerm]:
        """Return what the profile's fit leaves unknown, and what it could not fit on its own chart."""
        assert self.profile is not None
        profile, decoded = self.profile, self._decoded(light)
        lab = self.lab_of_light(light)
        moved = []
        for cause in range(profile.spread.shape[1]):
            other = profile.moved(cause)
            gains = self.gains
            if self.card is not None and self.profile_card_xyz is not None:
                gains, _ = anchored(other, _middle_grey(self.card).rgb, self.profile_card_xyz)
            moved.append(xyz_to_lab(other.xyz(other.tone(decoded) * gains)) - lab)
        effect = np.stack(moved, axis=1)
        left = profile.residual_covariance(lab) - effect @ effect.T
        values, vectors = np.linalg.eigh(left)
        rest = vectors * np.sqrt(np.maximum(values, LEAST_RESIDUAL**2))
        remedy = "photograph the chart again, large, even and sharp"
        return [
            BudgetTerm("profile", effect, remedy, f"profile {profile.photo or profile.name}"),
            BudgetTerm("colours unlike the chart's", rest, "compare side by side in one photograph"),
        ]

    def _decoded(self, light: Floats) -> Floats:
        """Return the decoded values (3,) whose scene light this is: the tone curve backwards, by bisection."""
        low, high = np.full(3, 1e-6), np.full(3, 64.0)
        for _ in range(60):
            middle = np.sqrt(low * high)
            below = self.tone(middle) * self.gains < light
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray(np.sqrt(low * high))


LEAST_RESIDUAL = 0.15  # CIELAB: no camera sees quite as the eye does


def calibrate(
    photo: Photo,
    card: CardReading | None,
    camera: CameraProfile | None = None,
    light: str = "unknown",
    field: LightField | None = None,
) -> Calibration:
    """Calibrate a photograph by its card, and by a profile of its camera under its light where there is one.

    card: None when there is nothing neutral in the picture; the camera's own white balance and exposure are then
    taken, with a correspondingly larger uncertainty. A card that is a 24-patch chart makes a profile on the spot. A
    card with three or more greys straightens the tone curve. light: "daylight" when the person knows that it was,
    else "unknown": a camera sees colour far truer in daylight, and the picture alone does not tell. field: the light
    over the picture, from a flat-field photograph or a second card.

    Raises CardError when no neutral patch can be used, the profile does not fit, or the light is neither.
    """
    if light not in MATRIX_SIGMA:
        raise CardError(f"Give the light as daylight or unknown: {light!r} is neither.")
    is_linear = photo.encoding in ("linear", "camera raw")
    matrix_sigma = _matrix_sigma(photo, light)
    tone_root = _unlearned_tone(*((LINEAR_TONE_SIGMA,) * 2 if is_linear else (TONE_SIGMA, TONE_CHANNEL_SIGMA)))
    if card is None:
        return _without_card(photo, camera, tone_root, matrix_sigma, light)
    if camera is None and card.card.layout == "chart":
        camera = profile_from_chart(photo, card, "the chart in the picture")
    caveats = (*card.caveats, *(() if camera is None else camera.caveats_for(photo, card)))
    if camera is not None:
        return _with_profile(photo, card, camera, field, caveats)
    neutrals = _usable(card)
    wanted = np.array([np.linalg.solve(photo.rgb_to_xyz, lab_to_xyz(item.patch.lab)) for item in neutrals])
    seen = np.array([item.rgb for item in neutrals])
    tone, seen_by = ToneCurve.none(), _seen_by(photo)
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
        gain_terms=_gain_terms(photo, card, neutrals, weights),
        level=np.exp(weights @ np.log(shown)) * gains,
        tone_root=tone_root,
        tone_anchor=np.stack([weights @ held, weights @ held**2]),
        matrix_sigma=matrix_sigma,
        card=card,
        photo=photo.sha256,
        seen_by=seen_by,
        seen_in=_seen_in(photo, light),
        tone=tone,
        field=field,
        black_sigma=_black_sigma(photo),
        caveats=(*caveats, *_cast_caveats(gains)),
    )


def anchored(profile: CameraProfile, rgb: Floats, xyz: Floats) -> tuple[Floats, Floats]:
    """Return gains (3,) that bring a card's decoded rgb (3,) to its XYZ (3,), and the log gains (3,) left aside.

    Exposure is taken from the card in full. Its balance is not when it is within what a profile itself leaves on
    greys: the chart already balanced the light, and moving the channels by that much would move every other colour
    with them. A balance further off has really changed, and is followed.
    """
    shown = profile.tone(rgb)
    ratio = np.log(profile.light_of(xyz) / shown)
    tint = ratio - ratio.mean()
    change = float(np.ptp(tint))
    share = change**2 / (change**2 + BALANCE_SIGMA**2)
    gains = np.exp(ratio.mean() + share * tint)
    return np.asarray(gains * xyz[1] / profile.xyz(shown * gains)[1]), np.asarray((1 - share) * tint)


def _unlearned_tone(common: float, own: float) -> Floats:
    """Return the root (6, 4) of an exponent's spread, common to the channels and of each on its own."""
    return np.vstack([np.column_stack([np.full(3, common), own * np.eye(3)]), np.zeros((3, 4))])


def _matrix_sigma(photo: Photo, light: str) -> Floats:
    """Return (6,) how far the camera-and-light matrix may be from the encoding's, by encoding and light."""
    if photo.encoding == "linear":
        return SENSOR_MATRIX_SIGMA
    if photo.encoding == "camera raw" or light == "unknown":
        return MATRIX_SIGMA[light]
    return FINISHED_SHARE * MATRIX_SIGMA["unknown"]


def _seen_by(photo: Photo) -> str:
    """Name the camera and encoding, whose tone curve is the same from photo to photo; else the photo itself."""
    camera = photo.camera
    if camera is None or camera.model is None:
        return photo.sha256
    return f"{camera.make} {camera.model}, {photo.encoding}"


def _seen_in(photo: Photo, light: str) -> str:
    """Name the camera in daylight, which sees alike from photo to photo; under an unknown light, the photo itself."""
    return f"{_seen_by(photo)}, daylight" if light == "daylight" else photo.sha256


def matrix_effect(light: Floats) -> Floats:
    """Return (3, 6): how balanced light (3,) moves per unit of each off-diagonal entry of an unknown matrix.

    A matrix error whose rows sum to zero leaves neutrals alone: entry (c, d) moves channel c by light_d − light_c.
    """
    effect = np.zeros((3, 6))
    for column, (channel, other) in enumerate((c, d) for c in range(3) for d in range(3) if c != d):
        effect[channel, column] = light[other] - light[channel]
    return effect


def _usable(card: CardReading) -> tuple[PatchReading, ...]:
    if not card.neutrals:
        raise CardError("The card is over- or underexposed: retake the photo so that its grey is a middle grey.")
    return card.neutrals


def _middle_grey(card: CardReading) -> PatchReading:
    return min(_usable(card), key=lambda item: abs(item.patch.lab[0] - 50))


def _without_card(
    photo: Photo, camera: CameraProfile | None, tone_root: Floats, matrix_sigma: Floats, light: str
) -> Calibration:
    unknown = np.column_stack([np.full(3, NO_CARD_EXPOSURE_SIGMA), NO_CARD_BALANCE_SIGMA * np.eye(3)])
    remedy = "put a grey card beside the finish and take the photo again"
    caveat = Caveat(
        "no-card", "There is no card in this photo: its lightness and tint are the camera's guess, not a measurement."
    )
    term = GainTerm("no card", unknown, remedy, f"exposure of {photo.sha256}")
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
        seen_by=_seen_by(photo),
        seen_in=_seen_in(photo, light),
        black_sigma=_black_sigma(photo),
        caveats=(caveat,),
    )
    if camera is None:
        return blank
    grey = camera.grey_light
    gains = grey * 0.18 / camera.tone(np.full(3, 0.18))
    caveats = (caveat, *camera.caveats_for(photo, None))
    return replace(
        blank,
        gains=gains,
        level=grey * 0.18,
        tone=camera.tone,
        profile=camera,
        matrix_sigma=np.zeros(6),
        caveats=caveats,
    )


def _with_profile(
    photo: Photo, card: CardReading, camera: CameraProfile, field: LightField | None, caveats: tuple[Caveat, ...]
) -> Calibration:
    item = _middle_grey(card)
    xyz = lab_to_xyz(item.patch.lab)
    gains, left = anchored(camera, item.rgb, xyz)
    moved = camera.light_moved(card)
    mismatched = any(caveat.code in ("profile-camera", "profile-encoding") for caveat in caveats)
    remedy = "fix the camera's white balance, so that it is the same as for the chart"
    balance = GainTerm("white balance", left[:, None], remedy, f"white balance of {photo.sha256}")
    followed = LIGHT_MOVED_SHARE * np.sqrt(max(moved**2 - BALANCE_SIGMA**2, 0.0))
    matrix_sigma = np.full(6, followed)
    return Calibration(
        gains=gains,
        rgb_to_xyz=photo.rgb_to_xyz,
        gain_terms=(*_gain_terms(photo, card, (item,), np.ones(1), camera), balance),
        level=camera.tone(item.rgb) * gains,
        tone_root=np.zeros((6, 1)),
        tone_anchor=np.zeros((2, 3)),
        matrix_sigma=np.maximum(matrix_sigma, _matrix_sigma(photo, "unknown")) if mismatched else matrix_sigma,
        card=card,
        photo=photo.sha256,
        seen_by=_seen_by(photo),
        seen_in=photo.sha256,
        tone=camera.tone,
        profile=camera,
        profile_card_xyz=xyz,
        field=field,
        black_sigma=_black_sigma(photo),
        caveats=caveats,
    )


def _black_sigma(photo: Photo) -> float:
    return BLACK_SIGMA[8 if photo.bits <= 8 else 16]


def _gain_terms(
    photo: Photo,
    card: CardReading,
    neutrals: tuple[PatchReading, ...],
    weights: Floats,
    profile: CameraProfile | None = None,
) -> tuple[GainTerm, ...]:
    """Return what the reading of the card and the card's own values leave unknown of the gains."""
    read, known = np.zeros((3, 3)), np.zeros((3, 3))
    for weight, item in zip(weights, neutrals, strict=True):
        read += weight**2 * item.covariance / np.outer(item.rgb, item.rgb)
        own = _tolerance(item, photo.rgb_to_xyz) if profile is None else _tolerance_with(profile, item)
        known += weight * own  # one maker, one lot: the patches err alike
    doubt = () if DOUBTFUL not in {caveat.code for caveat in card.caveats} else (_doubt(photo, neutrals[0]),)
    whose = f"the card of {photo.sha256}" if card.card.own is None else f"the card {card.card.own}"
    return (
        GainTerm("card reading", square_root(read), "let the card fill more of the picture", f"card in {photo.sha256}"),
        GainTerm("card tolerance", known, "measure your card and enter its own CIELAB", whose),
        *doubt,
    )


def _doubt(photo: Photo, item: PatchReading) -> GainTerm:
    """Return what is not known of log gains when what was marked as the card may be none: as without a card, and the
    tint that it has itself."""
    log = np.log(np.maximum(item.rgb, 1e-4))
    tint = (log - log.mean())[:, None]
    effect = np.column_stack([np.full(3, NO_CARD_EXPOSURE_SIGMA), tint, NO_CARD_BALANCE_SIGMA * np.eye(3)])
    return GainTerm("doubtful card", effect, "mark the grey card's own corners", f"what is marked in {photo.sha256}")


def _tolerance(item: PatchReading, rgb_to_xyz: Floats) -> Floats:
    """Return how log gains (3, 3) move per standard uncertainty of a patch's L*, a* and b*.

    By the card's own causes, so that photographs of other cameras and encodings share them.
    """
    xyz = lab_to_xyz(item.patch.lab)
    wanted = np.linalg.solve(rgb_to_xyz, xyz)
    to_log_gain = np.linalg.inv(lab_jacobian(xyz) @ rgb_to_xyz) / wanted[:, None]
    return np.asarray(to_log_gain * item.patch.tolerance)


def _tolerance_with(profile: CameraProfile, item: PatchReading) -> Floats:
    """Return the same (3, 3) with a profile, which follows little of a card's tint: see ``anchored``."""
    moves = []
    for step in np.diag(item.patch.tolerance):
        sides = [anchored(profile, item.rgb, lab_to_xyz(item.patch.lab + sign * step))[0] for sign in (1, -1)]
        moves.append(np.log(sides[0] / sides[1]) / 2)
    return np.stack(moves, axis=1)


def _cast_caveats(gains: Floats) -> tuple[Caveat, ...]:
    if gains.max() / gains.min() < STRONG_CAST:
        return ()
    return (
        Caveat(
            "strong-cast",
            "The light in this photo is strongly coloured: daylight, or a chart photographed in it, reads truer.",
        ),
    )
