"""Makes the files that the photo tests open: every format, ICC profiles from their numbers, a synthetic DNG."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable, Sequence

import cv2
import numpy as np
import pillow_heif
import tifffile
from numpy.typing import ArrayLike, NDArray
from PIL import Image

# s15Fixed16 colorants under D50 as the ICC's own registry profiles carry them (from memory); each set adds up to
# the connection space's white 0.9642, 1.0000, 0.8249.
SRGB_COLORANTS = ((0.43607, 0.22249, 0.01392), (0.38515, 0.71687, 0.09708), (0.14307, 0.06061, 0.71410))
P3_COLORANTS = ((0.51512, 0.24120, -0.00105), (0.29198, 0.69225, 0.04189), (0.15710, 0.06657, 0.78407))


def _fixed(values: ArrayLike) -> bytes:
    return np.rint(np.asarray(values, float) * 65536).astype(">i4").tobytes()


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    """Return the file that Pillow writes."""
    stream = io.BytesIO()
    image.save(stream, kind, **options)
    return stream.getvalue()


def plain(colour: Sequence[int], size: tuple[int, int] = (12, 8)) -> Image.Image:
    return Image.new("RGB", size, tuple(colour))


def heic(image: Image.Image, **options: object) -> bytes:
    pillow_heif.register_heif_opener()
    return saved(image, "HEIF", quality=-1, **options)


def tiff(pixels: NDArray[np.generic], **options: object) -> bytes:
    stream = io.BytesIO()
    tifffile.imwrite(stream, pixels, **options)
    return stream.getvalue()


def png16(pixels: NDArray[np.uint16]) -> bytes:
    return cv2.imencode(".png", pixels[..., ::-1] if pixels.ndim == 3 else pixels)[1].tobytes()


def png_with_chunk(png: bytes, kind: bytes, body: bytes) -> bytes:
    """Put a chunk right behind a PNG's header."""
    import zlib

    chunk = struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
    return png[:33] + chunk + png[33:]


def curve_of_table(curve: Callable[[NDArray[np.float64]], NDArray[np.float64]], count: int = 4096) -> bytes:
    """Return a sampled ICC tone curve."""
    table = np.rint(curve(np.linspace(0, 1, count)) * 65535).astype(">u2")
    return b"curv\0\0\0\0" + struct.pack(">I", count) + table.tobytes()


def curve_of_gamma(gamma: float) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"


def curve_parametric(kind: int, *parameters: float) -> bytes:
    return b"para\0\0\0\0" + struct.pack(">HH", kind, 0) + _fixed(parameters)


SRGB_PARAMETRIC = curve_parametric(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def matrix_profile(
    colorants: ArrayLike = P3_COLORANTS, curve: bytes = SRGB_PARAMETRIC, name: str = "invented"
) -> bytes:
    """Return an RGB display profile of a matrix and one tone curve."""
    tags = {tag: b"XYZ \0\0\0\0" + _fixed(xyz) for tag, xyz in zip((b"rXYZ", b"gXYZ", b"bXYZ"), colorants, strict=True)}
    return profile({**tags, b"rTRC": curve, b"gTRC": curve, b"bTRC": curve}, name=name)


def grey_profile(curve: bytes) -> bytes:
    return profile({b"kTRC": curve}, space=b"GRAY")


def table_profile(colorants: ArrayLike, curve: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> bytes:
    """Return the same kind of display as a lut16Type (ICC.1:2022, 10.10) with XYZ as its connection space."""
    grid = np.stack(np.meshgrid(*[[0, 1]] * 3, indexing="ij"), -1).reshape(8, 3) @ np.asarray(colorants)
    inputs = np.tile(np.rint(curve(np.linspace(0, 1, 4096)) * 65535), 3).astype(">u2")
    outputs = np.tile([0, 65535], 3).astype(">u2")
    cells = np.clip(np.rint(grid * 32768), 0, 65535).astype(">u2")
    head = b"mft2\0\0\0\0" + bytes((3, 3, 2, 0)) + _fixed(np.eye(3).ravel()) + struct.pack(">HH", 4096, 2)
    return profile({b"A2B0": head + inputs.tobytes() + cells.tobytes() + outputs.tobytes()})


def profile(tags: dict[bytes, bytes], space: bytes = b"RGB ", name: str = "invented") -> bytes:
    """Return an ICC version 4 display profile with these tagged elements."""
    text = name.encode("utf-16-be")
    words = b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(text), 28) + text
    tags = {b"desc": words, b"cprt": words, b"wtpt": b"XYZ \0\0\0\0" + _fixed((0.9642, 1.0, 0.8249)), **tags}
    offset, index, body = 132 + 12 * len(tags), b"", b""
    for signature, element in tags.items():
        index += struct.pack(">4sII", signature, offset + len(body), len(element))
        body += element + b"\0" * (-len(element) % 4)
    head = struct.pack(
        ">I4sI4s4s4s12s4s28s12s20s28s",
        offset + len(body), b"\0\0\0\0", 0x04300000, b"mntr", space, b"XYZ ", b"\x07\xe8\0\1\0\1\0\0\0\0\0\0",
        b"acsp", b"", _fixed((0.9642, 1.0, 0.8249)), b"", b"",
    )  # fmt: skip
    return head + struct.pack(">I", len(tags)) + index + body


def dng(
    sensor: NDArray[np.uint16],
    from_xyz: ArrayLike,
    neutral: Sequence[float] = (0.5, 1.0, 0.6),
    black: int = 512,
    white: int = 16383,
    orientation: int = 1,
) -> bytes:
    """Return a minimal DNG of bare RGGB sensor values; from_xyz: its ColorMatrix1, for D65 (DNG 1.7)."""
    tags = [
        (50706, "B", 4, (1, 4, 0, 0), True),
        (50708, "s", 0, "Invented Camera", True),
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, (0, 1, 1, 2), True),
        (50721, "2i", 9, _rationals(from_xyz), True),
        (50728, "2I", 3, _rationals(neutral), True),
        (50778, "H", 1, 21, True),
        (50714, "H", 1, black, True),
        (50717, "H", 1, white, True),
        (274, "H", 1, orientation, True),
        (271, "s", 0, "Invented", True),
        (272, "s", 0, "Camera", True),
    ]
    return tiff(sensor, photometric=32803, extratags=tags, metadata=None, software=None)


def mosaic(camera_rgb: ArrayLike, black: int = 512, white: int = 16383) -> NDArray[np.uint16]:
    """Return the RGGB sensor values of an image in camera RGB, (h, w, 3), 0 black to 1 white."""
    levels = np.rint(black + np.asarray(camera_rgb) * (white - black)).astype(np.uint16)
    sensor = levels[:, :, 1].copy()
    sensor[0::2, 0::2] = levels[0::2, 0::2, 0]
    sensor[1::2, 1::2] = levels[1::2, 1::2, 2]
    return sensor


def _rationals(values: ArrayLike) -> tuple[int, ...]:
    return tuple(part for value in np.ravel(values) for part in (round(float(value) * 10_000), 10_000))
