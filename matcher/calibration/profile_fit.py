"""The fit of a tone curve and a colour transform together to a chart's patches, and of what they leave over.

Each candidate is judged by patches left out, so that the errors say how well colours are read that were not fitted.
What the best leaves over is learned beside it, as errors that are alike for like colours (``local_error``). Before
``profile_from_chart``, which makes a profile of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.calibration.transform import (
    BOW_PRIOR,
    CHANNEL_BOW_PRIOR,
    CHANNEL_SLOPE_PRIOR,
    SLOPE_PRIOR,
    TRANSFORMS,
    ToneCurve,
    log_position,
    root_terms,
)
from matcher.card.reading import CardReading
from matcher.colour.cielab import lab_to_xyz, xyz_to_lab
from matcher.colour.difference import delta_e_2000
from matcher.colour.local_error import LocalError, covariance_between
from matcher.colour.metric import delta_e_metric
from matcher.colour.types import Floats
from matcher.colour.uncertainty import square_root
from matcher.photo.encoding import SENSOR_ENCODINGS
from matcher.photo.photo import Photo

FIT_SIGMA = 0.9  # ΔE00 within which a patch is fitted
EYE_SHARE, PLAIN = 0.6, 0.6
"""A patch's error is weighed by this share as the eye does (ΔE00), else all patches alike (ΔE00 per unit of CIELAB, as
at a patina's chroma): ΔE00 alone lets saturated patches go, which under tubes hold the transform's turn."""
BASIS_SHARE = 0.4
GAIN_PRIOR = 0.15  # of log gain about the neutral row's own
GRADIENT_PRIOR = 0.05  # of log light from the middle of the chart to its edge
AMPLITUDE_PRIOR, NUGGET_PRIOR = (1.0, 0.9), (0.8, 0.2)
"""Median at a grey in CIELAB, and standard deviation of the log, of errors that are alike for like colours and of what
each paint has of its own, before the chart has spoken: from real charts and clean simulated ones, where a larger nugget
corrects less and a freer one follows single paints."""


@dataclass(frozen=True, eq=False)
class Patches:
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
    def of(cls, photo: Photo, chart: CardReading, usable: Sequence[int]) -> Patches:
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
class Fit:
    """A candidate fitted to all patches: parameters are gains (3), tone (8), gradient (2), transform (18)."""

    data: Patches
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


@dataclass(frozen=True, eq=False)
class Learned:
    """What a chart has taught: a fit, what it leaves over, and how surely.

    errors: (n, 3) CIELAB, read minus known, of each patch from all the others. spread: (26, p), standard deviations of
    tone and transform along their principal directions; shifts: (p, n, 3), what the residuals move by with each. Gains
    and the chart's gradient are found anew on every card, so they are left out.
    """

    fit: Fit
    local: LocalError
    errors: Floats
    spread: Floats
    shifts: Floats


def best_fit(photo: Photo, chart: CardReading, used: Sequence[int]) -> Learned:
    """Return what the patches numbered ``used`` teach: of the candidates, the one of least leave-one-out ΔE00."""
    data = Patches.of(photo, chart, used)
    linear = photo.encoding in SENSOR_ENCODINGS
    fits = [_fit(data, kind, tone) for kind in TRANSFORMS for tone in ((False,) if linear else (True, False))]
    return _learned(min(fits, key=lambda fit: float(np.mean(data.delta(fit.quick_errors())))))


def _learned(fit: Fit) -> Learned:
    """Learn what a fit leaves over: how large errors are that are alike for like colours, and where they lie.

    A linear model with Gaussian residuals (Rasmussen and Williams 2006, sections 2.7 and 5.4.2): the sizes are those
    under which each patch is best predicted by the others.
    """
    from scipy.optimize import minimize

    labs, count = fit.data.labs, len(fit.data.labs)
    blocks = zip(fit.data.roots, fit.slopes.reshape(count, 3, -1), strict=True)
    slopes = np.concatenate([np.linalg.solve(root, block) for root, block in blocks]) * FIT_SIGMA
    residuals = labs - fit.labs(fit.found)
    shown = residuals.ravel() + slopes @ fit.found
    variance = fit.prior**2
    from_parameters = (slopes * variance) @ slopes.T

    def precision(log: Floats) -> Floats:
        """Return the inverse (3n, 3n) of the patches' covariance, given the logs of amplitude and nugget (6,)."""
        whole = np.zeros((count, 3, count, 3))
        for channel, part in enumerate(covariance_between(labs, np.exp(log[:3]), np.exp(log[3:]))):
            whole[:, channel, :, channel] = part
        return np.asarray(np.linalg.inv(whole.reshape(3 * count, 3 * count) + from_parameters))

    def left_out(log: Floats) -> tuple[Floats, Floats]:
        """Return what is left of each patch (n, 3) when the others predict it, and the precision (n, 3, 3) of that."""
        inverse = precision(log)
        own = inverse.reshape(count, 3, count, 3)[range(count), :, range(count), :]
        left = np.linalg.solve(own, (inverse @ shown).reshape(count, 3, 1))[..., 0]
        return np.asarray(left), np.asarray(own)

    def negative_log_density(log: Floats) -> float:
        left, own = left_out(log)
        told = np.einsum("ni,nij,nj->", left, own, left) - np.linalg.slogdet(own)[1].sum()
        return float(told + np.square((log - middle) / width).sum()) / 2

    middle = np.log(np.repeat([AMPLITUDE_PRIOR[0], NUGGET_PRIOR[0]], 3))
    width = np.repeat([AMPLITUDE_PRIOR[1], NUGGET_PRIOR[1]], 3)
    sizes = minimize(negative_log_density, middle, method="L-BFGS-B", options={"maxiter": 30}).x
    told = variance[:, None] * (slopes.T @ precision(sizes) @ slopes) * variance
    root = square_root(np.diag(variance) - told)[:, ::-1]
    return Learned(
        fit,
        LocalError(labs, residuals, np.exp(sizes[:3]), np.exp(sizes[3:])),
        errors=-left_out(sizes)[0],
        spread=root[[*range(3, 11), *range(13, 31)]],
        shifts=-(slopes @ root).T.reshape(-1, count, 3),
    )


