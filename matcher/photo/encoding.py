"""How a file's numbers become light: embedded ICC profiles, and the encodings that go by name.

Stands between the decoder and `Photo`: whatever a file was encoded in comes out as linear light on the primaries
of IEC 61966-2-1 (sRGB). Clauses are those of ICC.1:2022.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.colour.cielab import D50_WHITE, XYZ_D50_TO_SRGB, bradford_to_d50
from matcher.colour.types import Floats

Curve = Callable[[Floats], Floats]
Chromaticity = tuple[float, float]

PCS_WHITE: Floats = np.array([0.9642, 1.0, 0.8249])
"""D50 as the profile connection space has it (7.2.16)."""

D65: Chromaticity = (0.3127, 0.3290)
SRGB_PRIMARIES = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))  # IEC 61966-2-1
P3_PRIMARIES = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))  # SMPTE EG 432-1
REC2020_PRIMARIES = ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))  # ITU-R BT.2020
ADOBE_RGB_PRIMARIES = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))  # IEC 61966-2-5 (opRGB), DCF 2.0 optional space
ADOBE_RGB_GAMMA = 563 / 256
MOST_GAMMA = (0.1, 10.0)
MOST_SPREAD = 20.0
"""Largest entry of a matrix to linear sRGB: for the widest primaries in use it is about 2."""

LINEAR, CAMERA_RAW = "linear", "camera raw"
SENSOR_ENCODINGS = (LINEAR, CAMERA_RAW)
"""Values straight from the sensor: no tone curve, primaries of its own, and no camera has balanced the light away."""
NAMED_ENCODINGS = (LINEAR, "sRGB", "Display P3", "Adobe RGB", "Rec. 2020 primaries")
_BY_PROFILE, _BY_GAMMA, _WITHOUT_CURVE = "ICC profile ", "gamma ", f"{LINEAR}, "


class BrokenProfileError(Exception):
    """The embedded profile cannot be used; the message says why."""


@dataclass(frozen=True, eq=False)
class Encoding:
    """A named way of encoding light.

    curves: for each channel, stored values 0 to 1 to linear light. to_srgb: (3, 3), that linear light to linear
    light on sRGB primaries, (1, 1, 1) to (1, 1, 1).
    """

    name: str
    curves: tuple[Curve, Curve, Curve]
    to_srgb: Floats

    def table(self, depth: int) -> NDArray[np.float32]:
        """Return linear light for each of the stored values 0 to ``depth`` - 1, (depth, 3)."""
        steps = np.linspace(0.0, 1.0, depth)
        return np.stack([curve(steps) for curve in self.curves], axis=1).astype(np.float32)

    @property
    def on_srgb_primaries(self) -> bool:
        """Whether linear light needs no conversion (within the rounding of a profile's numbers)."""
        return bool(np.abs(self.to_srgb - np.eye(3)).max() < 2e-4)


def srgb_curve(stored: Floats) -> Floats:
    """IEC 61966-2-1: stored value 0 to 1 to linear light."""
    return np.where(stored <= 0.04045, stored / 12.92, ((np.maximum(stored, 0.0) + 0.055) / 1.055) ** 2.4)


def straight(stored: Floats) -> Floats:
    """Leave values as they are: they are linear light."""
    return stored


def power_curve(gamma: float) -> Curve:
    """Return the curve stored ** gamma."""
    return partial(_power, gamma=gamma)


def is_encoding(name: str) -> bool:
    """Tell whether a photograph's encoding can have this name."""
    known = name in NAMED_ENCODINGS or name == CAMERA_RAW
    return known or name.startswith((_BY_PROFILE, _BY_GAMMA, _WITHOUT_CURVE))


def named_encoding(name: str) -> Encoding:
    """Return "sRGB", "Display P3", "Adobe RGB", "Rec. 2020 primaries" or "linear" (sRGB primaries, no curve)."""
    if name == LINEAR:
        return Encoding(name, (straight,) * 3, np.eye(3))
    if name == "sRGB":
        return Encoding(name, (srgb_curve,) * 3, np.eye(3))
    if name == "Adobe RGB":
        return Encoding(name, (power_curve(ADOBE_RGB_GAMMA),) * 3, primaries_to_srgb(ADOBE_RGB_PRIMARIES, D65))
    primaries = {"Display P3": P3_PRIMARIES, "Rec. 2020 primaries": REC2020_PRIMARIES}[name]
    return Encoding(name, (srgb_curve,) * 3, primaries_to_srgb(primaries, D65))


def primaries_to_srgb(primaries: tuple[Chromaticity, Chromaticity, Chromaticity], white: Chromaticity) -> Floats:
    """Return (3, 3): linear RGB on these xy primaries and white to linear sRGB, Bradford from white to white.

    Raises BrokenProfileError for chromaticities that span no colours.
    """
    try:
        with np.errstate(all="ignore"):
            to_srgb = XYZ_D50_TO_SRGB @ bradford_to_d50(_xyz(white)) @ primaries_to_xyz(primaries, white)
            usable = bool(np.abs(to_srgb).max() <= MOST_SPREAD and abs(np.linalg.det(to_srgb)) > 1e-3)
    except (np.linalg.LinAlgError, ZeroDivisionError):
        usable = False
    if not usable:
        raise BrokenProfileError("its primaries span no colours")
    return np.asarray(to_srgb)


def primaries_to_xyz(primaries: tuple[Chromaticity, Chromaticity, Chromaticity], white: Chromaticity) -> Floats:
    """Return (3, 3): linear RGB on these xy primaries to XYZ under their own white, whose Y is 1."""
    red_green_blue = np.column_stack([_xyz(point) for point in primaries])
    return np.asarray(red_green_blue * np.linalg.solve(red_green_blue, _xyz(white)))


def coded_encoding(primaries: int, transfer: int) -> Encoding | None:
    """Return the encoding of ITU-T H.273 code points (HEIC's nclx, PNG's cICP), or None where it is HDR.

    Unspecified and television transfer codes (1, 2, 6, 14, 15) are taken as sRGB's curve, as viewers do.
    """
    if transfer in (16, 18):  # PQ and HLG: scene or display light far beyond the white of a print
        return None
    names = {12: "Display P3", 11: "Display P3", 9: "Rec. 2020 primaries"}
    encoding = named_encoding(names.get(primaries, "sRGB"))
    if transfer == 8:
        return Encoding(f"{_WITHOUT_CURVE}{encoding.name}", (straight,) * 3, encoding.to_srgb)
    if transfer in (4, 5):
        gamma = {4: 2.2, 5: 2.8}[transfer]
        return Encoding(f"{_BY_GAMMA}{gamma}, {encoding.name}", (power_curve(gamma),) * 3, encoding.to_srgb)
    return encoding


def gamma_encoding(gamma: float, to_srgb: Floats) -> Encoding | None:
    """Return the encoding of a PNG's own gAMA, stored = light ** gamma; None where that is sRGB's on sRGB primaries.

    Raises BrokenProfileError for numbers that no encoding of light has.
    """
    if not MOST_GAMMA[0] <= gamma <= MOST_GAMMA[1]:
        raise BrokenProfileError("its gamma is far from any in use")
    srgb = named_encoding("sRGB")
    # 0.45455 is what the specification has sRGB files say to readers that know no better.
    curves = srgb.curves if abs(gamma - 0.45455) < 0.005 else (power_curve(1 / gamma),) * 3
    if curves is srgb.curves and np.abs(to_srgb - np.eye(3)).max() < 0.01:
        return None
    return Encoding(f"{_BY_GAMMA}{1 / gamma:.3g}, as the PNG says", curves, to_srgb)


def read_profile(profile: bytes, grey: bool = False) -> Encoding | None:
    """Return the encoding that an embedded ICC profile describes; None where it is built on look-up tables.

    grey: the image has a single channel, so a grey profile fits as well as an RGB one.
    Raises BrokenProfileError: cut short, not a profile, for another kind of image, or without usable numbers.
    """
    try:
        tags = _tags(profile)
        space, pcs = profile[16:20], profile[20:24]
        name = _description(tags)
        if space == b"GRAY" and grey:
            return _recognised(name, (_curve(tags[b"kTRC"]),) * 3, np.eye(3))
        if space != b"RGB ":
            raise BrokenProfileError(f"it describes {space.decode('latin-1').strip()} images")
        if tags.keys() & {b"A2B0", b"A2B1", b"D2B0", b"D2B1"}:  # tables come before matrix and curves (8.10)
            return None
        if pcs != b"XYZ ":
            raise BrokenProfileError("its matrix does not lead to XYZ")
        colorants = np.column_stack([_xyz_tag(tags[tag]) for tag in (b"rXYZ", b"gXYZ", b"bXYZ")])
        curves = (_curve(tags[b"rTRC"]), _curve(tags[b"gTRC"]), _curve(tags[b"bTRC"]))
    except (struct.error, KeyError, IndexError, ValueError) as error:
        raise BrokenProfileError(f"it is cut short or malformed ({error})") from error
    white = colorants.sum(axis=1)
    if abs(np.linalg.det(colorants)) < 1e-3 or np.abs(white - PCS_WHITE).max() > 0.05:
        raise BrokenProfileError("its primaries do not add up to white")
    # The profile's white is D50 to within the rounding of its numbers: land it on this package's D50 exactly.
    return _recognised(name, curves, XYZ_D50_TO_SRGB @ np.diag(D50_WHITE / white) @ colorants)


def through_tables(pixels: NDArray[np.uint8], profile: bytes) -> NDArray[np.uint8]:
    """Return 8-bit sRGB (h, w, 3) of 8-bit pixels whose profile is built on look-up tables, by Pillow's ImageCms.

    Relative colorimetric. Colours beyond sRGB are clipped to it. Raises BrokenProfileError.
    """
    from PIL import Image, ImageCms

    try:
        source = ImageCms.getOpenProfile(io.BytesIO(profile))
        transform = ImageCms.buildTransform(
            source, ImageCms.createProfile("sRGB"), "RGB", "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC
        )
        image = Image.fromarray(np.ascontiguousarray(pixels))
        ImageCms.applyTransform(image, transform, inPlace=True)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError) as error:
        raise BrokenProfileError(f"its tables cannot be used ({error})") from error
    return np.asarray(image)


