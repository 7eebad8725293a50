"""What a camera-and-light profile says of itself: how good it is, patch by patch, and the light as it was seen.

After ``camera_profile``; the page and the command line show what this says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.calibration.profile import CameraProfile
from matcher.calibration.profile_from_chart import POOR
from matcher.card.card import Card
from matcher.colour.difference import interval_of_mean
from matcher.colour.types import Floats
from matcher.photo.encoding import SENSOR_ENCODINGS
from matcher.words import listed

VERDICTS = (
    (1.5, "very good", "About as near as two charts of one make are to each other."),
    (3.0, "good", "What a clean chart under a steady light gives."),
    (POOR, "fair", "Was the chart clean, flat, without shine or shadow? If not, photograph it again."),
    (np.inf, "poor", "Photograph the chart again, clean, flat, evenly lit, large in the picture."),
)
"""Mean leave-one-out ΔE00 up to which a profile is called so, and what there is to say of it: from what real charts in
camera JPEGs give, and how far batches of one chart differ (from memory)."""


@dataclass(frozen=True, eq=False)
class PatchPair:
    """One patch of a chart: published (3,) CIELAB; read (3,) by a profile made without it, and delta_e00 between the
    two, None when the patch was left out."""

    name: str
    published: Floats
    read: Floats | None
    delta_e00: float | None


def patch_pairs(profile: CameraProfile, chart: Card) -> tuple[PatchPair, ...]:
    """Return all patches of the chart that a profile was made from, in the chart's order.

    A profile keeps the patches that it used, in order and with their own CIELAB; those of a studio's measured chart
    are near the published ones, so each belongs to the nearest.
    """
    nominal = np.array([patch.lab for patch in chart.patches])
    away = np.linalg.norm(profile.patch_labs[:, None, :] - nominal[None, :, :], axis=2)
    used = {int(np.argmin(row)): number for number, row in enumerate(away)}
    delta = profile.leave_one_out
    pairs = []
    for place, patch in enumerate(chart.patches):
        number = used.get(place)
        if number is None:
            pairs.append(PatchPair(patch.name, patch.lab, None, None))
            continue
        known = profile.patch_labs[number]
        pairs.append(PatchPair(patch.name, known, known + profile.patch_errors[number], float(delta[number])))
    return tuple(pairs)


def how_good_in_words(profile: CameraProfile) -> str:
    """Say in plain words how well a profile reads colours that it was not made from, as far as its patches tell."""
    delta = profile.leave_one_out
    mean, within = float(delta.mean()), int((delta <= profile.p95).sum())
    low, high = interval_of_mean(delta)
    return (
        f"Each patch was read as if it had not been on the chart: on average ΔE00 {mean:.1f} off ({low:.1f} to "
        f"{high:.1f} with 95 %), {within} of the {len(delta)} within {profile.p95:.1f}, the worst {delta.max():.1f} "
        f"off. {_verdict((low, high))}"
    )


def _verdict(interval: tuple[float, float]) -> str:
    """Say how good that is; where the interval leaves more than one word open, all of them, and what the least asks."""
    best, least = (next(k for k, row in enumerate(VERDICTS) if end <= row[0]) for end in interval)
    if best == least:
        return f"That is {VERDICTS[best][1]}. {VERDICTS[best][2]}"
    words = [VERDICTS[k][1] for k in range(best, least + 1)]
    return f"Its patches can't tell whether that is {listed(words, 'or')}. {VERDICTS[least][2]}"


def temperature_in_words(profile: CameraProfile) -> str:
    """Return the light's estimated correlated colour temperature, "about 5200 K"; nothing when it is not known.

    In a file whose white the camera has balanced it is not the light's own, and the words say so.
    """
    if profile.colour_temperature_k is None:
        return ""
    said = f"about {round(profile.colour_temperature_k, -2):.0f} K"
    return f"{said} as the file shows it" if camera_balanced(profile) else said


def camera_balanced(profile: CameraProfile) -> bool:
    """Tell whether the camera has balanced the white of the chart's file, so that the light's colour is not in it."""
    return profile.encoding not in SENSOR_ENCODINGS


def camera_in_words(profile: CameraProfile) -> str:
    """Return make and model of a profile's camera, "" when the file did not say; many a model says its make again."""
    if profile.camera is None:
        return ""
    make, model = profile.camera.make or "", profile.camera.model or ""
    return model if model.casefold().startswith(make.casefold()) else f"{make} {model}".strip()
