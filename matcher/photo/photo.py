"""A photograph's file becomes a `Photo`: linear light wherever it is asked for, and what the file says of itself.

First room of the flow: file, Photo, card, calibration, reading. The decoded 8- or 16-bit values are kept and only
the box that is asked for is made linear, so a 48-megapixel file costs little more than its stored values.
"""

from __future__ import annotations

import hashlib
import math
import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matcher.colour.cielab import SRGB_TO_XYZ_D50, XYZ_D50_TO_SRGB, encode_srgb
from matcher.errors import Caveat, Misfit, PhotoError, file_in_words
from matcher.files import opened
from matcher.photo.camera import CameraInfo, camera_of, exif_part
from matcher.photo.encoding import (
    CAMERA_RAW,
    LINEAR,
    SENSOR_ENCODINGS,
    BrokenProfileError,
    Encoding,
    named_encoding,
    profile_encoding_name,
    read_profile,
    through_tables,
)
from matcher.photo.formats import MAX_BYTES, decode
from matcher.photo.stored import Decoded, RefusedError, Stored

Box = tuple[float, float, float, float]

_TOP_OF_SCALE = 0.995
"""A stored value above this share of full scale counts as clipped: 254 and 255 of 8 bits."""


@dataclass(frozen=True, eq=False)
class Photo:
    """A photograph, upright.

    width, height: pixels. encoding: "sRGB", "Display P3", "Adobe RGB", "linear", "camera raw", "ICC profile ...".
    rgb_to_xyz: (3, 3), linear RGB to XYZ under D50, (1, 1, 1) to D50's white. balance: (3,), what a raw file's
    camera RGB was multiplied by; linear RGB divided by it is the sensor's own, for a profile fitted in camera
    space (all 1 for other files). bits: of each stored value. sha256: of the file's bytes, hex.
    """

    width: int
    height: int
    encoding: str
    rgb_to_xyz: NDArray[np.float64]
    sha256: str
    bits: int
    camera: CameraInfo | None = None
    caveats: tuple[Caveat, ...] = ()
    balance: NDArray[np.float64] = field(default_factory=lambda: np.ones(3))
    _stored: Stored = field(repr=False, kw_only=True)
    _orientation: int = field(repr=False, kw_only=True, default=1)
    _table: NDArray[np.float32] | None = field(repr=False, kw_only=True, default=None)
    _to_srgb: NDArray[np.float64] | None = field(repr=False, kw_only=True, default=None)

    def linear(self, box: Box | None = None, step: int = 1) -> NDArray[np.float32]:
        """Return linear RGB (h, w, 3) of ``box``: (left, top, right, bottom) in upright pixels, None for all.

        step: take every step-th pixel of every step-th row.

        1 is the file's white. RGB has sRGB primaries, and is not cut off at them: a colour of a wider space may
        have negative values. Of a camera raw file it is balanced camera RGB. What of the box lies outside the
        picture is left away; PhotoError if nothing is left.
        """
        return self._linear(self._cut(box, step))

    def clipped(self, box: Box | None = None, step: int = 1) -> NDArray[np.bool_]:
        """Return (h, w): whether any channel is at the top of its scale. Floating-point files have no top."""
        stored = self._cut(box, step)
        if stored.dtype.kind == "f":
            return np.zeros(stored.shape[:2], dtype=bool)
        top = _TOP_OF_SCALE * np.iinfo(stored.dtype).max
        return np.asarray((stored[:, :, 0] > top) | (stored[:, :, 1] > top) | (stored[:, :, 2] > top))

    def preview(self, max_side: int) -> NDArray[np.uint8]:
        """Return (h, w, 3) sRGB for the screen, no side longer than ``max_side``, never enlarged.

        Reduced by area on the stored values. A linear or raw picture that is very dark is shown brighter.
        """
        import cv2

        height, width = self._stored.shape[:2]
        scale = min(1.0, max(1, int(max_side)) / max(height, width))
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        small = self._stored
        if scale < 1.0:
            small = cv2.resize(np.ascontiguousarray(small), size, interpolation=cv2.INTER_AREA)
        small = np.array(_upright(small, self._orientation), order="C")  # a copy: the caller may draw on it
        if self.encoding == "sRGB":
            return small if small.dtype == np.uint8 else np.rint(small / np.float32(257)).astype(np.uint8)
        light: NDArray[Any] = self._linear(small)
        if self.encoding == CAMERA_RAW:
            light = light @ (XYZ_D50_TO_SRGB @ self.rgb_to_xyz).T
        if self.encoding in SENSOR_ENCODINGS:
            light = light * _display_gain(light)
        return np.rint(encode_srgb(light) * 255).astype(np.uint8)

    def _cut(self, box: Box | None, step: int) -> Stored:
        upright = _upright(self._stored, self._orientation)
        if box is None:
            return np.ascontiguousarray(upright[::step, ::step])
        if not all(map(math.isfinite, box)):
            raise PhotoError(f"Give the box as four pixel positions: {tuple(box)} is not that.")
        left, top = max(0, math.floor(box[0])), max(0, math.floor(box[1]))
        right, bottom = min(self.width, math.ceil(box[2])), min(self.height, math.ceil(box[3]))
        if left >= right or top >= bottom:
            raise PhotoError(
                f"Mark something inside the picture, which is {self.width} by {self.height} pixels: "
                f"{tuple(round(edge, 1) for edge in box)} is outside."
            )
        return np.ascontiguousarray(upright[top:bottom:step, left:right:step])

    def _linear(self, stored: Stored) -> NDArray[np.float32]:
        import cv2

        light = stored.copy() if self._table is None else cv2.LUT(stored, self._table[np.newaxis])
        if self._to_srgb is not None:
            light = cv2.transform(light, self._to_srgb)
        return np.asarray(light, dtype=np.float32)


