"""An invented studio: its process, its plates, its rendered photographs, and a log to try everything on."""

from __future__ import annotations

from matcher.demo.studio import WalkThrough, make_demo_studio, one_plate, two_finishes, walk_through

__all__ = ["WalkThrough", "make_demo_studio", "one_plate", "two_finishes", "walk_through"]
