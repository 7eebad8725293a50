"""Making a camera-and-light profile from a photograph of a 24-patch chart.

Refuses a chart that cannot be right, leaves out patches that are covered or in shadow, and says so. After
``chart_fit``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

import numpy as np

from matcher.calibration.profile import CameraProfile, grey_of
from matcher.calibration.profile_fit import Patches, best_fit
from matcher.card.reading import CardReading, PatchReading
from matcher.colour.cielab import SRGB_TO_XYZ_D50, lab_to_xyz
from matcher.colour.difference import interval_of_mean
from matcher.colour.types import Floats
from matcher.colour.verdict import side_of
from matcher.dates import in_utc, now
from matcher.errors import CardError, Caveat
from matcher.photo.photo import Photo

FEWEST_PATCHES = 16
ODD, ODD_SHARE = 12.0, 4.0  # leave-one-out ΔE00, and times the median, above which a patch does not belong
MOST_ODD = 5
POOR_FIT = 6.0  # mean leave-one-out ΔE00 above which a chart photograph is refused
POOR, POOR_REST = 4.5, 5.0  # mean ΔE00, and 95 % of them where patches had to be left out, above which it is poor
TWO_COLOURED, LEAST_STEP = 0.25, 0.02
"""Spread within one patch, of its mean and of white: beyond it more than one thing lies there."""


def profile_from_chart(
    photo: Photo, chart: CardReading, name: str, light: str = "", made_at: datetime | None = None
) -> CameraProfile:
    """Fit a profile to a chart in a photograph.

    Every candidate (with or without a tone curve; each of TRANSFORMS) is fitted to all patches together with a
    gradient of the light over the chart; the one with the least leave-one-patch-out ΔE00 is kept, and what it leaves
    over is learned as errors that are alike for like colours.

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
    learned = best_fit(photo, chart, used)
    while (worst := _odd_one(learned.fit.data, learned.errors)) is not None and len(used) > FEWEST_PATCHES:
        odd.append(used.pop(worst))
        learned = best_fit(photo, chart, used)
    best, data = learned.fit, learned.fit.data
    caveats = _chart_caveats(chart, len(chart.patches) - len(usable), odd, data.delta(learned.errors))
    return CameraProfile(
        name=" ".join(name.split()) or "unnamed",
        light=light,
        made_at=in_utc(made_at or taken or now()),
        camera=photo.camera,
        encoding=photo.encoding,
        kind=f"{best.kind}, {'with' if best.bent else 'without'} tone curve",
        tone=best.curve(best.found),
        basis=data.basis,
        transform=best.matrix(best.found),
        neutral=grey / grey[1],
        spread=learned.spread,
        local=learned.local,
        shifts=learned.shifts,
        patch_labs=data.labs,
        patch_errors=learned.errors,
        colour_temperature_k=_colour_temperature(photo, grey),
        photo=photo.sha256,
        caveats=caveats,
    )


def _odd_one(data: Patches, errors: Floats) -> int | None:
    """Return the patch that fits worst when it is so far from the others that it must be covered or in shadow."""
    delta = data.delta(errors)
    worst = int(np.argmax(delta))
    return worst if delta[worst] > max(ODD, ODD_SHARE * float(np.median(delta))) else None


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
        surely = "is" if side_of(interval_of_mean(delta), POOR) == "over" else "may be"
        message = (
            f"This profile {surely} poor, it reads some patches of the chart ΔE00 {p95:.1f} off: photograph the chart "
            "again, clean, uncovered and evenly lit."
        )
        caveats.append(Caveat("chart-poor", message))
    if odd:
        message = f"Check these patches for shadow, glare or cover, they were left out: {names}."
        caveats.append(Caveat("chart-odd-patches", message))
    if clipped:
        caveats.append(Caveat("chart-clipped", f"Patches over- or underexposed and left out: {clipped}."))
    return tuple(caveats)


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
