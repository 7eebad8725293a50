"""Camera raw through LibRaw: linear camera RGB, nothing brightened, nothing balanced."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from matcher.errors import Caveat
from matcher.photo.encoding import D65, SRGB_PRIMARIES, primaries_to_xyz
from matcher.photo.stored import CameraRaw, Decoded, RefusedError, check_size, read_exif

_DNG_VERSION = 50706
MAX_WHOLE_PIXELS = 72_000_000
"""Sensor values that are developed at full size: LibRaw takes some 17 bytes for each. Of more, every square of four
becomes one pixel."""


def decode_raw(data: bytes) -> Decoded:
    """Read a raw file as camera RGB of 16 bits, 0 at its black level and full scale at its white level, upright."""
    import rawpy

    exif = None if data[4:8] == b"ftyp" else read_exif(data)
    with rawpy.RawPy() as raw:
        try:
            raw.open_buffer(io.BytesIO(data))
        except rawpy.LibRawFileUnsupportedError as error:
            raise RefusedError(
                "is damaged, or a raw file of a kind that cannot be read: copy it again, or save it as a 16-bit TIFF"
            ) from error
        check_size(raw.sizes.raw_width, raw.sizes.raw_height)
        halved = raw.sizes.raw_width * raw.sizes.raw_height > MAX_WHOLE_PIXELS
        if raw.num_colors != 3:
            raise RefusedError("comes from a sensor without red, green and blue: save it as a 16-bit TIFF")
        raw.unpack()
        pixels = raw.postprocess(
            # Bilinear interpolation makes each channel a weighted mean of its own sensor values: linear, and no
            # colour comes over from a neighbour. The balance comes later, so that it can't clip anything here.
            demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
            output_color=rawpy.ColorSpace.raw,
            output_bps=16,
            gamma=(1, 1),
            no_auto_bright=True,
            adjust_maximum_thr=0.0,
            user_wb=[1.0, 1.0, 1.0, 1.0],
            half_size=halved,
        )
        colour, caveats = _colour(raw, is_dng=exif is not None and _DNG_VERSION in exif)
    if halved:
        message = "The raw file is so large that it was read at half its width and height."
        caveats = (*caveats, Caveat("raw_halved", message))
    return Decoded(pixels, exif=exif, raw=colour, caveats=caveats)


def _colour(raw: Any, is_dng: bool) -> tuple[CameraRaw, tuple[Caveat, ...]]:
    """Read the white balance and the colour matrix: a DNG's own, else LibRaw's for that model of camera.

    The first is a matrix from balanced camera RGB to linear sRGB as LibRaw works it out of the DNG's matrix for
    daylight. The second leads from XYZ in daylight to camera RGB: as is usual in raw development, its rows are
    scaled so that sRGB's white gives equal camera values (which is what the balance does to the light's white),
    then it is inverted. Either way balanced camera white becomes (1, 1, 1) of linear sRGB.
    """
    balance, caveats = _balance(raw)
    own = np.asarray(raw.color_matrix[:, :3], dtype=float)
    from_srgb = np.asarray(raw.rgb_xyz_matrix[:3], dtype=float) @ primaries_to_xyz(SRGB_PRIMARIES, D65)
    listed = np.zeros((3, 3))
    if from_srgb.sum(axis=1).min() > 0 and np.linalg.det(from_srgb) != 0:
        listed = np.linalg.inv(from_srgb / from_srgb.sum(axis=1, keepdims=True))
    for to_srgb in (own, listed) if is_dng else (listed, own):
        whites = to_srgb.sum(axis=1, keepdims=True)
        if np.isfinite(to_srgb).all() and np.abs(whites - 1).max() < 0.1 and abs(np.linalg.det(to_srgb)) > 0.1:
            return CameraRaw(balance, to_srgb / whites), caveats
    message = "The raw file does not say how its camera sees colour: photograph a chart once under this light."
    return CameraRaw(balance, np.eye(3)), (*caveats, Caveat("raw_matrix_unknown", message))


def _balance(raw: Any) -> tuple[np.ndarray[Any, np.dtype[np.float64]], tuple[Caveat, ...]]:
    for multipliers in (raw.camera_whitebalance, raw.daylight_whitebalance):
        found = np.asarray(multipliers[:3], dtype=float)
        if np.isfinite(found).all() and found.min() > 0:
            return found / found[1], ()
    message = "The raw file does not say what white was: mark a grey card or something neutral."
    return np.ones(3), (Caveat("raw_balance_unknown", message),)
