"""An address as a QR code (ISO/IEC 18004): as squares, and as text that a terminal shows."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

QUIET = 4
"""White round it, in squares, as the standard asks for."""


def qr_code(text: str) -> NDArray[np.bool_]:
    """Return the QR code (n, n) of a text, True where it is black, with the white that belongs round it."""
    asked = cv2.QRCodeEncoder.Params()
    asked.correction_level = cv2.QRCodeEncoder_CORRECT_LEVEL_M
    drawn = np.asarray(cv2.QRCodeEncoder.create(asked).encode(text)) < 128
    black = np.flatnonzero(drawn.any(axis=0))
    inner = drawn[black[0] : black[-1] + 1, black[0] : black[-1] + 1]
    return np.pad(inner, QUIET)


def in_a_terminal(code: NDArray[np.bool_]) -> list[str]:
    """Return lines of half blocks that show a QR code on a terminal, two rows of squares to a line.

    Its white is drawn and its black left out: right on a dark terminal, and on a light one most readers invert it.
    """
    rows = np.vstack([code, np.zeros((len(code) % 2, code.shape[1]), bool)])
    signs = {(False, False): "\u2588", (False, True): "\u2580", (True, False): "\u2584", (True, True): " "}
    return [
        "".join(signs[bool(a), bool(b)] for a, b in zip(*pair, strict=True))
        for pair in rows.reshape(-1, 2, code.shape[1])
    ]


def as_svg(code: NDArray[np.bool_]) -> str:
    """Return a QR code as SVG, black on white."""
    path = "".join(f"M{x} {y}h1v1h-1z" for y, x in zip(*np.nonzero(code), strict=True))
    side = len(code)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" width="240" height="240" '
        f'shape-rendering="crispEdges"><rect width="{side}" height="{side}" fill="#fff"/><path d="{path}"/></svg>'
    )
