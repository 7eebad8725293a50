"""What a photograph's EXIF says of the camera, and what counts as another camera.

Every room that compares the cameras of two photographs, or names one, takes the rule from here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from PIL import Image


@dataclass(frozen=True)
class CameraInfo:
    """What EXIF says of the camera and the exposure; None for what it does not say. taken_at: camera's clock."""

    make: str | None = None
    model: str | None = None
    lens: str | None = None
    taken_at: datetime | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: int | None = None

    @property
    def name(self) -> str:
        """Make and model; "" where the model is not known, without which a make names no camera."""
        return "" if self.model is None else " ".join(part for part in (self.make, self.model) if part)

    def as_dict(self) -> dict[str, Any]:
        return {**vars(self), "taken_at": None if self.taken_at is None else self.taken_at.isoformat()}


def camera_name(camera: CameraInfo | None) -> str:
    """Return make and model of a photograph's camera, "" where the file does not name it."""
    return "" if camera is None else camera.name


def what_differs(one: CameraInfo | None, other: CameraInfo | None) -> Literal["", "camera", "lens"]:
    """Return which part of the equipment is known to be another; what either file does not say does not differ."""
    if one is None or other is None:
        return ""

    def differs(name: str) -> bool:
        here, there = getattr(one, name), getattr(other, name)
        return bool(here and there and here != there)

    if differs("make") or differs("model"):
        return "camera"
    return "lens" if differs("lens") else ""


def surely_same(one: CameraInfo | None, other: CameraInfo | None) -> bool:
    """Tell whether both files name their camera, and nothing known of it or its lens differs."""
    return bool(camera_name(one) and camera_name(other)) and not what_differs(one, other)


def exif_part(exif: Image.Exif | None, part: int) -> dict[int, Any]:
    """Return the tags of one part of an EXIF block by number, none where there is no such part."""
    try:
        return dict(exif.get_ifd(part)) if exif else {}
    except Exception:  # a broken EXIF block costs what it would have said, never the picture
        return {}


def camera_of(exif: Image.Exif | None) -> CameraInfo | None:
    """Return what an EXIF block says of the camera, None where it says nothing (Exif 2.32)."""
    tags = {**(dict(exif) if exif else {}), **exif_part(exif, 0x8769)}
    info = CameraInfo(
        make=_exif_text(tags.get(271)),
        model=_exif_text(tags.get(272)),
        lens=_exif_text(tags.get(0xA434)),
        taken_at=_exif_time(tags.get(0x9003) or tags.get(306)),
        exposure_s=_exif_number(tags.get(0x829A)),
        f_number=_exif_number(tags.get(0x829D)),
        iso=None if (iso := _exif_number(tags.get(0x8827))) is None else round(iso),
    )
    return None if info == CameraInfo() else info


def _exif_text(value: object) -> str | None:
    text = value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value or "")
    return " ".join(text.replace("\0", " ").split())[:200] or None


def _exif_number(value: Any) -> float | None:
    try:
        number = float(value[0] if isinstance(value, tuple) else value)
    except (TypeError, ValueError, ZeroDivisionError, IndexError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _exif_time(value: object) -> datetime | None:
    try:
        return datetime.strptime((_exif_text(value) or "")[:19], "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
