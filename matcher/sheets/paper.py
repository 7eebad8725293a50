"""The paper that every sheet is printed on: its sizes and margins, the type, head and foot, tables over several pages.

Each kind of sheet is a file beside this one: it makes a list of what goes on the page and hands it to ``sheet``.
Lengths are in millimetres here; reportlab itself counts in points.
"""

from __future__ import annotations

import html
import io
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, is_dataclass
from functools import cache
from pathlib import Path
from typing import Any

from reportlab.lib import colors
from reportlab.lib.enums import TA_CENTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BalancedColumns,
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    LongTable,
    PageTemplate,
    Paragraph,
    Spacer,
    TableStyle,
)

from matcher.errors import StudioError

MM = 72 / 25.4
"""Points to a millimetre."""
MARGIN_MM = 16.0
HEAD_MM, FOOT_MM = 9.0, 9.0
"""Room inside the margins for the line at the head and the one at the foot."""
PLAIN, BOLD = "Sheet", "Sheet-Bold"
INK, SOFT, LINE = colors.HexColor("#1b1b1b"), colors.HexColor("#555555"), colors.HexColor("#b5b5b5")
CANNOT = "?"
"""What stands for a sign of a script that the type does not have."""
_FILES = {PLAIN: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
"""DejaVu Sans, which may be embedded and passed on; its licence lies beside it. Latin, Greek, Cyrillic and more."""
_STANDS_FOR = str.maketrans({"\t": " "})


_FROM_THE_RIGHT = ("R", "AL", "AN")
"""Scripts that run from right to left (UAX #9): drawn sign by sign they would stand the wrong way round."""
_SAID = 12
_LEAST_MM = 40.0
"""So much of a list in columns, with its heading, begins a page's end; less goes to the next page."""


@dataclass(frozen=True)
class Paper:
    """A size of paper, upright, in millimetres."""

    name: str
    width_mm: float
    height_mm: float

    @property
    def inner_mm(self) -> tuple[float, float]:
        """Width and height of what is left between the margins, head and foot."""
        return self.width_mm - 2 * MARGIN_MM, self.height_mm - 2 * MARGIN_MM - HEAD_MM - FOOT_MM


A4 = Paper("A4", 210.0, 297.0)
"""ISO 216."""
LETTER = Paper("Letter", 215.9, 279.4)
"""ANSI/ASME Y14.1, size A: 8½ by 11 inches."""
PAPERS = {paper.name: paper for paper in (A4, LETTER)}


def paper_named(name: str) -> Paper:
    """Return the paper of a name, in any case. Raises StudioError."""
    found = next((paper for paper in PAPERS.values() if paper.name.casefold() == name.strip().casefold()), None)
    if found is None:
        raise StudioError(f"Choose the paper from {', '.join(PAPERS)}: {name!r} is neither.")
    return found


@cache
def use_type() -> None:
    """Make the type known to reportlab. Called by everything here that draws."""
    folder = Path(__file__).parent / "type"
    for name, file in _FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)


@cache
def _has() -> frozenset[int]:
    use_type()
    both = frozenset.intersection(*(frozenset(pdfmetrics.getFont(name).face.charToGlyph) for name in _FILES))
    return frozenset(code for code in both if unicodedata.bidirectional(chr(code)) not in _FROM_THE_RIGHT)


def in_type(text: str) -> str:
    """Return text in signs that the type has.

    A letter that it lacks loses its accent; one of a script that it lacks becomes a question mark, so that nobody takes
    what is left for the whole name. ``lacking`` tells before anything is printed.

    >>> in_type("Żółw, Ηρώ, Чайка: ΔE00 1.5 at ½ 銅")
    'Żółw, Ηρώ, Чайка: ΔE00 1.5 at ½ ?'
    """
    plain = unicodedata.normalize("NFC", text).translate(_STANDS_FOR)
    return "".join(sign if sign == "\n" or ord(sign) in _has() else _nearest(sign) for sign in plain)


def lacking(*things: object) -> str:
    """Return the signs that a sheet would print as a question mark, each once, in the order in which they stand.

    things: texts, or values that hold them: dataclasses, lists, dictionaries.
    """
    return "".join(dict.fromkeys(sign for thing in things for sign in _signs(thing) if in_type(sign) == CANNOT != sign))


def lacking_in_words(signs: str) -> str:
    """Say what a sheet can't print; nothing where it can print all."""
    if not signs:
        return ""
    shown = " ".join(signs[:_SAID]) + (" …" if len(signs) > _SAID else "")
    return f"The sheets can't print {shown}: a ? stands for each. Write that name in Latin, Greek or Cyrillic letters."


