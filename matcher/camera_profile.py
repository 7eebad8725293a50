"""A camera-and-light profile: how one camera sees colour under one light, learned from a chart photographed there.

Tone curve and colour transform are fitted together to the chart's 24 patches, each candidate judged by patches left
out, so that a profile says how well it reads colours that it was not fitted on. Stands beside ``calibration``.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.cards import CardReading, PatchReading
from matcher.cielab import SRGB_TO_XYZ_D50, checked_lab, lab_to_xyz, xyz_to_lab
from matcher.delta_e_metric import delta_e_metric
from matcher.difference import delta_e_2000
from matcher.errors import CardError, Caveat, Misfit, fault_in_words
from matcher.photo import CameraInfo, Photo
from matcher.tone import BOW_PRIOR, CHANNEL_BOW_PRIOR, CHANNEL_SLOPE_PRIOR, SLOPE_PRIOR, ToneCurve, log_position

Floats = NDArray[np.float64]

VERSION = 1
TRANSFORMS = {"3x3": (0.3, 1e-6), "root-polynomial": (0.25, 0.2), "root-polynomial, firm": (0.1, 0.05)}
"""Candidates: standard deviations by which linear and root terms may depart from the encoding's own matrix."""

FIT_SIGMA = 0.9  # ΔE00 within which a patch is fitted
EYE_SHARE, PLAIN = 0.6, 0.6
"""A patch's error is weighed by this share as the eye does (ΔE00), else all patches alike (ΔE00 per unit of CIELAB, as
at a patina's chroma): ΔE00 alone lets saturated patches go, which under tubes hold the transform's turn."""
BASIS_SHARE = 0.4
GAIN_PRIOR = 0.15  # of log gain about the neutral row's own
GRADIENT_PRIOR = 0.05  # of log light from the middle of the chart to its edge
GREY_CHROMA = 8.0
RESIDUAL_SHARE, SPREAD_SHARE = 0.45, 0.55
"""What the chart's misfit, left out and left over, is worth for finishes: judged by the coverage benchmark."""
FEWEST_PATCHES = 16
SENSOR_ENCODINGS = ("linear", "camera raw")  # values straight from the sensor: no tone curve, primaries of its own
ENCODINGS = (*SENSOR_ENCODINGS, "sRGB", "Display P3", "Adobe RGB", "Rec. 2020 primaries", "ICC profile ")
KINDS = tuple(f"{kind}, {which} tone curve" for kind in TRANSFORMS for which in ("with", "without"))
LIGHT_MOVED = 0.12  # of log balance between card and profile: beyond it light or white balance has changed
OLD_AFTER_DAYS = 365
ODD, ODD_SHARE = 12.0, 4.0  # leave-one-out ΔE00, and times the median, above which a patch does not belong
MOST_ODD = 5
POOR_FIT = 6.0  # mean leave-one-out ΔE00 above which a chart photograph is refused
POOR, POOR_REST = 4.5, 5.0  # mean ΔE00, and 95 % of them where patches had to be left out, above which it is poor
TWO_COLOURED, LEAST_STEP = (
    0.25,
    0.02,
)  # spread within one patch, of its mean and of white: more than one thing lies there


def root_terms(rgb: ArrayLike) -> Floats:
    """Return (..., 6): r, g, b and the square roots of rg, gb, rb.

    Degree 2 of Finlayson, Mackiewicz and Hurlbert 2015 (IEEE Trans. Image Process. 24(5)): every term grows in
    proportion to exposure, so a profile holds at any exposure.
    """
    red, green, blue = np.moveaxis(np.maximum(np.asarray(rgb, dtype=float), 0.0), -1, 0)
    return np.stack([red, green, blue, np.sqrt(red * green), np.sqrt(green * blue), np.sqrt(red * blue)], axis=-1)


