"""The studio's process, learned from its trials: a recipe's CIELAB with covariance. Between the log and the planner.

A curve of the trade's shape (``film``), with parameters that the categories share, plus a Gaussian process on what
the curve leaves over (``residual``), plus plate-to-plate noise, plus each reading's own covariance. Few trials lean on
the curve and its prior; many overrule it. The curve is linearised at its best parameters, which makes the whole a
Gaussian process with kernel J P Jᵀ + residual (Laplace's approximation), in closed form.

scikit-learn's GaussianProcessRegressor takes no mean with parameters, no noise that correlates L*, a*, b*, and no
gradient shared by three outputs; hence the few lines of algebra here. With the curve switched off the figures are its
own (``tests/test_process_model.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from zlib import crc32

import numpy as np

from matcher.colour.types import Floats
from matcher.colour.uncertainty import NORMAL_95
from matcher.one_thread import one_thread
from matcher.process.constraints import never_lighter
from matcher.process.design import Columns, columns_of
from matcher.process.film import FlatMean
from matcher.process.fit import Curve, Seen, by_output
from matcher.process.hand import DriftPoint, PlateScatter, day_of, fit_plate_scatter
from matcher.process.logged import LoggedTrial, scatter_of
from matcher.process.residual import Features, Hyperparameters, features_of, inverse_of, kernel
from matcher.process.unknowns import Usual, spread_of
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Recipe, not_noted

MOST_CORRELATED = 4_000_000
"""Pairs of recipe and trial up to which a first look compares them all: a tenth of a second."""
FITTED_AFRESH = 60
MOST_TO_HOLD = 400
"""With more trials than this the trials speak for themselves, facts of the trade or not."""
FACT_ROUNDS, FACTS_AT_ONCE = 3, 24
FACT_SD, UNSEEN_RISE, OVERRULED_AT, FALSE_AT = 0.05, 0.02, 2.5, 5.0
"""In L*: how exactly a fact is held to; a rise too small to matter; standard deviations of rise that overrule it for
one pair of recipes, and for all like it."""
FOLDS, FEWEST_FOLDS = 6, 3
OPTIMISM, OPTIMISM_OF_FEW, FEW = 1.1, 0.15, 24
"""How much too sure the algebra is of its own figures: of very many plates, and how much more of a few or fewer."""
PRIOR_RESIDUALS = 20.0
LEAST_CAUTION = 0.95
"""Plates that happen to lie close make no region much narrower: those left out are of the kinds already logged."""

Pair = tuple[Recipe, Recipe]


@dataclass(frozen=True, eq=False)
class _Points:
    """Where the model knows something: n trials, then two recipes for each of v facts of the trade.

    features: of all n + 2v. jacobian: (3 (n + 2v), p), all of L* first. Observed are 3n numbers, all of L* first, and
    v differences of L*, second recipe less first.
    """

    features: Features
    jacobian: Floats
    trials: int
    facts: int

    def folded(self, values: Floats) -> Floats:
        """Turn values per point, (..., 3 (n + 2v)), into values per observation, (..., 3n + v)."""
        n, v = self.trials, self.facts
        each = values.reshape(*values.shape[:-1], 3, n + 2 * v)
        kept = each[..., :n].reshape(*values.shape[:-1], 3 * n)
        return np.concatenate([kept, each[..., 0, n + v :] - each[..., 0, n : n + v]], axis=-1)

    def unfolded(self, weights: Floats) -> Floats:
        """Turn weights of observations (3n + v,) into weights of points (3, n + 2v)."""
        n, v = self.trials, self.facts
        each = np.zeros((3, n + 2 * v))
        each[:, :n] = weights[: 3 * n].reshape(3, n)
        each[0, n : n + v], each[0, n + v :] = -weights[3 * n :], weights[3 * n :]
        return each

    def of_trials(self) -> _Points:
        """Return the trials alone."""
        jacobian = self.jacobian.reshape(3, -1, self.jacobian.shape[-1])[:, : self.trials]
        return _Points(
            self.features.rows(slice(0, self.trials)), jacobian.reshape(-1, jacobian.shape[-1]), self.trials, 0
        )


@dataclass(frozen=True, eq=False)
class _Known:
    """For n recipes and 3m observed numbers. jacobian: (n, 3, p). explained: (3m, n, 3). centre: CIELAB (n, 3)."""

    jacobian: Floats
    features: Features
    explained: Floats
    centre: Floats


@dataclass(frozen=True, eq=False)
class ProcessModel:
    """A fitted process; made by ``learn.fit_process``. Predicts any recipe.

    parameters: (p,) of the curve. hyperparameters: learned noise and weights. mistaken: (m,) the chance that each trial
    was written down or read wrongly; it counts the less. usual: causes of error that readings of most trials share:
    predicted are colours as those are read, such errors and all. together: whether what they share besides is in the
    predicted covariances.
    """

    curve: Curve
    parameters: Floats
    hyperparameters: Hyperparameters
    trials: tuple[LoggedTrial, ...]
    mistaken: Floats
    usual: frozenset[str]
    together: bool
    _doubt: Floats
    _points: _Points
    _factor: tuple[Floats, bool]
    _residual_weights: Floats
    _weights: Floats

    def columns(self, recipes: Sequence[Recipe]) -> Columns:
        """Lay out recipes for this model's categories, with as many coats as its own trials have.

        What nobody noted of one stands at what its trials' recipes mostly say.
        """
        if any(not_noted(recipe) for recipe in recipes):
            recipes = Usual.of(self.trials).filled(recipes)
        return columns_of(recipes, self.curve.categories)

    def doubt(self, recipe: Recipe) -> Floats:
        """Return the covariance (3, 3) of a recipe's colour that comes of what nobody noted of it."""
        if not not_noted(recipe):
            return np.zeros((3, 3))
        usual = Usual.of(self.trials)
        return usual.few(recipe) * spread_of(self.mean_lab(self.columns(usual.about(recipe))))

    def predict_one(self, recipe: Recipe) -> tuple[Floats, Floats]:
        """Return CIELAB (3,) and covariance (3, 3) as ``predict`` does, with the doubt of what nobody noted."""
        known = not not_noted(recipe)
        labs, covariances = self.predict(self.columns([recipe] if known else Usual.of(self.trials).about(recipe)))
        return labs[0], covariances[0] if known else covariances[1:].mean(axis=0) + self.doubt(recipe)

    @one_thread()
    def mean_lab(self, columns: Columns) -> Floats:
        """Return predicted CIELAB (n, 3): quick, without its covariance."""
        lab = self.curve.lab(self.parameters, columns)
        features = features_of(columns, lab, self.curve.categories)
        correlation = kernel(features, self._points.features, self.hyperparameters.log_weights)
        return lab + np.square(self.hyperparameters.residual_sd) * (
            correlation @ self._points.unfolded(self._residual_weights).T
        )

    def quick_lab(self, columns: Columns) -> Floats:
        """Return about what ``mean_lab`` does, for a first look at very many recipes: of many trials, by the curve."""
        whole = isinstance(self.curve, FlatMean) or len(self.trials) * len(columns) <= MOST_CORRELATED
        return self.mean_lab(columns) if whole else self.curve.lab(self.parameters, columns)

    @one_thread()
    def predict(self, columns: Columns, inflation: float | None = None) -> tuple[Floats, Floats]:
        """Return CIELAB (n, 3) and the covariance (n, 3, 3) of the recipe's own colour, plate noise left out.

        inflation: the factor on standard deviations; None for this model's own.
        """
        lab, covariance = self._by_the_algebra(columns)
        return lab, (self.inflation if inflation is None else inflation) ** 2 * covariance

    def _by_the_algebra(self, columns: Columns) -> tuple[Floats, Floats]:
        known = self._known(columns)
        own = np.einsum("nip,p,njp->nij", known.jacobian, np.square(self.curve.prior_sd), known.jacobian)
        own = own + np.diag(np.square(self.hyperparameters.residual_sd))
        covariance = own - np.einsum("mni,mnj->nij", known.explained, known.explained)
        return known.centre, (covariance + np.swapaxes(covariance, 1, 2)) / 2

    @one_thread()
    def predict_together(self, columns: Columns) -> tuple[Floats, Floats]:
        """Return CIELAB (n, 3) and the covariance (3n, 3n), recipe by recipe, of several recipes' own colours."""
        lab, covariance = self._together_by_the_algebra(columns)
        return lab, self.inflation**2 * covariance

    def _together_by_the_algebra(self, columns: Columns) -> tuple[Floats, Floats]:
        known = self._known(columns)
        n = len(columns)
        stacked = known.jacobian.reshape(3 * n, -1)
        own = (stacked * np.square(self.curve.prior_sd)) @ stacked.T
        correlation = kernel(known.features, known.features, self.hyperparameters.log_weights)
        own += np.einsum("nm,ij->nimj", correlation, np.diag(np.square(self.hyperparameters.residual_sd))).reshape(
            3 * n, 3 * n
        )
        explained = known.explained.reshape(-1, 3 * n)
        return known.centre, own - explained.T @ explained

    def _known(self, columns: Columns) -> _Known:
        """Return what the trials tell of recipes: the parts that every prediction is made of."""
        from scipy.linalg import solve_triangular

        lab, jacobian = self.curve.linearised(self.parameters, columns)
        features = features_of(columns, lab, self.curve.categories)
        points = self._points
        correlation = kernel(features, points.features, self.hyperparameters.log_weights)
        n = len(columns)
        stacked = (jacobian * np.square(self.curve.prior_sd)).reshape(3 * n, -1)
        blocks = (stacked @ points.jacobian.T).reshape(n, 3, 3, -1)
        for k in range(3):
            blocks[:, k, k] += self.hyperparameters.residual_sd[k] ** 2 * correlation
        cross = points.folded(blocks.reshape(3 * n, -1))
        explained = solve_triangular(self._factor[0], cross.T, lower=True, check_finite=False).reshape(-1, n, 3)
        centre = lab + jacobian @ (self.curve.prior_mean - self.parameters) + (cross @ self._weights).reshape(n, 3)
        return _Known(jacobian, features, explained, centre)

    @cached_property
    @one_thread()
    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Return each trial's residual (m, 3) and its covariance (m, 3, 3) when predicted without it, noise included.

        The covariance is that of a sound plate, however much it is doubted. In closed form, with the noise and weights
        held (Rasmussen and Williams 2006, section 5.4.2, by blocks).
        """
        m = len(self._doubt)
        inverse = inverse_of(self._factor)
        blocks = inverse[: 3 * m, : 3 * m].reshape(3, m, 3, m)
        own = np.asarray(np.linalg.inv(blocks[:, np.arange(m), :, np.arange(m)]), np.float64)
        return np.einsum("mij,jm->mi", own, self._weights[: 3 * m].reshape(3, m)), own - self._doubt

    @cached_property
    @one_thread()
    def inflation(self) -> float:
        """Return the factor on predicted standard deviations that the residuals of left-out plates ask for, near 1.

        The parameters and weights are themselves learned from the same few trials, which the algebra does not count.
        Few trials are therefore fitted again without each fold in turn; ``optimism``, as measured on invented
        processes, stands for the rest.
        """
        return inflation_of(*self.cross_validated, 1 - self.mistaken)

    @cached_property
    @one_thread()
    def cross_validated(self) -> tuple[Floats, Floats]:
        """Return what ``leave_one_out`` does; of few trials that differ, from fits without each fold.

        A recipe's plates are in one fold, the same one whatever else is logged and in whatever order.
        """
        fold = np.array([crc32(repr(trial.recipe).encode()) % FOLDS for trial in self.trials])
        if len(self.trials) > FITTED_AFRESH or len(np.unique(fold)) < FEWEST_FOLDS:
            return self.leave_one_out
        residuals, covariances = np.zeros((len(fold), 3)), np.zeros((len(fold), 3, 3))
        seen = replace(Seen.of(self.curve, self.trials, self.usual), doubt=self._doubt)
        for out in np.unique(fold):
            kept, left = np.flatnonzero(fold != out), np.flatnonzero(fold == out)
            others = self._from_these(seen.rows(kept), tuple(self.trials[row] for row in kept), self.mistaken[kept])
            lab, covariance = others.predict(others.columns([self.trials[row].recipe for row in left]), inflation=1.0)
            residuals[left] = seen.lab[left] - lab
            covariances[left] = covariance + others.hyperparameters.plate_covariance + seen.covariances[left]
        return residuals, covariances

    def _from_these(self, seen: Seen, trials: tuple[LoggedTrial, ...], mistaken: Floats) -> ProcessModel:
        """Return the model of some of the trials; what is learned from all of them is where the search begins."""
        parameters, hyperparameters = seen.afresh([self.parameters], 1)
        parameters = seen.best_parameters(parameters, hyperparameters)
        return holding_to_facts(seen, parameters, hyperparameters, trials, mistaken)

    @cached_property
    @one_thread()
    def drifted(self) -> tuple[DriftPoint, ...]:
        """Return how coats came out on some days of the log, as a share of today's; empty where no drift was found."""
        from scipy.linalg import solve_triangular

        drift = self.curve.drift
        if drift is None:
            return ()
        own = slice(len(self.parameters) - len(drift.knots), None)
        seen = self._points.folded(self._points.jacobian.T)[own] * np.square(self.curve.prior_sd[own])[:, None]
        told = solve_triangular(self._factor[0], seen.T, lower=True, check_finite=False)
        covariance = self.inflation**2 * (np.diag(np.square(self.curve.prior_sd[own])) - told.T @ told)
        each = drift.features(drift.knots[:-1])
        logs = each @ (self.curve.prior_mean[own] + seen @ self._weights)
        half = NORMAL_95 * np.sqrt(np.maximum(np.einsum("nk,kl,nl->n", each, covariance, each), 0.0))
        return tuple(
            DriftPoint(day_of(day), float(np.exp(log)), (float(np.exp(log - off)), float(np.exp(log + off))))
            for day, log, off in zip(drift.knots[:-1], logs, half, strict=True)
        )

    @one_thread()
    def prior_correlation(self, columns: Columns) -> Floats:
        """Return (n, m) prior correlations, summed over L*, a*, b*, of recipes with the model's own trials."""
        lab, jacobian = self.curve.linearised(self.parameters, columns)
        trials = self._points.of_trials()
        features = features_of(columns, lab, self.curve.categories)
        correlation = kernel(features, trials.features, self.hyperparameters.log_weights)
        variance, residual = np.square(self.curve.prior_sd), np.square(self.hyperparameters.residual_sd)
        theirs = trials.jacobian.reshape(3, trials.trials, -1)
        own = np.einsum("nip,p,nip->n", jacobian, variance, jacobian) + residual.sum()
        other = np.einsum("kmp,p,kmp->m", theirs, variance, theirs) + residual.sum()
        both = np.einsum("nkp,p,kmp->nm", jacobian, variance, theirs) + residual.sum() * correlation
        return both / np.sqrt(own[:, None] * other[None])

    def scatter(self, readings: Sequence[Reading]) -> Floats:
        """Return the covariances (n, 3, 3) by which such readings scatter about what is predicted of their plates."""
        return scatter_of(readings, self.usual, [trial.reading for trial in self.trials])

    @cached_property
    @one_thread()
    def plate_scatter(self) -> PlateScatter:
        """Return how plates of one recipe differ, as plates that were left out of a fit show it."""
        residuals, whole = self.cross_validated
        rest = whole - self.hyperparameters.plate_covariance
        slopes = self.slopes_by_hand([trial.recipe for trial in self.trials])
        # what is expected of recipes is widened as it is wherever it is told; readings are as sure as they say
        model = _definite(rest - self.scatter([trial.reading for trial in self.trials]))
        others = rest + (self.inflation**2 - 1) * model
        return fit_plate_scatter(residuals, others, self.hyperparameters.plate_sd, slopes, 1 - self.mistaken)

    @one_thread()
    def slopes_by_hand(self, recipes: Sequence[Recipe]) -> Floats:
        """Return (3, n, 3): how each recipe's colour changes with what a hand never lays twice, as the curve has it."""
        return self.curve.slopes_by_hand(self.parameters, self.columns(recipes))

    def plate_covariances(self, recipes: Sequence[Recipe]) -> Floats:
        """Return (n, 3, 3): how plates of each recipe differ."""
        return self.plate_scatter.covariances(self.slopes_by_hand(recipes))

    def plate_covariance(self, recipe: Recipe) -> Floats:
        """Return (3, 3): how plates of one recipe differ."""
        return np.asarray(self.plate_covariances([recipe])[0])