def _signs(thing: object) -> str:
    if isinstance(thing, str):
        return unicodedata.normalize("NFC", thing)
    if isinstance(thing, Mapping):
        return "".join(map(_signs, thing.values()))
    if isinstance(thing, list | tuple | set | frozenset):
        return "".join(map(_signs, thing))
    return "".join(map(_signs, vars(thing).values())) if is_dataclass(thing) else ""


def _nearest(sign: str) -> str:
    if unicodedata.category(sign)[0] == "C":
        return ""
    parts = unicodedata.normalize("NFKD", sign)
    kept = "".join(part for part in parts if not unicodedata.combining(part))
    return kept if kept and all(ord(part) in _has() for part in kept) else CANNOT


@cache
def styles() -> Mapping[str, ParagraphStyle]:
    """Return the styles by name: title, heading, large, body, centred, soft (smaller, grey), cell, cell head."""
    use_type()
    body = ParagraphStyle("body", fontName=PLAIN, fontSize=9.5, leading=13, textColor=INK, splitLongWords=1)
    made = {
        "body": body,
        "title": ParagraphStyle("title", body, fontName=BOLD, fontSize=17, leading=21, spaceAfter=2 * MM),
        "heading": ParagraphStyle(
            "heading",
            body,
            fontName=BOLD,
            fontSize=11,
            leading=14,
            spaceBefore=4 * MM,
            spaceAfter=1.5 * MM,
            keepWithNext=1,
        ),
        "large": ParagraphStyle("large", body, fontName=BOLD, fontSize=13, leading=16),
        "soft": ParagraphStyle("soft", body, fontSize=8, leading=10.5, textColor=SOFT),
        "cell": ParagraphStyle("cell", body, fontSize=8.5, leading=11),
        "cell head": ParagraphStyle("cell head", body, fontName=BOLD, fontSize=8.5, leading=11),
    }
    made["centred"] = ParagraphStyle("centred", body, alignment=TA_CENTER)
    return made


def said(text: str, style: str = "body", lead: str = "") -> Paragraph:
    """Return a paragraph of plain text, which is never read as markup; ``lead`` stands before it in bold.

    Long names wrap, within a word where they must; line breaks stay.
    """
    marked = html.escape(in_type(text)).replace("\n", "<br/>")
    before = f"<b>{html.escape(in_type(lead))}</b> " if lead else ""
    return Paragraph(before + marked, styles()[style])


class _Whole(Paragraph):  # type: ignore[misc]  # reportlab has no types
    """A paragraph that is never broken over two columns or pages."""

    def split(self, _width: float, _height: float) -> list[Flowable]:
        return []


def listed(items: Sequence[str], style: str = "body", kind: type[Paragraph] = Paragraph) -> list[Paragraph]:
    """Return a list, each of its items a paragraph behind a dot."""
    use_type()
    made = ParagraphStyle("item", styles()[style], leftIndent=4.6 * MM, bulletIndent=0.5 * MM, spaceAfter=0.8 * MM)
    made.bulletFontName = PLAIN
    return [kind(html.escape(in_type(item)), made, bulletText="•") for item in items]


def gap(height_mm: float) -> Spacer:
    return Spacer(1, height_mm * MM)


def side_by_side(
    left: Sequence[Flowable], right: Sequence[Flowable], left_share: float, paper: Paper = A4
) -> LongTable:
    """Return two columns, each from the top. left_share: of the page's width."""
    width = paper.inner_mm[0] * MM
    made = LongTable([[list(left), list(right)]], colWidths=[width * left_share, width * (1 - left_share)])
    made.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("FONTNAME", (0, 0), (-1, -1), PLAIN),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (0, 0), 4 * MM),
                ("RIGHTPADDING", (1, 0), (1, 0), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
            ]
        )
    )
    return made


def beside(drawn: Flowable, words: Sequence[Flowable], paper: Paper = A4) -> list[Flowable]:
    """Return what is drawn with words at its right: as many as have room there, the others below."""
    inner = paper.inner_mm[0] * MM
    width, height = drawn.wrap(inner / 2, paper.inner_mm[1] * MM)
    share = (width + 4 * MM) / inner
    room, there = height, 0
    for one in words:
        room -= one.wrap(inner * (1 - share), height)[1] + one.getSpaceAfter()
        if room < 0:
            break
        there += 1
    return [side_by_side([drawn], words[:there], share, paper), *words[there:]]


def in_columns(head: str, items: Sequence[str], style: str = "cell") -> list[Flowable]:
    """Return a list under a heading in two columns of like height, over as many pages as it takes; no item is broken.

    The heading stays with the first items. ``keepWithNext`` would ask columns how tall they are, which they can't say
    before they are laid out.
    """
    return [
        CondPageBreak(_LEAST_MM * MM),
        Paragraph(html.escape(head), ParagraphStyle("head", styles()["heading"], keepWithNext=0)),
        BalancedColumns(listed(items, style, _Whole), nCols=2, innerPadding=5 * MM, needed=(_LEAST_MM - 12) * MM),
    ]


