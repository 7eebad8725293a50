"""No photograph takes over 1.5 GB to open: at most so many bytes a pixel that 120 megapixels stay below it.

Each kind is opened in a process of its own, whose peak of resident memory Linux keeps (VmHWM of proc(5)); that of
getrusage(2) begins with its parent's.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from matcher.photo.stored import MAX_PIXELS
from tests import pictures

SIDE = 3008  # a whole number of tiles
MOST_BYTES, AT_REST = 1_500_000_000, 200_000_000
"""The bound, and what Python and the libraries take before any picture is open."""

MEASURE = """
import sys
from matcher.photo.photo import open_photo
def peak():
    lines = open("/proc/self/status").read().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) * 1024
open_photo(sys.argv[1])
before = peak()
photo = open_photo(sys.argv[2])
print(photo.width * photo.height, peak() - before)
"""


def the_file(kind: str, side: int) -> bytes:
    rng = np.random.default_rng(4)
    tiles = rng.integers(0, 255, (side // 32, side // 32, 4), dtype=np.uint8)
    pixels = np.kron(tiles, np.ones((32, 32, 1), np.uint8))  # large even parts, so that the file itself is small
    image = Image.fromarray(pixels)
    sixteen = pixels.astype(np.uint16) * 257
    makers = {
        "JPEG": lambda: pictures.saved(image.convert("RGB"), "JPEG"),
        "PNG, see-through": lambda: pictures.saved(image, "PNG", compress_level=1),
        "PNG of 16 bits, see-through": lambda: pictures.png16(sixteen[..., [2, 1, 0, 3]]),
        "PNG with a palette": lambda: pictures.saved(image.convert("RGB").convert("P"), "PNG", compress_level=1),
        "WebP": lambda: pictures.saved(image.convert("RGB"), "WEBP", lossless=True, method=0, quality=0),
        "WebP, see-through": lambda: pictures.saved(image, "WEBP", lossless=True, method=0, quality=0),
        "TIFF": lambda: pictures.saved(image.convert("RGB"), "TIFF", compression="tiff_lzw"),
        "TIFF of 16 bits, see-through": lambda: pictures.tiff(
            sixteen, photometric="rgb", extrasamples=["unassalpha"], compression="zlib"
        ),
    }
    return makers[kind]()


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="only Linux tells the peak of a process alone")
@pytest.mark.parametrize(
    "kind",
    [
        "JPEG",
        "PNG, see-through",
        "PNG of 16 bits, see-through",
        "PNG with a palette",
        "WebP",
        "WebP, see-through",
        "TIFF",
        "TIFF of 16 bits, see-through",
    ],
)
def test_no_photograph_takes_over_one_and_a_half_gigabytes(kind: str, tmp_path: Path) -> None:
    small, large = tmp_path / "small", tmp_path / "large"
    small.write_bytes(the_file(kind, 64))
    large.write_bytes(the_file(kind, SIDE))
    command = [sys.executable, "-c", MEASURE, str(small), str(large)]
    done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=Path(__file__).parents[1])
    pixels, taken = (int(word) for word in done.stdout.split())
    assert pixels == SIDE**2 and taken > pixels
    assert AT_REST + taken / pixels * MAX_PIXELS < MOST_BYTES