@dataclass(frozen=True, eq=False)
class CameraProfile:
    """How one camera sees under one light.

    tone: decoded values to scene light. basis (3, 3): balanced light to the primaries whose root terms are taken, 1 on
    greys. transform (3, 6): those root terms to XYZ under D50. kind: which candidate. neutral (3,): the decoded
    balance of a grey, green 1. spread (26, p): shared causes of error, mapping to parameters (tone slopes and bows,
    then transform row by row), see ``moved``. patch_labs, patch_errors: the chart's CIELAB (n, 3) and leave-one-out
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
        return np.asarray(root_terms(np.asarray(light, dtype=float) @ self.basis.T) @ self.transform.T)

    @property
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
                away = wanted - self.xyz(light)
                if np.abs(away).max() < 1e-9:
                    break
                moved = self.xyz(light + np.diag(1e-4 * light)) - self.xyz(light)
                try:
                    step = np.linalg.solve((moved / (1e-4 * light)[:, None]).T, away)
                except np.linalg.LinAlgError:
                    break
                light = np.clip(light + step, 0.5 * light, 2.0 * light)
            if not (light.min() > 0 and np.abs(self.xyz(light) - wanted).max() < 1e-4):
                raise CardError(f"The profile {self.name!r} does not fit this card: photograph the chart again.")
        return np.asarray(light)

    def moved(self, cause: int) -> CameraProfile:
        """Return this profile with its tone and transform moved by one standard deviation along a shared cause."""
        step = self.spread[:, cause]
        slope, bow = self.tone.slope + step[0] + step[1:4], self.tone.bow + step[4] + step[5:8]
        tone = ToneCurve(self.tone.gain, slope, bow)
        return replace(self, tone=tone, transform=self.transform + step[8:].reshape(3, 6))

    def residual_covariance(self, lab: ArrayLike) -> Floats:
        """Return the covariance (3, 3) of what the profile leaves at a colour.

        Taken from the patches' leave-one-out errors. The card holds greys in place, so an error grows with chroma:
        each patch's is carried to the colour in proportion, patches of like hue and lightness counting most; half of
        it is taken as the same in every direction. RESIDUAL_SHARE brings it from the chart's paints, which are few
        and far apart, to finishes, whose spectra are smooth.
        """
        wanted = np.asarray(lab, dtype=float)
        chroma = np.hypot(self.patch_labs[:, 1], self.patch_labs[:, 2])
        own = float(np.hypot(wanted[1], wanted[2]))
        carried = self.patch_errors * ((own + GREY_CHROMA) / (chroma + GREY_CHROMA))[:, None]
        plane = self.patch_labs[:, 1:] / (chroma + GREY_CHROMA)[:, None] - wanted[1:] / (own + GREY_CHROMA)
        away = np.square(plane).sum(axis=1) / 0.5**2 + np.square((self.patch_labs[:, 0] - wanted[0]) / 30.0)
        weight = np.exp(-away / 2) + 0.02
        near = (carried * weight[:, None]).T @ carried / weight.sum()
        return np.asarray(RESIDUAL_SHARE**2 * (0.5 * near + 0.5 * np.trace(near) / 3 * np.eye(3)))

    def light_moved(self, card: CardReading) -> float:
        """Return how far the balance of the light on a card is from the chart's, as the largest log ratio."""
        seen = self.tone(grey_of(card))
        then = self.tone(self.neutral * float(grey_of(card)[1]))
        ratio = np.log(seen / then)
        return float(np.ptp(ratio))

    def caveats_for(self, photo: Photo, card: CardReading | None) -> tuple[Caveat, ...]:
        """Say what makes this profile the wrong one for a photograph: other camera, light or encoding, or its age."""
        caveats = []
        other = _other_camera(self.camera, photo.camera)
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
        if taken is not None and abs((taken - self.made_at.replace(tzinfo=None)).days) > OLD_AFTER_DAYS:
            caveats.append(
                Caveat(
                    "profile-old", f"The profile {self.name!r} is over a year from this photo: lamps age, make it anew."
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
            if data["version"] != VERSION:
                raise CardError("The profile was made by another version of this tool: photograph the chart again.")
            patch_labs = np.array([checked_lab(row) for row in data["patch_labs"]])
            arrays = {name: np.array(data[name], dtype=float) for name in ("transform", "neutral", "spread")}
            arrays["basis"] = np.array(data.get("basis", np.eye(3)), dtype=float)
            errors = np.array(data["patch_errors"], dtype=float)
            right = arrays["basis"].shape == (3, 3)
            right = right and arrays["transform"].shape == (3, 6) and arrays["neutral"].shape == (3,)
            right = right and arrays["spread"].ndim == 2 and len(arrays["spread"]) == PARAMETERS
            right = right and arrays["spread"].shape[1] <= PARAMETERS
            right = right and errors.shape == patch_labs.shape and len(patch_labs) > 0
            if not right or not all(np.isfinite(item).all() for item in (*arrays.values(), errors)):
                raise Misfit("a table of numbers has the wrong shape")
            camera = data.get("camera")
            temperature = data.get("colour_temperature_k")
            made_at = datetime.fromisoformat(data["made_at"])
            profile = cls(
                name=_words(data, "name"),
                light=_words(data, "light", may_be_empty=True),
                made_at=made_at if made_at.tzinfo is not None else made_at.replace(tzinfo=UTC),
                camera=None if camera is None else _camera_from(camera),
                encoding=_known(data, "encoding", ENCODINGS),
                kind=_known(data, "kind", KINDS),
                tone=ToneCurve.from_dict(data["tone"]),
                patch_labs=patch_labs,
                patch_errors=errors,
                colour_temperature_k=None if temperature is None else float(temperature),
                photo=_words_or_none(data.get("photo")),
                retired=_words_or_none(data.get("retired")),
                caveats=tuple(Caveat(str(item["code"]), str(item["message"])) for item in data.get("warnings", ())),
                **arrays,
            )
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
            raise CardError("The profile is not JSON: export it again from the studio that made it.") from error
        if not isinstance(data, dict):
            raise CardError("The profile is not JSON of one profile: export it again from the studio that made it.")
        return cls.from_dict(data)

    def renamed(self, name: str) -> CameraProfile:
        """Return this profile under another name."""
        if not name.strip():
            raise CardError("Give the profile a name.")
        return replace(self, name=" ".join(name.split()))


TONE_PARAMETERS = 8  # slope: common, three channels; bow: common, three channels
PARAMETERS = TONE_PARAMETERS + 18


def profile_from_chart(
    photo: Photo, chart: CardReading, name: str, light: str = "", made_at: datetime | None = None
) -> CameraProfile:
    """Fit a profile to a chart in a photograph.

    Every candidate (with or without a tone curve; each of TRANSFORMS) is fitted to all patches together with a
    gradient of the light over the chart; the one with the least leave-one-patch-out ΔE00 is kept, and its errors are
    measured by fitting it again without each patch in turn.

    Raises CardError when the card is no chart, too few of its patches can be used, or it fits badly.
    """
    if chart.card.layout != "chart":
        raise CardError("A profile takes a 24-patch chart: photograph one under this light.")
    usable = [k for k, item in enumerate(chart.patches) if item.clipped_share < 0.1 and item.rgb.min() > 1e-4]
    if len(usable) < FEWEST_PATCHES:
        raise CardError(
            f"Only {len(usable)} of the chart's patches can be used: retake the photo with less exposure, evenly lit."
        )
    if not any(chart.patches[k].patch.neutral for k in usable):
        raise CardError("None of the chart's greys can be used: retake the photo with another exposure, evenly lit.")
    _refuse_swapped(chart, usable)
    grey = grey_of(chart)
    taken = photo.camera.taken_at if photo.camera is not None else None
    odd = [k for k in usable if _two_coloured(chart.patches[k])]
    used = [k for k in usable if k not in odd]
    if len(used) < FEWEST_PATCHES or not any(chart.patches[k].patch.neutral for k in used):
        raise _not_fitting(chart, odd)
    data, best, errors = _best_fit(photo, chart, used)
    while (worst := _odd_one(data, errors)) is not None and len(used) > FEWEST_PATCHES:
        odd.append(used.pop(worst))
        data, best, errors = _best_fit(photo, chart, used)
    caveats = _chart_caveats(chart, len(chart.patches) - len(usable), odd, data.delta(errors))
    return CameraProfile(
        name=" ".join(name.split()) or "unnamed",
        light=light,
        made_at=_in_utc(made_at) or _in_utc(taken) or datetime.now(UTC),
        camera=photo.camera,
        encoding=photo.encoding,
        kind=f"{best.kind}, {'with' if best.bent else 'without'} tone curve",
        tone=best.curve(best.found),
        basis=data.basis,
        transform=best.matrix(best.found),
        neutral=grey / grey[1],
        spread=best.spread(),
        patch_labs=data.labs,
        patch_errors=errors,
        colour_temperature_k=_colour_temperature(photo, grey),
        photo=photo.sha256,
        caveats=caveats,
    )


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
    near = min(lit_alike, key=lambda profile: (not _same_camera(profile, photo), profile.light_moved(card)))
    if _same_camera(near, photo):
        return near, ()
    which = "this photo" if photo.camera is None else f"the profile {near.name!r}"
    message = f"The camera of {which} is not known: use the profile {near.name!r} only if it is of the same camera."
    return near, (Caveat("profile-camera-unknown", message),)


def grey_of(card: CardReading) -> Floats:
    """Return decoded linear RGB (3,) of the card's neutral nearest to middle grey, as if it were quite neutral.

    Raises CardError when no neutral patch can be used.
    """
    if not card.neutrals:
        raise CardError("The card is over- or underexposed: retake the photo so that its grey is a middle grey.")
    item = min(card.neutrals, key=lambda item: abs(item.patch.lab[0] - 50))
    shown = np.linalg.solve(SRGB_TO_XYZ_D50, lab_to_xyz(item.patch.lab))
    return np.asarray(item.rgb * shown.mean() / shown)


@dataclass(frozen=True, eq=False)
class _Patches:
    """What a fit works on: positions on the log scale (n, 3), CIELAB (n, 3), roots (n, 3, 3) that turn an error in
    CIELAB into ΔE00 (a saturated patch's counts less, as it does to the eye), places on the chart (n, 2) about its
    middle, the encoding's matrix, starting gains, the basis that light is taken to (3, 3) and whether each patch is
    neutral."""

    position: Floats
    labs: Floats
    roots: Floats
    places: Floats
    to_xyz: Floats
    gains: Floats
    basis: Floats
    neutral: NDArray[np.bool_]

    @classmethod
    def of(cls, photo: Photo, chart: CardReading, usable: Sequence[int]) -> _Patches:
        items = [chart.patches[k] for k in usable]
        boxes = np.array([item.patch.box for item in items])
        labs = np.array([item.patch.lab for item in items])
        position = log_position(np.array([item.rgb for item in items]))
        neutral = np.array([item.patch.neutral for item in items])
        shown = np.asarray(np.linalg.solve(photo.rgb_to_xyz, lab_to_xyz(labs).T).T, dtype=float)
        middle = neutral & (labs[:, 0] > 30) & (labs[:, 0] < 90)
        apart = (np.log(np.maximum(shown, 1e-3)) - position)[middle if middle.any() else neutral]
        gains = np.asarray(apart.mean(axis=0), dtype=float)
        basis = _basis(position + gains, shown) if photo.encoding in SENSOR_ENCODINGS else np.eye(3)
        places = np.column_stack([boxes[:, [0, 2]].sum(axis=1) - 1, boxes[:, [1, 3]].sum(axis=1) - 1])
        eye = np.array([np.linalg.cholesky(delta_e_metric(lab)).T for lab in labs])
        roots = EYE_SHARE * eye + (1 - EYE_SHARE) * PLAIN * np.eye(3)
        return cls(position, labs, roots, places, photo.rgb_to_xyz, gains, basis, neutral)

    def delta(self, errors: Floats) -> Floats:
        """Return ΔE00 (n,) of errors (n, 3) in the patches' CIELAB."""
        return delta_e_2000(self.labs + errors, self.labs)


@dataclass(frozen=True, eq=False)
class _Fit:
    """A candidate fitted to all patches: parameters are gains (3), tone (8), gradient (2), transform (18)."""

    data: _Patches
    kind: str
    bent: bool
    found: Floats
    slopes: Floats
    prior: Floats

    def curve(self, parameters: Floats) -> ToneCurve:
        tone = parameters[3:11]
        return ToneCurve(self.data.gains + parameters[:3], tone[0] + tone[1:4], tone[4] + tone[5:8])

    def matrix(self, parameters: Floats) -> Floats:
        return np.hstack([self.data.to_xyz, np.zeros((3, 3))]) + parameters[13:].reshape(3, 6)

    def labs(self, parameters: Floats) -> Floats:
        across = (self.data.places @ parameters[11:13])[:, None]
        light = np.exp(self.curve(parameters).log_light(self.data.position) + across)
        return xyz_to_lab(root_terms(light @ self.data.basis.T) @ self.matrix(parameters).T)

    def misfit(self, parameters: Floats) -> Floats:
        """Return errors (n, 3) in ΔE00, in units of FIT_SIGMA."""
        errors = self.labs(parameters) - self.data.labs
        return np.asarray(np.einsum("nij,nj->ni", self.data.roots, errors) / FIT_SIGMA)

    def solved(self, weights: Floats, start: Floats) -> tuple[Floats, Floats]:
        """Return parameters and the slopes (3n, p) of ``misfit`` there; weights (n,) of 0 leave patches out."""
        from scipy.optimize import least_squares

        scale = np.repeat(weights, 3)

        def penalised(parameters: Floats) -> Floats:
            return np.concatenate([self.misfit(parameters).ravel() * scale, parameters / self.prior])

        found = least_squares(penalised, start, method="lm", x_scale=self.prior, max_nfev=3000, ftol=1e-6, xtol=1e-6)
        return np.asarray(found.x), np.asarray(found.jac[: 3 * len(weights)])

    def quick_errors(self) -> Floats:
        """Return leave-one-out errors (n, 3) in CIELAB to first order, from the leverage of each patch (no refit)."""
        precision = self.slopes.T @ self.slopes + np.diag(self.prior**-2)
        errors = self.misfit(self.found)
        blocks = self.slopes.reshape(len(errors), 3, -1)
        left_out = []
        for error, block, root in zip(errors, blocks, self.data.roots, strict=True):
            leverage = block @ np.linalg.solve(precision, block.T)
            alone = np.linalg.solve(np.eye(3) * (1 + 1e-9) - leverage, error)
            left_out.append(np.linalg.solve(root, alone) * FIT_SIGMA)
        return np.array(left_out)

    def left_out_errors(self) -> Floats:
        """Return leave-one-out errors (n, 3), each from a fit without that patch."""
        errors = []
        for k in range(len(self.data.labs)):
            weights = np.ones(len(self.data.labs))
            weights[k] = 0.0
            parameters, _ = self.solved(weights, self.found)
            errors.append(self.labs(parameters)[k] - self.data.labs[k])
        return np.array(errors)

    def spread(self) -> Floats:
        """Return (26, p): standard deviations of tone and transform along their principal directions.

        Gains and the chart's gradient are found anew on every card, so they are left out; scaled to the fit's own
        residual.
        """
        precision = self.slopes.T @ self.slopes + np.diag(self.prior**-2)
        scale = SPREAD_SHARE**2 * max(float(np.mean(np.square(self.misfit(self.found)))), 0.04)
        keep = [*range(3, 11), *range(13, 31)]
        covariance = np.linalg.inv(precision)[np.ix_(keep, keep)] * scale
        values, vectors = np.linalg.eigh(covariance)
        return np.asarray(vectors[:, ::-1] * np.sqrt(np.maximum(values[::-1], 0.0)))


def _best_fit(photo: Photo, chart: CardReading, used: Sequence[int]) -> tuple[_Patches, _Fit, Floats]:
    """Return the candidate of least leave-one-out ΔE00 on the patches numbered ``used``, and its errors (n, 3)."""
    data = _Patches.of(photo, chart, used)
    linear = photo.encoding in SENSOR_ENCODINGS
    fits = [_fit(data, kind, tone) for kind in TRANSFORMS for tone in ((False,) if linear else (True, False))]
    best = min(fits, key=lambda fit: float(np.mean(data.delta(fit.quick_errors()))))
    return data, best, best.left_out_errors()


def _basis(log_light: ArrayLike, wanted: Floats) -> Floats:
    """Return (3, 3) that takes a sensor's balanced light, given as its log (n, 3), towards an encoding's (n, 3).

    Root terms depend on the primaries, and a sensor's own overlap so much that its roots say little more than it does.
    Not all of the way, where saturated colours fall outside the encoding's. Greys stay as they are.
    """
    weight = 1 / np.maximum(wanted.mean(axis=1, keepdims=True), 0.02) ** (2 / 3)
    found = np.linalg.lstsq(np.exp(log_light) * weight, wanted * weight, rcond=None)[0].T
    return np.asarray(BASIS_SHARE * found / found.sum(axis=1, keepdims=True) + (1 - BASIS_SHARE) * np.eye(3))


def _odd_one(data: _Patches, errors: Floats) -> int | None:
    """Return the patch that fits worst when it is so far from the others that it must be covered or in shadow."""
    delta = data.delta(errors)
    worst = int(np.argmax(delta))
    return worst if delta[worst] > max(ODD, ODD_SHARE * float(np.median(delta))) else None


def _fit(data: _Patches, kind: str, bent: bool) -> _Fit:
    linear, root = TRANSFORMS[kind]
    tone = [SLOPE_PRIOR, *[CHANNEL_SLOPE_PRIOR] * 3, BOW_PRIOR, *[CHANNEL_BOW_PRIOR] * 3] if bent else [1e-4] * 8
    prior = np.array([GAIN_PRIOR] * 3 + tone + [GRADIENT_PRIOR] * 2 + [linear, linear, linear, root, root, root] * 3)
    blank = _Fit(data, kind, bent, np.zeros(31), np.zeros((0, 31)), prior)
    found, slopes = blank.solved(np.ones(len(data.labs)), np.zeros(31))
    return replace(blank, found=found, slopes=slopes)


def _chart_caveats(chart: CardReading, clipped: int, odd: Sequence[int], delta: Floats) -> tuple[Caveat, ...]:
    """Refuse a chart that fits badly; name patches that are covered or in shadow, count clipped ones.

    odd: patches left out because they do not belong; delta (n,): leave-one-out ΔE00 of the rest.
    """
    if float(delta.mean()) > POOR_FIT or len(odd) > MOST_ODD:
        raise _not_fitting(chart, odd)
    names = _names(chart, odd)
    caveats = list(chart.caveats)
    p95 = float(np.quantile(delta, 0.95))
    if float(delta.mean()) > POOR or (odd and p95 > POOR_REST):
        message = (
            f"This profile is poor, it reads some patches of the chart ΔE00 {p95:.1f} off: photograph the chart again, "
            "clean, uncovered and evenly lit."
        )
        caveats.append(Caveat("chart-poor", message))
    if odd:
        message = f"Check these patches for shadow, glare or cover, they were left out: {names}."
        caveats.append(Caveat("chart-odd-patches", message))
    if clipped:
        caveats.append(Caveat("chart-clipped", f"Patches over- or underexposed and left out: {clipped}."))
    return tuple(caveats)


def _same_camera(profile: CameraProfile, photo: Photo) -> bool:
    """Tell whether both files name their camera, and the same one."""
    known = [camera is not None and camera.model is not None for camera in (profile.camera, photo.camera)]
    return all(known) and not _other_camera(profile.camera, photo.camera)


def _names(chart: CardReading, odd: Sequence[int]) -> str:
    return ", ".join(chart.patches[k].patch.name for k in sorted(odd))


def _not_fitting(chart: CardReading, odd: Sequence[int]) -> CardError:
    named = f" ({_names(chart, odd)} do not fit)" if odd else ""
    return CardError(f"The chart does not fit its published colours{named}: use a clean, uncovered chart, evenly lit.")


def _two_coloured(item: PatchReading) -> bool:
    """Tell whether something lies over a part of a patch: one paint in an even light has one colour."""
    low, high = np.quantile(item.blocks[1], [0.05, 0.95], axis=0)
    return bool((high - low > np.maximum(TWO_COLOURED * item.rgb, LEAST_STEP)).any())


def _refuse_swapped(chart: CardReading, usable: Sequence[int]) -> None:
    """Raise CardError when a red patch is bluer in the file than a blue one: greys and any 3×3 matrix hide it."""
    items = [chart.patches[k] for k in usable]
    seen = np.log(np.maximum([item.rgb for item in items], 1e-4))
    shown = lab_to_xyz(np.array([item.patch.lab for item in items])) @ np.linalg.inv(SRGB_TO_XYZ_D50).T
    wanted = np.log(np.maximum(shown, 1e-3))
    first, second = seen[:, 0] - seen[:, 2], wanted[:, 0] - wanted[:, 2]
    if float(np.mean((first - first.mean()) * (second - second.mean()))) < 0:
        raise CardError("Red and blue are swapped in this file: take the photograph as the camera saved it.")


def _other_camera(then: CameraInfo | None, now: CameraInfo | None) -> str:
    """Return what differs: "camera", "lens" or nothing; what is not known does not differ."""
    if then is None or now is None:
        return ""
    if (then.make, then.model) != (now.make, now.model):
        return "camera"
    return "lens" if then.lens and now.lens and then.lens != now.lens else ""


def _words(data: Mapping[str, Any], name: str, may_be_empty: bool = False) -> str:
    """Return a field that holds one line of words. Raises KeyError or Misfit."""
    value = data[name]
    if not isinstance(value, str) or not (may_be_empty or value.strip()):
        raise Misfit(f"its {name} is not in words")
    return " ".join(value.split())


def _known(data: Mapping[str, Any], name: str, known: Sequence[str]) -> str:
    """Return a field that begins with one of the words known for it. Raises KeyError or Misfit."""
    value = _words(data, name)
    if not value.startswith(tuple(known)):
        raise Misfit(f"its {name} {value[:40]!r} is none that this tool knows")
    return value


def _words_or_none(value: Any) -> str | None:
    return None if value is None else str(value)


def _camera_from(data: Mapping[str, Any]) -> CameraInfo:
    known = {name: data.get(name) for name in CameraInfo.__dataclass_fields__}
    taken = known["taken_at"]
    known["taken_at"] = None if taken is None else datetime.fromisoformat(taken)
    return CameraInfo(**known)


def _in_utc(when: datetime | None) -> datetime | None:
    """Return a time with its zone, so that all can be compared; a camera's clock tells none."""
    return when if when is None or when.tzinfo is not None else when.replace(tzinfo=UTC)


def _colour_temperature(photo: Photo, grey: Floats) -> float | None:
    """Estimate the light's correlated colour temperature, as the file shows it (McCamy 1992), None off its range.

    A camera that balances the light away shows every light as daylight; only raw and unbalanced files tell.
    """
    sensor = grey / photo.balance
    x, y, z = _XYZ_D65_OF_SRGB @ np.linalg.solve(SRGB_TO_XYZ_D50, photo.rgb_to_xyz @ (sensor / sensor.max()))
    total = x + y + z
    n = (x / total - 0.3320) / (0.1858 - y / total)
    kelvin = 449 * n**3 + 3525 * n**2 + 6823.3 * n + 5520.33
    return float(kelvin) if math.isfinite(kelvin) and 1500 < kelvin < 25000 else None


_XYZ_D65_OF_SRGB: Floats = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
