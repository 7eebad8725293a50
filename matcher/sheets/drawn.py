"""What sheets draw beside words: finishes on neutral grey, boxes to tick, lines to sign on."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from reportlab.lib import colors
from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable

from matcher.colour.cielab import lab_to_srgb8
from matcher.colour.types import Floats
from matcher.sheets.paper import INK, LINE, MM, PLAIN, SOFT, fitted, use_type

MAT = colors.Color(*(float(value) / 255 for value in lab_to_srgb8(np.array([50.0, 0.0, 0.0]))))
"""Neutral grey of L* 50 around every finish: the eye judges colour against its surround."""
BOX_MM, BOX_GAP_MM = 5.0, 2.0


@dataclass(frozen=True, eq=False)
class Shown:
    """A finish to be drawn: its name, its CIELAB, and its patch (a square JPEG) where there is one."""

    name: str
    lab: Floats
    patch: bytes | None = None


class Finishes(Flowable):  # type: ignore[misc]  # reportlab has no types
    """Finishes side by side without a gap, on a mat of neutral grey, their names below."""

    def __init__(self, shown: Sequence[Shown], side_mm: float = 32.0, mat_mm: float = 5.0) -> None:
        super().__init__()
        use_type()
        self.shown, self.side, self.mat = tuple(shown), side_mm * MM, mat_mm * MM
        self.name_height = 4.5 * MM if any(one.name for one in shown) else 0.0

    def wrap(self, width: float, _height: float) -> tuple[float, float]:
        across = len(self.shown) * self.side + 2 * self.mat
        if across > width:  # never wider than its place
            self.side = (width - 2 * self.mat) / len(self.shown)
        self.width = len(self.shown) * self.side + 2 * self.mat
        self.height = self.side + 2 * self.mat + self.name_height
        return self.width, self.height

    def draw(self) -> None:
        page = self.canv
        page.setFillColor(MAT)
        page.rect(0, self.name_height, self.width, self.side + 2 * self.mat, stroke=0, fill=1)
        for place, one in enumerate(self.shown):
            left, bottom = self.mat + place * self.side, self.mat + self.name_height
            if one.patch is None:
                red, green, blue = (float(value) / 255 for value in lab_to_srgb8(one.lab))
                page.setFillColor(colors.Color(red, green, blue))
                page.rect(left, bottom, self.side, self.side, stroke=0, fill=1)
            else:
                page.drawImage(ImageReader(io.BytesIO(one.patch)), left, bottom, self.side, self.side)
            page.setFont(PLAIN, 7.5)
            page.setFillColor(SOFT)
            page.drawString(left, 1.2 * MM, fitted(one.name, 7.5, self.side - 3))


class Boxes(Flowable):  # type: ignore[misc]  # reportlab has no types
    """So many boxes to tick, one a pass, every fifth numbered; on as many lines as they take."""

    def __init__(self, count: int) -> None:
        super().__init__()
        use_type()
        self.count = count

    def wrap(self, width: float, _height: float) -> tuple[float, float]:
        self.across = max(1, int((width + BOX_GAP_MM * MM) // ((BOX_MM + BOX_GAP_MM) * MM)))
        self.lines = -(-self.count // self.across)
        self.width, self.height = width, self.lines * (BOX_MM + BOX_GAP_MM) * MM
        return self.width, self.height

    def draw(self) -> None:
        page, step = self.canv, (BOX_MM + BOX_GAP_MM) * MM
        page.setStrokeColor(INK)
        page.setLineWidth(0.7)
        for place in range(self.count):
            line, column = divmod(place, self.across)
            left, bottom = column * step, self.height - (line + 1) * step + BOX_GAP_MM * MM
            page.rect(left, bottom, BOX_MM * MM, BOX_MM * MM)
            if (place + 1) % 5 == 0:
                page.setFont(PLAIN, 5.5)
                page.setFillColor(SOFT)
                page.drawCentredString(left + BOX_MM * MM / 2, bottom + 0.6 * MM, str(place + 1))


class SignHere(Flowable):  # type: ignore[misc]  # reportlab has no types
    """Lines to write on, each with what it is for below."""

    def __init__(self, labels: Sequence[str], height_mm: float = 15.0) -> None:
        super().__init__()
        use_type()
        self.labels, self.line_height = tuple(labels), height_mm * MM

    def wrap(self, width: float, _height: float) -> tuple[float, float]:
        self.width, self.height = width, self.line_height
        return self.width, self.height

    def draw(self) -> None:
        page, share = self.canv, self.width / len(self.labels)
        page.setStrokeColor(LINE)
        page.setLineWidth(0.7)
        page.setFillColor(SOFT)
        page.setFont(PLAIN, 7.5)
        for place, label in enumerate(self.labels):
            left = place * share
            page.line(left, 4.5 * MM, left + share - 5 * MM, 4.5 * MM)
            page.drawString(left, 1.2 * MM, fitted(label, 7.5, share - 5 * MM))
