"""Sheets to print, as PDF: the carrier sheet that holds the studio's grey card in its window.

Drawn from the card's own definition, so that what is printed is what `find_card` looks for.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np

from matcher.card.card import Card, Carrier
from matcher.errors import CardError
from matcher.words import capital

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

A4_MM = (210.0, 297.0)
TOP_MM = 20.0
"""Where the sheet begins, from the page's top edge; it is centred across the page."""

RULER_MM = 50.0
_POINTS_PER_MM = 72 / 25.4

_HOW_TO = (
    "Print at actual size (100 %), not fitted to the page, on matt white paper.",
    f"Measure the line above: when it is not {RULER_MM:.0f} mm long, print again with scaling turned off.",
    "Cut out the window along its dashed line, then the sheet along its outer line.",
    "Tape a grey card, larger than the window, flat behind it. Do not write on the sheet.",
    "Lay the sheet flat beside the finish, in the same light, tilted as the finish is.",
    "Keep shadows and glare off both, and all four markers in the picture.",
    "If the card has been measured, give its L*, a*, b* to the studio's cards.",
)


def carrier_sheet(card: Card) -> bytes:
    """Return the PDF of ``card``'s carrier sheet: one A4 page at true size, black on white.

    The sheet's top left corner lies `TOP_MM` below the page's top edge; across, it is centred. Raises CardError
    when the card has no carrier, or one that does not fit on the page.
    """
    from reportlab.pdfgen.canvas import Canvas

    carrier = card.carrier
    if carrier is None:
        raise CardError(f"Choose the carrier sheet: the {card.title} has nothing to print.")
    width, height = carrier.sheet_mm
    if width > A4_MM[0] - 10 or height > A4_MM[1] - TOP_MM - 90:
        raise CardError(f"Make the carrier sheet smaller: {width:g} by {height:g} mm does not fit on an A4 page.")
    stream = io.BytesIO()
    page = Canvas(stream, pagesize=[side * _POINTS_PER_MM for side in A4_MM], invariant=1)
    page.setTitle(card.name)
    # From here on: millimetres from the sheet's top left corner, downwards.
    page.translate((A4_MM[0] - width) / 2 * _POINTS_PER_MM, (A4_MM[1] - TOP_MM) * _POINTS_PER_MM)
    page.scale(_POINTS_PER_MM, -_POINTS_PER_MM)
    page.setLineWidth(0.2)
    page.rect(0, 0, width, height)
    _cut_marks(page, (0.0, 0.0, width, height), outwards=True)
    _window(page, carrier)
    _markers(page, carrier)
    _ruler(page, top=height + 16)
    _words(page, card.title, top=height + 30)
    page.showPage()
    page.save()
    return stream.getvalue()


def _window(page: Canvas, carrier: Carrier) -> None:
    left, top, right, bottom = carrier.window_mm
    page.setDash([2.0, 1.0])
    page.rect(left, top, right - left, bottom - top)
    page.setDash([])
    # Inwards, so that they fall away with the piece that is cut out.
    _cut_marks(page, carrier.window_mm, outwards=False)


def _cut_marks(page: Canvas, box: tuple[float, float, float, float], outwards: bool, length: float = 4.0) -> None:
    """Draw a short line past each corner in both directions, along the edges that meet there."""
    left, top, right, bottom = box
    step = length if outwards else -length
    for x, away_x in ((left, -step), (right, step)):
        for y, away_y in ((top, -step), (bottom, step)):
            page.line(x, y, x + away_x, y)
            page.line(x, y, x, y + away_y)


def _markers(page: Canvas, carrier: Carrier) -> None:
    """Draw each marker as vector squares, from the bits of OpenCV's dictionary."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, carrier.dictionary))
    modules = dictionary.markerSize + 2  # the code and its black rim
    side = carrier.marker_mm / modules
    for number, (left, top) in carrier.markers.items():
        bits = cv2.aruco.generateImageMarker(dictionary, number, modules, borderBits=1)
        page.setFillGray(0)
        page.rect(left, top, carrier.marker_mm, carrier.marker_mm, stroke=0, fill=1)
        page.setFillGray(1)
        for row, column in np.argwhere(bits > 0).tolist():
            page.rect(left + column * side, top + row * side, side, side, stroke=0, fill=1)
    page.setFillGray(0)


def _ruler(page: Canvas, top: float) -> None:
    page.line(0, top, RULER_MM, top)
    for at in range(0, int(RULER_MM) + 1, 10):
        page.line(at, top - (3.0 if at in (0, RULER_MM) else 1.5), at, top)
    _text(page, RULER_MM + 3, top, f"{RULER_MM:.0f} mm", size=3.2)


def _words(page: Canvas, title: str, top: float) -> None:
    _text(page, 0, top, capital(title), size=4.6)
    for number, sentence in enumerate(_HOW_TO, start=1):
        _text(page, 0, top + 3 + 6.5 * number, f"{number}.  {sentence}", size=3.6)


def _text(page: Canvas, x: float, y: float, words: str, size: float) -> None:
    """Write upright although the page's axis points down; size: of the letters, in mm."""
    page.saveState()
    page.translate(x, y)
    page.scale(1, -1)
    page.setFont("Helvetica", size)
    page.drawString(0, 0, words)
    page.restoreState()
