"""What trials say of the curve's parameters and of the hyperparameters. Part of the process model.

The parameters of highest posterior density, by damped Newton steps on the curve; the hyperparameters by their
marginal likelihood with the curve linearised there; the one and the other in turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.process.design import Columns, columns_of
from matcher.process.film import FilmMean, FlatMean
from matcher.process.hand import days_of
from matcher.process.logged import LoggedTrial, errors_together, scatter_of
from matcher.process.mistakes import doubts
from matcher.process.residual import (
    AFTER_FILM,
    AFTER_NONE,
    PRIOR_LOG_PLATE_SD,
    Features,
    Hyperparameters,
    HyperPrior,
    features_of,
    fit_hyperparameters,
    kernel,
    log_evidence,
    prior_log_weights,
)

Curve = FilmMean | FlatMean

MOST_STEPS, WORTH_A_STEP, ROUGHLY = 25, 3e-3, 0.1
"""Newton steps, and the gain in log density below which no further one is made, at last and on the way."""

FARTHEST_SDS = 8.0
"""Prior standard deviations within which the parameters are looked for: a step beyond would overflow the curve."""
ROUNDING = 1e-9
"""Share of a reading's variance that is added in every direction, so that one known exactly in some stays definite."""


def systematic_sample(many: int, most: int) -> NDArray[np.intp]:
    """Return at most ``most`` of the places 0 to many − 1, first and last among them."""
    return np.unique(np.linspace(0, many - 1, min(many, most)).astype(np.intp))


