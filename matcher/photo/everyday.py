"""JPEG, PNG, WebP and HEIC: what phones, cameras and clients send."""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import replace

import numpy as np

from matcher.errors import Caveat
from matcher.photo.encoding import BrokenProfileError, Encoding, coded_encoding, gamma_encoding, primaries_to_srgb
from matcher.photo.stored import (
    BLACK_AND_WHITE,
    DAMAGED,
    HDR,
    MOVING,
    STRIP_ROWS,
    Decoded,
    RefusedError,
    Stored,
    by_opencv,
    check_size,
    exif_of,
    from_pillow,
    orientation_of,
    read_exif,
    three_channels,
)


def decode_jpeg(data: bytes) -> Decoded:
    """Read a JPEG; of a phone's JPEG with further pictures behind the first (MPO), the first."""
    from PIL import JpegImagePlugin

    # The plug-in itself, not Image.open: so no process-wide list of formats or limit of size comes between.
    image = JpegImagePlugin.JpegImageFile(io.BytesIO(data))
    check_size(*image.size)
    return from_pillow(image)


def decode_webp(data: bytes) -> Decoded:
    """Read a WebP that holds one picture."""
    from PIL import WebPImagePlugin

    image = WebPImagePlugin.WebPImageFile(io.BytesIO(data))
    check_size(*image.size)
    if image.n_frames > 1:
        raise RefusedError(MOVING)
    exif, profile = exif_of(image), image.info.get("icc_profile")
    image.close()
    pixels, grey, caveats = by_opencv(data)
    return Decoded(pixels, orientation_of(exif), profile, None, exif, grey, caveats=caveats)


def decode_png(data: bytes) -> Decoded:
    """Read a PNG of 8 or 16 bits that holds one picture."""
    from PIL import PngImagePlugin

    width, height, depth, colour_type = struct.unpack_from(">IIBB", data, 16)
    check_size(width, height)
    chunks = _png_chunks(data)
    if b"acTL" in chunks:
        raise RefusedError(MOVING)
    if depth == 1 and colour_type == 0:
        raise RefusedError(BLACK_AND_WHITE)
    encoding, doubts = _png_encoding(chunks)
    image = PngImagePlugin.PngImageFile(io.BytesIO(data))
    if depth < 16:
        decoded = from_pillow(image, encoding)
        return replace(decoded, caveats=(*decoded.caveats, *doubts))
    pixels, grey, caveats = by_opencv(data)
    exif = read_exif(b"Exif\0\0" + chunks[b"eXIf"]) if b"eXIf" in chunks else None
    profile = image.info.get("icc_profile")
    return Decoded(pixels, orientation_of(exif), profile, encoding, exif, grey, caveats=(*caveats, *doubts))


def decode_heic(data: bytes) -> Decoded:
    """Read a HEIC's primary picture, upright: the container's own rotation is applied by the decoder.

    EXIF repeats that rotation and does not count (ISO/IEC 23008-12).
    """
    import pillow_heif

    image = pillow_heif.open_heif(data, convert_hdr_to_8bit=False)
    # Of more than 8 bits: libheif's own planes, what it gives and what that is stretched to lie side by side.
    width, height = image.size
    check_size(width, height, 14 if int(image.info.get("bit_depth") or 8) > 8 else 8)
    nclx, profile = image.info.get("nclx_profile"), image.info.get("icc_profile")
    encoding = None
    if nclx and not profile:
        encoding = _coded(nclx["color_primaries"], nclx["transfer_characteristics"])
    pixels = np.asarray(image)
    if pixels.dtype == np.uint16:  # the decoder shifts 10 or 12 bits up; stretch them to the whole scale
        top = 65536 - (65536 >> image.info["bit_depth"])
        pixels = _stretched(pixels, top)
    pixels, grey, caveats = three_channels(pixels)
    return Decoded(pixels, 1, profile, encoding, read_exif(image.info.get("exif")), grey, caveats=caveats)


def _stretched(pixels: Stored, top: int) -> Stored:
    """Return 16-bit values that run to ``top`` stretched to the whole scale."""
    full = np.empty_like(pixels)
    for row in range(0, len(pixels), STRIP_ROWS):
        strip = pixels[row : row + STRIP_ROWS] * np.float32(65535 / top) + np.float32(0.5)
        full[row : row + STRIP_ROWS] = np.minimum(strip, 65535)
    return full


def _coded(primaries: int, transfer: int) -> Encoding:
    encoding = coded_encoding(primaries, transfer)
    if encoding is None:
        raise RefusedError(HDR)
    return encoding


def _png_chunks(data: bytes) -> dict[bytes, bytes]:
    """Return the chunks other than the picture's own, by type. Refuses a file cut short or with a bad checksum."""
    chunks: dict[bytes, bytes] = {}
    view, at = memoryview(data), 8
    while b"IEND" not in chunks:
        length, kind = struct.unpack_from(">I4s", data, at)
        body = view[at + 8 : at + 8 + length]
        (checksum,) = struct.unpack_from(">I", data, at + 8 + length)
        if kind[:1].isupper() and zlib.crc32(body, zlib.crc32(kind)) != checksum:
            raise RefusedError(DAMAGED)
        if kind != b"IDAT":
            chunks[kind] = bytes(body)
        at += 12 + length
    return chunks


def _png_encoding(chunks: dict[bytes, bytes]) -> tuple[Encoding | None, tuple[Caveat, ...]]:
    """What a PNG says of its colours apart from a profile (cICP, else sRGB, else gAMA and cHRM), and what to doubt.

    W3C PNG, third edition, 4.3. None where it says nothing, sRGB, or what cannot be.
    """
    if b"cICP" in chunks:
        return _coded(*chunks[b"cICP"][:2]), ()
    if chunks.keys() & {b"sRGB", b"iCCP"} or b"gAMA" not in chunks:
        return None, ()
    try:
        return _gamma_and_primaries(chunks), ()
    except BrokenProfileError as error:
        message = f"What the picture says of its colours cannot be used: {error}. It was read as sRGB."
        return None, (Caveat("profile_broken", message),)


def _gamma_and_primaries(chunks: dict[bytes, bytes]) -> Encoding | None:
    """Return the encoding of gAMA and cHRM, None for sRGB's. Raises BrokenProfileError."""
    gamma = struct.unpack(">I", chunks[b"gAMA"])[0] / 100_000
    numbers = np.frombuffer(chunks.get(b"cHRM", b""), ">u4") / 100_000
    to_srgb = np.eye(3)
    if numbers.size == 8:
        white, red, green, blue = ((float(x), float(y)) for x, y in numbers.reshape(4, 2))
        to_srgb = primaries_to_srgb((red, green, blue), white)
    return gamma_encoding(gamma, to_srgb)
