"""What a finish is besides its mean: the colours it is made of with their shares, and its mottle at several scales.

Works on the pixels of a region after calibration. Beside the reading, not in it: a reading is quick, and this is not
(scikit-learn alone takes a second to load).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.calibration.calibration import Calibration
from matcher.colour.cielab import lab_to_xyz, xyz_to_lab
from matcher.colour.types import Floats
from matcher.errors import ReadingError
from matcher.one_thread import one_thread
from matcher.photo.photo import Photo
from matcher.reading.finish import finish_pixels, shift_of
from matcher.reading.glare import PaleSpots
from matcher.reading.reading import PaletteColour
from matcher.words import counted

Grid = NDArray[np.float32]

CHOOSING_PIXELS = 2_000
SHARING_PIXELS = 20_000
LEAST_SHARE = 0.02
LEAST_SPREAD_DELTA_E00 = 0.3
"""No photographed colour is taken as more even than this: 8-bit values are steps."""

MOTTLE_SHARES = (1 / 64, 1 / 32, 1 / 16, 1 / 8, 1 / 4)
FEWEST_PIXELS = 64
MOST_CELLS = 4_000_000
PEAK_SIGMA = np.sqrt(8 / 3 * np.log(2)) / np.pi
PEAK_GAIN = 4 ** (-1 / 3) - 4 ** (-4 / 3)
"""Of a band between two Gaussians an octave apart, sigma/√2 and sigma·√2: it keeps most of a wave whose half length
is sigma / PEAK_SIGMA, namely PEAK_GAIN. Spreads are divided by it, so that a wave shows as large as it is."""

FINEST_PX = 1.6
"""Mottle finer than this, in pixels of the grid, cannot be told from noise."""


@dataclass(frozen=True)
class Texture:
    """What a finish is made of. palette: its colours, largest share first. mottle: its spread by size."""

    palette: tuple[PaletteColour, ...]
    mottle: Mottle

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        colours = [{"lab": list(colour.lab), "share": colour.share} for colour in self.palette]
        return {"palette": colours, "mottle": self.mottle.as_dict()}


def read_texture(
    photo: Photo,
    calibration: Calibration,
    region: ArrayLike,
    rng: np.random.Generator,
    pale_spots: PaleSpots = "unknown",
) -> Texture:
    """Return the palette and the mottle of the finish inside an outline, glare left out as in its reading.

    region: (n, 2) pixels, n at least 3; pale_spots: as for the reading. rng: draws the pixels that the palette is
    fitted on. Raises ReadingError when the region is outside the picture, too small, or all glare.
    """
    shown, glare = finish_pixels(photo, calibration, region)
    keep = ~glare.left_out(pale_spots)
    if not keep.any():
        raise ReadingError("The marked region is all glare or overexposed: retake the photo with the lamp moved.")
    light = shown.rgb[keep]
    labs = calibration.lab_of_light(light) + shift_of(photo, calibration, region, light.mean(axis=0))
    return Texture(palette(labs, rng), mottle(shown.xy[keep], labs))


def palette(
    labs: ArrayLike, rng: np.random.Generator, most: int = 5, apart_delta_e00: float = 2.0
) -> tuple[PaletteColour, ...]:
    """Return the colours that a finish is made of, largest share first; the shares add up to 1.

    labs: (n, 3) CIELAB of its pixels. From 1 to ``most`` normal clusters, begun at k-means centres, are fitted to a
    sample of the pixels where distance is ΔE00; the number is that of the lowest Bayesian information criterion
    (Schwarz 1978, Ann. Stat. 6(2)), so that noise, however wide, is one colour. Clusters nearer than
    ``apart_delta_e00`` are one, as are slivers under 2 %. Colours are means in linear light. Raises ReadingError
    when no pixel is finite.
    """
    values = np.asarray(labs, dtype=float).reshape(-1, 3)
    values = values[np.isfinite(values).all(axis=1)]
    if len(values) == 0:
        raise ReadingError("Mark a larger region: this one holds no pixel to take colours from.")
    values = _sampled(values, SHARING_PIXELS, rng)
    label = _clusters(values, most, rng)
    xyz = lab_to_xyz(values)
    sums = [(float(np.sum(label == k)), xyz[label == k].sum(axis=0)) for k in np.unique(label)]
    return _as_colours(_merged(sums, apart_delta_e00), len(values))


def _clusters(values: Floats, most: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Return a cluster's number for every CIELAB (n, 3)."""
    from matcher.colour.metric import delta_e_metric
    from matcher.colour.uncertainty import square_root

    middle = np.median(values, axis=0)
    placed = (values - middle) @ square_root(delta_e_metric(middle))
    chosen = _sampled(placed, CHOOSING_PIXELS, rng)
    if len(chosen) < FEWEST_PIXELS or placed.std(axis=0).max() < LEAST_SPREAD_DELTA_E00:
        return np.zeros(len(values), dtype=np.intp)
    with one_thread():
        return np.asarray(_best_mixture(chosen, most, rng).predict(placed), dtype=np.intp)


