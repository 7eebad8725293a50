"""Several photographs of one plate with the lamp moved become one picture without glare, and that a Reading.

Each exposure is registered to the first and calibrated by its own card; between calibration and the reading.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.calibration.calibration import Calibration
from matcher.card.reading import CardReading
from matcher.colour.cielab import lab_to_xyz, xyz_to_lab
from matcher.colour.sources import Source
from matcher.colour.types import Floats, Mask
from matcher.colour.uncertainty import BudgetTerm, sum_of
from matcher.errors import CardError, Caveat, PhotoError
from matcher.photo.photo import Box, Photo
from matcher.photo.region import checked_outline
from matcher.reading.finish import known_besides, read_with
from matcher.reading.glare import SHINES, PaleSpots
from matcher.reading.reading import Reading
from matcher.reading.registration import Registration

Light = NDArray[np.float32]
MOST_EXPOSURES = 12
LOW_SHARE = 0.25
"""Which order statistic of a pixel's brightness over the exposures is taken as free of glare."""

REACH_SIGMAS = 2.5
LEAST_SIGMA = 0.01
QUARTER_GAP, GAP_SHRINKS = 0.45, 0.7
"""The lower quartile of the gap between the two lowest of n normal values is about 0.45 (2/n)^0.7 standard deviations
(by simulation, within a tenth for n from 2 to 8). The quartile, because glare in one of two widens the gap."""

GLARES = 3.0
"""How many times as bright as without glare a pixel is where it mirrors a lamp; shading alone makes it up to twice."""

STRIP_PIXELS = 1_500_000


def read_frames(
    photos: Sequence[Photo],
    calibrations: Sequence[Calibration],
    region: ArrayLike,
    pale_spots: PaleSpots = "unknown",
) -> Reading:
    """Read a finish from several photographs of one plate, the lamp in another place in each.

    Parameters
    ----------
    photos : sequence of Photo
        2 to 12, of one encoding, from one camera position.
    calibrations : sequence of Calibration
        One a photograph, by its own card; known finishes are those of the first.
    region : array_like, shape (n, 2)
        Outline of the finish, in pixels of the first photograph.
    pale_spots : "unknown", "glare" or "finish"
        As for ``read_finish``.

    Returns
    -------
    Reading
        As ``read_finish`` gives it, with one more part in its budget: the standard error of the plate's brightness
        over the exposures.

    Raises
    ------
    PhotoError
        When the photographs do not show one plate from one camera.
    ReadingError
        As ``read_finish``.
    """
    merged = merge_exposures(photos, calibrations, region)
    known = known_besides(photos[0], calibrations[0], region)
    shines = merged.glare_share > SHINES
    reading = read_with(merged, _after_merging(calibrations[0]), region, pale_spots, known, shines)
    scatter = float(np.std(merged.log_gains, ddof=1) / np.sqrt(len(photos)))
    xyz = lab_to_xyz(reading.lab)
    effect = (xyz_to_lab(xyz * np.exp(scatter)) - xyz_to_lab(xyz * np.exp(-scatter))) / 2
    lamp = BudgetTerm(
        Source.LAMP_POSITIONS, effect[:, None], "lay the card right beside the finish in every photograph"
    )
    codes = {caveat.code for caveat in reading.caveats}
    others = [caveat for calibration in calibrations[1:] for caveat in calibration.caveats]
    new = {caveat.code: caveat for caveat in others if caveat.code not in codes}
    budget = (*reading.budget, lamp)
    taken = None if reading.conditions is None else replace(reading.conditions, exposures=len(photos))
    return replace(
        reading,
        budget=budget,
        covariance=sum_of(budget),
        caveats=(*reading.caveats, *new.values()),
        conditions=taken,
    )


