"""What every decoder gives, the words it refuses with, and the steps that they share."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from matcher.errors import Caveat
from matcher.photo.encoding import Encoding

if TYPE_CHECKING:
    from PIL import Image, ImageFile

MAX_PIXELS = 120_000_000
MAX_STORED_BYTES = 1_000_000_000
STRIP_ROWS = 256
"""Rows that are converted at a time: the whole picture at once would take as much memory again for each step."""

Stored = NDArray[Any]

DAMAGED = "is cut short or damaged: copy it again from the camera or phone it came from"
MOVING = "holds several pictures (an animation or a burst): save the one that you mean as a JPEG or PNG"
HDR = "is an HDR picture, whose brightness is not that of a print: save it as an ordinary JPEG, a TIFF or a raw file"
FOR_PRINT = "is in printing inks (CMYK): save it as an RGB picture with its profile"
BLACK_AND_WHITE = "has only black and white, no colours to read: give the photograph that it was made from"


_TRANSPARENT = (
    Caveat("transparent", "Parts of the picture are see-through; their hidden colours were read as they are stored."),
)


class RefusedError(Exception):
    """Why a file cannot be read, as the end of a sentence that begins with its name."""


@dataclass(frozen=True, eq=False)
class CameraRaw:
    """What a raw file says of its own colour.

    balance: (3,) multipliers that make the as-shot (else daylight) white equal in all channels, green 1.
    to_srgb: (3, 3), balanced camera RGB to linear sRGB, (1, 1, 1) to (1, 1, 1).
    """

    balance: NDArray[np.float64]
    to_srgb: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Decoded:
    """A file's stored values and what it says of them.

    pixels: (h, w, 3) uint8, uint16 or float32, as stored, not turned upright. orientation: EXIF's 1 to 8.
    encoding: what the file says apart from a profile, or None. grey: it has one channel, repeated here.
    """

    pixels: Stored
    orientation: int = 1
    profile: bytes | None = None
    encoding: Encoding | None = None
    exif: Image.Exif | None = None
    grey: bool = False
    raw: CameraRaw | None = None
    caveats: tuple[Caveat, ...] = ()


def check_size(width: int, height: int, pixel_bytes: int = 1) -> None:
    """Refuse a picture without pixels or with too many; called before anything is decoded.

    pixel_bytes: what a pixel takes while it is decoded, where that is more than the 8 of four 16-bit channels.
    """
    if width < 1 or height < 1:
        raise RefusedError(DAMAGED)
    most = min(MAX_PIXELS, MAX_STORED_BYTES // pixel_bytes)
    if width * height > most:
        raise RefusedError(
            f"has {width * height / 1e6:.0f} million pixels, more than the {most / 1e6:.0f} million of its kind that "
            "can be read: save a smaller copy"
        )


def from_pillow(image: ImageFile.ImageFile, encoding: Encoding | None = None) -> Decoded:
    """Decode an 8-bit picture that Pillow has opened; a file cut short raises OSError there."""
    if image.mode in ("CMYK", "YCCK"):
        raise RefusedError(FOR_PRINT)
    if image.mode == "1":
        raise RefusedError(BLACK_AND_WHITE)
    if image.mode not in ("L", "LA", "P", "PA", "RGB", "RGBA", "RGBX", "YCbCr"):
        raise RefusedError("keeps its colours in a way that cannot be read: save it as an RGB picture of 8 or 16 bits")
    image.load()
    pixels, grey, caveats = _copied_out(image)
    exif = exif_of(image)
    return Decoded(pixels, orientation_of(exif), image.info.get("icc_profile"), encoding, exif, grey, caveats=caveats)


def exif_of(image: ImageFile.ImageFile) -> Image.Exif | None:
    """Return the EXIF tags of a picture that Pillow has opened, None where they are broken."""
    try:
        return image.getexif()
    except Exception:  # a broken EXIF block costs the camera's name, never the picture
        return None


def _copied_out(image: ImageFile.ImageFile) -> tuple[Stored, bool, tuple[Caveat, ...]]:
    """Return a loaded picture's values by strips, as `three_channels` does."""
    mode = {"YCbCr": "RGB", "RGBX": "RGB"}.get(image.mode, image.mode)
    if mode in ("P", "PA"):
        mode = "RGBA" if "transparency" in image.info else "RGB"
    (width, height), channels = image.size, 1 if mode in ("L", "LA") else 3
    pixels, see_through = np.empty((height, width, channels), np.uint8), False
    for top in range(0, height, STRIP_ROWS):
        strip = image.crop((0, top, width, min(top + STRIP_ROWS, height)))
        values = np.asarray(strip if strip.mode == mode else strip.convert(mode)).reshape(-1, width, len(mode))
        pixels[top : top + STRIP_ROWS] = values[:, :, :channels]
        see_through = see_through or (mode.endswith("A") and bool((values[:, :, -1] < 255).any()))
    shown = pixels if channels == 3 else np.broadcast_to(pixels, (height, width, 3))
    return shown, channels == 1, _TRANSPARENT if see_through else ()


