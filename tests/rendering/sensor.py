"""An invented photographer's camera: scene reflectance under a light becomes raw values, then a JPEG's pixels.

Sensitivities and illuminants are published tables (colour-science); the noise, white balance, tone and encoding are
ours. Stands between the rendered scene (``render``) and the picture file.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from matcher.colour.cielab import XYZ_D50_TO_SRGB, encode_srgb
from matcher.colour.types import Floats
from matcher.errors import MatcherError
from tests.rendering.process import WAVELENGTHS_NM, interpolation_matrix, xyz_weights

Pixels = NDArray[np.float32]

CAMERAS = {"A": "Nikon 5100 (NPL)", "B": "Sigma SDMerill (NPL)"}
"""Our letters for the two measured sensitivities, by their colour-science keys. A sees colour the better."""
LIGHTS = ("D50", "D55", "D65", "A", "FL2", "FL11", "LED-B3")
"""CIE illuminants, by their colour-science keys; any other key of its table works as well."""
DAYLIGHT = "D55"
"""The light that a camera's own colour matrix is made for."""


@dataclass(frozen=True)
class Exif:
    """What the invented camera writes into its files. taken_at: by its clock, None for one that was never set."""

    taken_at: datetime | None = datetime(2024, 5, 14, 10, 30)
    exposure_s: float = 1 / 125
    f_number: float = 5.6
    iso: int = 100
    lens: str = "Invented 50 mm"


@lru_cache(maxsize=64)
def sensor_weights(camera: str, light: str) -> Floats:
    """Return weights (36, 3) from reflectance to raw red, green, blue; a perfect white gives green = 1.

    Raises MatcherError for a camera or light that is not known.
    """
    import colour

    if camera not in CAMERAS or light not in colour.SDS_ILLUMINANTS:
        raise MatcherError(f"Choose a camera from {', '.join(CAMERAS)} and a CIE light: {camera!r}, {light!r}.")
    shape = colour.SpectralShape(380, 780, 5)
    sensitivity = colour.MSDS_CAMERA_SENSITIVITIES[CAMERAS[camera]]
    spd = colour.SDS_ILLUMINANTS[light].copy().align(shape).values
    seen = np.stack(
        [np.interp(shape.wavelengths, sensitivity.wavelengths, band, 0, 0) for band in sensitivity.values.T], axis=1
    )
    weights = interpolation_matrix(shape.wavelengths).T @ (seen * spd[:, None])
    return np.asarray(weights / weights[:, 1].sum())


@lru_cache(maxsize=1)
def chart_reflectances() -> tuple[tuple[str, ...], Floats]:
    """Return the 24 patch names and reflectances (24, 36): BabelColor Average, from colour-science."""
    import colour

    patches = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    spectra = [np.interp(WAVELENGTHS_NM, patch.wavelengths, patch.values) for patch in patches.values()]
    return tuple(patches), np.stack(spectra)


@lru_cache(maxsize=8)
def daylight_matrix(camera: str) -> Floats:
    """Return (3, 3) from white-balanced raw to linear sRGB, fitted on the chart under daylight; white stays white."""
    _, chart = chart_reflectances()
    weights = sensor_weights(camera, DAYLIGHT)
    raw = chart @ (weights / weights.sum(axis=0))
    wanted = chart @ xyz_weights() @ XYZ_D50_TO_SRGB.T
    # rows sum to one: fit what is left after the green channel carries the neutral part
    sides = raw[:, [0, 2]] - raw[:, [1]]
    coefficients, *_ = np.linalg.lstsq(sides, wanted - raw[:, [1]], rcond=None)
    red, blue = coefficients
    return np.stack([red, 1 - red - blue, blue], axis=1)


def balance_gains(camera: str, light: str, honesty: float) -> Floats:
    """Return the (3,) gains that the camera's automatic white balance picks.

    honesty: 1 balances the light away in full; 0 leaves the daylight setting, and so the whole cast.
    """
    full = 1 / sensor_weights(camera, light).sum(axis=0)
    daylight = 1 / sensor_weights(camera, DAYLIGHT).sum(axis=0)
    gains = full**honesty * daylight ** (1 - honesty)
    return np.asarray(gains / gains[1])