def unfit_exposures(photos: Sequence[Photo], calibrations: Sequence[Calibration], region: ArrayLike) -> dict[int, str]:
    """Return which photographs cannot be read together with the first, by their index, and a sentence on why.

    As for ``read_frames``; what it refuses for all of them is here told of each. Raises ReadingError for a region
    outside the first photograph.
    """
    first = photos[0]
    outline = checked_outline(region, first.width, first.height)
    registration = Registration(first, np.clip(outline, 0, [first.width - 1, first.height - 1]))
    unfit = {}
    for index, (photo, calibration) in enumerate(zip(photos[1:], calibrations[1:], strict=True), start=1):
        name = f"Photograph {index + 1}"
        if photo.encoding != first.encoding:
            unfit[index] = f"{name} is {photo.encoding} and the first {first.encoding}: give photographs of one kind."
            continue
        try:
            registration.onto(photo, name, _by_card(calibrations[0], calibration))
        except PhotoError as error:
            unfit[index] = str(error)
    return unfit


def card_of_exposure(
    find: Callable[[ArrayLike | None], CardReading | None], marked: ArrayLike | None, name: str
) -> tuple[CardReading | None, tuple[Caveat, ...]]:
    """Find the card in a further photograph; where it cannot be found, it lies where it was marked in the first.

    find: looks for the card in it, within corners or, with None, anywhere. marked: corners (4, 2) in the first, None
    when it was found there. name: of the further photograph, for the caveat. Raises CardError.
    """
    try:
        return find(None), ()
    except CardError:
        if marked is None:
            raise
    words = f"The card was not found in {name} and taken to lie where it was marked in the first photo."
    return find(marked), (Caveat("frame-card-taken-over", words),)


@dataclass(frozen=True, eq=False)
class MergedPhoto(Photo):
    """The first photograph of several, its glare taken out by the others.

    ``linear`` gives scene light, as ``Calibration.light`` of the first photograph does. log_gains (n,): how much
    brighter the plate is in each exposure than on average, after its own card. glare_share: of the region, where an
    exposure shows glare.
    """

    log_gains: Floats = field(kw_only=True)
    glare_share: float = field(kw_only=True)
    exposures: tuple[Exposure, ...] = field(kw_only=True, repr=False)
    _latest: dict[tuple[Box, int], tuple[Light, Mask]] = field(kw_only=True, repr=False, default_factory=dict)

    def linear(self, box: Box | None = None, step: int = 1) -> Light:
        return self._merged(box, step)[0]

    def clipped(self, box: Box | None = None, step: int = 1) -> Mask:
        return self._merged(box, step)[1]

    def _merged(self, box: Box | None, step: int) -> tuple[Light, Mask]:
        asked = (box or (0.0, 0.0, float(self.width), float(self.height)), step)
        if asked not in self._latest:
            self._latest.clear()  # a reading asks for light and clipping of one box; no more is kept
            places = _grid(asked[0], step, self.width, self.height)
            lights, seen = _stacked(self.exposures, places, step)
            self._latest[asked] = without_glare(
                lights * np.exp(-self.log_gains).astype(np.float32)[:, None, None, None], seen
            )
        return self._latest[asked]


@dataclass(frozen=True, eq=False)
class Exposure:
    """One photograph, its calibration, and (3, 3) from pixels of the first photograph to its own."""

    photo: Photo
    calibration: Calibration
    from_first: Floats


def merge_exposures(photos: Sequence[Photo], calibrations: Sequence[Calibration], region: ArrayLike) -> MergedPhoto:
    """Register photographs of one plate to the first, and level them over a region (n, 2) of it.

    Raises PhotoError when they are fewer than two, do not match, or are of different encodings.
    """
    _refuse_unfit(photos, calibrations)
    first = photos[0]
    outline = checked_outline(region, first.width, first.height)
    registration = Registration(first, np.clip(outline, 0, [first.width - 1, first.height - 1]))
    exposures = [Exposure(first, calibrations[0], np.eye(3))]
    for number, (photo, calibration) in enumerate(zip(photos[1:], calibrations[1:], strict=True), start=2):
        hint = _by_card(calibrations[0], calibration)
        exposures.append(Exposure(photo, calibration, registration.onto(photo, f"Photograph {number}", hint)))
    known = {item.name: getattr(first, item.name) for item in fields(first)}
    gains, glare = _levelled(exposures, outline)
    return MergedPhoto(**known, exposures=tuple(exposures), log_gains=gains, glare_share=glare)