def _best_mixture(chosen: Floats, most: int, rng: np.random.Generator) -> Any:
    """Return the fitted mixture of the lowest criterion; two worse ones in a row end the search."""
    from sklearn.mixture import GaussianMixture

    best, lowest, worse = None, np.inf, 0
    for count in range(1, max(1, most) + 1):
        fit = GaussianMixture(
            count,
            covariance_type="full",
            reg_covar=LEAST_SPREAD_DELTA_E00**2,
            tol=0.01,
            init_params="kmeans",
            random_state=int(rng.integers(2**31)),
        ).fit(chosen)
        criterion = float(fit.bic(chosen))
        best, lowest, worse = (fit, criterion, 0) if criterion < lowest else (best, lowest, worse + 1)
        if worse == 2:
            break
    return best


def _merged(sums: Sequence[tuple[float, Floats]], apart_delta_e00: float) -> list[tuple[float, Floats]]:
    """Join clusters (pixels, their XYZ added up) until all are apart and none is a sliver."""
    from matcher.colour.difference import delta_e_2000

    left = list(sums)
    while len(left) > 1:
        labs = np.array([xyz_to_lab(xyz / count) for count, xyz in left])
        apart = delta_e_2000(labs[:, None], labs[None]) + np.where(np.eye(len(left), dtype=bool), np.inf, 0)
        counts = np.array([count for count, _ in left])
        smallest = int(counts.argmin())
        first, second = (int(k) for k in np.unravel_index(apart.argmin(), apart.shape))
        if apart[first, second] >= apart_delta_e00:
            if counts[smallest] >= LEAST_SHARE * counts.sum():
                break
            first, second = smallest, int(apart[smallest].argmin())
        joined = (left[first][0] + left[second][0], left[first][1] + left[second][1])
        left = [item for k, item in enumerate(left) if k not in (first, second)] + [joined]
    return left


def _as_colours(sums: Sequence[tuple[float, Floats]], total: int) -> tuple[PaletteColour, ...]:
    colours = []
    for count, xyz in sorted(sums, key=lambda item: -item[0]):
        lightness, a, b = (float(value) for value in xyz_to_lab(xyz / count))
        colours.append(PaletteColour((lightness, a, b), count / total))
    return tuple(colours)


def _sampled(values: Floats, most: int, rng: np.random.Generator) -> Floats:
    return values if len(values) <= most else values[rng.choice(len(values), most, replace=False)]


@dataclass(frozen=True)
class MottleScale:
    """Mottle of one size. share: of the region's size (root of its area); size_px: the same in pixels of the
    photograph. lightness: standard deviation of L* at that size; colour: of a*, b* together; noise taken off."""

    share: float
    size_px: float
    lightness: float
    colour: float


@dataclass(frozen=True)
class Mottle:
    """Spread over a finish by size, finest first. noise_lightness, noise_colour: standard deviation from pixel to
    pixel that is the camera's rather than the finish's, as far as a picture tells."""

    scales: tuple[MottleScale, ...]
    noise_lightness: float
    noise_colour: float

    @property
    def strongest(self) -> MottleScale | None:
        """The size at which lightness and colour vary most."""
        return max(self.scales, key=lambda scale: scale.lightness**2 + scale.colour**2, default=None)

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "scales": [vars(scale).copy() for scale in self.scales],
            "noise_lightness": self.noise_lightness,
            "noise_colour": self.noise_colour,
        }


