"""What a photograph's EXIF says of the camera, and what counts as another camera or as the same light.

Every room that compares the cameras of two photographs, or names one, takes the rule from here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from PIL import Image

SAME_SESSION_S = 15 * 60
SAME_LIGHT_VALUE = 1.5  # stops


@dataclass(frozen=True)
class CameraInfo:
    """What EXIF says of the camera and the exposure; None for what it does not say.

    taken_at: camera's clock. white_balance: "auto" or "manual". light_source: the number of a kind of light.
    """

    make: str | None = None
    model: str | None = None
    lens: str | None = None
    taken_at: datetime | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: int | None = None
    white_balance: str | None = None
    light_source: int | None = None

    @property
    def light_value(self) -> float | None:
        """The exposure in stops at ISO 100 (log2 of f-number squared over seconds): how much light there was."""
        if self.exposure_s is None or self.f_number is None or self.iso is None:
            return None
        return math.log2(self.f_number**2 / self.exposure_s * 100 / self.iso)

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


def balanced_alike(one: CameraInfo | None, other: CameraInfo | None) -> bool:
    """Tell whether one camera balanced both files by hand for the same kind of light (Exif 2.32, LightSource).

    By hand alone is not enough: who sets it anew for every lamp hides the lamp as well as the camera does.
    """
    if one is None or other is None or not surely_same(one, other):
        return False
    by_hand = one.white_balance == other.white_balance == "manual"
    return by_hand and one.light_source is not None and one.light_source == other.light_source


def one_session(one: CameraInfo | None, other: CameraInfo | None) -> bool:
    """Tell whether one camera took both files within a quarter of an hour, in as much light to a stop and a half."""
    if one is None or other is None or not surely_same(one, other):
        return False
    times, values = (one.taken_at, other.taken_at), (one.light_value, other.light_value)
    if None in times or None in values:
        return False
    earlier, later = (time.replace(tzinfo=None) for time in times if time is not None)  # both by the camera's clock
    first, second = (value for value in values if value is not None)
    return abs((later - earlier).total_seconds()) <= SAME_SESSION_S and abs(first - second) <= SAME_LIGHT_VALUE


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
        white_balance={0: "auto", 1: "manual"}.get(_exif_code(tags.get(0xA403))),
        light_source=code if (code := _exif_code(tags.get(0x9208))) > 0 else None,
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


def _exif_code(value: Any) -> int:
    """Return a tag's code; -1 for none, and 0, which says "unknown" of a light, for 255, "other"."""
    number = value[0] if isinstance(value, tuple) and value else value
    if not isinstance(number, int):
        return -1
    return 0 if number == 255 else number


def _exif_time(value: object) -> datetime | None:
    try:
        return datetime.strptime((_exif_text(value) or "")[:19], "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
