"""Several plates to make in one session, and the first plates of a studio that has none. Beside the planner.

In a session the plates are chosen together: each adds what the ones before it are not likely to give. For a new studio
the plates cover what it owns: each is the one that the model, knowing those before, would learn most from.
"""

from __future__ import annotations

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.colour.uncertainty import square_root
from matcher.plan.next_plate import expected_gain
from matcher.plan.outlook import Outlook
from matcher.process.model import ProcessModel

MOST_IN_SESSION = 24
JOINTLY_DRAWN = 150
JOINT_DRAWS = 256
LOOKED_AT = 1500


def session_rows(
    model: ProcessModel,
    outlook: Outlook,
    target_lab: Floats,
    best: float,
    tolerance: float,
    count: int,
    rng: np.random.Generator,
) -> list[int]:
    """Return ``count`` rows of the outlook, the first the best alone, each next the one that adds most to those.

    Joint draws of all recipes' colours say how often a further plate would be the best of the session.
    """
    alone = expected_gain(outlook.draws, best, tolerance)
    some = np.argsort(-alone, kind="stable")[: max(JOINTLY_DRAWN, count)]
    labs, covariance = model.predict_together(model.columns([outlook.recipes[row] for row in some]))
    root = square_root(covariance)
    drawn = labs.ravel() + rng.standard_normal((JOINT_DRAWS, len(root))) @ root.T
    delta = delta_e_2000(target_lab, drawn.reshape(JOINT_DRAWS, -1, 3)).T
    chosen: list[int] = []
    reached = np.full(JOINT_DRAWS, np.inf)
    while len(chosen) < min(count, len(some)):
        together = expected_gain(np.minimum(delta, reached[None]), best, tolerance)
        together[chosen] = -np.inf
        pick = int(np.argmax(together))
        chosen.append(pick)
        reached = np.minimum(reached, delta[pick])
    return [int(some[pick]) for pick in chosen]
