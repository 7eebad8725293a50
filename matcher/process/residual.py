"""What the film curve leaves over: a Gaussian process on its residuals, with a learned correlation for every pair.

Part of the process model. The kernel, how alike two recipes' residuals are, falls with squared distance along groups of
features (the colour that the curve gives, log dose, temperature, undercoat depth, burnish, and each category); every
group's weight is learned. A category's weight is its own: two chemicals correlate by exp(−(w₁ + w₂) / 2), so one that
behaves like the others borrows from all of them, and there are as many weights as chemicals, not pairs. The weights
start from a prior, so that few trials leave them where trades like this usually have them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.process.design import Categories, Columns
from matcher.process.film import MIDDLE_TEMP_C

PRIOR_LOG_NUMBER_WEIGHTS = np.log(np.array([1.0, 1.0, 1.0, 0.5, 0.5, 0.5, 0.3, 0.3]))
PRIOR_LOG_CATEGORY_WEIGHT = np.log(0.5)


@dataclass(frozen=True, eq=False)
class Features:
    """n recipes as the kernel sees them. numbers: (n, 8). kinds: (n, k) counts of each category's presence."""

    numbers: Floats
    kinds: Floats

    def rows(self, keep: NDArray[np.intp] | slice) -> Features:
        return Features(self.numbers[keep], self.kinds[keep])


def features_of(columns: Columns, mean_lab: Floats, categories: Categories) -> Features:
    """Lay out features; a lab step of 15, a doubling of dose twice over, 10 °C and a whole undercoat are one unit."""
    there = columns.chemical >= 0
    dose = (columns.strength * columns.passes * there).sum(axis=1)
    temp = np.where(there, columns.temp_c - MIDDLE_TEMP_C, 0.0).sum(axis=1) / np.maximum(there.sum(axis=1), 1)
    held = ((columns.undercoat >= 0) * (1 - 0.8 * columns.burnish))[:, None]
    last = np.maximum(there.sum(axis=1) - 1, 0)
    row = np.arange(len(columns))
    earlier = sum(_held(columns.chemical[:, j], len(categories.chemicals)) for j in range(columns.chemical.shape[1]))
    final = _held(columns.chemical[row, last], len(categories.chemicals))
    numbers = np.column_stack(
        [
            mean_lab / 15,
            np.log2(dose + 0.25) / 2,
            temp / 10,
            columns.base_strength,
            columns.burnish,
            there.sum(axis=1) - 1.0,
        ]
    )
    kinds = np.column_stack(
        [
            _held(columns.undercoat, len(categories.undercoats)) * held,
            final,
            earlier - final,
            _held(columns.alloy, len(categories.alloys)),
            _held(columns.surface, len(categories.surfaces)),
            _held(columns.seal, len(categories.seals)),
            _held(columns.application[row, last], len(categories.applications)),
        ]
    )
    return Features(numbers, kinds)


def prior_log_weights(features: Features) -> Floats:
    """Return the prior mean (g,) of the log weights, numbers first."""
    return np.concatenate([PRIOR_LOG_NUMBER_WEIGHTS, np.full(features.kinds.shape[1], PRIOR_LOG_CATEGORY_WEIGHT)])


def squared_distances(first: Features, second: Features) -> Floats:
    """Return (g, n, m) squared distances, one sheet to a group."""
    left = np.hstack([first.numbers, first.kinds]).T[:, :, None]
    right = np.hstack([second.numbers, second.kinds]).T[:, None, :]
    return np.asarray(np.square(left - right))


def kernel(first: Features, second: Features, log_weights: Floats) -> Floats:
    """Return (n, m) prior correlations of the residuals."""
    scale = np.exp(log_weights / 2)
    left = np.hstack([first.numbers, first.kinds]) * scale
    right = np.hstack([second.numbers, second.kinds]) * scale
    square = np.square(left).sum(1)[:, None] + np.square(right).sum(1)[None] - 2 * left @ right.T
    return np.asarray(np.exp(-np.maximum(square, 0.0) / 2))


def _held(places: NDArray[np.intp], many: int) -> Floats:
    """Return (n, many + 1): 1 where the category is this one; the last column is for one not seen before."""
    return np.asarray((places[:, None] == np.arange(many + 1)[None]).astype(float))


@dataclass(frozen=True, eq=False)
class Hyperparameters:
    """Learned of noise and kernel. residual_sd: (3,) of the residual in L*, a*, b*. plate_sd: (3,) plate to plate.

    log_weights: (g,) of the feature groups.
    """

    residual_sd: Floats
    plate_sd: Floats
    log_weights: Floats

    @property
    def plate_covariance(self) -> Floats:
        """Return (3, 3): how plates of one recipe differ, with one size for all recipes."""
        return np.diag(np.square(self.plate_sd))


PRIOR_LOG_PLATE_SD = np.log(np.array([0.5, 0.4, 0.5]))
SD_OF_LOG_RESIDUAL, SD_OF_LOG_PLATE = 0.7, 0.6
FARTHEST_SDS = 6.0
"""Prior standard deviations within which they are looked for: farther out a covariance is singular to rounding."""


