"""The studio's own chart on one page: each plate's tag at its exact size, its number, its colour as print shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib import colors
from reportlab.platypus import Flowable, Table, TableStyle

from matcher.colour.cielab import lab_to_srgb8
from matcher.colour.types import Floats
from matcher.errors import TagError
from matcher.plates_beside import MOST_ON_BOARD
from matcher.sheets.drawn import MAT
from matcher.sheets.paper import A4, BOLD, INK, MM, PLAIN, SOFT, Paper, fitted, gap, said, sheet, use_type
from matcher.sheets.tag_sheet import PrintedTag, Ruler, TagDrawn, checked_size, print_so
from matcher.tags.wording import ALL_ALIKE, KNOWN_MORE_SURELY, MARK_ANEW, ON_A_BOARD
from matcher.words import with_sign

ACROSS = 3
COLOUR_MM, MAT_MM, BESIDE_MM = 15.0, 3.0, 2.5
"""Side of a colour, the grey round it, and what is between it and its tag."""
FIGURES_POINTS = 27.0
"""Height of what is written below a colour."""
APPROXIMATE = (
    "The colours beside the tags are approximate, to tell the plates apart: printed colour is not the plate's. The "
    "tool goes by what is logged of each plate, never by this page."
)


@dataclass(frozen=True, eq=False)
class OnTheBoard:
    """One plate of the board: its number, its CIELAB (3,), its tag."""

    number: int
    lab: Floats
    tag: PrintedTag


def board_sheet(
    plates: Sequence[OnTheBoard],
    worth: str = "",
    size_mm: float = 20,
    address: str = "",
    studio: str = "",
    paper: Paper = A4,
) -> bytes:
    """Return the PDF of a board's page, to cut the tags out of and to keep.

    Parameters
    ----------
    plates : sequence of OnTheBoard
        At most MOST_ON_BOARD, in their order.
    worth : str
        What the board is expected to gain, in a sentence.
    size_mm, address, studio, paper
        As for ``tag_sheet``.

    Raises
    ------
    TagError
        No plate or too many, a size that is not printed, an address that can't be carried.
    """
    size_mm = checked_size(size_mm)
    if not 1 <= len(plates) <= MOST_ON_BOARD:
        raise TagError(f"Choose from 1 to {MOST_ON_BOARD} plates for the board: {len(plates)} are not that.")
    width = paper.inner_mm[0] * MM / ACROSS
    boxes: list[Flowable | str] = [_Plate(one, size_mm, address, width) for one in plates]
    height = max(box.height for box in boxes if isinstance(box, _Plate)) + 2 * MM
    boxes += [""] * (-len(boxes) % ACROSS)
    rows = [boxes[at : at + ACROSS] for at in range(0, len(boxes), ACROSS)]
    grid = Table(rows, colWidths=[width] * ACROSS, rowHeights=[height] * len(rows), hAlign="LEFT")
    none = [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
    grid.setStyle(TableStyle([*none, ("VALIGN", (0, 0), (-1, -1), "TOP"), ("FONTNAME", (0, 0), (-1, -1), PLAIN)]))
    fixed, known = f"{ON_A_BOARD} {MARK_ANEW}", f"{KNOWN_MORE_SURELY} {ALL_ALIKE}"  # each a paragraph: it is one page
    told = [fixed, *([f"{worth}."] if worth else []), known]
    story = [
        said("The studio's own chart", "large"),
        gap(1.0),
        said(print_so(size_mm), "soft"),
        gap(2.0),
        Ruler(),
        gap(2.5),
        grid,
        said(APPROXIMATE, "soft"),
        *(part for words in told for part in (gap(1.0), said(words, "soft"))),
    ]
    return sheet(story, "The studio's own chart", paper, (studio, f"Board, tags of {size_mm:g} mm"))


class _Plate(Flowable):  # type: ignore[misc]  # reportlab has no types
    """A plate's tag, and beside it its colour on neutral grey, its number and its figures."""

    def __init__(self, plate: OnTheBoard, size_mm: float, address: str, width: float) -> None:
        super().__init__()
        use_type()
        self._plate, self._tag = plate, TagDrawn(plate.tag, size_mm, address)
        self._left = self._tag.width + BESIDE_MM * MM
        self._side = min(COLOUR_MM * MM, width - self._left - 2 * MAT_MM * MM)
        self.width = width
        self.height = max(self._tag.height, self._side + 2 * MAT_MM * MM + FIGURES_POINTS)

    def wrap(self, *_room: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        page, lab = self.canv, self._plate.lab
        self._tag.drawOn(page, 0, self.height - self._tag.height)
        left, side, mat = self._left, self._side, MAT_MM * MM
        room = self.width - left
        bottom = self.height - side - 2 * mat
        page.setFillColor(MAT)
        page.rect(left, bottom, side + 2 * mat, side + 2 * mat, stroke=0, fill=1)
        page.setFillColor(colors.Color(*(float(value) / 255 for value in lab_to_srgb8(lab))))
        page.rect(left + mat, bottom + mat, side, side, stroke=0, fill=1)
        page.setFillColor(INK)
        page.setFont(BOLD, 8)
        page.drawString(left, bottom - 9, fitted(f"Plate {self._plate.number}", 8, room, BOLD))
        page.setFillColor(SOFT)
        page.setFont(PLAIN, 6)
        lightness, a, b = (float(value) for value in lab)
        for line, words in enumerate((f"L* {with_sign(lightness)}", f"a* {with_sign(a)}  b* {with_sign(b)}")):
            page.drawString(left, bottom - 17 - 7.5 * line, fitted(words, 6, room))
