"""What a tag says, once its place is known: the light of each of its squares, which of them are black, the text.

The squares are drawn anew, crisp, for OpenCV to decode; its Reed-Solomon code corrects what was told wrongly. Then
the text must be a tag's to the letter and its check digits must fit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.tags.code import TagCode, code_carried
from matcher.tags.frame import tag_to_picture
from matcher.tags.mark import ROUND, VERSIONS, Squares, across_tag, always

ALIKE = 0.78
"""Of the squares that are the same on every tag, what share must be so for it to be worth decoding."""
FEWEST, MOST = 0.25, 0.65
"""Shares of a tag's squares, its frame among them, that are black; by rights some 0.43."""
SAMPLES = np.array([0.25, 0.5, 0.25])
"""How much each of the samples across a square counts."""
NARROW, WIDE = 5, 9
"""Squares across which there is some white: in a sharp picture, and in a blurred one."""
NEAR = 7
"""Squares across which there is some black."""
TAPS = 5
"""Squares across which blur brings light over."""
RIDGE = 0.03
"""Holds the equaliser's weights small; in squared shares of white."""
DRAWN = 4
"""Pixels across a square that is drawn for decoding."""
QUIET = 4
"""White squares round what is drawn for decoding (ISO/IEC 18004)."""


@dataclass(frozen=True)
class Read:
    """What a tag says, its symbol's version, and by how many quarters it was turned (corners to roll back).

    mirrored: it stands the wrong way round, its rows where its columns belong.
    """

    code: TagCode
    version: int
    turns: int
    mirrored: bool = False


def read_squares(grey: NDArray[np.float32], middle: Floats) -> Read | None:
    """Read the tag whose frame's middle lines cross at ``middle`` (4, 2) in a picture (h, w) of linear light."""
    best, likeness = None, ALIKE
    for version in VERSIONS:
        squares = _light_of_squares(grey, middle, version)
        black = _blacker(_evenly_lit(squares, NARROW))
        if not FEWEST < black.mean() < MOST:
            return None  # an empty frame, or a full one
        known, is_black = always(version)
        for turns in range(4):
            alike = float((np.rot90(black, turns)[known] == is_black[known]).mean())
            if alike > likeness:
                best, likeness = (version, turns, squares), alike
    if best is None:
        return None
    version, turns, squares = best
    for black in _ways_to_tell(np.rot90(squares, turns), version):
        symbol = black[ROUND:-ROUND, ROUND:-ROUND]
        # OpenCV would decode a mirrored one all the same
        mirrored = _format_errors(symbol) >= _format_errors(symbol.T)
        code = code_carried(_decoded(symbol.T if mirrored else symbol))
        if code is not None:
            return Read(code, version, turns, mirrored)
    return None


def _light_of_squares(grey: NDArray[np.float32], middle: Floats, version: int) -> Floats:
    """Return the light (n, n) of the squares that a tag of this version would have."""
    across, samples = across_tag(version), SAMPLES.size
    size = across * samples
    from_sample = np.array([[1 / size, 0.0, 0.5 / size], [0.0, 1 / size, 0.5 / size], [0.0, 0.0, 1.0]])
    to_picture = tag_to_picture(middle, version) @ from_sample
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    flat = cv2.warpPerspective(grey, to_picture, (size, size), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    parts = np.asarray(flat, dtype=float).reshape(across, samples, across, samples)
    return np.asarray(np.einsum("ikjl,k,l->ij", parts, SAMPLES, SAMPLES))


def _ways_to_tell(squares: Floats, version: int) -> Iterator[Squares]:
    yield _blacker(_evenly_lit(squares, NARROW))
    yield _equalised(_evenly_lit(squares, WIDE), version)


def _evenly_lit(squares: Floats, reach: int) -> Floats:
    """Return the light of squares (n, n) as a share of the white round each, also across the edge of a shadow."""
    near = np.ones((reach, reach), np.uint8)
    white = cv2.morphologyEx(squares, cv2.MORPH_CLOSE, near, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(squares / np.maximum(white, 1e-4))


def _blacker(even: Floats) -> Squares:
    """Return which of evenly lit squares (n, n) are nearer to the black round them than to white."""
    return np.asarray(even < (1 + cv2.erode(even, np.ones((NEAR, NEAR), np.uint8))) / 2)


def _equalised(even: Floats, version: int) -> Squares:
    """Return which squares (n, n) are black once what blur brings over from their neighbours is taken out.

    How much that is, and from which side, is learned on the squares that are the same on every tag: least squares
    from each one's neighbourhood to what it should be, a linear equaliser.
    """
    known, is_black = always(version)
    padded = np.pad(even, TAPS // 2, mode="edge")
    near = np.lib.stride_tricks.sliding_window_view(padded, (TAPS, TAPS)).reshape(*even.shape, TAPS**2)
    near = np.concatenate([near, np.ones((*even.shape, 1))], axis=2)
    seen, wanted = near[known], np.where(is_black[known], -1.0, 1.0)
    weights = np.linalg.solve(seen.T @ seen + RIDGE * np.eye(seen.shape[1]), seen.T @ wanted)
    return np.asarray(near @ weights < 0)


def _format_errors(symbol: Squares) -> int:
    """Return how many squares of a symbol's two copies of its format are wrong, at the least.

    Turned over, a format is three squares or more from every other in each copy; so this tells a mirrored symbol.
    """
    first, second = (symbol[rows, columns] for rows, columns in _places_of_format(len(symbol)))
    words = _formats()
    return int(((words != first).sum(axis=1) + (words != second).sum(axis=1)).min())


@cache
def _formats() -> Squares:
    """Return all 32 formats (32, 15), the last bit first: ISO/IEC 18004's BCH code (15, 5) and its mask."""
    words = []
    for said in range(32):
        rest = said << 10
        for bit in range(14, 9, -1):
            rest ^= (0b10100110111 << bit - 10) * (rest >> bit & 1)
        words.append((said << 10 | rest) ^ 0b101010000010010)
    return np.array([[word >> bit & 1 for bit in range(15)] for word in words], dtype=bool)


@cache
def _places_of_format(across: int) -> tuple[tuple[NDArray[np.intp], NDArray[np.intp]], ...]:
    """Return rows and columns of the format's 15 bits, the last bit first, of both copies (ISO/IEC 18004, 7.9)."""
    down = np.array([*range(6), 7, 8, *range(across - 7, across)])
    left = np.array([*range(across - 1, across - 9, -1), 7, *range(5, -1, -1)])
    eight = np.full(15, 8)
    return (down, eight), (eight, left)


def _decoded(black: Squares) -> str:
    """Return the text of a QR Code (n, n), upright and without white round it; "" when it has none."""
    crisp = np.pad(np.where(black, 0, 255).astype(np.uint8), QUIET, constant_values=255)
    crisp = np.repeat(np.repeat(crisp, DRAWN, axis=0), DRAWN, axis=1)
    low, high = QUIET * DRAWN, (QUIET + len(black)) * DRAWN - 1
    corners = np.array([[[low, low], [high, low], [high, high], [low, high]]], np.float32)
    try:
        return str(cv2.QRCodeDetector().decode(crisp, corners)[0])
    except (cv2.error, UnicodeDecodeError):  # what is no text of ours
        return ""
