"""Tags to print and cut out: the symbol at its exact size, and the number large beneath it for people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import Flowable, Table, TableStyle

from matcher.errors import TagError
from matcher.sheets.paper import A4, BOLD, INK, LINE, MM, PLAIN, SOFT, Paper, fitted, gap, said, sheet, use_type
from matcher.tags.code import HIGHEST_NUMBER, TagCode, carried
from matcher.tags.mark import MARGIN, across_tag, tag_squares
from matcher.words import listed

SIZES_MM = (15, 20, 25)
"""Sides of a tag's black frame that are printed."""
MOST = 1000
RULER_MM = 50.0
LARGE, SMALL = 0.55, 0.3
"""Sizes of the print beneath a tag, in points for each millimetre of the tag."""
LEAST_POINTS = 5.0
FIX = (
    "Cut along the dashed lines; the white outside the frame must stay. Fix the tag flat on the plate, beside the "
    "finish and not on it, and seal it against heat and water: after the last heating, for paper scorches (common "
    "practice, no source)."
)


@dataclass(frozen=True)
class PrintedTag:
    """A tag to print. name: what stands large beneath it: "Plate 12" of a logged plate; "" for the tag's number."""

    code: TagCode
    name: str = ""

    @property
    def large(self) -> str:
        return self.name or str(self.code.number)


def checked_size(size_mm: float) -> float:
    """Return the side of a tag if it is one of SIZES_MM. Raises TagError."""
    if size_mm not in SIZES_MM:
        raise TagError(f"Choose the tags' size from {listed(list(map(str, SIZES_MM)), 'and')} mm: {size_mm:g} is none.")
    return size_mm


def tags_from(studio: str, first: int, count: int) -> list[PrintedTag]:
    """Return so many tags of a studio's signs, numbered from ``first`` on. Raises TagError."""
    if not 1 <= count <= MOST:
        raise TagError(f"Print from 1 to {MOST} tags at once: {count} is not that.")
    if not 1 <= first <= HIGHEST_NUMBER - count + 1:
        raise TagError(f"Number the tags from 1 to {HIGHEST_NUMBER:,}: {count} from {first} on are not within that.")
    return [PrintedTag(TagCode(studio, number)) for number in range(first, first + count)]


def tag_sheet(
    tags: Sequence[PrintedTag], size_mm: float = 20, address: str = "", studio: str = "", paper: Paper = A4
) -> bytes:
    """Return the PDF of some tags, each within a dashed line to cut along.

    Parameters
    ----------
    tags : sequence of PrintedTag
        What to print, at most MOST.
    size_mm : float
        The side of each tag's black frame, one of SIZES_MM.
    address : str
        Where the studio's page is served on the local network, "192.168.1.20:8501": a phone then opens the plate's
        page; "" for none, and it shows the number alone.
    studio : str
        The studio's title, for the head.
    paper : Paper
        What it is printed on.

    Raises
    ------
    TagError
        Nothing or too much to print, a size that is not printed, an address that can't be carried.
    """
    size_mm = checked_size(size_mm)
    if not 1 <= len(tags) <= MOST:
        raise TagError(f"Print from 1 to {MOST} tags at once: {len(tags)} is not that.")
    boxes: list[Any] = [TagDrawn(tag, size_mm, address) for tag in tags]
    width, height = max(box.width for box in boxes), boxes[0].height
    across = int(paper.inner_mm[0] * MM // width)
    boxes += [""] * (-len(boxes) % across)
    rows = [boxes[at : at + across] for at in range(0, len(boxes), across)]
    grid = Table(rows, colWidths=[width] * across, rowHeights=[height] * len(rows), hAlign="LEFT")
    none = [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
    grid.setStyle(TableStyle([*none, ("VALIGN", (0, 0), (-1, -1), "TOP")]))
    story = [said(print_so(size_mm), "soft"), gap(1.0), said(FIX, "soft"), gap(2.5), Ruler(), gap(3.0), grid]
    return sheet(story, "Tags", paper, (studio, f"Tags, {size_mm:g} mm"))


def print_so(size_mm: float) -> str:
    """Say how tags are printed true to size."""
    return (
        f"Print at actual size (100 %), not fitted to the page, on matt white paper. Check with a ruler: each black "
        f"frame is {size_mm:g} mm wide and high, the line below {RULER_MM:g} mm long. If not, print again with scaling "
        f"turned off."
    )


class Ruler(Flowable):  # type: ignore[misc]  # reportlab has no types
    """A line to check with a ruler."""

    def __init__(self) -> None:
        super().__init__()
        self.width, self.height = RULER_MM * MM, 3.0 * MM

    def wrap(self, *_room: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        page = self.canv
        page.setStrokeColor(INK)
        page.setFillColor(INK)
        page.setLineWidth(0.5)
        page.line(0, 0, self.width, 0)
        for at in range(0, int(RULER_MM) + 1, 10):
            page.line(at * MM, 0, at * MM, (2.5 if at in (0, RULER_MM) else 1.2) * MM)
        page.setFont(PLAIN, 8)
        page.drawString(self.width + 2 * MM, 0, f"{RULER_MM:g} mm")


class TagDrawn(Flowable):  # type: ignore[misc]  # reportlab has no types
    """One tag, its frame to size, with what people read beneath it."""

    def __init__(self, tag: PrintedTag, size_mm: float, address: str) -> None:
        super().__init__()
        self._tag, self._side = tag, size_mm * MM
        self._squares = tag_squares(carried(tag.code, address))
        self._margin = self._side * MARGIN / across_tag(1)  # of the coarsest symbol, so that all pieces are alike
        self._large, self._small = LARGE * size_mm, max(LEAST_POINTS, SMALL * size_mm)
        self.width = self._side + 2 * self._margin
        self.height = self.width + 1.1 * self._large + 1.4 * self._small

    def wrap(self, *_room: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        page = self.canv
        page.setStrokeColor(LINE)
        page.setLineWidth(0.3)
        page.setDash([3, 2])
        for end in (0, 1):  # each the same way, so that the dashes of neighbours fall on each other
            page.line(0, end * self.height, self.width, end * self.height)
            page.line(end * self.width, 0, end * self.width, self.height)
        page.setDash([])
        self._draw_squares()
        use_type()
        name, size = self._tag.large, self._large
        while size > LEAST_POINTS and pdfmetrics.stringWidth(name, BOLD, size) > self._side:
            size -= 0.25
        page.setFillColor(INK)
        page.setFont(BOLD, size)
        at = self._margin + 1.4 * self._small
        page.drawCentredString(self.width / 2, at, fitted(name, size, self.width, BOLD))
        code, size = str(self._tag.code), self._small
        while size > 0.7 * LEAST_POINTS and pdfmetrics.stringWidth(code, PLAIN, size) > self._side:
            size -= 0.25
        page.setFillColor(SOFT)
        page.setFont(PLAIN, size)
        page.drawCentredString(self.width / 2, self._margin, code)

    def _draw_squares(self) -> None:
        """Fill each run of black squares in a row, all as one path: no hair lines show between them."""
        page, side = self.canv, self._side / len(self._squares)
        top = self.height - self._margin
        page.setFillGray(0)
        path = page.beginPath()
        for row, black in enumerate(self._squares):
            ends = np.flatnonzero(np.diff(np.concatenate([[0], black.astype(int), [0]])))
            for first, last in ends.reshape(-1, 2).tolist():
                path.rect(self._margin + first * side, top - (row + 1) * side, (last - first) * side, side)
        page.drawPath(path, stroke=0, fill=1)
