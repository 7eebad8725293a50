"""The printed symbol of a tag: a QR Code (ISO/IEC 18004) in a thin black frame, as squares that are black or white.

An ordinary phone reads the symbol; the frame is what `search` finds first, and gives the tag's corners. Version and
error correction are the smallest, then the strongest, that hold the text: larger modules are worth more than stronger
correction (`tests/benchmarks/bench_tags.py`).
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.errors import TagError

Squares = NDArray[np.bool_]

FRAME = 1
"""Width of the frame, in modules."""
QUIET = 2
"""White between frame and symbol, in modules. The standard's 4 would make all modules smaller: fewer are found."""
ROUND = FRAME + QUIET
MARGIN = 2
"""White that must be left outside the frame, in modules, so that it stands out from a dark bench."""
VERSIONS = (1, 2, 3)
CAPACITY = {1: (25, 20, 16, 10), 2: (47, 38, 29, 20), 3: (77, 61, 47, 35)}
"""Alphanumeric signs by version, at error correction L, M, Q and H (ISO/IEC 18004, table 7)."""
_LEVELS = (
    cv2.QRCodeEncoder_CORRECT_LEVEL_L,
    cv2.QRCodeEncoder_CORRECT_LEVEL_M,
    cv2.QRCodeEncoder_CORRECT_LEVEL_Q,
    cv2.QRCodeEncoder_CORRECT_LEVEL_H,
)


def modules_across(version: int) -> int:
    """Return how many modules a symbol of a version has on a side."""
    return 17 + 4 * version


def across_tag(version: int) -> int:
    """Return how many squares a whole tag has on a side, with its frame."""
    return modules_across(version) + 2 * ROUND


def version_and_level(length: int) -> tuple[int, int]:
    """Return version and level (0 to 3 for L, M, Q, H) for so many alphanumeric signs. Raises TagError."""
    for version in VERSIONS:
        held = [level for level, most in enumerate(CAPACITY[version]) if length <= most]
        if held:
            return version, held[-1]
    raise TagError(f"Give a shorter address: a tag holds {CAPACITY[VERSIONS[-1]][0]} signs, not {length}.")


def symbol(text: str) -> Squares:
    """Return the QR Code (n, n) of a text of alphanumeric signs, True where it is black, without white round it."""
    version, level = version_and_level(len(text))
    asked = cv2.QRCodeEncoder.Params()
    asked.version, asked.correction_level = version, _LEVELS[level]
    asked.mode = cv2.QRCodeEncoder_MODE_ALPHANUMERIC
    drawn = np.asarray(cv2.QRCodeEncoder.create(asked).encode(text)) < 128
    white = (len(drawn) - modules_across(version)) // 2
    return drawn[white : len(drawn) - white, white : len(drawn) - white]


def tag_squares(text: str) -> Squares:
    """Return a whole tag (n + 6, n + 6), True where it is black: frame, white, symbol."""
    return _framed(symbol(text))


def _framed(inner: Squares) -> Squares:
    return np.pad(np.pad(inner, QUIET), FRAME, constant_values=True)


@cache
def always(version: int) -> tuple[NDArray[np.bool_], Squares]:
    """Return which squares of a tag of a version are the same whatever it says, and what they are, both (n, n).

    Frame, white round the symbol, its three finder patterns with their separators, its timing and alignment patterns.
    """
    across = modules_across(version)
    known = np.zeros((across, across), dtype=bool)
    black = np.zeros((across, across), dtype=bool)
    finder = np.pad(np.pad(np.ones((3, 3), bool), 1), 1, constant_values=True)
    for rows, columns in ((0, 0), (0, across - 7), (across - 7, 0)):
        known[max(rows - 1, 0) : rows + 8, max(columns - 1, 0) : columns + 8] = True
        black[rows : rows + 7, columns : columns + 7] = finder
    known[6, 8 : across - 8] = known[8 : across - 8, 6] = True
    black[6, 8 : across - 8 : 2] = black[8 : across - 8 : 2, 6] = True
    if version > 1:
        known[across - 9 : across - 4, across - 9 : across - 4] = True
        black[across - 9 : across - 4, across - 9 : across - 4] = True
        black[across - 8 : across - 5, across - 8 : across - 5] = False
        black[across - 7, across - 7] = True
    return np.pad(known, ROUND, constant_values=True), _framed(black)
