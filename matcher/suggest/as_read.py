"""Expected colours as the readings that would show them, with the error that the studio's plates share."""

from __future__ import annotations

from collections import Counter
from functools import cached_property

from matcher.colour.types import Floats
from matcher.plan.prediction import with_errors
from matcher.reading.reading import Reading
from matcher.suggest.plates import Plates

COMMON_AMONG = 200
"""Latest plates among which a shared cause of error is looked for."""


class AsRead:
    """Turns expected colours into the readings that would show them, with the error that these plates share."""

    def __init__(self, plates: Plates) -> None:
        self._plates = plates

    def __call__(self, lab: Floats, covariance: Floats) -> Reading:
        """Return the reading of an expected colour (3,) whose own covariance is (3, 3)."""
        nearest = self._plates.trials[int(self._plates.nearest(lab, 1)[0][0])].reading
        return with_errors(lab, covariance, [term for term in nearest.budget if term.shared in self._often])

    @cached_property
    def _often(self) -> set[str]:
        latest = self._plates.trials[-COMMON_AMONG:]
        named = Counter(term.shared for trial in latest for term in trial.reading.budget)
        return {name for name, times in named.items() if name is not None and times > 1}
