"""Labels for bottles, to print and cut out: what is in them, how strong, since when, by whom, and its hazards in words.

A stock's label, or that of what was mixed from it. Eight to a page, in print of one size: the largest in which all of
that page's cautions have room.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable, Paragraph, Table, TableStyle

from matcher.bench.mixing import STOPS, LayerMix
from matcher.bench.mixing_wording import fraction, ml, strength_of
from matcher.dates import shown
from matcher.errors import StudioError
from matcher.recipe.hazards import USUAL_FEW, Hazards, hazards_of, keeping_of
from matcher.sheets.paper import A4, BOLD, INK, LINE, MM, Paper, gap, said, sheet, styles
from matcher.trials.stocks import Stock
from matcher.words import capital

LABEL_MM = (86.0, 52.0)
ACROSS, A_PAGE = 2, 8
GAP_MM = 3.0
INSIDE_MM = 3.0
SIZES_POINTS = tuple(7.4 - 0.2 * step for step in range(11))
"""Sizes of the small print, the first that fits is taken; below the last, precautions are left out from the end."""
MOST = 200
FOOT = "Which hazards hold is from memory: the supplier's safety data sheet decides, and local codes come first."
ON_THE_DATA_SHEET = "More on the safety data sheet."


@dataclass(frozen=True)
class Label:
    """What stands on a label. name: large at the top; lines: below it, the first in bold."""

    name: str
    lines: tuple[str, ...]
    hazards: Hazards


def label_of_stock(stock: Stock) -> Label:
    """Return the label of a bottle of stock solution."""
    made = f"Made {shown(stock.made_at)}" + (f" by {stock.made_by}" if stock.made_by else "")
    opened = "Opened " + (shown(stock.opened_at) if stock.opened_at is not None else "__________")
    more = [ml(stock.volume_ml) if stock.volume_ml is not None else "", f"lot {stock.lot}" if stock.lot else ""]
    lines = [
        f"{capital(stock.chemical)}, stock solution",
        ", ".join([strength_of(stock), *filter(None, more)]),
        f"{made.removesuffix('.')}. {opened}",
        keeping_of(stock.chemical),
    ]
    return Label(stock.label, tuple(filter(None, lines)), hazards_of(stock.chemical, stock.grams_per_litre))


def label_of_mix(mix: LayerMix, mixed_at: datetime, who: str = "") -> Label:
    """Return the label of what was mixed for a layer of a recipe. Raises StudioError when it can't be mixed."""
    stock, measured = mix.stock, mix.measured
    if stock is None or measured is None or set(mix.troubles) & STOPS:
        raise StudioError(f"Choose a bottle of {mix.layer.chemical} first: there is nothing to label yet.")
    grams = stock.grams_per_litre * measured.strength
    by = f" by {who}" if who else ""
    lines = (
        f"{capital(mix.layer.chemical)}, {fraction(measured.strength)}",
        f"{grams:.4g} g/L, {ml(measured.total_ml)}, from {stock.label}",
        f"Mixed {shown(mixed_at)}{by}, for {mix.part}",
        keeping_of(stock.chemical),
    )
    return Label(
        f"{fraction(measured.strength)} {stock.label}", tuple(filter(None, lines)), hazards_of(stock.chemical, grams)
    )


def bottle_labels(labels: Sequence[Label], studio: str = "", paper: Paper = A4) -> bytes:
    """Return the PDF of some labels, each within a dashed line to cut along. Raises StudioError."""
    if not labels:
        raise StudioError("Make a bottle first: there is nothing to label.")
    if len(labels) > MOST:
        raise StudioError(f"Print at most {MOST} labels at once: there are {len(labels)}.")
    boxes: list[Any] = [_Box(label, studio) for label in labels]
    for at in range(0, len(boxes), A_PAGE):
        on_page = boxes[at : at + A_PAGE]
        size = min(box.largest() for box in on_page)
        for box in on_page:
            box.size = size
    boxes += [""] * (-len(boxes) % ACROSS)
    rows = [boxes[at : at + ACROSS] for at in range(0, len(boxes), ACROSS)]
    width, height = (side + GAP_MM for side in LABEL_MM)
    grid = Table(rows, colWidths=[width * MM] * ACROSS, rowHeights=[height * MM] * len(rows), hAlign="LEFT")
    grid.setStyle(
        TableStyle(
            [
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ]
        )
    )
    how = said("Cut along the dashed lines; cover with clear tape against splashes.", "soft")
    return sheet([how, gap(1.0), grid], "Bottle labels", paper, (studio, "Bottle labels"), FOOT)