def open_photo(source: str | Path | bytes, encoding: str | None = None, name: str | None = None) -> Photo:
    """Read a photograph: JPEG, PNG, WebP, TIFF, HEIC or camera raw.

    Parameters
    ----------
    source : str, Path or bytes
        The file's path, or its bytes.
    encoding : {"srgb", "linear"}, optional
        None takes the file's word: its ICC profile (ICC.1:2022), else what its header says, else sRGB
        (IEC 61966-2-1). "srgb" overrules that; "linear" says that the stored values are linear light on sRGB
        primaries.
    name : str, optional
        The file's name in messages, where bytes are given.

    Returns
    -------
    Photo
        Upright; its linear RGB has sRGB's primaries and 1 for the file's white. A camera raw file keeps camera RGB,
        balanced as shot (else for daylight), with the file's own matrix to XYZ.

    Raises
    ------
    PhotoError
        A missing, empty or damaged file, not a photograph, a kind that carries no readable colour, over 256 MB or
        120 megapixels.

    Examples
    --------
    >>> from matcher.shipped import shipped
    >>> photo = open_photo(shipped("demo_images") / "plate_daylight.jpg")
    >>> photo.encoding, photo.bits
    ('sRGB', 8)
    >>> photo.linear(box=(400, 500, 402, 501)).shape  # rows, columns, RGB
    (1, 2, 3)
    """
    asked = None if encoding is None else str(encoding).strip().lower()
    if asked not in (None, "srgb", "linear"):
        raise PhotoError(f"Give the encoding as srgb or linear, or leave it to the file: {encoding!r} is neither.")
    name = file_in_words(name or ("" if isinstance(source, bytes) else Path(source).name) or "The file")
    try:
        data = source if isinstance(source, bytes) else _read(Path(source))
        if len(data) > MAX_BYTES:
            raise RefusedError(_too_large(len(data)))
        decoded = decode(data, Path(name).suffix.lower())
        photo = _raw_photo(decoded, asked) if decoded.raw is not None else _encoded_photo(decoded, asked)
    except RefusedError as refused:
        raise PhotoError(f"{name} {refused}.") from refused
    return replace(photo, sha256=hashlib.sha256(data).hexdigest(), camera=camera_of(decoded.exif))


def _too_large(size: int) -> str:
    return f"is {size / 1e6:.0f} MB, more than the {MAX_BYTES / 1e6:.0f} MB that can be read: save a smaller copy"


def _read(path: Path) -> bytes:
    try:
        with opened(path) as file:
            size = os.fstat(file.fileno()).st_size
            if size > MAX_BYTES:
                raise RefusedError(_too_large(size))
            return file.read()
    except Misfit as misfit:
        raise RefusedError(str(misfit)) from misfit
    except OSError as error:
        raise RefusedError(f"cannot be read to its end ({error.strerror}): copy it to this machine's disk") from error


def _raw_photo(decoded: Decoded, asked: str | None) -> Photo:
    assert decoded.raw is not None
    if asked == "srgb":
        raise RefusedError("is a camera raw file, which is linear: leave the encoding out")
    table = (np.linspace(0.0, 1.0, 65536)[:, np.newaxis] * decoded.raw.balance).astype(np.float32)
    return _photo(
        decoded,
        decoded.pixels,
        CAMERA_RAW,
        rgb_to_xyz=SRGB_TO_XYZ_D50 @ decoded.raw.to_srgb,
        balance=decoded.raw.balance,
        _table=table,
        caveats=decoded.caveats,
    )


