"""What a log teaches: which curve its trials speak for, which of them are mistakes, whether the hand drifts.

Last of the process model: fits one to trials. Each step beyond a plain film, no mistake and no drift is taken only
where the log's evidence (Rasmussen and Williams 2006, section 5.4.1) is clearly for it, so that a clean log is learned
from as it stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.colour.uncertainty import squared_distance
from matcher.errors import SuggestionError
from matcher.one_thread import one_thread
from matcher.process.design import Categories
from matcher.process.film import FilmMean, FlatMean
from matcher.process.fit import ROUGHLY, Curve, Seen, systematic_sample
from matcher.process.hand import days_of, drifts_to_try
from matcher.process.logged import LoggedTrial, is_checked, usual_errors
from matcher.process.mistakes import chances_of_mistake, log_prior
from matcher.process.model import FITTED_AFRESH, ProcessModel, holding_to_facts, inflation_of, posterior
from matcher.process.residual import Hyperparameters
from matcher.process.unknowns import fully_known

MOST_AT_ONCE = 1000
"""Trials that one fit learns from: its time grows with their cube, and more would move its figures little."""
MOST_FOR_HYPERPARAMETERS = 100
"""Trials from which the noise and the weights are learned; beyond it their figures hardly move."""
ROUNDS = 2
FEWEST_TO_DOUBT, CLEARLY = 16, 10.0
"""Trials before which no process is held to be unlike a film, and the log odds that it takes."""
MUCH_LEFT_OVER = 3.0
"""What a film leaves over, in L*, a* or b*, below which it is kept: of few kinds of plates any curve gives account."""
FEWEST_TO_DOUBT_A_PLATE, DOUBT_ROUNDS, CLEARLY_MISTAKEN, CLEARLY_DRIFTS = 8, 3, 3.0, 3.0
"""Trials before which none is held to be a mistake; rounds of the search; log odds for mistakes and for a drift."""
SEARCHED_ANYWAY, FAR_OFF_CHI2 = 120, 25.0
"""Trials up to which mistakes are always looked for; beyond, the squared distance of a plate left out that asks for it:
by chance one plate in 65,000."""
CHI2_MEDIAN = 2.366
"""The median of chi-square with 3 degrees of freedom."""


@one_thread()
def fit_process(
    trials: Sequence[LoggedTrial], start: ProcessModel | None = None, usual: frozenset[str] | None = None
) -> ProcessModel:
    """Fit the process to trials (n ≥ 1).

    ``start`` is an earlier fit that makes this one quicker; few trials are fitted afresh all the same, so that the
    answer does not depend on the order of logging. Of more than ``MOST_AT_ONCE`` as many are learned from, evenly
    taken from first to last; the model's ``trials`` are those. usual: causes of error with which colours are to be
    predicted; None for those that most readings share (``logged.usual_errors``).

    Raises SuggestionError when there is no trial.
    """
    if not trials:
        raise SuggestionError("No plate is logged yet: log a plate first.")
    trials = fully_known([trials[row] for row in systematic_sample(len(trials), MOST_AT_ONCE)])
    categories = Categories.of(trial.recipe for trial in trials)
    few = systematic_sample(len(trials), MOST_FOR_HYPERPARAMETERS)
    usual = usual_errors([trial.reading for trial in trials]) if usual is None else usual
    if start is not None and len(trials) > FITTED_AFRESH and start.curve.categories.same_names(categories):
        seen, parameters = Seen.of(start.curve, trials, usual), start.parameters
        hyperparameters = seen.rows(few).fitted_hyperparameters(parameters, start.hyperparameters, 8)
        learned = _allowing_for_mistakes(_nothing_doubted(seen, parameters, hyperparameters, trials), few)
    else:
        learned = _likeliest(categories, trials, few, usual)
    seen, parameters, hyperparameters, mistaken, _ = learned
    parameters = seen.best_parameters(parameters, hyperparameters)
    return holding_to_facts(seen, parameters, hyperparameters, tuple(trials), mistaken)


class _Learned(NamedTuple):
    """What a curve's trials say. mistaken: (n,) the chance that each plate is a mistake; checked: (n,) plates that
    somebody has checked, so that they are none."""

    seen: Seen
    parameters: Floats
    hyperparameters: Hyperparameters
    mistaken: Floats
    checked: NDArray[np.bool_]

    def log_evidence(self, few: NDArray[np.intp]) -> float:
        """Return how well this predicts a few of the trials, mistakes and all, but for a constant."""
        density = self.seen.rows(few).log_evidence(self.parameters, self.hyperparameters)
        return density + log_prior(int((self.mistaken[few] > 0.5).sum()), len(few))


def _nothing_doubted(
    seen: Seen, parameters: Floats, hyperparameters: Hyperparameters, trials: Sequence[LoggedTrial]
) -> _Learned:
    checked = np.array([is_checked(trial) for trial in trials], dtype=bool)
    return _Learned(seen, parameters, hyperparameters, np.zeros(len(trials)), checked)


def _likeliest(
    categories: Categories, trials: Sequence[LoggedTrial], few: NDArray[np.intp], usual: frozenset[str]
) -> _Learned:
    """Return what the trials say of the curve that predicts them best.

    A film, as the trade knows patinas, unless enough trials say clearly that this process is none.
    """

    def learned(curve: Curve) -> _Learned:
        seen = Seen.of(curve, trials, usual)
        parameters, hyperparameters = seen.rows(few).afresh(curve.starts(), ROUNDS)
        return _nothing_doubted(seen, parameters, hyperparameters, trials)

    film = _allowing_for_drift(_allowing_for_mistakes(learned(FilmMean(categories)), few), trials, few)
    if len(few) >= FEWEST_TO_DOUBT and film.hyperparameters.residual_sd.max() > MUCH_LEFT_OVER:
        flat = learned(FlatMean(categories))
        if flat.log_evidence(few) - film.log_evidence(few) > CLEARLY:
            return _allowing_for_mistakes(flat, few)
    return film


def _allowing_for_drift(still: _Learned, trials: Sequence[LoggedTrial], few: NDArray[np.intp]) -> _Learned:
    """Return what was learned with a slow change over the days, where that predicts the log clearly better."""
    found, gain = None, CLEARLY_DRIFTS
    for drift in drifts_to_try(days_of(trials)):
        seen = Seen.of(FilmMean(still.seen.curve.categories, drift), trials, still.seen.usual)
        seen = replace(seen, doubt=still.seen.doubt)
        moving = still._replace(seen=seen, parameters=np.append(still.parameters, np.zeros(len(drift.knots))))
        more = moving.log_evidence(few) - still.log_evidence(few)
        if more > gain:
            found, gain = moving, more
    if found is None:
        return still
    seen = replace(found.seen, doubt=np.zeros_like(found.seen.doubt))
    parameters = found.seen.rows(few).best_parameters(found.parameters, found.hyperparameters, ROUGHLY)
    hyperparameters = found.seen.rows(few).fitted_hyperparameters(parameters, found.hyperparameters, 30)
    again = _allowing_for_mistakes(_nothing_doubted(seen, parameters, hyperparameters, trials), few)
    return again if again.log_evidence(few) > still.log_evidence(few) else still


def _any_suspect(plain: _Learned) -> bool:
    """Tell whether it is worth searching for mistakes: always in a short log, which mistakes may have bent to fit them.

    In a long one, only where a plate lies far off what the others lead one to expect.
    """
    if len(plain.mistaken) <= SEARCHED_ANYWAY:
        return True
    seen, parameters, hyperparameters, sound, _ = plain
    residuals, covariances = posterior(seen, parameters, hyperparameters, (), sound, []).leave_one_out
    square = squared_distance(residuals, covariances)
    usual = max(1.0, float(np.median(square)) / CHI2_MEDIAN)
    return bool(square.max() > FAR_OFF_CHI2 * usual)


def _allowing_for_mistakes(plain: _Learned, few: NDArray[np.intp]) -> _Learned:
    """Return what was learned with plates counting by how likely they are sound, where that predicts the log better.

    From a fit that doubts at the noise thought of beforehand, since a log with mistakes has made its noise fit them.
    """
    seen, parameters, mistaken = plain.seen, plain.parameters, plain.mistaken
    if len(mistaken) < FEWEST_TO_DOUBT_A_PLATE or not _any_suspect(plain):
        return plain
    doubting, hyperparameters = seen, seen.first_hyperparameters()
    for k in range(DOUBT_ROUNDS):
        parameters = doubting.best_parameters(parameters, hyperparameters, ROUGHLY)
        residuals, covariances = posterior(doubting, parameters, hyperparameters, (), mistaken, []).leave_one_out
        caution = 1.0 if k == 0 else max(1.0, inflation_of(residuals, covariances, 1 - mistaken))
        mistaken = chances_of_mistake(residuals, covariances * caution**2, mistaken, plain.checked)
        if not mistaken.any():
            return plain
        doubting = seen.doubted(mistaken, hyperparameters)
        if k:
            hyperparameters = doubting.rows(few).fitted_hyperparameters(parameters, hyperparameters, 15)
    found = _Learned(doubting, parameters, hyperparameters, mistaken, plain.checked)
    return found if found.log_evidence(few) - plain.log_evidence(few) > CLEARLY_MISTAKEN else plain