def exposed(raw: Pixels, full_well: float, read_noise: float, rng: np.random.Generator | None) -> Pixels:
    """Return raw (h, w, 3) as the sensor gives it: mosaic, shot and read noise, clipping at 1, 14 bits, demosaic.

    full_well and read_noise are in electrons. No generator, no noise.
    """
    height, width = raw.shape[:2]
    mosaic = raw[:, :, 1].copy()
    mosaic[0::2, 0::2] = raw[0::2, 0::2, 0]
    mosaic[1::2, 1::2] = raw[1::2, 1::2, 2]
    if rng is not None:
        sigma = np.sqrt(np.maximum(mosaic, 0) / full_well + (read_noise / full_well) ** 2, dtype=np.float32)
        mosaic += sigma * rng.standard_normal((height, width), dtype=np.float32)
    # a pedestal keeps the noise of the blacks from being folded up
    pedestal, top = 512, 16383
    counts = np.rint(np.clip(mosaic, -0.03, 1.0) * (top - pedestal) + pedestal).astype(np.uint16)
    demosaicked = cv2.cvtColor(counts, cv2.COLOR_BayerRGGB2RGB_EA).astype(np.float32)
    return (demosaicked - np.float32(pedestal)) / np.float32(top - pedestal)


def developed(raw: Pixels, camera: str, gains: Floats) -> Pixels:
    """Return linear sRGB (h, w, 3), 0 to 1, of raw: white balance, the camera's daylight matrix, clipping."""
    balanced = np.minimum(raw * gains.astype(np.float32), np.float32(1.0))
    linear = balanced @ daylight_matrix(camera).T.astype(np.float32)
    return np.clip(linear, 0.0, 1.0)


def toned(linear: Pixels, curve: float) -> NDArray[np.uint8]:
    """Return 8-bit sRGB (h, w, 3); ``curve`` 0 is IEC 61966-2-1 as it stands, 1 a strong camera-like S curve."""
    steps = 4096
    codes = encode_srgb(np.linspace(0.0, 1.0, steps))
    bent = codes + curve * 0.5 * (codes**2 * (3 - 2 * codes) - codes) + curve * 0.07 * np.sin(np.pi * codes)
    table = np.interp(np.linspace(0, 1, steps * 8), np.linspace(0, 1, steps), bent) * 255
    index = np.rint(linear * (steps * 8 - 1)).astype(np.int32)
    return np.asarray(np.rint(table).astype(np.uint8)[index])


def jpeg(pixels: NDArray[np.uint8], quality: int = 88, exif: Exif | None = None, embed_profile: bool = False) -> bytes:
    """Return the JPEG file, 4:2:0, with EXIF of an invented camera and, if asked, an sRGB profile."""
    buffer = io.BytesIO()
    options: dict[str, object] = {"quality": quality, "subsampling": "4:2:0", "optimize": True}
    if exif is not None:
        options["exif"] = _exif_block(exif)
    if embed_profile:
        options["icc_profile"] = srgb_profile()
    Image.fromarray(pixels).save(buffer, "JPEG", **options)
    return buffer.getvalue()


def srgb_profile() -> bytes:
    """Return an ICC sRGB profile whose date is fixed, so that it is the same every time (ICC.1, header bytes 24-35)."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    profile[24:36] = b"\x07\xe8\x00\x01\x00\x01\x00\x00\x00\x00\x00\x00"
    return bytes(profile)


def _exif_block(exif: Exif) -> Image.Exif:
    block = Image.Exif()
    block[0x010F], block[0x0110] = "Invented", "Invented camera"
    block[0x0131] = "rendered from spectra, not photographed"
    detail = block.get_ifd(0x8769)
    detail[0x829A], detail[0x829D], detail[0x8827] = exif.exposure_s, exif.f_number, exif.iso
    if exif.taken_at is not None:
        taken = exif.taken_at.strftime("%Y:%m:%d %H:%M:%S")
        block[0x0132] = detail[0x9003] = detail[0x9004] = taken
    detail[0xA434] = exif.lens
    return block
