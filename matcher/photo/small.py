"""A photograph small enough to send to a screen: the few sizes there are, what tells one from another, its JPEG.

Beside the flow of a reading: what is made here is looked at, never measured.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats
from matcher.errors import Misfit, PhotoError, file_in_words
from matcher.files import opened
from matcher.photo.formats import format_of
from matcher.photo.photo import Photo, open_photo
from matcher.photo.stored import DAMAGED, RefusedError, exif_of, orientation_of

if TYPE_CHECKING:
    from PIL import ImageFile

SIDES = (480, 640, 1200, 1600)
"""The longest sides that are made, in pixels: a row of a list, an example, a plate's own page, a picture to draw on."""

PATCH_SIDES = (120, 240, 480)
"""The sides of patches that are made, in pixels: a list on a plain screen or on a fine one, a plate's own page."""

MADE_THUS = 1
"""To be raised when pictures are made differently: what browsers and the studio have kept is then made anew."""

JPEG_QUALITY = 84
_TURNED = 5
"""EXIF's orientations from 5 on lie on their side (Exif 2.32, tag 274)."""


def jpeg_of(pixels: NDArray[np.uint8]) -> bytes:
    """Return sRGB pixels (h, w, 3) as the bytes of a JPEG file."""
    import cv2

    _, coded = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return bytes(coded.tobytes())


def small_jpeg(photo: Photo, side: int) -> bytes:
    """Return a photograph as a JPEG whose longest side is ``side`` pixels, one of SIDES; never enlarged."""
    return jpeg_of(photo.preview(checked_side(side)))


def checked_side(side: int, sides: Sequence[int] = SIDES) -> int:
    """Return ``side`` if it is one of ``sides``. Raises PhotoError: others are not made, lest anyone fill the disk."""
    if side not in sides:
        raise PhotoError(f"Ask for a picture of {', '.join(map(str, sides[:-1]))} or {sides[-1]} pixels, not {side}.")
    return side


class ReadFinish(Protocol):
    """Of a reading, what its patch hangs on."""

    @property
    def photo(self) -> str | None: ...
    @property
    def region(self) -> Floats | None: ...
    @property
    def lab(self) -> Floats: ...
    @property
    def left_out_share(self) -> float: ...


def patch_key(read: ReadFinish) -> str:
    """Return 40 hex digits that say all that a patch hangs on, so that a finish read again has another patch."""
    outline = None if read.region is None else np.asarray(read.region, dtype=float).round(3).tolist()
    told = (read.photo, outline, read.lab.round(6).tolist(), round(read.left_out_share, 6), MADE_THUS)
    return hashlib.sha256(repr(told).encode()).hexdigest()[:40]


def shown_size(width: int, height: int, side: int) -> tuple[int, int]:
    """Return width and height of a photograph of ``width`` by ``height`` pixels as ``small_jpeg`` makes it."""
    scale = min(1.0, side / max(width, height))
    return max(1, round(width * scale)), max(1, round(height * scale))


def size_of(path: Path) -> tuple[int, int]:
    """Return width and height in pixels of a photograph's file, upright. Raises PhotoError.

    Of the everyday formats only the head is read, so a file that is damaged behind it still has a size; a TIFF or a
    camera raw file is decoded.
    """
    try:
        with opened(path) as file:
            name = format_of(file, path.suffix.lower())[0].name
    except Misfit as misfit:
        raise PhotoError(f"{file_in_words(path.name)} {misfit}.") from misfit
    except RefusedError as refused:
        raise PhotoError(f"{file_in_words(path.name)} {refused}.") from refused
    try:
        found = _size_in_the_head(path, name)
    except Exception as error:  # the libraries raise whatever they trip over in a damaged file
        raise PhotoError(f"{file_in_words(path.name)} {DAMAGED}.") from error
    if found is None:
        photo = open_photo(path)
        found = photo.width, photo.height
    return found


def _size_in_the_head(path: Path, name: str) -> tuple[int, int] | None:
    """Return what the head of a JPEG, PNG, WebP or HEIC file says, None for another format."""
    if name == "HEIC":
        import pillow_heif

        width, height = pillow_heif.open_heif(path).size  # the container's rotation is in it
        return int(width), int(height)
    from PIL import JpegImagePlugin, PngImagePlugin, WebPImagePlugin

    with path.open("rb") as file:
        image: ImageFile.ImageFile
        if name == "JPEG":
            image = JpegImagePlugin.JpegImageFile(file)
        elif name == "PNG":
            image = PngImagePlugin.PngImageFile(file)
        elif name == "WebP":
            image = WebPImagePlugin.WebPImageFile(file)
        else:
            return None
        width, height = image.size
        turned = orientation_of(exif_of(image)) >= _TURNED
    return (height, width) if turned else (width, height)
