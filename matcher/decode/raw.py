"""Camera raw (DNG, CR2, NEF, ARW) through LibRaw: linear camera RGB, nothing brightened, nothing balanced."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from matcher.decode.stored import CameraRaw, Decoded, RefusedError, check_size, read_exif
from matcher.errors import Caveat
from matcher.icc import D65, SRGB_PRIMARIES, primaries_to_xyz


def decode_raw(data: bytes) -> Decoded:
    """Read a raw file as camera RGB of 16 bits, 0 at its black level and full scale at its white level, upright."""
    import rawpy

    with rawpy.RawPy() as raw:
        raw.open_buffer(io.BytesIO(data))
        check_size(raw.sizes.raw_width, raw.sizes.raw_height)
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
        )
        colour, caveats = _colour(raw)
    exif = None if data[4:8] == b"ftyp" else read_exif(data)
    return Decoded(pixels, exif=exif, raw=colour, caveats=caveats)


def _colour(raw: Any) -> tuple[CameraRaw, tuple[Caveat, ...]]:
    """Read the white balance and the colour matrix that the file gives, or LibRaw for its model of camera.

    The matrix leads from XYZ in daylight to camera RGB. As is usual in raw development, its rows are scaled so
    that sRGB's white gives equal camera values (which is what the balance does to the light's white), then it is
    inverted: balanced camera white becomes (1, 1, 1) of linear sRGB.
    """
    balance, caveats = _balance(raw)
    from_xyz = np.asarray(raw.rgb_xyz_matrix[:3], dtype=float)
    from_srgb = from_xyz @ primaries_to_xyz(SRGB_PRIMARIES, D65)
    whites = from_srgb.sum(axis=1, keepdims=True)
    if not np.isfinite(from_srgb).all() or whites.min() <= 0 or abs(np.linalg.det(from_srgb / whites)) < 1e-3:
        message = "The raw file does not say how its camera sees colour: photograph a chart once under this light."
        return CameraRaw(balance, np.eye(3)), (*caveats, Caveat("raw_matrix_unknown", message))
    return CameraRaw(balance, np.linalg.inv(from_srgb / whites)), caveats


def _balance(raw: Any) -> tuple[np.ndarray[Any, np.dtype[np.float64]], tuple[Caveat, ...]]:
    for multipliers in (raw.camera_whitebalance, raw.daylight_whitebalance):
        found = np.asarray(multipliers[:3], dtype=float)
        if np.isfinite(found).all() and found.min() > 0:
            return found / found[1], ()
    message = "The raw file does not say what white was: mark a grey card or something neutral."
    return np.ones(3), (Caveat("raw_balance_unknown", message),)
