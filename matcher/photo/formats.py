"""A file's bytes become an array of its stored values: which format it is, and who reads it.

First step of `open_photo`. The content decides, never the name; what is refused is refused with a reason.
"""

from __future__ import annotations

from collections.abc import Callable

from matcher.photo.everyday import decode_heic, decode_jpeg, decode_png, decode_webp
from matcher.photo.raw import decode_raw
from matcher.photo.stored import DAMAGED, MAX_PIXELS, MOVING, READABLE, CameraRaw, Decoded, RefusedError, Stored
from matcher.photo.tiff import MARKS, decode_tiff, is_camera_raw

__all__ = ["MAX_PIXELS", "CameraRaw", "Decoded", "RefusedError", "Stored", "decode"]

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
    decoder = _decoder_for(data, suffix)
    try:
        return decoder(data)
    except RefusedError:
        raise
    except MemoryError as error:
        raise RefusedError("needs more memory than this machine has free: save a smaller copy") from error
    except Exception as error:  # the decoders raise whatever their parsers trip over in a damaged file
        raise RefusedError(DAMAGED) from error


def _decoder_for(data: bytes, suffix: str) -> Callable[[bytes], Decoded]:
    if not data:
        raise RefusedError("is empty: copy it again from the camera or phone it came from")
    if data[:3] == b"\xff\xd8\xff":
        return decode_jpeg
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return decode_png
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return decode_webp
    if data[:4] in MARKS:
        return decode_raw if is_camera_raw(data, suffix) else decode_tiff
    if data[4:8] == b"ftyp":
        return _decoder_for_brand(data[8:12])
    head = data[:512].lstrip(b"\xef\xbb\xbf \t\r\n")
    for start, what in _OTHER_FILES.items():
        if head.startswith(start):
            raise RefusedError(f"is {what}: {READABLE}")
    raise RefusedError(f"is not a photograph, whatever its name says: {READABLE}")


def _decoder_for_brand(brand: bytes) -> Callable[[bytes], Decoded]:
    """Tell the formats apart that share the boxes of ISO/IEC 14496-12, by their major brand."""
    if brand in _HEIF_BRANDS:
        return decode_heic
    if brand == b"crx ":
        return decode_raw
    if brand in _HEIF_SEQUENCE_BRANDS:
        raise RefusedError(MOVING)
    if brand in (b"avif", b"avis"):
        raise RefusedError(f"is an AVIF picture: {READABLE}")
    raise RefusedError(f"is a film, not a photograph: {READABLE}")
