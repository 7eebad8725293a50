"""Marks on a photograph: the browser side is draw.html, draw.css and draw.js; this is what a page calls.

Points go back in pixels of the full picture. Marks live in the caller's draft, so they survive reruns and reloads.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

import streamlit as st

Task = Literal["regions", "corners", "look"]
Point = tuple[float, float]


@dataclass(frozen=True)
class Shape:
    """One mark. kind: "box", "outline" or "corners"; points: (x, y) in pixels of the full picture."""

    kind: str
    points: tuple[Point, ...]

    def as_dict(self) -> dict[str, Any]:
        return {"kind": self.kind, "points": [list(point) for point in self.points]}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> Shape:
        return cls(str(data["kind"]), tuple((float(x), float(y)) for x, y in data["points"]))


@dataclass(frozen=True)
class Picture:
    """What the browser shows. source: an address on this server. width, height: those of the full picture."""

    source: str
    width: int
    height: int
    alt: str = "The photograph"


@dataclass(frozen=True)
class Fixed:
    """An outline that is shown but cannot be moved, with its name; proposed: as one that a person is asked about."""

    points: tuple[Point, ...]
    label: str = ""
    proposed: bool = False


def draw(
    picture: Picture,
    task: Task,
    shapes: Sequence[Shape] = (),
    *,
    key: str,
    noun: str = "finish",
    plural: str = "finishes",
    most: int = 1,
    tools: Sequence[str] = ("box", "outline"),
    fixed: Sequence[Fixed] = (),
) -> tuple[Shape, ...]:
    """Show the picture with ``shapes`` on it, and return them as the person has left them.

    Pass what the last run returned, unless the page itself changes the marks. task: "regions" (boxes and outlines,
    at most ``most`` of them), "corners" (one quadrilateral) or "look" (nothing to draw).
    """
    shapes = tuple(shapes)
    round_ = _Round.of(key)
    reported = round_.reported()
    if shapes != round_.returned or (reported is None and round_.returned != round_.sent):
        round_ = _Round(key, secrets.token_hex(4), sent=shapes, returned=shapes)
        reported = None
    _component()(
        key=key,
        data={
            "id": key,
            "picture": picture.source,
            "width": picture.width,
            "height": picture.height,
            "alt": picture.alt,
            "task": task,
            "tools": list(tools),
            "most": most,
            "noun": noun,
            "plural": plural,
            "fixed": [asdict(mark) for mark in fixed],
            "revision": round_.revision,
            "shapes": [shape.as_dict() for shape in round_.sent],
        },
        on_marks_change=lambda: None,
    )
    round_.returned = shapes if reported is None else reported
    round_.keep()
    return round_.returned


@dataclass
class _Round:
    """What was last sent to the browser and what came back of it.

    The browser owns the marks between two revisions, so that a slow rerun never undoes a stroke just drawn; the
    page takes them over by sending a new revision. ``sent`` stays the same within a revision, so that the picture
    is not sent again after every stroke.
    """

    key: str
    revision: str
    sent: tuple[Shape, ...]
    returned: tuple[Shape, ...]

    @classmethod
    def of(cls, key: str) -> _Round:
        known = st.session_state.get(f"{key}.round")
        return known if isinstance(known, cls) else cls(key, secrets.token_hex(4), (), ())

    def keep(self) -> None:
        st.session_state[f"{self.key}.round"] = self

    def reported(self) -> tuple[Shape, ...] | None:
        """What the browser reported in this revision, or None when it reported nothing yet."""
        state = st.session_state.get(self.key)
        marks = state.get("marks") if state else None
        if not marks or marks.get("revision") != self.revision:
            return None
        return tuple(Shape.from_dict(shape) for shape in marks.get("shapes", ()))


@cache
def _component() -> Any:
    here = Path(__file__).parent
    html, css, js = (here.joinpath(f"draw.{kind}").read_text(encoding="utf-8") for kind in ("html", "css", "js"))
    return st.components.v2.component("patina_matcher.draw", html=html, css=css, js=js)
