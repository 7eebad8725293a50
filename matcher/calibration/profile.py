"""A camera-and-light profile: how one camera sees colour under one light, and how surely.

The value itself: light to XYZ, what it leaves unknown, what makes it the wrong one for a photograph, and its JSON.
``chart_profile`` makes one from a chart; ``calibration`` reads with it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from matcher.calibration.profile_document import VERSION, fields_of
from matcher.calibration.transform import ToneCurve, root_terms
from matcher.card.reading import CardReading
from matcher.colour.cielab import SRGB_TO_XYZ_D50, lab_to_xyz, xyz_to_lab
from matcher.colour.difference import delta_e_2000
from matcher.colour.local_error import LocalError
from matcher.colour.types import Floats
from matcher.dates import in_utc
from matcher.errors import CardError, Caveat, Misfit, fault_in_words
from matcher.photo.camera import (
    CameraInfo,
    balanced_alike,
    camera_name,
    one_session,
    surely_same,
    what_differs,
)
from matcher.photo.encoding import SENSOR_ENCODINGS
from matcher.photo.photo import Photo

BALANCED_ALIKE = 0.05  # of log balance, where the file keeps the light's own: cards differ by about half of it
LIGHT_MOVED = 0.12  # of log balance between card and profile: beyond it light or white balance has changed
OLD_AFTER_DAYS = 365


@dataclass(frozen=True, eq=False)
class CameraProfile:
    """How one camera sees under one light.

    tone: decoded values to scene light. basis (3, 3): balanced light to the primaries whose root terms are taken, 1 on
    greys. transform (3, 6): those root terms to XYZ under D50. kind: which candidate. neutral (3,): the decoded
    balance of a grey, green 1. spread (26, p): shared causes of error, mapping to parameters (tone slopes and bows,
    then transform row by row), see ``moved``. local: what the transform leaves over near a colour; shifts (p, n, 3):
    what its residuals move by with each cause. patch_labs, patch_errors: the chart's CIELAB (n, 3) and leave-one-out
    errors (n, 3) in CIELAB. encoding: of the chart photograph.
    """

    name: str
    light: str
    made_at: datetime
    camera: CameraInfo | None
    encoding: str
    kind: str
    tone: ToneCurve
    transform: Floats
    neutral: Floats
    spread: Floats
    patch_labs: Floats
    patch_errors: Floats
    local: LocalError
    shifts: Floats
    colour_temperature_k: float | None = None
    photo: str | None = None
    retired: str | None = None
    basis: Floats = field(default_factory=lambda: np.eye(3))
    caveats: tuple[Caveat, ...] = field(default=())

    @property
    def leave_one_out(self) -> Floats:
        """ΔE00 (n,) of each patch, read by a profile fitted without it."""
        return delta_e_2000(self.patch_labs + self.patch_errors, self.patch_labs)

    @property
    def p95(self) -> float:
        """The ΔE00 of a patch within which at least 95 % of the patches left out are read."""
        return float(np.quantile(self.leave_one_out, 0.95, method="higher"))

    def xyz(self, light: ArrayLike) -> Floats:
        """Return XYZ (..., 3) under D50 of balanced scene light (..., 3)."""
        plain = np.asarray(root_terms(np.asarray(light, dtype=float) @ self.basis.T) @ self.transform.T)
        if not len(self.local.references):
            return plain
        lab = xyz_to_lab(plain)
        return lab_to_xyz(lab + self.local.correction(lab))

    @cached_property
    def grey_light(self) -> Floats:
        """The scene light (3,) that shows a perfect neutral white: the chart's own grey, made as light as white."""
        light = self.tone(self.neutral * 0.18)
        return np.asarray(light / self.xyz(light)[1])

    def light_of(self, xyz: ArrayLike) -> Floats:
        """Return the scene light (3,) that shows as a nearly neutral XYZ (3,): Newton's method from the grey.

        Raises CardError when there is none.
        """
        wanted = np.asarray(xyz, dtype=float)
        light = self.grey_light * wanted[1]
        with np.errstate(all="ignore"):  # a profile that came in from outside may hold any numbers
            for _ in range(12):
                shown, *beside = self.xyz(np.vstack([light, light + np.diag(1e-4 * light)]))  # all at once: it is slow
                away = wanted - shown
                if np.abs(away).max() < 1e-9:
                    break
                try:
                    step = np.linalg.solve(((beside - shown) / (1e-4 * light)[:, None]).T, away)
                except np.linalg.LinAlgError:
                    break
                light = np.clip(light + step, 0.5 * light, 2.0 * light)
            else:
                away = wanted - self.xyz(light)
            if not (light.min() > 0 and np.abs(away).max() < 1e-4):
                raise CardError(f"The profile {self.name!r} does not fit this card: photograph the chart again.")
        return np.asarray(light)

    def moved(self, cause: int) -> CameraProfile:
        """Return this profile with its tone and transform moved by one standard deviation along a shared cause."""
        step = self.spread[:, cause]
        slope, bow = self.tone.slope + step[0] + step[1:4], self.tone.bow + step[4] + step[5:8]
        tone = ToneCurve(self.tone.gain, slope, bow)
        local = self.local.moved(self.shifts[cause]) if len(self.local.references) else self.local
        return replace(self, tone=tone, transform=self.transform + step[8:].reshape(3, 6), local=local)

    def light_moved(self, card: CardReading) -> float:
        """Return how far the balance of the light on a card is from the chart's, as the largest log ratio."""
        seen = self.tone(grey_of(card))
        then = self.tone(self.neutral * float(grey_of(card)[1]))
        ratio = np.log(seen / then)
        return float(np.ptp(ratio))

    def light_is_proven(self, photo: Photo, card: CardReading | None) -> bool:
        """Tell whether a photograph and its card show the light that the chart was in.

        A camera that balances white by itself shows every light alike, so that a lamp can hide behind a profile made in
        daylight. Proof is the chart in the picture; a file that keeps the light's own colour (a sensor's values, or the
        same fixed white balance as the chart's) with a card that shows it unchanged; or one session with the chart.
        """
        if photo.sha256 == self.photo:
            return True
        kept = photo.encoding in SENSOR_ENCODINGS or balanced_alike(self.camera, photo.camera)
        if kept and card is not None and self.light_moved(card) <= BALANCED_ALIKE:
            return True
        return one_session(self.camera, photo.camera)

    def light_in_question(self, photo: Photo, card: CardReading | None) -> bool:
        """Tell whether only the person knows if a photograph's light is the chart's: neither is it proven, nor does the
        card show another."""
        other = card is not None and self.light_moved(card) > LIGHT_MOVED
        return not other and not self.light_is_proven(photo, card)

    def caveats_for(self, photo: Photo, card: CardReading | None) -> tuple[Caveat, ...]:
        """Say what makes this profile the wrong one for a photograph: other camera, light or encoding, or its age."""
        caveats = []
        other = what_differs(self.camera, photo.camera)
        if other:
            caveats.append(Caveat("profile-camera", f"The profile {self.name!r} was made with another {other}."))
        if self.encoding != photo.encoding:
            caveats.append(
                Caveat(
                    "profile-encoding",
                    f"The profile {self.name!r} was made from {self.encoding} files, and this one is {photo.encoding}.",
                )
            )
        if card is not None and self.light_moved(card) > LIGHT_MOVED:
            caveats.append(
                Caveat(
                    "profile-light",
                    f"The light is not that of the profile {self.name!r}: photograph the chart again under this light.",
                )
            )
        taken = photo.camera.taken_at if photo.camera is not None else None
        if taken is not None and abs((in_utc(taken) - self.made_at).days) > OLD_AFTER_DAYS:
            caveats.append(
                Caveat(
                    "profile-old",
                    f"The profile {self.name!r} is over a year from this photo: lamps age, so make it again.",
                )
            )
        return tuple(caveats)

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``CameraProfile.from_dict`` takes them back."""
        delta = self.leave_one_out
        return {
            "version": VERSION,
            "name": self.name,
            "light": self.light,
            "made_at": self.made_at.isoformat(),
            "camera": None if self.camera is None else self.camera.as_dict(),
            "encoding": self.encoding,
            "kind": self.kind,
            "tone": self.tone.as_dict(),
            "basis": self.basis.tolist(),
            "transform": self.transform.tolist(),
            "neutral": self.neutral.tolist(),
            "spread": self.spread.tolist(),
            "patch_labs": self.patch_labs.tolist(),
            "patch_errors": self.patch_errors.tolist(),
            "local": self.local.as_dict(),
            "shifts": self.shifts.tolist(),
            "leave_one_out_delta_e00": {"mean": float(delta.mean()), "p95": self.p95},
            "colour_temperature_k": self.colour_temperature_k,
            "photo": self.photo,
            "retired": self.retired,
            "warnings": [caveat.as_dict() for caveat in self.caveats],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> CameraProfile:
        """Take back what ``as_dict`` gave. Raises CardError for anything else."""
        try:
            profile = cls(**fields_of(data))
            profile._check_that_it_works()
        except CardError:
            raise
        except Exception as error:
            raise CardError(f"Check the profile against an exported one: {fault_in_words(error)}.") from error
        return profile

    def _check_that_it_works(self) -> None:
        """Raise Misfit or CardError for numbers of the right shape that no fit could have given."""
        with np.errstate(all="ignore"):
            if not (self.neutral.min() > 0.05 and self.neutral.max() < 20):
                raise Misfit("its grey is no grey")
            if np.abs(self.spread).max() > 10 or max(np.abs(self.transform).max(), np.abs(self.basis).max()) > 100:
                raise Misfit("its numbers are far out of range")
            if self.colour_temperature_k is not None and not np.isfinite(self.colour_temperature_k):
                raise Misfit("its colour temperature is no number")
            white = self.grey_light
        if not (np.isfinite(white).all() and white.min() > 0):
            raise Misfit("it shows no white")
        self.light_of(lab_to_xyz([50.0, 0.0, 0.0]))

    def to_json(self) -> str:
        """Return the profile as a plain JSON document."""
        return json.dumps(self.as_dict(), indent=1)

    @classmethod
    def from_json(cls, text: str | bytes) -> CameraProfile:
        """Take back what ``to_json`` gave. Raises CardError."""
        try:
            data = json.loads(text)
        except (ValueError, UnicodeDecodeError, RecursionError) as error:
            raise CardError("The file is no camera profile: export it again from the studio that made it.") from error
        if not isinstance(data, dict):
            raise CardError("The file is no single camera profile: export it again from the studio that made it.")
        return cls.from_dict(data)

    def renamed(self, name: str) -> CameraProfile:
        """Return this profile under another name."""
        if not name.strip():
            raise CardError("Give the profile a name.")
        return replace(self, name=" ".join(name.split()))


def grey_of(card: CardReading) -> Floats:
    """Return decoded linear RGB (3,) of the card's neutral nearest to middle grey, as if it were quite neutral.

    Raises CardError when no neutral patch can be used.
    """
    if not card.neutrals:
        raise CardError("The card is over- or underexposed: retake the photo so that its grey is a middle grey.")
    item = min(card.neutrals, key=lambda item: abs(item.patch.lab[0] - 50))
    shown = np.linalg.solve(SRGB_TO_XYZ_D50, lab_to_xyz(item.patch.lab))
    return np.asarray(item.rgb * shown.mean() / shown)


def best_profile(
    profiles: Sequence[CameraProfile], photo: Photo, card: CardReading | None
) -> tuple[CameraProfile | None, tuple[Caveat, ...]]:
    """Choose the profile that fits a photograph: same camera and encoding, and the light nearest to the card's.

    One whose camera is not known, or any for a photograph whose camera is not known, stands behind one of the right
    camera and comes with a caveat. Returns None with the reason when none fits; a retired profile never does, and
    without a card none does.
    """
    fitting = [
        profile
        for profile in profiles
        if profile.retired is None
        and not any(
            caveat.code in ("profile-camera", "profile-encoding") for caveat in profile.caveats_for(photo, None)
        )
    ]
    if not fitting:
        return None, ()
    if card is None:
        message = "No card tells which light this was: name the camera profile, if one holds here."
        return None, (Caveat("profile-none-fits", message),)
    lit_alike = [profile for profile in fitting if profile.light_moved(card) <= LIGHT_MOVED]
    if not lit_alike:
        message = "No profile of this camera was made under this light: photograph a 24-patch chart here."
        return None, (Caveat("profile-none-fits", message),)
    near = min(
        lit_alike, key=lambda profile: (not surely_same(profile.camera, photo.camera), profile.light_moved(card))
    )
    if surely_same(near.camera, photo.camera):
        return near, ()
    which = "this photo" if not camera_name(photo.camera) else f"the profile {near.name!r}"
    message = f"The camera of {which} is not known: use the profile {near.name!r} only if it is of the same camera."
    return near, (Caveat("profile-camera-unknown", message),)
