"""A difference of two colours in words: "a little darker and redder than the target"."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.difference import delta_e_2000
from matcher.colour.verdict import UNSEEN_DELTA_E00, telling
from matcher.words import listed

WORDS = (("lighter", "darker"), ("redder", "greener"), ("yellower", "bluer"))


UNSEEN = "no difference to the eye"


def difference_in_words(
    target_lab: ArrayLike,
    plate_lab: ArrayLike,
    than: str = "than the target",
    interval: tuple[float, float] | None = None,
) -> str:
    """Say how the plate differs from the target: "a little darker and redder than the target".

    Each of L*, a*, b* weighs as much as the ΔE00 that it makes alone, so that the words follow the eye. interval: 95 %
    of ΔE00; what it leaves open is not said as sure. None where no error stands between the two colours, as within one
    reading.
    """
    target, plate = np.asarray(target_lab, float), np.asarray(plate_lab, float)
    apart = float(delta_e_2000(target, plate))
    told = telling((apart, apart) if interval is None else interval)
    if (apart < 0.5) if interval is None else told == "unseen":
        return UNSEEN
    if apart < 0.5 and told == "untold":
        return "no difference that can be told"
    alone = np.where(np.eye(3, dtype=bool), plate, target)
    parts = delta_e_2000(alone, target)
    order = [k for k in np.argsort(-parts) if parts[k] >= max(0.4, 0.35 * parts.max())] or [int(parts.argmax())]
    names = [WORDS[k][0 if plate[k] > target[k] else 1] for k in order]
    much = how_much(float(parts[order[0]]))
    if interval is None:
        return f"{much}{listed(names)} {than}"
    # how much is said only where the eye surely sees it, or of so little that it may not
    sure = interval[0] >= UNSEEN_DELTA_E00 or much in SLIGHT
    if told == "untold":
        return f"perhaps {listed(names)} {than}"
    return f"{much if sure else ''}{listed(names)} {than}"


SLIGHT = ("a touch ", "a little ")


def how_much(part: float) -> str:
    """Say how much a ΔE00 in one direction is to the eye: "a touch ", "a little ", "clearly ", "much "."""
    for limit, words in ((1.0, "a touch "), (2.5, "a little "), (5.0, "clearly ")):
        if part < limit:
            return words
    return "much "
