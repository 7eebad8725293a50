"""White balance and exposure from a card, as gains of the three channels, and what is not known of them.

After ``card_reading`` and ``camera_profile``, before ``calibration``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.calibration.profile import CameraProfile
from matcher.card.reading import CardReading, PatchReading
from matcher.card.warnings import DOUBTFUL
from matcher.colour.cielab import lab_jacobian, lab_to_xyz
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import square_root
from matcher.errors import CardError
from matcher.photo.photo import Photo

NO_CARD_EXPOSURE_SIGMA = 0.35  # of log exposure: half a stop
NO_CARD_BALANCE_SIGMA = 0.10  # of log gain in each channel
BALANCE_SIGMA = 0.03  # of log balance between a profile's greys and a card under the same light


@dataclass(frozen=True, eq=False)
class GainTerm:
    """What is not known of log gains: effect (3, p) on the three channels, its shared name and its remedy."""

    name: str
    effect: Floats
    remedy: str
    shared: str


def usable_greys(card: CardReading) -> tuple[PatchReading, ...]:
    """Return the neutral patches that can be used. Raises CardError when there is none."""
    if not card.neutrals:
        raise CardError("The card is over- or underexposed: retake the photo so that its grey is a middle grey.")
    return card.neutrals


def middle_grey(card: CardReading) -> PatchReading:
    """Return the usable neutral patch nearest to middle grey. Raises CardError when there is none."""
    return min(usable_greys(card), key=lambda item: abs(item.patch.lab[0] - 50))


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


def gain_terms_of(
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
        GainTerm(
            Source.CARD_READING,
            square_root(read),
            "let the card fill more of the picture",
            f"card in {photo.sha256}",
        ),
        GainTerm(Source.CARD_TOLERANCE, known, "measure your card and enter its own CIELAB", whose),
        *doubt,
    )


def _doubt(photo: Photo, item: PatchReading) -> GainTerm:
    """Return what is not known of log gains when what was marked as the card may be none: as without a card, and the
    tint that it has itself."""
    log = np.log(np.maximum(item.rgb, 1e-4))
    tint = (log - log.mean())[:, None]
    effect = np.column_stack([np.full(3, NO_CARD_EXPOSURE_SIGMA), tint, NO_CARD_BALANCE_SIGMA * np.eye(3)])
    return GainTerm(
        Source.DOUBTFUL_CARD, effect, "mark the grey card's own corners", f"what is marked in {photo.sha256}"
    )


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
