"""Several readings of one plate say how well a set-up repeats, and the smallest difference that it can tell.

After the readings, before any judgement of a difference. The scatter is taken as it is found (type A of JCGM 100);
what all the readings have in common, an off card or a wrong profile, does not show in it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.metric import delta_e_metric
from matcher.colour.types import Floats
from matcher.colour.uncertainty import square_root
from matcher.errors import Caveat, ReadingError
from matcher.reading.reading import Reading
from matcher.words import counted

FEWEST_READINGS = 3
WORTHWHILE = 1.1
"""More readings are worth taking until the smallest difference is within a tenth of what any number would give."""
MOST_MORE = 50
UNLIKE = 5.0
MOST_EACH = 6  # photographs of one plate: nobody takes more of each
AXES = ("lightness", "red to green", "yellow to blue")


@dataclass(frozen=True, eq=False)
class Repeatability:
    """How well a set-up repeats on one plate.

    count: readings. lab: (3,) their mean. standard_deviation (3,) and covariance (3, 3): of single readings, with
    n − 1. mean_delta_e00: mean ΔE00 of the readings from their mean. mean_delta_e00_interval: 95 %, of the mean
    ΔE00 of single readings from the true mean. smallest_delta_e00: two single readings of one plate differ by
    less in 95 % of cases, so a larger difference is told. worst_direction: (3,) CIELAB, of ΔE00 1, along which the
    scatter is largest; worst_axis: the same in words; worst_delta_e00, best_delta_e00: the smallest difference
    told along the worst and the best direction alone. more_readings: how many more are worth taking;
    smallest_with_more: smallest_delta_e00 if they scatter as these do.
    """

    count: int
    lab: Floats
    standard_deviation: Floats
    covariance: Floats
    mean_delta_e00: float
    mean_delta_e00_interval: tuple[float, float]
    smallest_delta_e00: float
    worst_direction: Floats
    worst_axis: str
    worst_delta_e00: float
    best_delta_e00: float
    more_readings: int
    smallest_with_more: float
    caveats: tuple[Caveat, ...] = ()

    def smallest_between_means(self, readings_each: int) -> float:
        """Return the smallest ΔE00 told between two plates when each is the mean of so many readings."""
        return self.smallest_delta_e00 / float(np.sqrt(max(1, readings_each)))

    def readings_for(self, tolerance: float) -> int:
        """Return how many readings a plate takes so that the means of two plates tell a ΔE00 of ``tolerance``."""
        if not tolerance > 0:
            raise ReadingError(f"Give the tolerance as a ΔE00 above 0: {tolerance:g} is not that.")
        return max(1, math.ceil(round((self.smallest_delta_e00 / tolerance) ** 2, 6)))

    def for_tolerance(self, tolerance: float) -> str:
        """Say in plain words what this set-up can do for a tolerance in ΔE00. Raises ReadingError for one below 0."""
        each = self.readings_for(tolerance)
        if each == 1:
            return f"For a tolerance of ΔE00 {tolerance:g} one photograph a plate is enough."
        if each <= MOST_EACH:
            return (
                f"For a tolerance of ΔE00 {tolerance:g} one photograph is not enough: set up again, it can move by "
                f"{self.smallest_delta_e00:.1f} by itself. Take {each} of each plate and compare their means."
            )
        return (
            f"A tolerance of ΔE00 {tolerance:g} is beyond this set-up. Hold camera, lamp and card in fixed places, or "
            "put both plates into one photograph."
        )

    @property
    def words(self) -> str:
        """The result in plain sentences."""
        low, high = self.mean_delta_e00_interval
        said = (
            f"{counted(self.count, 'reading')} lie ΔE00 {self.mean_delta_e00:.1f} from their mean ({low:.1f} to "
            f"{high:.1f}). Two single readings tell a difference over ΔE00 {self.smallest_delta_e00:.1f}, "
            f"worst in {self.worst_axis} ({self.worst_delta_e00:.1f})."
        )
        if self.more_readings == 0:
            return f"{said} More readings would hardly change that; the mean of four a plate halves it."
        some = "One more reading" if self.more_readings == 1 else counted(self.more_readings, "more reading")
        return f"{said} {some} would bring that to about {self.smallest_with_more:.1f}."

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        plain = {
            name: value.tolist() if isinstance(value, np.ndarray) else value
            for name, value in vars(self).items()
            if name != "caveats"
        }
        return {
            **plain,
            "mean_delta_e00_interval": list(self.mean_delta_e00_interval),
            "words": self.words,
            "warnings": [caveat.as_dict() for caveat in self.caveats],
        }


def repeatability(readings: Sequence[Reading]) -> Repeatability:
    """Judge the scatter of readings of one plate, each from a photograph (or placement) of its own.

    At least three. Close to their mean ΔE00² is a quadratic form, so its sum over the readings goes as a chi-square
    with the effective degrees of freedom of Welch and Satterthwaite (JCGM 100, G.4.1); the smallest difference is
    the repeatability limit of ISO 5725-6, widened for the few readings that it rests on. Raises ReadingError for
    fewer than three, or a photograph given twice.
    """
    _refuse_unfit(readings)
    labs = np.array([reading.lab for reading in readings])
    count, mean = len(labs), labs.mean(axis=0)
    covariance = np.cov(labs.T)
    root = square_root(delta_e_metric(mean))
    spread, directions = np.linalg.eigh(root.T @ covariance @ root)
    spread = np.maximum(spread, 0.0)
    total, dimensions = float(spread.sum()), _effective_dimensions(spread, count - 1)
    worst = np.linalg.solve(root.T, directions[:, -1])
    more = _more_readings(dimensions, count)
    return Repeatability(
        count=count,
        lab=mean,
        standard_deviation=np.sqrt(np.diag(covariance)),
        covariance=covariance,
        mean_delta_e00=float(delta_e_2000(labs, mean).mean()),
        mean_delta_e00_interval=_mean_interval(spread, dimensions, count - 1),
        smallest_delta_e00=_smallest(total, dimensions, count),
        worst_direction=worst,
        worst_axis=_axis_words(worst, mean),
        worst_delta_e00=_smallest(float(spread[-1]), 1.0, count),
        best_delta_e00=_smallest(float(spread[0]), 1.0, count),
        more_readings=more,
        smallest_with_more=_smallest(total, dimensions, count + more),
        caveats=_caveats(labs, mean),
    )


def to_mind_of_each(readings: Sequence[Reading]) -> list[tuple[int, Caveat]]:
    """Return what is to be minded of single readings: their places, from 0, each with a caveat.

    What is said of all alike, of their camera say, belongs to the set-up and is left out; glare and whatever else is
    amiss in a marked region is of that photograph alone, even when it is in all.
    """
    everywhere = set.intersection(*({caveat.code for caveat in reading.caveats} for reading in readings))
    return [
        (place, caveat)
        for place, reading in enumerate(readings)
        for caveat in reading.caveats
        if caveat.code not in everywhere or caveat.code.startswith("region-")
    ]


def _refuse_unfit(readings: Sequence[Reading]) -> None:
    if len(readings) < FEWEST_READINGS:
        raise ReadingError(
            f"Take at least {FEWEST_READINGS} photographs of the plate, each set up from scratch: {len(readings)} "
            f"cannot "
            "show how they scatter."
        )
    photos = [reading.photo for reading in readings if reading.photo is not None]
    if len(set(photos)) < len(photos):
        raise ReadingError("Take each photograph afresh: the same one is given twice, and it repeats itself perfectly.")


def _effective_dimensions(spread: Floats, degrees: int) -> float:
    """Return in how many directions, 1 to 3, the readings scatter evenly: (Σλ)² / Σλ² of the true covariance.

    Both sums are estimated without bias from a sample covariance's own (moments of the Wishart distribution).
    """
    first, second = float(spread.sum()), float(np.square(spread).sum())
    if first**2 / 9 <= 0:  # none, or so little that its square is nothing
        return 1.0
    squares = (second - first**2 / degrees) * degrees**2 / ((degrees + 2) * (degrees - 1))
    squares = max(squares, first**2 / 9)
    return float(np.clip((first**2 - 2 * squares / degrees) / squares, 1.0, 3.0))


def _mean_interval(spread: Floats, dimensions: float, degrees: int) -> tuple[float, float]:
    """Return the 95 % interval of the mean ΔE00 of single readings from the true mean."""
    from scipy.stats import chi2

    total = float(spread.sum())
    if total <= 0:
        return 0.0, 0.0
    free = dimensions * degrees
    # a mean distance is a fixed share of the root mean square one: 0.80 when all along one line, 0.92 when round
    share = np.interp(dimensions, [1.0, 2.0, 3.0], [np.sqrt(2 / np.pi), np.sqrt(np.pi) / 2, np.sqrt(8 / (3 * np.pi))])
    low, high = (float(share * np.sqrt(free * total / chi2.ppf(p, free))) for p in (0.975, 0.025))
    return low, high


def _smallest(total: float, dimensions: float, count: int) -> float:
    """Return the ΔE00 that two readings of one plate exceed in 5 % of cases, known from so many readings."""
    from scipy.stats import f

    return float(np.sqrt(2 * total * f.ppf(0.95, dimensions, dimensions * (count - 1))))


def _more_readings(dimensions: float, count: int) -> int:
    from scipy.stats import chi2

    least = float(np.sqrt(2 * chi2.ppf(0.95, dimensions) / dimensions))
    return next(
        (more for more in range(MOST_MORE) if _smallest(1.0, dimensions, count + more) <= WORTHWHILE * least), MOST_MORE
    )


def _axis_words(direction: Floats, lab: Floats) -> str:
    """Name the one or two axes that a direction mostly runs along, by the ΔE00 that each makes alone."""
    parts = np.abs(direction) * np.sqrt(np.diag(delta_e_metric(lab)))
    order = np.argsort(-parts)
    names = [AXES[k] for k in order if parts[k] >= 0.6 * parts.max()]
    return " and ".join(names[:2])


def _caveats(labs: Floats, mean: Floats) -> tuple[Caveat, ...]:
    caveats = []
    if np.ptp(labs, axis=0).max() == 0:
        words = "All readings are the same to the last digit: take them again, or enter them with more digits."
        caveats.append(Caveat("readings-identical", words))
    furthest = float(delta_e_2000(labs, mean).max())
    if furthest > UNLIKE:
        words = f"One reading is ΔE00 {furthest:.1f} from the mean: check that all are of one plate, in one light."
        caveats.append(Caveat("readings-unlike", words))
    return tuple(caveats)
