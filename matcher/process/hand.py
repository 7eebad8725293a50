"""What a studio's hand adds to its recipes: a slow change over the days, and a scatter from plate to plate.

Part of the process model. The logarithm of a coat's dose departs from today's by a Gaussian process in time, laid out
as a few functions of the day whose weights are parameters of the curve: sources of it are a bottle that ages, another
torch, another hand. Nothing is held to drift unless the log says so.

Plates of one recipe differ in part alike, whatever the recipe, and in part as far as the recipe lets what no hand lays
twice show: a coat a little heavier moves a thin film much and a full one hardly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import numpy as np

from matcher.colour.types import Floats
from matcher.process.logged import LoggedTrial

KNOTS = 7
SIZES = (0.1, 0.25)
"""Standard deviations of the logarithm of dose that are tried: a tenth, a quarter."""
LENGTHS_DAYS = (15.0, 60.0, 240.0)
"""Over how many days it changes."""
FEWEST_DAYS = 5
"""Days on which plates were made before a drift is looked for."""
SECONDS_A_DAY = 86400.0
USUAL_SCATTER = np.array([1.0, 0.08, 0.08, 0.02])
"""Thought of beforehand: the share of the scatter as the fit has it that all plates have alike; the standard deviations
of the logarithm of a coat's dose and of the undercoat's strength; and of burnish. Common practice, no source."""
SD_OF_LOG_SCATTER = np.array([0.5, 1.0, 1.0, 1.0])
FARTHEST_SDS = 4.0
FEWEST_THAT_SCATTER = 8
"""Plates before which all recipes are held to scatter alike, as the fit has it: one plate amiss would pass for more."""


@dataclass(frozen=True, eq=False)
class Drift:
    """A change over time, by its size and length, about plates made on ``knots`` (k,) days; today is the last."""

    size: float
    length_days: float
    knots: Floats

    def features(self, days: Floats) -> Floats:
        """Return (n, k) functions of the day (n,), all 0 today, of standard normal weights."""
        root = np.linalg.cholesky(self._kernel(self.knots, self.knots) + 1e-6 * np.eye(len(self.knots)))
        ends = np.append(np.clip(days, self.knots[0], self.knots[-1]), self.knots[-1])
        each = np.linalg.solve(root, self._kernel(self.knots, ends)).T
        return np.asarray(self.size * (each[:-1] - each[-1]))

    def _kernel(self, first: Floats, second: Floats) -> Floats:
        return np.asarray(np.exp(-0.5 * np.square((first[:, None] - second[None]) / self.length_days)))


@dataclass(frozen=True)
class DriftPoint:
    """How much a coat laid down on a day, as a share of what it lays down today; interval: 95 %."""

    day: date
    share: float
    interval: tuple[float, float]

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {"day": self.day.isoformat(), "share": self.share, "interval": list(self.interval)}


def day_of(number: float) -> date:
    """Return the day of a number as ``days_of`` gives it."""
    return datetime.fromtimestamp(number * SECONDS_A_DAY, UTC).date()


def days_of(trials: Sequence[LoggedTrial]) -> Floats:
    """Return (n,) the day that each trial was made, as a number; a trial that does not say counts as made last."""
    made = [getattr(trial, "made_at", None) for trial in trials]
    days = np.array([one.timestamp() / SECONDS_A_DAY if isinstance(one, datetime) else np.nan for one in made])
    latest = np.nanmax(days) if np.isfinite(days).any() else 0.0
    return np.where(np.isfinite(days), days, latest)


def many_days(days: Floats) -> int:
    """Return on how many days the plates were made; days: (n,) as ``days_of`` gives them."""
    return len(np.unique(np.floor(days)))


def drifts_to_try(days: Floats) -> list[Drift]:
    """Return the drifts that a log of plates made on these days (n,) could show; none when it spans too few."""
    if many_days(days) < FEWEST_DAYS:
        return []
    span = float(days.max() - days.min())
    knots = np.linspace(days.min(), days.max(), KNOTS)
    return [Drift(size, length, knots) for length in LENGTHS_DAYS if length <= 2 * span for size in SIZES]


@dataclass(frozen=True, eq=False)
class PlateScatter:
    """How plates of one recipe differ. alike: (3,) standard deviations in L*, a*, b* that plates of all recipes have.

    by_hand: (3,) standard deviations of the logarithm of dose, of that of the undercoat's strength, and of burnish.
    """

    alike: Floats
    by_hand: Floats

    def covariances(self, slopes: Floats) -> Floats:
        """Return (n, 3, 3) for n recipes; slopes: (3, n, 3) as the curve's ``slopes_by_hand`` gives them."""
        return np.diag(np.square(self.alike)) + self.of_hand(slopes)

    def of_hand(self, slopes: Floats) -> Floats:
        """Return (n, 3, 3), the part by hand. Of a piece to which more is done, slopes (3, n, 3) are how those change:
        all else about it stays.
        """
        moved = self.by_hand[:, None, None] * slopes
        return np.asarray(np.einsum("kni,knj->nij", moved, moved))


def fit_plate_scatter(residuals: Floats, others: Floats, alike: Floats, slopes: Floats, sound: Floats) -> PlateScatter:
    """Learn how plates differ from the residuals (n, 3) of plates that were left out, by their likelihood and a prior.

    others: (n, 3, 3) the residuals' covariances but for the scatter. alike: (3,) standard deviations as the fit has
    them for all recipes. slopes: (3, n, 3) as the curve's ``slopes_by_hand`` gives them. sound: (n,) how much each
    counts.
    """
    from scipy.optimize import minimize

    if len(residuals) < FEWEST_THAT_SCATTER:
        return PlateScatter(alike, np.zeros(3))
    centre = np.log(USUAL_SCATTER)
    parts = np.concatenate([np.broadcast_to(np.diag(np.square(alike)), (1, *others.shape)), _outer(slopes)])

    def cost(logs: Floats) -> tuple[float, Floats]:
        """Minus the log posterior of the log sizes, and its gradient (Rasmussen and Williams 2006, equation 5.9)."""
        variances, off = np.exp(2 * logs), (logs - centre) / SD_OF_LOG_SCATTER
        whole = others + np.einsum("k,knij->nij", variances, parts)
        precision = np.linalg.inv(whole)
        solved = np.einsum("nij,nj->ni", precision, residuals)
        density = -0.5 * (np.sum(residuals * solved, axis=1) + np.linalg.slogdet(whole)[1])
        bend = 0.5 * (solved[:, :, None] * solved[:, None, :] - precision)
        slope = off / SD_OF_LOG_SCATTER - 2 * variances * np.einsum("n,nij,knij->k", sound, bend, parts)
        return float(0.5 * off @ off - sound @ density), slope

    within = np.column_stack([centre - FARTHEST_SDS * SD_OF_LOG_SCATTER, centre + FARTHEST_SDS * SD_OF_LOG_SCATTER])
    sizes = np.exp(minimize(cost, centre, jac=True, method="L-BFGS-B", bounds=within).x)
    return PlateScatter(sizes[0] * alike, sizes[1:])


def _outer(slopes: Floats) -> Floats:
    """Return (3, n, 3, 3) the squares of slopes (3, n, 3)."""
    return np.asarray(slopes[..., :, None] * slopes[..., None, :])