def profile_encoding_name(profile: bytes) -> str:
    """Return what an encoding is called that only its profile names, by the profile's own description."""
    try:
        return _by_profile(_description(_tags(profile)))
    except (struct.error, BrokenProfileError, ValueError, IndexError):
        return _by_profile("")


def _by_profile(description: str) -> str:
    return f"{_BY_PROFILE}{description or 'without a name'}"


def _power(stored: Floats, gamma: float) -> Floats:
    return np.maximum(stored, 0.0) ** gamma


def _xyz(chromaticity: ArrayLike) -> Floats:
    x, y = np.asarray(chromaticity, dtype=float)
    return np.array([x / y, 1.0, (1 - x - y) / y])


def _recognised(name: str, curves: tuple[Curve, Curve, Curve], to_srgb: Floats) -> Encoding:
    """Call an encoding by its common name where its numbers are those; refuse curves that are no curves."""
    steps = np.linspace(0, 1, 65)
    with np.errstate(all="ignore"):
        light = np.stack([curve(steps) for curve in curves])
    if not np.isfinite(light).all() or (np.diff(light) < -1e-6).any() or not (0.5 < light[:, -1].min() <= 2.0):
        raise BrokenProfileError("its tone curves do not rise from black to white")
    for known in ("sRGB", "Display P3", "Adobe RGB"):
        encoding = named_encoding(known)
        expected = np.stack([curve(steps) for curve in encoding.curves])
        if np.abs(to_srgb - encoding.to_srgb).max() < 0.004 and np.abs(light - expected).max() < 0.004:
            return Encoding(known, curves, to_srgb)
    return Encoding(_by_profile(name), curves, to_srgb)


