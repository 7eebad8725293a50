"""A control chart of an edition: over casts and years, what is drift of the process and what is chance.

W. A. Shewhart, Economic Control of Quality of Manufactured Product, 1931; the four tests for runs are those of the
Western Electric Company's Statistical Quality Control Handbook, 1956 (both from memory). CIELAB has three axes, so the
test of one point is made on all three at once, by its squared distance (Hotelling's T-squared with a known covariance).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from itertools import pairwise
from typing import Any, Literal

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.colour.uncertainty import squared_distance, sum_of
from matcher.colour.verdict import Standing, standing
from matcher.commissions.casts import Cast
from matcher.commissions.sign_off import SignOff, approved_reading
from matcher.process.residual import PRIOR_LOG_PLATE_SD
from matcher.reading.comparison import chance_within, delta_e_interval, difference_covariance
from matcher.reading.reading import Reading
from matcher.trials.trial import Trial
from matcher.words import capital, listed, percent

BEYOND = 14.156
"""Of T-squared: chi-squared with 3 degrees of freedom leaves 0.27 % above it, as three standard deviations of one
quantity do (SciPy: ``chi2.ppf(0.9973, 3)``)."""
AXES = ("lightness", "red to green", "yellow to blue")
Rule = Literal["one beyond three", "two of three beyond two", "four of five beyond one", "eight on one side"]
RUNS: tuple[tuple[Rule, int, int, float], ...] = (
    ("two of three beyond two", 2, 3, 2.0),
    ("four of five beyond one", 4, 5, 1.0),
    ("eight on one side", 8, 8, 0.0),
)
"""Each test for runs: how many of how many in a row lie farther than so many standard deviations on one side."""
SURELY = 12
"""Casts: up to as many, chance alone makes a run on fewer than one chart in twenty; of longer charts it is said."""
LEAST_SIGMA = 0.1  # CIELAB: so that limits can be drawn where nothing is known to scatter
SOURCE = (
    "Between the dashed lines a cast can lie by chance: they allow for how plates of one recipe scatter and for how "
    "surely this cast and the approved plate were read, so an unsure reading sets them wider. A ringed cast differs by "
    "more than chance: it lies outside a dashed line, or differs on the three axes taken together. Three standard "
    "deviations of one quantity are passed as rarely (Shewhart, 1931). Tests for runs: Western Electric Company, "
    "Statistical Quality Control Handbook, 1956."
)
"""What stands below a chart, on the page and on paper."""
BLUNT = 2.0
"""Times: where unsure readings set the limits farther apart by more, it is said how they come nearer."""
MORE_SURELY = "by an instrument, with a chart in the same light, or beside known plates"
FAULTY_OF = 4
"""Casts: up to one in so many is taken for a single fault."""
FEWEST_FOR_RUNS = 5
"""Casts: before there are as many, their own mean, about which runs are counted, is not known well enough."""


@dataclass(frozen=True, eq=False)
class Point:
    """One cast on the chart.

    number: of the cast. made_at: when. reading: of the finished cast. delta_e00, interval: from the approved plate,
    95 %. stands: how surely it matches within the tolerance. t_squared: how far it lies from the approved plate for
    what plates and readings scatter. beyond: whether that is more than chance. reach: (3,) CIELAB,
    how far it may lie on each axis by chance: one that lies farther on any of them is always beyond, and one within all
    of them is where the three together are more than chance. widened: how many times as far, on the axis where it is
    most, as it would be if both plates had been read without error.
    """

    number: int
    made_at: datetime
    reading: Reading
    delta_e00: float
    interval: tuple[float, float]
    stands: Standing
    t_squared: float
    beyond: bool
    reach: Floats
    widened: float

    @property
    def label(self) -> str:
        """As it is called."""
        return f"cast {self.number}"


@dataclass(frozen=True)
class Signal:
    """What is more than chance: the test that it fails, the axis of CIELAB (0 to 2; None where all count), on which
    side (1 above, -1 below; 0 where all count), and the points, by their places."""

    rule: Rule
    points: tuple[int, ...]
    axis: int | None = None
    side: int = 0


@dataclass(frozen=True, eq=False)
class ControlChart:
    """The chart of one area. centre: (3,) CIELAB, the casts' own mean, None before there are a few; sigma: (3,) of one
    cast about it, from how plates and readings scatter."""

    approved: Reading
    tolerance: float
    points: tuple[Point, ...]
    signals: tuple[Signal, ...]
    centre: Floats | None
    sigma: Floats

    def limits(self, axis: int) -> list[tuple[float, float]]:
        """Return for each cast between which values of one axis it can lie by chance, as the verdict on it has it."""
        approved = float(self.approved.lab[axis])
        return [(approved - float(point.reach[axis]), approved + float(point.reach[axis])) for point in self.points]

    @property
    def widened(self) -> float:
        """How many times as far apart unsure readings set the limits, of most casts; 1 of none."""
        return float(np.median([point.widened for point in self.points])) if self.points else 1.0

    @property
    def drifts(self) -> bool:
        """Whether a test for runs says that the process has moved."""
        return any(signal.axis is not None for signal in self.signals)

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "approved_lab": self.approved.lab.tolist(),
            "tolerance_delta_e00": self.tolerance,
            "centre": None if self.centre is None else self.centre.tolist(),
            "sigma": self.sigma.tolist(),
            "widened": self.widened,
            "points": [
                {
                    "cast": point.number,
                    "made_at": point.made_at.isoformat(),
                    "lab": point.reading.lab.tolist(),
                    "delta_e00": point.delta_e00,
                    "delta_e00_interval": list(point.interval),
                    "stands": point.stands,
                    "t_squared": point.t_squared,
                    "beyond": point.beyond,
                    "reach": point.reach.tolist(),
                    "widened": point.widened,
                }
                for point in self.points
            ],
            "signals": [
                {"rule": one.rule, "points": list(one.points), "axis": one.axis, "side": one.side}
                for one in self.signals
            ],
            "words": in_words(self),
        }


def control_chart(
    approved: Reading, casts: Sequence[tuple[int, datetime, Reading]], plate_covariance: Floats, tolerance: float
) -> ControlChart:
    """Judge the casts of an edition against the plate that was approved, and against each other.

    Parameters
    ----------
    approved : Reading
        Of the approved plate, sealed where the casts are.
    casts : sequence of (int, datetime, Reading)
        The number of each, when it was made, and its finished reading, in the order in which they were made.
    plate_covariance : ndarray, shape (3, 3)
        How plates of one recipe scatter in CIELAB, readings apart (``ProcessModel.plate_covariance``).
    tolerance : float
        ΔE00 that counts as a match.

    Returns
    -------
    ControlChart
        A point beyond the limits is tested against the approved plate, whose own scatter counts too; runs are tested
        about the casts' own mean, so that an error of the approved plate's reading is not taken for a drift.
    """
    points = []
    for number, made_at, reading in casts:
        apart = difference_covariance(approved, reading) + 2 * plate_covariance
        distance = float(squared_distance(reading.lab - approved.lab, apart))
        interval = delta_e_interval(approved, reading, given=True)
        stands = standing(interval, chance_within(approved, reading, tolerance, given=True), tolerance)
        delta = float(delta_e_2000(approved.lab, reading.lab))
        reach = _reach(apart)
        widened, beyond = float(np.max(reach / _reach(2 * plate_covariance))), distance > BEYOND
        points.append(Point(number, made_at, reading, delta, interval, stands, distance, beyond, reach, widened))
    readings = [reading for _, _, reading in casts]
    sigma = np.sqrt(np.diag(plate_covariance) + _own_variance(readings))
    centre = _own_mean(points)
    signals = [Signal("one beyond three", (at,)) for at, point in enumerate(points) if point.beyond]
    if centre is not None:
        signals += runs((np.array([reading.lab for reading in readings]) - centre) / sigma)
    return ControlChart(approved, tolerance, tuple(points), tuple(signals), centre, sigma)


def _reach(covariance: Floats) -> Floats:
    """Return how far, on each axis (3,), what lies within chance of this covariance (3, 3) reaches."""
    return np.asarray(np.sqrt(BEYOND * np.maximum(np.diag(covariance), LEAST_SIGMA**2)))  # of all T² up to BEYOND


def _own_mean(points: Sequence[Point]) -> Floats | None:
    """Return the mean (3,) of the casts, None of too few.

    Without single faulty ones: a cast that is beyond would pull the mean to its side and make a run of all the others
    (common practice, no source). Where more than one in FAULTY_OF is beyond, it is the process that has moved.
    """
    sound = [point.reading.lab for point in points if not point.beyond]
    few = FAULTY_OF * (len(points) - len(sound)) <= len(points) and len(sound) >= FEWEST_FOR_RUNS
    counted = sound if few else [point.reading.lab for point in points]
    return np.asarray(np.mean(counted, axis=0)) if len(counted) >= FEWEST_FOR_RUNS else None


def widened_by(plate: Reading) -> float:
    """Return how many times as far apart as the scatter of plates would the limits of an edition will lie.

    plate: as it was read, to be signed off. Each cast is taken as read in the same way, in a photograph of its own, so
    that what a camera does in all its photographs cancels; plates as scattering as they usually do.
    """
    usual = np.diag(np.exp(2 * PRIOR_LOG_PLATE_SD))
    apart = plate.covariance - sum_of([term for term in plate.budget if not term.is_of(plate.photo)])
    return float(np.max(_reach(2 * apart + 2 * usual) / _reach(2 * usual)))


def how_finely_judged(plate: Reading) -> str:
    """Say how finely casts can be judged against a plate as it was read, where that is not finely; else ""."""
    times = widened_by(plate)
    if times <= BLUNT:
        return ""
    return (
        "Every cast is judged against this reading of the plate, and casts read in the same way could differ "
        f"{times:.0f} times as far as plates scatter without its showing. Read {MORE_SURELY} before it is signed off, "
        "a plate judges them more finely."
    )


def chart_of_edition(
    sign_off: SignOff, casts: Sequence[Cast], trials: Sequence[Trial], plate_covariance: Floats | None = None
) -> ControlChart:
    """Return the chart of an area's casts against what was signed off.

    casts: of the area. trials: among them the plates of the casts; one set aside does not count. plate_covariance: as
    ``control_chart`` takes it; None where too little is logged to tell, and the usual scatter is taken.
    """
    by_id = {trial.id: trial for trial in trials if trial.set_aside is None}
    made = [(cast.number, by_id[cast.trial_id]) for cast in casts if cast.trial_id in by_id]
    made.sort(key=lambda one: (one[1].made_at, one[0]))
    readings = [(number, trial.made_at, approved_reading(trial)[1]) for number, trial in made]
    usual = np.diag(np.exp(2 * PRIOR_LOG_PLATE_SD))
    scatter = usual if plate_covariance is None else plate_covariance
    return control_chart(sign_off.plate, readings, scatter, sign_off.tolerance)


def _own_variance(readings: Sequence[Reading]) -> Floats:
    """Return the variance (3,) of one reading that it does not share with the one before it."""
    pairs = list(pairwise(readings))
    if not pairs:
        return np.zeros(3)
    return np.asarray(np.mean([np.diag(difference_covariance(*pair)) / 2 for pair in pairs], axis=0))


def runs(standardised: Floats) -> list[Signal]:
    """Return the runs of standardised values (n, 3) that are more than chance; each axis on its own, each run once."""
    found = []
    for axis in range(standardised.shape[1]):
        for rule, many, window, beyond in RUNS:
            for side in (1, -1):
                found += _runs_of(standardised[:, axis] * side, rule, many, window, beyond, axis, side)
    return found


def _runs_of(values: Floats, rule: Rule, many: int, window: int, beyond: float, axis: int, side: int) -> list[Signal]:
    outside = values > beyond
    starts = {at: max(0, at - window) for at in range(many, len(values) + 1)}
    ends = [at for at, start in starts.items() if outside[at - 1] and outside[start:at].sum() >= many]
    signals: list[Signal] = []
    for at in ends:
        there = tuple(int(k) for k in np.flatnonzero(outside[starts[at] : at]) + starts[at])
        if signals and there[0] <= signals[-1].points[-1] + 1:  # one run that goes on
            there = tuple(sorted({*signals.pop().points, *there}))
        signals.append(Signal(rule, there, axis, side))
    return signals


@cache
def chance_of_a_run(count: int, draws: int = 400) -> float:
    """Return the chance (0 to 1) that so many casts show a run where nothing drifts: three axes, three tests."""
    rng = np.random.default_rng(count)
    values = rng.normal(size=(draws, count, 3))
    return float(np.mean([bool(runs(one - one.mean(axis=0))) for one in values]))


def _how_sure(count: int) -> str:
    if count <= SURELY:
        return "that is a drift, not chance"
    return (
        f"likely a drift; chance alone makes such a run on {percent(chance_of_a_run(count))} of charts as long as this"
    )


SIDES = (("lighter", "darker"), ("redder", "greener"), ("yellower", "bluer"))


def in_words(chart: ControlChart) -> str:
    """Say what the chart shows in plain sentences."""
    if not chart.points:
        return "No cast is logged yet."
    said = []
    beyond = [point.label for point in chart.points if point.beyond]
    if beyond:
        differ = "differs" if len(beyond) == 1 else "differ"
        said.append(f"{capital(listed(beyond))} {differ} from the approved plate by more than chance.")
    sides = sorted({(one.axis, one.side) for one in chart.signals if one.axis is not None}, key=str)
    for axis, side in sides:
        those = sorted({k for one in chart.signals if (one.axis, one.side) == (axis, side) for k in one.points})
        first, last = chart.points[those[0]].label, chart.points[those[-1]].label
        where = SIDES[axis or 0][0 if side > 0 else 1]
        said.append(f"From {first} to {last} the casts run {where} than the others: {_how_sure(len(chart.points))}.")
    if not said:
        said.append("The casts differ from the approved plate and from each other by no more than chance.")
    if chart.centre is None:
        few = f"With fewer than {FEWEST_FOR_RUNS} casts only single ones can be judged, and no drift."
        said.append(few)
    if chart.widened > BLUNT:
        said.append(
            f"Unsure readings set the limits {chart.widened:.0f} times as far apart as the scatter of plates would. "
            f"Casts that are read {MORE_SURELY} are judged more finely; what was read of the approved plate is frozen "
            "until its sign-off is withdrawn and the plate, read so, is signed off anew."
        )
    return " ".join(said)