def _by_card(first: Calibration, other: Calibration) -> Floats | None:
    """Return (3, 3) from pixels of one photograph to another's by the card in both, or None."""
    if first.card is None or other.card is None:
        return None
    here, there = np.asarray(first.card.corners, np.float32), np.asarray(other.card.corners, np.float32)
    if here.shape != (4, 2) or there.shape != (4, 2):
        return None
    return np.asarray(cv2.getPerspectiveTransform(here, there), dtype=np.float64)


def without_glare(lights: Light, seen: Mask) -> tuple[Light, Mask]:
    """Return the light (h, w, 3) of exposures (n, h, w, 3) free of glare, and (h, w) where no exposure shows any.

    seen: (n, h, w), whether an exposure shows the pixel unclipped. Glare only adds, so a low percentile of a pixel's
    brightness over the exposures is free of it, but biased: by noise and by shading, the second lowest of five lies
    half a standard deviation low. So it is only the yardstick: the exposures that agree with it are averaged, within
    2.5 standard deviations of what a pixel does from exposure to exposure without glare.
    """
    log = np.where(seen, np.log(np.maximum(lights.mean(axis=-1), 1e-5)), np.inf)
    count = seen.sum(axis=0)
    agree = seen & (log <= _low(log, count) + REACH_SIGMAS * _exposure_sigma(log, count))
    weight = agree.astype(np.float32)
    total = np.einsum("nhw,nhwc->hwc", weight, lights)
    return total / np.maximum(weight.sum(axis=0), 1)[..., None], count == 0


def _exposure_sigma(log: Floats, count: NDArray[np.int_]) -> float:
    """Return the standard deviation of a pixel's log brightness from exposure to exposure, glare apart."""
    paired = count >= 2
    if not paired.any():
        return LEAST_SIGMA
    lowest = np.partition(log[:, paired], 1, axis=0)
    gaps = (lowest[1] - lowest[0]) / (QUARTER_GAP * (2 / count[paired]) ** GAP_SHRINKS)
    return max(float(np.quantile(gaps, 0.25)), LEAST_SIGMA)


def _refuse_unfit(photos: Sequence[Photo], calibrations: Sequence[Calibration]) -> None:
    if not 2 <= len(photos) <= MOST_EXPOSURES:
        raise PhotoError(
            f"Give 2 to {MOST_EXPOSURES} photographs of the plate, the lamp moved in each: not {len(photos)}."
        )
    if len(calibrations) != len(photos):
        raise PhotoError("Find the card in every photograph: each needs a calibration of its own.")
    if len({photo.sha256 for photo in photos}) < len(photos):
        raise PhotoError("Give each photograph once: one is there twice, and adds nothing.")
    if len({photo.encoding for photo in photos}) > 1:
        raise PhotoError("Give photographs of one kind: these differ in encoding, so their light cannot be compared.")


def _after_merging(calibration: Calibration) -> Calibration:
    """Return the first photograph's calibration for a picture whose values are scene light already."""
    known = {item.name: getattr(calibration, item.name) for item in fields(calibration)}
    return _OfLight(**known)


class _OfLight(Calibration):
    """A calibration whose light is what it is given."""

    def light(self, rgb: ArrayLike, places: ArrayLike | None = None) -> Floats:
        return np.asarray(rgb, dtype=float)


def _grid(box: Box, step: int, width: int, height: int) -> Floats:
    """Return the places (h, w, 2) of the pixels that ``Photo.linear`` gives for a box and step."""
    left, top = max(0, int(np.floor(box[0]))), max(0, int(np.floor(box[1])))
    right, bottom = min(width, int(np.ceil(box[2]))), min(height, int(np.ceil(box[3])))
    x, y = np.meshgrid(np.arange(left, right, step), np.arange(top, bottom, step))
    return np.stack([x, y], axis=-1).astype(float)


