"""The formats of photograph that are read, how each is told from its first bytes, and who decodes it.

The one list of them: `open_photo` decodes by it, the studio keeps what it names. The content decides, never the name;
what is refused is refused with a reason.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import BinaryIO

from matcher.photo.everyday import decode_heic, decode_jpeg, decode_png, decode_webp
from matcher.photo.quiet import libraries_kept_quiet
from matcher.photo.raw import decode_raw
from matcher.photo.stored import DAMAGED, MOVING, Decoded, RefusedError
from matcher.photo.tiff import MARKS, RAW_TIFF_SUFFIXES, decode_tiff, raw_suffix

MAX_BYTES = 256_000_000
_CR3_SUFFIX = ".cr3"


@dataclass(frozen=True)
class Format:
    """A format that is read. suffixes: endings of its files' names, in lower case; most are kept under the first."""

    name: str
    suffixes: tuple[str, ...]
    decode: Callable[[bytes], Decoded]


_JPEG = Format("JPEG", (".jpg", ".jpeg"), decode_jpeg)
_PNG = Format("PNG", (".png",), decode_png)
_WEBP = Format("WebP", (".webp",), decode_webp)
_TIFF = Format("TIFF", (".tif", ".tiff"), decode_tiff)
_HEIC = Format("HEIC", (".heic", ".heif"), decode_heic)
_RAW = Format("camera raw", (*RAW_TIFF_SUFFIXES, _CR3_SUFFIX), decode_raw)
FORMATS = (_JPEG, _PNG, _WEBP, _TIFF, _HEIC, _RAW)

READABLE = (
    f"give a {', '.join(one.name for one in FORMATS[:-1])} or {_RAW.name} file "
    f"({', '.join(suffix[1:].upper() for suffix in _RAW.suffixes)})"
)

_OTHER_FILES = {
    b"GIF8": "a GIF, which keeps too few colours",
    b"%PDF": "a PDF document, not a photograph",
    b"BM": "a BMP picture, which does not say what its colours are",
    b"<svg": "an SVG drawing, not a photograph",
    b"<?xml": "an SVG or XML document, not a photograph",
    b"<!DOC": "a web page, not a photograph",
    b"<html": "a web page, not a photograph",
    b"MM\0+": "a TIFF of a rare kind (BigTIFF, big-endian)",
    b"8BPS": "a layered working document, not a plain picture",
    b"PK\x03\x04": "a zip archive or an office document, not a photograph",
    b"\x1f\x8b": "a compressed archive, not a photograph",
}
_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"mif1", b"mif2")
_HEIF_SEQUENCE_BRANDS = (b"msf1", b"hevc", b"hevx", b"hevm", b"hevs")


def decode(data: bytes, suffix: str = "") -> Decoded:
    """Read a file's bytes; ``suffix`` is its name's ending, in lower case.

    Raises RefusedError, and nothing else, when it cannot be read.
    """
    found, _ = format_of(io.BytesIO(data), suffix)
    try:
        with libraries_kept_quiet():
            return found.decode(data)
    except RefusedError:
        raise
    except MemoryError as error:
        raise RefusedError("needs more memory than this machine has free: save a smaller copy") from error
    except Exception as error:  # the decoders raise whatever their parsers trip over in a damaged file
        raise RefusedError(DAMAGED) from error


def format_of(file: BinaryIO, suffix: str) -> tuple[Format, str]:
    """Return the format that a file's bytes show, and the suffix that such a file is kept under.

    suffix: its name's ending, in lower case, which only tells one camera's raw files from another's. Nothing is
    decoded. Raises RefusedError when it is none of FORMATS.
    """
    head = file.read(512)
    if not head:
        raise RefusedError("is empty: copy it again from the camera or phone it came from")
    if head[:3] == b"\xff\xd8\xff":
        return _plain(_JPEG)
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return _plain(_PNG)
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return _plain(_WEBP)
    if head[:4] in MARKS:
        with libraries_kept_quiet():
            raw = raw_suffix(file, suffix)
        return _plain(_TIFF) if raw is None else (_RAW, raw)
    if head[4:8] == b"ftyp":
        return _of_brand(head[8:12])
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    for mark, what in _OTHER_FILES.items():
        if start.startswith(mark):
            raise RefusedError(f"is {what}: {READABLE}")
    raise RefusedError(f"is not a photograph, whatever its name says: {READABLE}")


def _plain(found: Format) -> tuple[Format, str]:
    return found, found.suffixes[0]


def _of_brand(brand: bytes) -> tuple[Format, str]:
    """Tell the formats apart that share the boxes of ISO/IEC 14496-12, by their major brand."""
    if brand in _HEIF_BRANDS:
        return _plain(_HEIC)
    if brand == b"crx ":
        return _RAW, _CR3_SUFFIX
    if brand in _HEIF_SEQUENCE_BRANDS:
        raise RefusedError(MOVING)
    if brand in (b"avif", b"avis"):
        raise RefusedError(f"is an AVIF picture: {READABLE}")
    raise RefusedError(f"is a film, not a photograph: {READABLE}")
