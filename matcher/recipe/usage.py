"""How much solution a pass takes, learned from what was used; before anything is noted, a usual figure to start from.

Beside `quantities`, whose `solution_for_area` turns the answer into millilitres for an area.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from matcher.recipe.names import canonical
from matcher.words import counted

USUAL_ML_PER_M2 = {"fine mist": 60.0, "brush": 100.0, "stipple": 80.0}
"""Millilitres that one pass takes on a square metre, by how it is laid on: wet films of some 0.06 to 0.1 mm (from
memory; common practice, no source). Only to start from."""
OTHERWISE_ML_PER_M2 = 80.0
USUAL_FACTOR = 3.0
"""By how much a usual figure may be wrong either way, at 95 %."""

_USUAL_SPREAD = 0.35
"""Between one use and the next, as a standard deviation of the logarithm: what is taken before many are noted (from
memory: a hand is even to a half more or less)."""
_USUAL_WEIGHT = 6
"""How many noted uses that spread counts as."""
_WIDEST = 3.0
"""A use farther from the middle than so many deviations is taken to be misnoted, as robust statistics do (Huber)."""
_MEDIAN = math.pi / 2
"""The variance of a median, in that of a mean, of many normal values."""
_TOO_FEW = 3
"""Fewer uses of one way of laying on than this tell less than all ways together."""


@dataclass(frozen=True)
class Used:
    """What one use says of a pass: millilitres on so many cm² in so many passes."""

    millilitres: float
    area_cm2: float
    passes: int
    application: str = ""

    @property
    def ml_per_m2_per_pass(self) -> float:
        return self.millilitres / (self.area_cm2 / 1e4) / self.passes


@dataclass(frozen=True)
class PassRate:
    """What a pass takes, in ml on a square metre.

    Attributes
    ----------
    ml_per_m2 : float
        The usual amount.
    interval : tuple of float
        Within which the next use lies, at 95 %.
    uses : int
        From how many noted uses; 0 is a usual figure, from memory.
    application : str
        How it is laid on, as it was asked for.
    of_this_way : bool
        Whether they were laid on so; else all ways were taken together.
    misnoted : int
        How many were passed over as misnoted.
    """

    ml_per_m2: float
    interval: tuple[float, float]
    uses: int
    application: str
    of_this_way: bool
    misnoted: int = 0

    @property
    def sentence(self) -> str:
        """Say what a pass takes, and from what that is known."""
        low, high = (_figure(value) for value in self.interval)
        what = f"A pass as {self.application} takes" if self.application else "A pass takes"
        said = f"{what} about {_figure(self.ml_per_m2)} ml on a square metre ({low} to {high} next time, 95 %)"
        if not self.uses:
            return f"Nothing noted yet. {said}: a usual figure from memory, until what is used is noted."
        other = "" if self.of_this_way else ", laid on in other ways too"
        left = f"; {counted(self.misnoted, 'use')} far from the others not counted" if self.misnoted else ""
        return f"{said}, from {counted(self.uses, 'noted use')}{other}{left}."

    def as_dict(self) -> dict[str, object]:
        return {
            "ml_per_m2_per_pass": self.ml_per_m2,
            "interval": list(self.interval),
            "uses": self.uses,
            "application": self.application,
            "of_this_way": self.of_this_way,
            "misnoted": self.misnoted,
            "sentence": self.sentence,
        }


def pass_rate(uses: Sequence[Used], application: str = "") -> PassRate:
    """Return what a pass takes, from what was used.

    The middle is the median of the logarithms; the spread is that of the uses within three of their median absolute
    deviations, pooled with a usual one that counts as six uses; the interval is Student's, of the next use.

    Parameters
    ----------
    uses : sequence of Used
        Of all ways of laying on.
    application : str
        The way that is asked for. Its own uses are taken when there are three or more, else those of all ways; with
        none at all, a usual figure.

    Examples
    --------
    >>> pass_rate([]).uses
    0
    >>> round(pass_rate([Used(6.0, 100.0, 10)] * 5).ml_per_m2, 1)
    60.0
    """
    from scipy.special import stdtrit

    own = [use for use in uses if canonical(use.application) == canonical(application)]
    of_this_way = len(own) >= _TOO_FEW or (bool(own) and len(own) == len(uses))
    logs = [math.log(use.ml_per_m2_per_pass) for use in (own if of_this_way else uses)]
    if not logs:
        usual = USUAL_ML_PER_M2.get(canonical(application), OTHERWISE_ML_PER_M2)
        return PassRate(usual, (usual / USUAL_FACTOR, usual * USUAL_FACTOR), 0, application, True)
    middle = median(logs)
    counts = _near(logs, middle)
    middle = median(counts)
    spread = sum((value - middle) ** 2 for value in counts)
    freedom = _USUAL_WEIGHT + len(counts) - 1
    deviation = math.sqrt((_USUAL_WEIGHT * _USUAL_SPREAD**2 + spread) / freedom)
    known = _MEDIAN if len(counts) > 2 else 1.0  # of two values and of one, the median is the mean
    half = float(stdtrit(freedom, 0.975)) * deviation * math.sqrt(1.0 + known / len(counts))
    interval = math.exp(middle - half), math.exp(middle + half)
    return PassRate(math.exp(middle), interval, len(counts), application, of_this_way, len(logs) - len(counts))


def _near(logs: list[float], middle: float) -> list[float]:
    """Return the values that are not far beyond the others; of few, all."""
    deviation = 1.4826 * median(abs(value - middle) for value in logs)
    pooled = math.sqrt((_USUAL_WEIGHT * _USUAL_SPREAD**2 + len(logs) * deviation**2) / (_USUAL_WEIGHT + len(logs)))
    if len(logs) < _TOO_FEW:
        return logs
    return [value for value in logs if abs(value - middle) <= _WIDEST * pooled]


def _figure(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"
