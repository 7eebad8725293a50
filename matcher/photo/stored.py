"""What every decoder gives, the words it refuses with, and the steps that they share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from matcher.errors import Caveat
from matcher.photo.encoding import Encoding

if TYPE_CHECKING:
    from PIL import Image, ImageFile

MAX_PIXELS = 120_000_000

Stored = NDArray[Any]

DAMAGED = "is cut short or damaged: copy it again from the camera or phone it came from"
MOVING = "holds several pictures (an animation or a burst): save the one that you mean as a JPEG or PNG"
HDR = "is an HDR picture, whose brightness is not that of a print: save it as an ordinary JPEG, a TIFF or a raw file"
FOR_PRINT = "is in printing inks (CMYK): save it as an RGB picture with its profile"
BLACK_AND_WHITE = "has only black and white, no colours to read: give the photograph that it was made from"


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


def check_size(width: int, height: int) -> None:
    """Refuse a picture without pixels or with too many; called before anything is decoded."""
    if width < 1 or height < 1:
        raise RefusedError(DAMAGED)
    if width * height > MAX_PIXELS:
        raise RefusedError(
            f"has {width * height / 1e6:.0f} million pixels, more than the {MAX_PIXELS / 1e6:.0f} million that "
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
    plain: Image.Image = image
    if image.mode in ("P", "PA"):
        plain = image.convert("RGBA" if "transparency" in image.info else "RGB")
    elif image.mode in ("YCbCr", "RGBX"):
        plain = image.convert("RGB")
    pixels, grey, caveats = three_channels(np.asarray(plain))
    exif: Image.Exif | None
    try:
        exif = image.getexif()
    except Exception:  # a broken EXIF block costs the camera's name, never the picture
        exif = None
    return Decoded(pixels, orientation_of(exif), image.info.get("icc_profile"), encoding, exif, grey, caveats=caveats)


def by_opencv(data: bytes) -> tuple[Stored, bool, tuple[Caveat, ...]]:
    """Decode a 16-bit or floating-point picture, which Pillow would cut to 8 bits; as `three_channels`."""
    import cv2

    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED | cv2.IMREAD_IGNORE_ORIENTATION)
    if pixels is None:
        raise RefusedError(DAMAGED)
    if pixels.dtype == np.float64:
        pixels = pixels.astype(np.float32)
    if pixels.dtype not in (np.uint8, np.uint16, np.float32):
        raise RefusedError(f"has numbers of a kind that cannot be read ({pixels.dtype}): save it with 8 or 16 bits")
    if pixels.ndim == 3 and pixels.shape[2] >= 3:
        swap = cv2.COLOR_BGR2RGB if pixels.shape[2] == 3 else cv2.COLOR_BGRA2RGBA
        pixels = cv2.cvtColor(pixels, swap)
    return three_channels(pixels)


def three_channels(pixels: Stored) -> tuple[Stored, bool, tuple[Caveat, ...]]:
    """Return (h, w, 3), whether there was one channel only, and a caveat where parts are see-through."""
    if pixels.ndim == 2:
        pixels = pixels[:, :, np.newaxis]
    channels = pixels.shape[2]
    caveats: tuple[Caveat, ...] = ()
    if channels in (2, 4):
        opaque = 1.0 if pixels.dtype.kind == "f" else np.iinfo(pixels.dtype).max
        if (pixels[:, :, -1] < opaque).any():
            message = "Parts of the picture are see-through; their hidden colours were read as they are stored."
            caveats = (Caveat("transparent", message),)
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
