"""What may be said of a difference in words: from its 95 % interval and the chance of a match, never from the estimate.

Between figures and sentences. Every verdict about a match or a difference, on the page and the command line, is made
here; the words themselves stand where they are said.
"""

from __future__ import annotations

from typing import Literal

Standing = Literal["within", "likely", "untold", "outside"]
Telling = Literal["unseen", "untold", "told"]
Side = Literal["under", "untold", "over"]

SURE = 0.95
LIKELY = 0.5
UNSEEN_DELTA_E00 = 1.0
"""Few people see less than this on a textured metal (common practice, no source)."""


def standing(interval: tuple[float, float], chance: float, tolerance: float) -> Standing:
    """Tell how surely two colours match within a tolerance.

    Parameters
    ----------
    interval : tuple of float
        95 % of ΔE00, lower and upper end.
    chance : float
        That ΔE00 is at most ``tolerance``, 0 to 1.
    tolerance : float
        ΔE00 that counts as a match.

    Returns
    -------
    str
        "within" or "outside" when the whole interval lies on that side; else "likely" when a match is at least as
        likely as none, "untold" when it is not.

    Examples
    --------
    >>> standing((0.4, 1.8), 0.99, 2.0), standing((0.0, 9.0), 0.07, 2.0), standing((2.6, 9.0), 0.01, 2.0)
    ('within', 'untold', 'outside')
    """
    low, high = interval
    if high <= tolerance and chance >= SURE:
        return "within"
    if low > tolerance and chance <= 1 - SURE:
        return "outside"
    return "likely" if low <= tolerance and chance >= LIKELY else "untold"


def telling(interval: tuple[float, float]) -> Telling:
    """Tell whether a difference is surely too small to be seen, surely there, or neither.

    Examples
    --------
    >>> telling((0.0, 0.8)), telling((0.0, 5.0)), telling((0.7, 5.0))
    ('unseen', 'untold', 'told')
    """
    low, _ = interval
    if side_of(interval, UNSEEN_DELTA_E00) == "under":
        return "unseen"
    return "told" if low > 0 else "untold"


def side_of(interval: tuple[float, float], limit: float) -> Side:
    """Tell on which side of a limit a figure surely lies; "untold" where its 95 % interval holds the limit.

    Examples
    --------
    >>> side_of((0.0, 0.8), 1.0), side_of((0.4, 2.1), 1.0), side_of((1.2, 2.1), 1.0)
    ('under', 'untold', 'over')
    """
    low, high = interval
    if high <= limit:
        return "under"
    return "over" if low > limit else "untold"