def _stacked(exposures: Sequence[Exposure], places: Floats, step: int) -> tuple[Light, Mask]:
    """Return scene light (n, h, w, 3) of all exposures at places (h, w, 2) of the first, and where each shows it."""
    height, width = places.shape[:2]
    lights = np.zeros((len(exposures), height, width, 3), np.float32)
    seen = np.zeros((len(exposures), height, width), bool)
    every = max(1, step // 2)  # what lies between is not needed where only every step-th place is asked for
    for number, exposure in enumerate(exposures):
        there = cv2.perspectiveTransform(places.reshape(1, -1, 2), exposure.from_first).reshape(places.shape)
        for rows in _strips(there, every):
            lights[number, rows], seen[number, rows] = _sampled(exposure, there[rows], every)
    return lights, seen


def _strips(there: Floats, every: int) -> list[slice]:
    """Cut rows so that the part of the photograph under each strip is small: memory stays bounded."""
    spread = np.ptp(there.reshape(-1, 2), axis=0) / every + 2
    count = int(np.clip(np.ceil(spread.prod() / STRIP_PIXELS), 1, len(there)))
    edges = np.linspace(0, len(there), count + 1).astype(int)
    return [slice(int(start), int(stop)) for start, stop in pairwise(edges) if stop > start]


def _sampled(exposure: Exposure, there: Floats, every: int) -> tuple[Light, Mask]:
    """Return scene light (h, w, 3) of a photograph at places (h, w, 2) of its own, and where it is unclipped."""
    photo = exposure.photo
    low = np.clip(np.floor(there.min(axis=(0, 1))) - every, 0, [photo.width - 1, photo.height - 1])
    high = np.clip(np.ceil(there.max(axis=(0, 1))) + every + 1, low + 1, [photo.width, photo.height])
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    at_x, at_y = np.moveaxis(((there - low) / every).astype(np.float32), -1, 0)
    rgb = cv2.remap(photo.linear(box, every), at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    top = cv2.remap(photo.clipped(box, every).astype(np.float32), at_x, at_y, cv2.INTER_LINEAR)
    inside = ((there >= 0) & (there <= [photo.width - 1, photo.height - 1])).all(axis=-1)
    return exposure.calibration.light(rgb, there).astype(np.float32), inside & (top == 0)


def _levelled(exposures: Sequence[Exposure], outline: Floats) -> tuple[Floats, float]:
    """Return how much brighter the plate is in each exposure, after its own card, than on average, (n,), mean 0; and
    the share of it where an exposure shows glare.

    The card stands where it stands and the lamp elsewhere each time; unless the exposures are levelled, the darkest
    would be taken everywhere for the one without glare. Each is compared where it is free of glare: with the low
    percentile over the exposures, by the median.
    """
    first = exposures[0].photo
    low, high = np.clip(outline.min(axis=0), 0, None), np.minimum(outline.max(axis=0), [first.width, first.height])
    step = max(1, int(np.ceil(np.sqrt(np.prod(high - low) / 20_000))))
    places = _grid((low[0], low[1], high[0], high[1]), step, first.width, first.height)
    inside = np.zeros(places.shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.rint((outline - places[0, 0]) / step).astype(np.int32)], 1)
    lights, seen = _stacked(exposures, places, step)
    seen &= inside > 0
    shared = seen.sum(axis=0) >= 2
    log = np.log(np.maximum(lights.mean(axis=-1), 1e-5))[:, shared]
    seen = seen[:, shared]
    gains = np.zeros(len(exposures))
    for _ in range(4):
        level = _low(np.where(seen, log - gains[:, None], np.inf), seen.sum(axis=0))
        own = [
            np.median(row[here] - level[here]) if here.sum() >= 9 else np.nan
            for row, here in zip(log, seen, strict=True)
        ]
        gains = np.nan_to_num(np.array(own) - np.nanmean(own)) if np.isfinite(own).any() else gains
    if not shared.any():
        return gains, 0.0
    level = _low(np.where(seen, log - gains[:, None], np.inf), seen.sum(axis=0))
    shining = np.where(seen, log - gains[:, None], -np.inf).max(axis=0) > level + np.log(GLARES)
    return gains, float(shining.mean())


def _low(log: Floats, count: NDArray[np.int_]) -> Floats:
    """Return the low percentile (...,) over exposures of log brightness (n, ...), infinite where one shows nothing."""
    rank = np.floor(LOW_SHARE * np.maximum(count - 1, 0)).astype(int)
    return np.take_along_axis(np.sort(log, axis=0), rank[None], axis=0)[0]
