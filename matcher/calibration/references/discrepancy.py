"""What no cause of a budget bends into: a discrepancy alike for like colours and near places, and the light close by.

A discrepancy beside a model's own causes: Kennedy and O'Hagan 2001, J. R. Stat. Soc. B 63(3).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.colour.local_error import LocalError
from matcher.colour.types import Floats

SURFACES_OWN = np.array([0.08, 0.37, 0.32])
"""CIELAB: what no camera and eye have in common of one surface, whatever is learned. Root mean squares of what the best
matrix leaves over two published sensors and 600 invented patinas, in D50 and D65 and under A, FL2, FL11 and LED-B3; of
it four fifths is gone by between colours 4 apart."""
USUAL = LocalError(np.zeros((0, 3)), np.zeros((0, 3)), np.array([3.0, 1.6, 1.6]), np.full(3, 0.1))
"""The discrepancy of a camera that no chart has shown, in CIELAB at a grey."""
SCALE_SPREAD = 0.6
"""Of the log of how large the discrepancy of one photograph is beside the usual one."""
USUAL_SIZE = float(np.exp(SCALE_SPREAD**2))  # its root mean square before anything is seen
PLACE_SHARE = 0.3  # of the discrepancy's variance: what differs between places too
LIGHT_SPREAD, LIGHT_SPREAD_WITHOUT_CARD = 0.03, 0.06
"""Of log light: what no slope of the light tells of a place; with no card's face to tell of a slope, that too."""
NEAR_BY = 0.25  # of the picture's longer side: places that share both


@dataclass(frozen=True, eq=False)
class Discrepancy:
    """What no cause of the budget bends into: alike for like colours and for near places.

    picture: its longer side in pixels. light_spread: of log light from place to place.
    """

    local: LocalError
    picture: int
    light_spread: float = LIGHT_SPREAD

    def between(self, labs: Floats, places: Floats, others: Floats, there: Floats) -> Floats:
        """Return the covariance (3m, 3n) between what lies at labs (m, 3), places (m, 2) and at others, there."""
        near = self._near(places, there)
        colour = self.local.alike(labs, others) * (1 - PLACE_SHARE + PLACE_SHARE * near)
        whole = np.zeros((len(labs), 3, len(others), 3))
        for channel in range(3):
            whole[:, channel, :, channel] = colour[channel]
        return np.asarray(whole.reshape(3 * len(labs), 3 * len(others)))

    def light_between(self, labs: Floats, places: Floats, others: Floats, there: Floats) -> Floats:
        """Return the same (3m, 3n) of the light, which differs from place to place."""
        near = self.light_spread**2 * self._near(places, there)
        whole = np.einsum("mi,nj,mn->minj", brighter(labs), brighter(others), near)
        return np.asarray(whole.reshape(3 * len(labs), 3 * len(others)))

    def _near(self, places: Floats, there: Floats) -> Floats:
        away = np.square(places[:, None] - there[None]).sum(axis=2)
        return np.asarray(np.exp(-away / (2 * (NEAR_BY * self.picture) ** 2)))

    def own(self, lab: Floats) -> Floats:
        """Return the covariance (3, 3) of what one surface of CIELAB (3,) has of its own of the discrepancy; beside it
        has ``SURFACES_OWN``, which is no larger where the discrepancy is."""
        return self.local.own(lab)


def brighter(labs: Floats) -> Floats:
    """Return how CIELAB (n, 3) moves per unit of log light: with its cube root (ISO/CIE 11664-4)."""
    return np.asarray((labs + [16.0, 0.0, 0.0]) / 3)