def mottle(places: ArrayLike, labs: ArrayLike) -> Mottle:
    """Return how a finish varies, by size, as shares of the region's size.

    places: (n, 2) pixels on a grid, each taken or every k-th; labs: (n, 3) CIELAB there; pixels left out (glare)
    are holes that weigh nothing. Each size is the band between two Gaussian blurs an octave apart; white noise,
    estimated from the second differences of neighbours (Immerkær 1996, Comput. Vis. Image Underst. 64(2)), is
    taken off by what it would leave in each band. Raises ReadingError when there are fewer than 64 pixels.
    """
    grid, weight, step = _on_grid(np.asarray(places, dtype=float), np.asarray(labs, dtype=float))
    size = float(np.sqrt(weight.sum()))
    noise = _noise_variance(grid, weight)
    scales = []
    for share in MOTTLE_SHARES:
        wide = PEAK_SIGMA * share * size
        if wide / np.sqrt(2) < FINEST_PX / 2:
            continue
        variance = _band_variance(grid, weight, wide / np.sqrt(2), wide * np.sqrt(2)) - noise * _band_gain(wide)
        seen = np.sqrt(np.maximum(variance, 0.0)) / PEAK_GAIN
        scales.append(MottleScale(share, share * size * step, float(seen[0]), float(np.hypot(seen[1], seen[2]))))
    return Mottle(tuple(scales), float(np.sqrt(noise[0])), float(np.sqrt(noise[1] + noise[2])))


def _on_grid(places: Floats, labs: Floats) -> tuple[Grid, Grid, float]:
    """Return CIELAB (h, w, 3) minus its mean, weights (h, w) of 0 or 1, and the grid's step in pixels."""
    sound = np.isfinite(labs).all(axis=1) & np.isfinite(places).all(axis=1)
    places, labs = places[sound], labs[sound]
    if len(labs) < FEWEST_PIXELS:
        raise ReadingError(f"Mark a larger region: a texture does not show in {counted(len(labs), 'pixel')}.")
    gaps = np.concatenate([np.diff(np.unique(axis)) for axis in places.T])
    step = float(gaps.min()) if len(gaps) else 1.0
    cell = np.rint((places - places.min(axis=0)) / step).astype(int)
    width, height = (int(side) for side in cell.max(axis=0) + 1)
    if width * height > MOST_CELLS:
        raise ReadingError("Take the region's pixels from a regular grid: these are scattered.")
    grid, weight = np.zeros((height, width, 3), np.float32), np.zeros((height, width), np.float32)
    grid[cell[:, 1], cell[:, 0]] = labs - labs.mean(axis=0)
    weight[cell[:, 1], cell[:, 0]] = 1
    return grid, weight, step


def _noise_variance(grid: Grid, weight: Grid) -> Floats:
    """Return the variance (3,) of white noise, from a mask blind to planes; its weights' squares add up to 36.

    The median, because edges and the finish's own grain only ever add.
    """
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    whole = cv2.erode(weight, np.ones((3, 3), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0
    if whole.sum() < FEWEST_PIXELS:
        return np.zeros(3)
    bent = cv2.filter2D(grid, -1, mask)[whole]
    return np.square(np.median(np.abs(bent), axis=0) / 0.6745).astype(float) / 36


def _blurred(grid: Grid, weight: Grid, sigma: float) -> Grid:
    """Blur over what is there only: holes and the outside weigh nothing."""
    low = max(0, int(np.log2(max(sigma / 4, 1))))  # a wide blur is taken on a smaller copy
    size = tuple(max(1, int(np.ceil(side / 2**low))) for side in weight.shape[::-1])
    masked = np.dstack([grid * weight[..., None], weight])
    small = cv2.resize(masked, size, interpolation=cv2.INTER_AREA) if low else masked
    soft = cv2.GaussianBlur(small, (0, 0), sigma / 2**low, borderType=cv2.BORDER_CONSTANT)
    soft = cv2.resize(soft, weight.shape[::-1], interpolation=cv2.INTER_LINEAR) if low else soft
    return np.asarray(soft[..., :3] / np.maximum(soft[..., 3:], 1e-3))


def _band_variance(grid: Grid, weight: Grid, fine: float, coarse: float) -> Floats:
    band = (_blurred(grid, weight, fine) - _blurred(grid, weight, coarse))[weight > 0]
    return np.asarray(band.astype(float).var(axis=0))


def _band_gain(wide: float) -> float:
    """Return what share of white noise's variance is left between two Gaussians, wide/√2 and wide·√2."""
    fine, coarse = wide**2 / 2, wide**2 * 2
    return float((1 / fine + 1 / coarse - 4 / (fine + coarse)) / (4 * np.pi))
