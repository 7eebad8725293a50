"""TIFF of 8 or 16 bits or floating point, and how to tell a camera raw file from it."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, BinaryIO

import numpy as np

from matcher.photo.stored import (
    DAMAGED,
    FOR_PRINT,
    Decoded,
    RefusedError,
    by_opencv,
    check_size,
    from_pillow,
    read_exif,
)

if TYPE_CHECKING:
    from PIL.TiffImagePlugin import ImageFileDirectory_v2 as Directory

MARKS = (b"II*\0", b"MM\0*", b"II+\0")
RAW_TIFF_SUFFIXES = (".dng", ".cr2", ".nef", ".arw")
"""Of the camera-raw formats that are TIFF files inside."""

# Tags and values of TIFF 6.0, TIFF/EP and DNG 1.7.
_NEW_SUBFILE_TYPE, _WIDTH, _HEIGHT, _BITS, _PHOTOMETRIC, _PROFILE = 254, 256, 257, 258, 262, 34675
_SUB_DIRECTORIES, _DNG_VERSION = 330, 50706
_SAMPLES, _PLANAR, _FORMAT, _ORIENTATION = 277, 284, 339, 274
_WHITE_IS_ZERO, _INKS, _CIELAB_KINDS, _SENSOR_KINDS = 0, 5, (8, 9, 10), (32803, 34892)
_SMALL_COPY_OR_MASK = 0b101


def decode_tiff(data: bytes) -> Decoded:
    """Read a TIFF that holds one picture (and perhaps small copies of it)."""
    from PIL import TiffImagePlugin

    pages = _directories(io.BytesIO(data))
    page = pages[0]
    check_size(int(page[_WIDTH]), int(page[_HEIGHT]))
    if sum(not int(other.get(_NEW_SUBFILE_TYPE, 0)) & _SMALL_COPY_OR_MASK for other in pages) > 1:
        raise RefusedError("holds several pages: save the one that you mean as a single TIFF")
    photometric, bits = page.get(_PHOTOMETRIC, 1), set(page.get(_BITS, (1,)))
    if photometric == _INKS:
        raise RefusedError(FOR_PRINT)
    if photometric in _CIELAB_KINDS:
        raise RefusedError("keeps its colours as CIELAB: save it as an RGB TIFF of 8 or 16 bits")
    if max(bits) <= 8:
        return from_pillow(TiffImagePlugin.TiffImageFile(io.BytesIO(data)))
    samples = int(page.get(_SAMPLES, 1))
    if samples > 4 or (samples > 1 and page.get(_PLANAR, 1) != 1) or (max(bits) < 32 and 3 in page.get(_FORMAT, ())):
        raise RefusedError("keeps its values in an unusual way: save it as an interleaved RGB TIFF of 8 or 16 bits")
    copies = 1 + (int(page.get(_ORIENTATION, 1)) >= 5) + 0.5 * (max(bits) > 32)  # turned; those of 64 bits, made 32
    check_size(int(page[_WIDTH]), int(page[_HEIGHT]), int(copies * samples * max(bits) / 8))
    pixels, grey, caveats = by_opencv(data)
    if photometric == _WHITE_IS_ZERO and pixels.dtype == np.uint16:
        pixels = 65535 - pixels
    # Unlike Pillow, OpenCV's TIFF reader has already turned the picture upright.
    return Decoded(pixels, 1, page.get(_PROFILE), None, read_exif(data), grey, caveats=caveats)


def raw_suffix(file: BinaryIO, suffix: str) -> str | None:
    """Return the suffix that a camera raw file is kept under, None for any other TIFF.

    It is told by its mark, its DNG version, or a picture of bare sensor values. suffix: of the file's name, which
    decides where the file is too damaged to look into.
    """
    file.seek(8)
    if file.read(2) == b"CR":
        return ".cr2"
    claimed = suffix if suffix in RAW_TIFF_SUFFIXES else None
    try:
        directories = _directories(file)
        for page in tuple(directories):
            inner = page.get(_SUB_DIRECTORIES, ())
            directories += [_directory(file, at) for at in (inner if isinstance(inner, tuple) else (inner,))]
    except Exception:  # the parser raises whatever it trips over
        return claimed
    if any(_DNG_VERSION in page for page in directories):
        return ".dng"
    bare = any(page.get(_PHOTOMETRIC) in _SENSOR_KINDS for page in directories)
    return (claimed or ".tif") if bare else None


def _header(file: BinaryIO) -> bytes:
    file.seek(0)
    start = file.read(16)
    return start if start[2:3] == b"+" else start[:8]  # BigTIFF's is longer


def _directory(file: BinaryIO, offset: int) -> Directory:
    from PIL.TiffImagePlugin import ImageFileDirectory_v2

    directory = ImageFileDirectory_v2(_header(file))
    file.seek(offset)
    directory.load(file)
    return directory


def _directories(file: BinaryIO) -> list[Directory]:
    """Return the tags of each page in the file's chain, of the first 16 where there are more."""
    from PIL.TiffImagePlugin import ImageFileDirectory_v2

    pages: list[Directory] = []
    offset, seen = ImageFileDirectory_v2(_header(file)).next, set[int]()
    while offset and offset not in seen and len(pages) < 16:
        seen.add(offset)
        pages.append(_directory(file, offset))
        offset = pages[-1].next
    if not pages:
        raise RefusedError(DAMAGED)
    return pages