def _definite(covariances: Floats) -> Floats:
    """Return symmetric matrices (n, 3, 3) without what rounding and shared errors leave below zero."""
    values, vectors = np.linalg.eigh(covariances)
    return np.asarray((vectors * np.maximum(values, 0.0)[:, None, :]) @ np.swapaxes(vectors, 1, 2))


def optimism(plates: float) -> float:
    """Return how many times too small standard deviations learned from so many plates are, as measured."""
    return OPTIMISM + OPTIMISM_OF_FEW * min(1.0, FEW / max(plates, 1.0))


def inflation_of(residuals: Floats, covariances: Floats, sound: Floats) -> float:
    """Return how many times too small predicted standard deviations are, by residuals (m, 3) of plates left out.

    sound: (m,) how much each plate counts.
    """
    square = sound @ np.einsum("mi,mij,mj->m", residuals, np.linalg.inv(covariances), residuals)
    asked = optimism(float(sound.sum())) * float(
        np.sqrt((square + PRIOR_RESIDUALS) / (3 * sound.sum() + PRIOR_RESIDUALS))
    )
    return max(asked, LEAST_CAUTION)


def holding_to_facts(
    seen: Seen,
    parameters: Floats,
    hyperparameters: Hyperparameters,
    trials: tuple[LoggedTrial, ...],
    mistaken: Floats,
) -> ProcessModel:
    """Return the posterior in which facts of the trade hold wherever the trials do not clearly speak against them.

    Where the residual would lighten what the trade says is never lightened, its change there is observed to be none,
    as if by a plate, and the curve's own darkening stays.
    """
    model = posterior(seen, parameters, hyperparameters, trials, mistaken, [])
    if len(trials) > MOST_TO_HOLD:
        return model
    pairs = never_lighter(trial.recipe for trial in trials)
    broken: list[Pair] = []
    for _ in range(FACT_ROUNDS):
        found, overruled = _broken(model, list(pairs))
        false = {pairs[pair] for pair in overruled}
        pairs = {pair: family for pair, family in pairs.items() if family not in false}
        held = [pair for pair in broken if pair in pairs]
        more = [pair for pair in found if pair in pairs and pair not in held]
        if not more and len(held) == len(broken):
            break
        broken = held + more
        model = posterior(seen, parameters, hyperparameters, trials, mistaken, broken)
    return model