@dataclass(frozen=True, eq=False)
class Seen:
    """n trials as the fit sees them. lab: (n, 3). covariances: (n, 3, 3) by which the readings scatter.

    doubt: (n, 3, 3) added to those of plates that may be mistakes. usual: causes of error that are no scatter, as
    ``logged.usual_errors``. together: (3n, 3n), output by output, the covariances
    between readings; None where each errs for itself.
    """

    curve: Curve
    columns: Columns
    lab: Floats
    covariances: Floats
    doubt: Floats
    usual: frozenset[str]
    together: Floats | None

    @classmethod
    def of(cls, curve: Curve, trials: Sequence[LoggedTrial], usual: frozenset[str] = frozenset()) -> Seen:
        """Lay out trials for a curve."""
        columns = columns_of([trial.recipe for trial in trials], curve.categories)
        if curve.drift is not None:
            columns = replace(columns, when=curve.drift.features(days_of(trials)))
        labs = np.array([trial.reading.lab for trial in trials])
        readings = [trial.reading for trial in trials]
        covariances = scatter_of(readings, usual, readings)
        lift = ROUNDING * np.trace(covariances, axis1=1, axis2=2)
        covariances = covariances + lift[:, None, None] * np.eye(3)
        together = errors_together(readings, usual)
        return cls(curve, columns, labs, covariances, np.zeros((len(labs), 3, 3)), usual, together)

    def rows(self, keep: NDArray[np.intp]) -> Seen:
        """Return some of the trials."""
        columns, labs = self.columns.rows(keep), self.lab[keep]
        at = np.concatenate([keep + k * len(self.lab) for k in range(3)])
        together = None if self.together is None else self.together[np.ix_(at, at)]
        return Seen(self.curve, columns, labs, self.covariances[keep], self.doubt[keep], self.usual, together)

    def doubted(self, mistaken: Floats, hyperparameters: Hyperparameters) -> Seen:
        """Return the same trials, each counting by how likely it is sound; mistaken: (n,) the chance that it is not."""
        return replace(self, doubt=doubts(mistaken, self.covariances + hyperparameters.plate_covariance))

    @property
    def _prior(self) -> HyperPrior:
        return AFTER_NONE if isinstance(self.curve, FlatMean) else AFTER_FILM

    def first_hyperparameters(self) -> Hyperparameters:
        """Return the hyperparameters before anything is learned."""
        features = features_of(self.columns, np.zeros((len(self.columns), 3)), self.curve.categories)
        residual_sd, plate_sd = np.exp(self._prior.log_residual_sd), np.exp(PRIOR_LOG_PLATE_SD)
        return Hyperparameters(residual_sd, plate_sd, prior_log_weights(features))

    def afresh(self, starts: Sequence[Floats], rounds: int) -> tuple[Floats, Hyperparameters]:
        """Return parameters and hyperparameters learned together; the parameters are looked for from each start."""
        hyperparameters = self.first_hyperparameters()
        found = [self.best_parameters(start, hyperparameters, ROUGHLY) for start in starts]
        parameters = min(found, key=lambda one: self.misfit(one, hyperparameters)) if len(found) > 1 else found[0]
        for k in range(rounds):
            if k:
                parameters = self.best_parameters(parameters, hyperparameters, ROUGHLY)
            hyperparameters = self.fitted_hyperparameters(parameters, hyperparameters, 30)
        return parameters, hyperparameters

    def noise(self) -> Floats:
        """Return the covariance (3n, 3n) of what readings scatter and of what is doubted of them, output by output."""
        n = len(self.lab)
        whole = np.zeros((3, n, 3, n))
        whole[:, np.arange(n), :, np.arange(n)] = self.covariances + self.doubt
        each = whole.reshape(3 * n, 3 * n)
        return each if self.together is None else each + self.together

    def fitted_hyperparameters(self, parameters: Floats, start: Hyperparameters, rounds: int) -> Hyperparameters:
        """Return the hyperparameters learned with the curve linearised at ``parameters``."""
        return fit_hyperparameters(*self._linear_problem(parameters), start, rounds, self._prior)

    def log_evidence(self, parameters: Floats, hyperparameters: Hyperparameters) -> float:
        """Return how well curve and hyperparameters predict the trials: the log of their density, but for a constant.

        With the curve linearised at ``parameters``, the best ones (Laplace's approximation).
        """
        return log_evidence(*self._linear_problem(parameters), self._prior, hyperparameters)

    def _linear_problem(self, parameters: Floats) -> tuple[Features, Floats, Floats]:
        """Return features, what the residual has to explain (n, 3), and its covariance from elsewhere (3n, 3n)."""
        mean, jacobian = self.curve.linearised(parameters, self.columns)
        stacked = by_output(jacobian)
        known = self.noise() + (stacked * np.square(self.curve.prior_sd)) @ stacked.T
        aims = self.lab - mean + (stacked @ (parameters - self.curve.prior_mean)).reshape(3, -1).T
        return features_of(self.columns, mean, self.curve.categories), aims, known

    def misfit(self, parameters: Floats, hyperparameters: Hyperparameters) -> float:
        """Return minus the log density of parameters (p,) after the trials, but for a constant."""
        from scipy.linalg import solve_triangular

        features = features_of(self.columns, self.curve.lab(parameters, self.columns), self.curve.categories)
        root = np.linalg.cholesky(_residual_covariance(features, hyperparameters) + self.noise())
        off = solve_triangular(root, (self.lab - self.curve.lab(parameters, self.columns)).T.ravel(), lower=True)
        departed = (parameters - self.curve.prior_mean) / self.curve.prior_sd
        return float(0.5 * off @ off + np.log(np.diag(root)).sum() + 0.5 * departed @ departed)

    def best_parameters(
        self, start: Floats, hyperparameters: Hyperparameters, worth_a_step: float = WORTH_A_STEP
    ) -> Floats:
        """Return the parameters (p,) of highest posterior density, by Levenberg and Marquardt's damped Newton steps."""
        from scipy.linalg import solve_triangular

        features = features_of(self.columns, self.curve.lab(start, self.columns), self.curve.categories)
        root = np.linalg.cholesky(_residual_covariance(features, hyperparameters) + self.noise())
        centre, tight = self.curve.prior_mean, self.curve.prior_sd**-2
        farthest = FARTHEST_SDS * self.curve.prior_sd

        def whiten(values: Floats) -> Floats:
            return np.asarray(solve_triangular(root, values, lower=True, check_finite=False))

        def cost(parameters: Floats, mean: Floats) -> float:
            off = whiten((self.lab - mean).T.ravel())
            return float(0.5 * off @ off + 0.5 * tight @ np.square(parameters - centre))

        parameters, damping = start, 1e-3
        mean, jacobian = self.curve.linearised(parameters, self.columns)
        now = cost(parameters, mean)
        for _ in range(MOST_STEPS):
            stacked = whiten(by_output(jacobian))
            bend = stacked.T @ stacked + np.diag(tight)
            pull = stacked.T @ whiten((self.lab - mean).T.ravel()) - tight * (parameters - centre)
            for _ in range(8):
                moved = parameters + np.linalg.solve(bend + damping * np.diag(np.diag(bend)), pull)
                moved = np.clip(moved, centre - farthest, centre + farthest)
                then = cost(moved, self.curve.lab(moved, self.columns))
                if then < now:
                    break
                damping *= 6
            else:
                return parameters
            gained, parameters, now, damping = now - then, moved, then, max(damping / 6, 1e-7)
            if gained < worth_a_step:
                return parameters
            mean, jacobian = self.curve.linearised(parameters, self.columns)
        return parameters


def by_output(jacobian: Floats) -> Floats:
    """Return jacobian (n, 3, p) as (3n, p), all of L* first."""
    return np.moveaxis(jacobian, 1, 0).reshape(-1, jacobian.shape[-1])


def _residual_covariance(features: Features, hyperparameters: Hyperparameters) -> Floats:
    correlation = kernel(features, features, hyperparameters.log_weights)
    n = len(correlation)
    whole = np.zeros((3 * n, 3 * n))
    for k in range(3):
        block = slice(k * n, (k + 1) * n)
        whole[block, block] = hyperparameters.residual_sd[k] ** 2 * correlation + (
            hyperparameters.plate_sd[k] ** 2 + 1e-6
        ) * np.eye(n)
    return whole