class _Box(Flowable):  # type: ignore[misc]  # reportlab has no types
    """One label, drawn to its size."""

    def __init__(self, label: Label, studio: str) -> None:
        super().__init__()
        self._label, self._studio = label, studio
        self.width, self.height = (side * MM for side in LABEL_MM)
        self.size = SIZES_POINTS[0]

    def largest(self) -> float:
        """Return the largest size of the small print in which nothing is left out, else the smallest."""
        few, left_out = self._few()
        return next((size for size in SIZES_POINTS if self._has_room(self._set(size, few, left_out))), SIZES_POINTS[-1])

    def wrap(self, *_room: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        page, inside = self.canv, INSIDE_MM * MM
        page.setStrokeColor(LINE)
        page.setLineWidth(0.5)
        page.setDash([3, 2])
        page.rect(0, 0, self.width, self.height)
        page.setDash([])
        self._head(page, inside)
        top = self._top()
        for part, height in self._fitting():
            part.drawOn(page, inside, top - height)
            top -= height

    def _head(self, page: Any, inside: float) -> None:
        """Draw name and signal word."""
        signal, signal_width = self._signal()
        if signal:
            page.setFillColor(INK)
            page.rect(
                self.width - inside - signal_width, self.height - inside - 14.5, signal_width, 15.5, stroke=0, fill=1
            )
            page.setFillGray(1)
            page.setFont(BOLD, 11)
            page.drawCentredString(self.width - inside - signal_width / 2, self.height - inside - 10.8, signal)
            page.setFillColor(INK)
        name, height = self._name()
        name.drawOn(page, inside, self.height - inside - height)

    def _signal(self) -> tuple[str, float]:
        """Return the signal word and how wide its box is, 0 for none."""
        signal = self._label.hazards.signal.upper()
        return signal, stringWidth(signal, BOLD, 11) + 4 * MM if signal else 0.0

    def _name(self) -> tuple[Paragraph, float]:
        """Return the name, in the largest print in which it takes two lines, and how tall it is."""
        for size in (13, 11, 9.5, 8, 6.5):
            style = ParagraphStyle("name", styles()["large"], fontSize=size, leading=size * 1.2)
            name = _plain(self._label.name, style)
            _, height = name.wrap(self._room - self._signal()[1] - 2 * MM, 1000)
            if height <= 2.5 * size * 1.2:
                break
        return name, height

    @property
    def _room(self) -> float:
        """How wide the print may be."""
        return float(self.width - 2 * INSIDE_MM * MM)

    def _top(self) -> float:
        """Return how far down name and signal word reach."""
        return float(self.height - INSIDE_MM * MM - max(self._name()[1], 15.5) - 1.0 * MM)

    def _has_room(self, parts: Sequence[tuple[Paragraph, float]]) -> bool:
        return sum(each for _, each in parts) <= self._top() - INSIDE_MM * MM

    def _few(self) -> tuple[list[Any], bool]:
        """Return the precautions that are printed where there is room, and whether there are more."""
        precautions = self._label.hazards.precautions
        return list(precautions[:USUAL_FEW]), len(precautions) > USUAL_FEW

    def _fitting(self) -> list[tuple[Paragraph, float]]:
        """Return the paragraphs below the head; where they have no room, precautions give way last to first."""
        few, left_out = self._few()
        found = self._set(self.size, few, left_out)
        while few and not self._has_room(found):
            few.pop()
            found = self._set(self.size, few, True)
        if self._has_room(found):
            return found
        return _cut(self._set(self.size * 0.9, [], True), self._top() - INSIDE_MM * MM)

    def _set(self, size: float, few: Sequence[Any], left_out: bool) -> list[tuple[Paragraph, float]]:
        hazards = self._label.hazards
        small = ParagraphStyle("small", styles()["body"], fontSize=size, leading=size * 1.18)
        strong = ParagraphStyle("strong", small, fontName=BOLD)
        first, *others = self._label.lines
        made = [_plain(first, ParagraphStyle("first", strong, fontSize=size + 1, leading=(size + 1) * 1.18))]
        made += [_plain(line, small) for line in others]
        if hazards.statements:
            made.append(_plain(" ".join(f"{one.code} {one.text}." for one in hazards.statements), strong))
        else:
            made.append(_plain(hazards.sentence, strong))
        if few or (left_out and hazards.known and hazards.statements):
            words = [f"{one.code} {one.text}" for one in few]
            made.append(_plain(" ".join([*words, *([ON_THE_DATA_SHEET] if left_out else [])]), small))
        if self._studio:
            made.append(_plain(self._studio, small))
        return [(part, part.wrap(self._room, 10_000)[1] + 0.7 * MM) for part in made]


def _plain(text: str, style: ParagraphStyle) -> Paragraph:
    part = said(text)
    return Paragraph(part.text, style)


def _cut(parts: list[tuple[Paragraph, float]], height: float) -> list[tuple[Paragraph, float]]:
    """Return as many paragraphs as there is room for, so that nothing is printed over a neighbour."""
    kept: list[tuple[Paragraph, float]] = []
    for part, each in parts:
        if sum(one for _, one in kept) + each <= height:
            kept.append((part, each))
    return kept