@dataclass(frozen=True, eq=False)
class HyperPrior:
    """Thought of the hyperparameters before any trial. log_residual_sd: (3,). log_weight_sd: of a log weight."""

    log_residual_sd: Floats
    log_weight_sd: float


AFTER_FILM = HyperPrior(np.log(np.array([1.2, 1.0, 1.2])), 0.7)
AFTER_NONE = HyperPrior(np.log(np.array([9.0, 5.0, 7.0])), 1.2)
"""Where there is no curve, all that recipes differ by is left over."""


def fit_hyperparameters(
    features: Features,
    residuals: Floats,
    known: Floats,
    start: Hyperparameters | None = None,
    rounds: int = 30,
    prior: HyperPrior = AFTER_FILM,
) -> Hyperparameters:
    """Learn the hyperparameters from residuals (n, 3) by their marginal likelihood, with the prior.

    known: (3n, 3n), output by output, the covariance of the residuals from elsewhere: readings, the curve's parameters.
    """
    from scipy.optimize import minimize

    cost, centre, sds, live = _to_learn(features, residuals, known, prior)
    weights, guess = prior_log_weights(features), centre
    if start is not None and start.log_weights.shape == weights.shape:
        guess = _logs(start, live)
    within = np.column_stack([centre - FARTHEST_SDS * sds, centre + FARTHEST_SDS * sds])
    found = minimize(cost, guess, jac=True, method="L-BFGS-B", bounds=within, options={"maxiter": rounds})
    weights[live] = found.x[6:]
    return Hyperparameters(np.exp(found.x[:3]), np.exp(found.x[3:6]), weights)


def log_evidence(
    features: Features, residuals: Floats, known: Floats, prior: HyperPrior, learned: Hyperparameters
) -> float:
    """Return the log density of residuals (n, 3) and of the hyperparameters, but for a constant; ``known`` as there."""
    cost, _, _, live = _to_learn(features, residuals, known, prior)
    return -cost(_logs(learned, live))[0]


def _to_learn(
    features: Features, residuals: Floats, known: Floats, prior: HyperPrior
) -> tuple[Callable[[Floats], tuple[float, Floats]], Floats, Floats, NDArray[np.bool_]]:
    """Return what is to be least, the prior mean and standard deviation of the logs, and which weights count."""
    sheets = squared_distances(features, features)
    live = sheets.reshape(len(sheets), -1).max(axis=1) > 1e-12
    centre = np.concatenate([prior.log_residual_sd, PRIOR_LOG_PLATE_SD, prior_log_weights(features)[live]])
    each = (SD_OF_LOG_RESIDUAL, SD_OF_LOG_PLATE, prior.log_weight_sd)
    sds = np.repeat(each, (3, 3, int(live.sum())))
    return _evidence(sheets[live], residuals.T.ravel(), known, centre, sds), centre, sds, live


def _logs(learned: Hyperparameters, live: NDArray[np.bool_]) -> Floats:
    return np.concatenate([np.log(learned.residual_sd), np.log(learned.plate_sd), learned.log_weights[live]])


def inverse_of(factor: tuple[Floats, bool]) -> Floats:
    """Return the inverse (n, n) of the matrix of a lower Cholesky factor, in half the time of solving for it."""
    from scipy.linalg.lapack import dpotri

    below: Floats = np.tril(dpotri(factor[0], lower=1)[0])
    return below + np.tril(below, -1).T


def _evidence(
    sheets: Floats, residuals: Floats, known: Floats, centre: Floats, sds: Floats
) -> Callable[[Floats], tuple[float, Floats]]:
    """Return minus the log posterior of the log hyperparameters and its gradient, as a function of them."""
    from scipy.linalg import cho_factor, cho_solve

    n = sheets.shape[1]
    flat = sheets.reshape(len(sheets), n * n)

    def cost(logs: Floats) -> tuple[float, Floats]:
        residual, plate = np.exp(2 * logs[:3]), np.exp(2 * logs[3:6])
        correlation = np.exp(-0.5 * (np.exp(logs[6:]) @ flat).reshape(n, n))
        whole = known.copy()
        for k in range(3):
            block = slice(k * n, (k + 1) * n)
            whole[block, block] += residual[k] * correlation + plate[k] * np.eye(n)
        factor = cho_factor(whole, lower=True, check_finite=False)
        solved = cho_solve(factor, residuals, check_finite=False)
        inverse = inverse_of(factor)
        off = (logs - centre) / sds
        value = 0.5 * residuals @ solved + np.log(np.diag(factor[0])).sum() + 0.5 * off @ off
        slope = off / sds
        pull = np.zeros((n, n))
        for k in range(3):
            block = slice(k * n, (k + 1) * n)
            push = 0.5 * (inverse[block, block] - np.outer(solved[block], solved[block]))
            slope[k] += 2 * residual[k] * np.sum(push * correlation)
            slope[3 + k] += 2 * plate[k] * np.trace(push)
            pull += residual[k] * push
        slope[6:] += -0.5 * np.exp(logs[6:]) * (flat @ (pull * correlation).ravel())
        return float(value), slope

    return cost