def _broken(model: ProcessModel, pairs: Sequence[Pair]) -> tuple[list[Pair], list[Pair]]:
    """Return the pairs to hold of those whose second recipe is predicted lighter, worst first, and those surely false.

    Between the two are pairs that the trials speak against, each for itself.
    """
    if not pairs:
        return [], []
    flat = [recipe for pair in pairs for recipe in pair]
    lightness = model.mean_lab(model.columns(flat))[:, 0].reshape(-1, 2)
    rise = lightness[:, 1] - lightness[:, 0]
    worst = [int(k) for k in np.argsort(-rise, kind="stable")[:FACTS_AT_ONCE] if rise[k] > UNSEEN_RISE]
    if not worst:
        return [], []
    _, covariance = model._together_by_the_algebra(model.columns([recipe for k in worst for recipe in pairs[k]]))
    covariance = inflation_of(*model.leave_one_out, 1 - model.mistaken) ** 2 * covariance
    blocks = covariance.reshape(len(worst), 2, 3, len(worst), 2, 3)
    broken: list[Pair] = []
    overruled: list[Pair] = []
    for place, k in enumerate(worst):
        own = blocks[place, :, 0, place, :, 0]
        sd = np.sqrt(max(own[0, 0] + own[1, 1] - 2 * own[0, 1], 0.0))
        if rise[k] < OVERRULED_AT * sd:
            broken.append(pairs[k])
        elif rise[k] > FALSE_AT * sd:
            overruled.append(pairs[k])
    return broken, overruled