def by_opencv(data: bytes) -> tuple[Stored, bool, tuple[Caveat, ...]]:
    """Decode a picture of 16 bits or floating point, which Pillow would cut to 8, or a WebP, for which it would take
    five times its size; as `three_channels`."""
    import cv2

    # From a file, because OpenCV copies what it decodes from memory, and the largest pictures have no room for that.
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "photograph"
        file.write_bytes(data)
        flags = cv2.IMREAD_UNCHANGED | cv2.IMREAD_IGNORE_ORIENTATION
        pixels = cv2.imread(str(file), flags=flags, dst=None)
    if pixels is None:  # or it is a TIFF that lies on its side, which only works from memory
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if pixels is None:
        raise RefusedError(DAMAGED)
    if pixels.dtype == np.float64:
        pixels = pixels.astype(np.float32)
    if pixels.dtype not in (np.uint8, np.uint16, np.float32):
        raise RefusedError(f"has numbers of a kind that cannot be read ({pixels.dtype}): save it with 8 or 16 bits")
    if pixels.ndim == 2 or pixels.shape[2] < 3:
        return three_channels(pixels)
    see_through = pixels.shape[2] == 4 and _any_see_through(pixels)
    return _red_first(pixels), False, _TRANSPARENT if see_through else ()


def _red_first(pixels: Stored) -> Stored:
    """Turn OpenCV's (h, w, 3 or 4) with blue first into RGB (h, w, 3) in its own memory.

    A strip's RGB ends before the next strip's own values begin, so nothing is written over before it is read.
    """
    height, width = pixels.shape[:2]
    flat = np.ascontiguousarray(pixels).reshape(-1)
    rgb = flat[: height * width * 3].reshape(height, width, 3)
    for top in range(0, height, STRIP_ROWS):
        rgb[top : top + STRIP_ROWS] = pixels[top : top + STRIP_ROWS, :, 2::-1].copy()
    return rgb


def _any_see_through(pixels: Stored) -> bool:
    opaque = 1.0 if pixels.dtype.kind == "f" else np.iinfo(pixels.dtype).max
    strips = (pixels[top : top + STRIP_ROWS, :, -1] for top in range(0, len(pixels), STRIP_ROWS))
    return any(bool((strip < opaque).any()) for strip in strips)


def three_channels(pixels: Stored) -> tuple[Stored, bool, tuple[Caveat, ...]]:
    """Return (h, w, 3), whether there was one channel only, and a caveat where parts are see-through."""
    if pixels.ndim == 2:
        pixels = pixels[:, :, np.newaxis]
    channels = pixels.shape[2]
    caveats = _TRANSPARENT if channels in (2, 4) and _any_see_through(pixels) else ()
    if channels <= 2:
        return np.broadcast_to(pixels[:, :, :1], (*pixels.shape[:2], 3)), True, caveats
    return (np.ascontiguousarray(pixels[:, :, :3]) if channels > 3 else pixels), False, caveats


def read_exif(block: bytes | None) -> Image.Exif | None:
    """Return the tags of an EXIF block (or of a TIFF file), None where there is none or it is broken."""
    from PIL import Image

    if not block:
        return None
    exif = Image.Exif()
    try:
        exif.load(block)
    except Exception:  # a broken EXIF block costs the camera's name, never the picture
        return None
    return exif


def orientation_of(exif: Image.Exif | None) -> int:
    """Return the EXIF orientation, 1 where it is missing or senseless."""
    value = exif.get(274) if exif else None
    return value if isinstance(value, int) and 1 <= value <= 8 else 1