def _encoded_photo(decoded: Decoded, asked: str | None) -> Photo:
    pixels = decoded.pixels
    if pixels.dtype.kind == "f":
        if asked != "linear":
            raise RefusedError("has floating-point values: say that its encoding is linear, or save it with 16 bits")
        if not np.isfinite(pixels).all():
            raise RefusedError("has values that are not numbers: save it again from the program that made it")
        return _photo(decoded, pixels, LINEAR, caveats=decoded.caveats)
    if asked is None:
        encoding, pixels, caveats = _as_the_file_says(decoded)
    else:
        encoding, caveats = named_encoding("sRGB" if asked == "srgb" else asked), decoded.caveats
    to_srgb = None if encoding.on_srgb_primaries else encoding.to_srgb
    table = encoding.table(np.iinfo(pixels.dtype).max + 1)
    return _photo(decoded, pixels, encoding.name, _table=table, _to_srgb=to_srgb, caveats=caveats)


def _as_the_file_says(decoded: Decoded) -> tuple[Encoding, Stored, tuple[Caveat, ...]]:
    """Return the encoding, the stored values to read with it, and the caveats."""
    pixels, caveats, srgb = decoded.pixels, decoded.caveats, named_encoding("sRGB")
    if decoded.profile:
        try:
            encoding = read_profile(decoded.profile, decoded.grey)
            return (encoding, pixels, caveats) if encoding else _through_tables(decoded, decoded.profile)
        except BrokenProfileError as error:
            message = f"The picture's colour profile cannot be used: {error}. It was read as sRGB."
            return srgb, pixels, (*caveats, Caveat("profile_broken", message))
    if decoded.encoding is not None:
        return decoded.encoding, pixels, caveats
    if exif_part(decoded.exif, 0x8769).get(0xA001) != 0xFFFF:  # ColorSpace: not "uncalibrated"
        return srgb, pixels, caveats
    if str(exif_part(decoded.exif, 0xA005).get(1, "")).startswith("R03"):  # DCF 2.0's optional colour space
        return named_encoding("Adobe RGB"), pixels, caveats
    message = "The picture says that it is not sRGB, but carries no profile. It was read as sRGB."
    return srgb, pixels, (*caveats, Caveat("profile_missing", message))


def _through_tables(decoded: Decoded, profile: bytes) -> tuple[Encoding, Stored, tuple[Caveat, ...]]:
    pixels, caveats = decoded.pixels, decoded.caveats
    if pixels.dtype == np.uint16:
        message = "The picture's profile is built on tables, so it was read with 8 of its 16 bits."
        caveats = (*caveats, Caveat("profile_eight_bits", message))
        pixels = (pixels / np.float32(257) + np.float32(0.5)).astype(np.uint8)
    name = profile_encoding_name(profile)
    return replace(named_encoding("sRGB"), name=name), through_tables(pixels, profile), caveats


def _photo(decoded: Decoded, stored: Stored, encoding: str, **known: Any) -> Photo:
    height, width = stored.shape[:2]
    if decoded.orientation >= 5:
        height, width = width, height
    return Photo(
        width=width,
        height=height,
        encoding=encoding,
        sha256="",
        bits=stored.dtype.itemsize * 8,
        _stored=stored,
        _orientation=decoded.orientation,
        **{"rgb_to_xyz": SRGB_TO_XYZ_D50.copy(), **known},
    )


def _upright(stored: Stored, orientation: int) -> Stored:
    """Return a view turned as EXIF's orientation 1 to 8 asks (Exif 2.32, tag 274)."""
    if orientation >= 5:
        stored = stored.transpose(1, 0, 2)
    # Which axes run backwards, once rows and columns are those of the upright picture.
    down, across = {2: (1, -1), 3: (-1, -1), 4: (-1, 1), 6: (1, -1), 7: (-1, -1), 8: (-1, 1)}.get(orientation, (1, 1))
    return stored[::down, ::across]


def _display_gain(light: NDArray[Any]) -> float:
    """How much brighter to show linear light: so that the lightest part comes near white if all is dark."""
    bright = float(np.percentile(light.max(axis=2), 99.0))
    return min(0.8 / bright, 64.0) if 0.0 < bright < 0.25 else 1.0