def table(
    head: Sequence[str], rows: Sequence[Sequence[str | Flowable]], shares: Sequence[float], paper: Paper = A4
) -> LongTable:
    """Return a table as wide as the page, its head repeated on each page that it runs over.

    shares: of the width, one a column, whatever their sum. A cell is plain text, or something drawn. A row taller
    than a page is split.
    """
    width = paper.inner_mm[0] * MM
    widths = [width * share / sum(shares) for share in shares]
    first = [said(text, "cell head") for text in head]
    others = [[said(cell, "cell") if isinstance(cell, str) else cell for cell in row] for row in rows]
    made = LongTable([first, *others], colWidths=widths, repeatRows=1, splitInRow=1)
    made.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("FONTNAME", (0, 0), (-1, -1), PLAIN),  # of empty cells too: each type that is named is embedded
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
                ("LINEBELOW", (0, 1), (-1, -1), 0.4, LINE),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 6),
                ("TOPPADDING", (0, 0), (-1, -1), 3),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ]
        )
    )
    return made


def sheet(
    story: Sequence[Flowable], title: str, paper: Paper = A4, head: tuple[str, str] = ("", ""), foot: str = ""
) -> bytes:
    """Return the PDF of what is in ``story``, on as many pages as it takes.

    Parameters
    ----------
    story : sequence of Flowable
        What goes on the page, from ``said``, ``table`` and reportlab's own.
    title : str
        Of the document, as a viewer shows it.
    head : tuple of str
        What stands at the head of each page, left and right.
    foot : str
        What stands at the foot; beside it stands "page 1 of 2".
    """
    use_type()
    stream = io.BytesIO()
    document = BaseDocTemplate(
        stream,
        pagesize=(paper.width_mm * MM, paper.height_mm * MM),
        title=title,
        lang="en",
        invariant=1,
    )
    inner_width, inner_height = (side * MM for side in paper.inner_mm)
    frame = Frame(MARGIN_MM * MM, (MARGIN_MM + FOOT_MM) * MM, inner_width, inner_height, 0, 0, 0, 0, id="page")
    document.addPageTemplates(PageTemplate(frames=[frame]))

    def canvas(*given: Any, **named: Any) -> _Pages:
        return _Pages(*given, around=(paper, head, foot), **named)

    document.build(list(story), canvasmaker=canvas)
    return stream.getvalue()


class _Pages(Canvas):  # type: ignore[misc]  # reportlab has no types
    """A canvas that draws head and foot at the end, when it knows how many pages there are."""

    def __init__(self, *given: Any, around: tuple[Paper, tuple[str, str], str], **named: Any) -> None:
        super().__init__(*given, **{**named, "initialFontName": PLAIN})
        self._around, self._finished = around, list[dict[str, Any]]()

    def showPage(self) -> None:
        self._finished.append(dict(vars(self)))
        self._startPage()

    def save(self) -> None:
        finished = self._finished
        for number, page in enumerate(finished, start=1):
            self.__dict__.update(page)
            self._head_and_foot(number, len(finished))
            super().showPage()
        super().save()

    def _head_and_foot(self, number: int, pages: int) -> None:
        paper, (left, right), foot = self._around
        inner = paper.inner_mm[0] * MM
        at, end, top = MARGIN_MM * MM, (paper.width_mm - MARGIN_MM) * MM, (paper.height_mm - MARGIN_MM) * MM
        self.setFont(PLAIN, 8)
        self.setFillColor(SOFT)
        self.setStrokeColor(LINE)
        self.setLineWidth(0.4)
        if left or right:
            side = fitted(right, 8, inner * 0.4)
            self.drawRightString(end, top - 8, side)
            self.drawString(at, top - 8, fitted(left, 8, inner * 0.57))
            self.line(at, top - 12, end, top - 12)
        self.drawString(at, MARGIN_MM * MM, fitted(foot, 8, inner - 70))
        self.drawRightString(end, MARGIN_MM * MM, f"page {number} of {pages}")


def fitted(text: str, size: float, width: float, name: str = PLAIN) -> str:
    """Return one line of text, cut short with "…" where it is wider than ``width`` points."""
    use_type()
    line = " ".join(in_type(text).split())
    if pdfmetrics.stringWidth(line, name, size) <= width:
        return line
    while line and pdfmetrics.stringWidth(line + "…", name, size) > width:
        line = line[:-1]
    return f"{line.rstrip()}…"