def _basis(log_light: ArrayLike, wanted: Floats) -> Floats:
    """Return (3, 3) that takes a sensor's balanced light, given as its log (n, 3), towards an encoding's (n, 3).

    Root terms depend on the primaries, and a sensor's own overlap so much that its roots say little more than it does.
    Not all of the way, where saturated colours fall outside the encoding's. Greys stay as they are.
    """
    weight = 1 / np.maximum(wanted.mean(axis=1, keepdims=True), 0.02) ** (2 / 3)
    found = np.linalg.lstsq(np.exp(log_light) * weight, wanted * weight, rcond=None)[0].T
    return np.asarray(BASIS_SHARE * found / found.sum(axis=1, keepdims=True) + (1 - BASIS_SHARE) * np.eye(3))


def _fit(data: Patches, kind: str, bent: bool) -> Fit:
    linear, root = TRANSFORMS[kind]
    tone = [SLOPE_PRIOR, *[CHANNEL_SLOPE_PRIOR] * 3, BOW_PRIOR, *[CHANNEL_BOW_PRIOR] * 3] if bent else [1e-4] * 8
    prior = np.array([GAIN_PRIOR] * 3 + tone + [GRADIENT_PRIOR] * 2 + [linear, linear, linear, root, root, root] * 3)
    blank = Fit(data, kind, bent, np.zeros(31), np.zeros((0, 31)), prior)
    found, slopes = blank.solved(np.ones(len(data.labs)), np.zeros(31))
    return replace(blank, found=found, slopes=slopes)
