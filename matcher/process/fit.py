"""What trials say of the curve's unknowns and of the sizes of all that it leaves over. Part of the process model.

The unknowns of highest posterior density, by damped Newton steps on the curve; the sizes by their marginal likelihood
with the curve linearised there; the one and the other in turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.process.design import Columns, columns_of
from matcher.process.film import FilmMean
from matcher.process.flat import FlatMean
from matcher.process.logged import LoggedTrial
from matcher.process.residual import (
    AFTER_FILM,
    AFTER_NONE,
    PRIOR_LOG_PLATE_SD,
    Features,
    SizePrior,
    Spread,
    features_of,
    learn_spread,
    likeness,
    log_evidence,
    prior_log_weights,
)

Curve = FilmMean | FlatMean

MOST_STEPS, WORTH_A_STEP, ROUGHLY = 25, 3e-3, 0.1
"""Newton steps, and the gain in log density below which no further one is made, at last and on the way."""

FARTHEST_SDS = 8.0
"""Prior standard deviations within which the unknowns are looked for: a step beyond would overflow the curve."""
ROUNDING = 1e-9
"""Share of a reading's variance that is added in every direction, so that one known exactly in some stays definite."""


def evenly(many: int, most: int) -> NDArray[np.intp]:
    """Return at most ``most`` of the places 0 to many − 1, first and last among them."""
    return np.unique(np.linspace(0, many - 1, min(many, most)).astype(np.intp))


@dataclass(frozen=True, eq=False)
class Seen:
    """n trials as the fit sees them. lab: (n, 3). covariances: (n, 3, 3) of the readings."""

    curve: Curve
    columns: Columns
    lab: Floats
    covariances: Floats

    @classmethod
    def of(cls, curve: Curve, trials: Sequence[LoggedTrial]) -> Seen:
        """Lay out trials for a curve."""
        columns = columns_of([trial.recipe for trial in trials], curve.categories)
        labs = np.array([trial.reading.lab for trial in trials])
        covariances = np.array([trial.reading.covariance for trial in trials])
        lift = ROUNDING * np.trace(covariances, axis1=1, axis2=2)
        return cls(curve, columns, labs, covariances + lift[:, None, None] * np.eye(3))

    def rows(self, keep: NDArray[np.intp]) -> Seen:
        """Return some of the trials."""
        return Seen(self.curve, self.columns.rows(keep), self.lab[keep], self.covariances[keep])

    @property
    def _prior(self) -> SizePrior:
        return AFTER_NONE if isinstance(self.curve, FlatMean) else AFTER_FILM

    def first_spread(self) -> Spread:
        """Return the sizes before anything is learned."""
        features = features_of(self.columns, np.zeros((len(self.columns), 3)), self.curve.categories)
        return Spread(np.exp(self._prior.log_miss_sd), np.exp(PRIOR_LOG_PLATE_SD), prior_log_weights(features))

    def afresh(self, start: Floats, rounds: int) -> tuple[Floats, Spread]:
        """Return unknowns and sizes learned together; the unknowns are looked for from ``start``."""
        unknowns, spread = start, self.first_spread()
        for _ in range(rounds):
            unknowns = self.best_unknowns(unknowns, spread, ROUGHLY)
            spread = self.learned_spread(unknowns, spread, 30)
        return unknowns, spread

    def noise(self) -> Floats:
        """Return the readings' covariance (3n, 3n), output by output."""
        n = len(self.lab)
        whole = np.zeros((3, n, 3, n))
        whole[:, np.arange(n), :, np.arange(n)] = self.covariances
        return whole.reshape(3 * n, 3 * n)

    def learned_spread(self, unknowns: Floats, start: Spread, rounds: int) -> Spread:
        """Return the sizes learned with the curve linearised at ``unknowns``."""
        return learn_spread(*self._linearised(unknowns), start, rounds, self._prior)

    def log_evidence(self, unknowns: Floats, spread: Spread) -> float:
        """Return how well curve and sizes together foretell the trials: the log of their density, but for a constant.

        With the curve linearised at ``unknowns``, the best ones (Laplace's approximation).
        """
        return log_evidence(*self._linearised(unknowns), self._prior, spread)

    def _linearised(self, unknowns: Floats) -> tuple[Features, Floats, Floats]:
        """Return features, what the leftover has to explain (n, 3), and its covariance from elsewhere (3n, 3n)."""
        mean, slopes = self.curve.slopes(unknowns, self.columns)
        steep = by_output(slopes)
        known = self.noise() + (steep * np.square(self.curve.prior_sd)) @ steep.T
        aims = self.lab - mean + (steep @ (unknowns - self.curve.prior_mean)).reshape(3, -1).T
        return features_of(self.columns, mean, self.curve.categories), aims, known

    def best_unknowns(self, start: Floats, spread: Spread, worth_a_step: float = WORTH_A_STEP) -> Floats:
        """Return the unknowns (p,) of highest posterior density, by Levenberg and Marquardt's damped Newton steps."""
        from scipy.linalg import solve_triangular

        features = features_of(self.columns, self.curve.lab(start, self.columns), self.curve.categories)
        root = np.linalg.cholesky(_leftover_covariance(features, spread) + self.noise())
        centre, tight = self.curve.prior_mean, self.curve.prior_sd**-2
        farthest = FARTHEST_SDS * self.curve.prior_sd

        def whiten(values: Floats) -> Floats:
            return np.asarray(solve_triangular(root, values, lower=True, check_finite=False))

        def cost(unknowns: Floats, mean: Floats) -> float:
            off = whiten((self.lab - mean).T.ravel())
            return float(0.5 * off @ off + 0.5 * tight @ np.square(unknowns - centre))

        unknowns, damping = start, 1e-3
        mean, slopes = self.curve.slopes(unknowns, self.columns)
        now = cost(unknowns, mean)
        for _ in range(MOST_STEPS):
            steep = whiten(by_output(slopes))
            bend = steep.T @ steep + np.diag(tight)
            pull = steep.T @ whiten((self.lab - mean).T.ravel()) - tight * (unknowns - centre)
            for _ in range(8):
                moved = unknowns + np.linalg.solve(bend + damping * np.diag(np.diag(bend)), pull)
                moved = np.clip(moved, centre - farthest, centre + farthest)
                then = cost(moved, self.curve.lab(moved, self.columns))
                if then < now:
                    break
                damping *= 6
            else:
                return unknowns
            gained, unknowns, now, damping = now - then, moved, then, max(damping / 6, 1e-7)
            if gained < worth_a_step:
                return unknowns
            mean, slopes = self.curve.slopes(unknowns, self.columns)
        return unknowns


def by_output(slopes: Floats) -> Floats:
    """Return slopes (n, 3, p) as (3n, p), all of L* first."""
    return np.moveaxis(slopes, 1, 0).reshape(-1, slopes.shape[-1])


def _leftover_covariance(features: Features, spread: Spread) -> Floats:
    alike = likeness(features, features, spread.log_weights)
    n = len(alike)
    whole = np.zeros((3 * n, 3 * n))
    for k in range(3):
        block = slice(k * n, (k + 1) * n)
        whole[block, block] = spread.miss_sd[k] ** 2 * alike + (spread.plate_sd[k] ** 2 + 1e-6) * np.eye(n)
    return whole