def posterior(
    seen: Seen,
    parameters: Floats,
    hyperparameters: Hyperparameters,
    trials: tuple[LoggedTrial, ...],
    mistaken: Floats,
    facts: Sequence[tuple[Recipe, Recipe]],
) -> ProcessModel:
    from scipy.linalg import cho_factor, cho_solve

    curve = seen.curve
    columns = seen.columns
    if facts:
        ends = [first for first, _ in facts] + [second for _, second in facts]
        columns = columns.followed_by(columns_of(ends, curve.categories))
    mean, jacobian = curve.linearised(parameters, columns)
    n, v = len(seen.lab), len(facts)
    points = _Points(features_of(columns, mean, curve.categories), by_output(jacobian), n, v)
    stacked = points.folded(points.jacobian.T).T
    noise = np.zeros((3 * n + v, 3 * n + v))
    noise[: 3 * n, : 3 * n] = seen.noise() + np.diag(np.repeat(np.square(hyperparameters.plate_sd), n) + 1e-6)
    noise[np.arange(3 * n, 3 * n + v), np.arange(3 * n, 3 * n + v)] = FACT_SD**2
    correlation = kernel(points.features, points.features, hyperparameters.log_weights)
    residuals = np.zeros((3 * len(correlation), 3 * len(correlation)))
    for k in range(3):
        block = slice(k * len(correlation), (k + 1) * len(correlation))
        residuals[block, block] = hyperparameters.residual_sd[k] ** 2 * correlation
    left = points.folded(points.folded(residuals).T) + noise
    factor = cho_factor(left + (stacked * np.square(curve.prior_sd)) @ stacked.T, lower=True, check_finite=False)
    off = np.concatenate([(seen.lab - mean[:n]).T.ravel(), np.zeros(v)])
    solved = cho_solve(cho_factor(left, lower=True, check_finite=False), off, check_finite=False)
    shared = cho_solve(factor, off + stacked @ (parameters - curve.prior_mean), check_finite=False)
    return ProcessModel(
        curve,
        parameters,
        hyperparameters,
        trials,
        mistaken,
        seen.usual,
        seen.together is not None,
        seen.doubt,
        points,
        factor,
        solved,
        shared,
    )
