"""A difference of two colours in words: "a little darker and redder than the target"."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.difference import delta_e_2000
from matcher.words import listed

if TYPE_CHECKING:
    pass

WORDS = (("lighter", "darker"), ("redder", "greener"), ("yellower", "bluer"))


def difference_in_words(target_lab: ArrayLike, plate_lab: ArrayLike, than: str = "than the target") -> str:
    """Say how the plate differs from the target: "a little darker and redder than the target".

    Each of L*, a*, b* weighs as much as the ΔE00 that it makes alone, so that the words follow the eye.
    """
    target, plate = np.asarray(target_lab, float), np.asarray(plate_lab, float)
    if delta_e_2000(target, plate) < 0.5:
        return "no difference to the eye"
    alone = np.where(np.eye(3, dtype=bool), plate, target)
    parts = delta_e_2000(alone, target)
    order = [k for k in np.argsort(-parts) if parts[k] >= max(0.4, 0.35 * parts.max())] or [int(parts.argmax())]
    names = [WORDS[k][0 if plate[k] > target[k] else 1] for k in order]
    return f"{how_much(float(parts[order[0]]))}{listed(names)} {than}"


def how_much(part: float) -> str:
    """Say how much a ΔE00 in one direction is to the eye: "a touch ", "a little ", "clearly ", "much "."""
    for limit, words in ((1.0, "a touch "), (2.5, "a little "), (5.0, "clearly ")):
        if part < limit:
            return words
    return "much "