def _tags(profile: bytes) -> dict[bytes, bytes]:
    """Return the profile's tagged elements (7.3) by signature."""
    if len(profile) < 132 or profile[36:40] != b"acsp":
        raise BrokenProfileError("it is not an ICC profile")
    (count,) = struct.unpack_from(">I", profile, 128)
    tags = {}
    for entry in range(min(count, 200)):
        signature, offset, size = struct.unpack_from(">4sII", profile, 132 + 12 * entry)
        if offset + size > len(profile):
            raise BrokenProfileError("it is cut short")
        tags[signature] = profile[offset : offset + size]
    return tags


def _s15_fixed16(data: bytes, offset: int, count: int) -> Floats:
    return np.asarray(np.frombuffer(data, ">i4", count, offset) / 65536.0)


def _xyz_tag(tag: bytes) -> Floats:
    """XYZType (10.31)."""
    if tag[:4] != b"XYZ ":
        raise BrokenProfileError("a primary is not given as XYZ")
    return _s15_fixed16(tag, 8, 3)


def _curve(tag: bytes) -> Curve:
    """curveType (10.6) or parametricCurveType (10.18)."""
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count == 0:
            return straight
        if count == 1:
            return power_curve(struct.unpack_from(">H", tag, 12)[0] / 256.0)
        table = np.frombuffer(tag, ">u2", count, 12) / 65535.0
        return partial(_from_table, table=table)
    if tag[:4] == b"para":
        (kind,) = struct.unpack_from(">H", tag, 8)
        count = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}[kind]
        return partial(_parametric, kind=kind, parameters=_s15_fixed16(tag, 12, count))
    raise BrokenProfileError("a tone curve is of an unknown kind")


def _from_table(stored: Floats, table: Floats) -> Floats:
    return np.asarray(np.interp(stored, np.linspace(0.0, 1.0, table.size), table))


def _parametric(stored: Floats, kind: int, parameters: Floats) -> Floats:
    """The five functions of table 68 (10.18), padded to the parameters g a b c d e f of the fifth."""
    gamma, a, b, c, d, e, f = np.pad(parameters, (0, 7 - parameters.size))
    if kind == 0:
        return _power(stored, gamma)
    if kind in (1, 2):  # the straight part is flat, at 0 or at c
        d, e, f, c = (-b / a if a else 0.0), (c if kind == 2 else 0.0), (c if kind == 2 else 0.0), 0.0
    return np.asarray(np.where(stored >= d, np.maximum(a * stored + b, 0.0) ** gamma + e, c * stored + f))


def _description(tags: dict[bytes, bytes]) -> str:
    """The profile's name: multiLocalizedUnicodeType (10.15), or the older textDescriptionType."""
    tag = tags.get(b"desc", b"")
    text = ""
    if tag[:4] == b"mluc" and len(tag) >= 28:
        size, offset = struct.unpack_from(">II", tag, 20)
        text = tag[offset : offset + size].decode("utf-16-be", "replace")
    elif tag[:4] == b"desc" and len(tag) >= 12:
        (size,) = struct.unpack_from(">I", tag, 8)
        text = tag[12 : 12 + size].decode("latin-1")
    return " ".join("".join(letter for letter in text if letter.isprintable()).split())[:60].strip()
