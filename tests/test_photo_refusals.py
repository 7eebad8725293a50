"""Whatever is given as a photograph either reads or is refused in one sentence that says what to do."""

from __future__ import annotations

import io
import os
import struct
import warnings
import zlib
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from matcher import files
from matcher.errors import PhotoError
from matcher.photo.photo import MAX_BYTES, open_photo
from tests import pictures
from tests.example_counts import examples
from tests.test_photo import BROWN, CAMERA

ORIGINALS = (
    "JPEG",
    "progressive JPEG",
    "PNG",
    "PNG 16",
    "WebP",
    "lossy WebP",
    "TIFF",
    "TIFF LZW",
    "TIFF 16",
    "HEIC",
    "DNG",
)


@cache
def original(kind: str) -> bytes:
    """A small photograph of each kind, with grain so that the coded picture fills most of the file."""
    pixels = np.random.default_rng(5).integers(0, 256, (40, 56, 3), dtype=np.uint8)
    image = Image.fromarray(pixels)
    sixteen = pixels.astype(np.uint16) * 257
    makers = {
        "JPEG": lambda: pictures.saved(image, "JPEG", icc_profile=pictures.matrix_profile()),
        "progressive JPEG": lambda: pictures.saved(image, "JPEG", progressive=True),
        "PNG": lambda: pictures.saved(image, "PNG", icc_profile=pictures.matrix_profile()),
        "PNG 16": lambda: pictures.png16(sixteen),
        "WebP": lambda: pictures.saved(image, "WEBP", lossless=True),
        "lossy WebP": lambda: pictures.saved(image, "WEBP"),
        "TIFF": lambda: pictures.saved(image, "TIFF"),
        "TIFF LZW": lambda: pictures.saved(image, "TIFF", compression="tiff_lzw"),
        "TIFF 16": lambda: pictures.tiff(sixteen, photometric="rgb"),
        "HEIC": lambda: pictures.heic(image),
        "DNG": lambda: pictures.dng(pictures.mosaic(pixels / 255), CAMERA),
    }
    return makers[kind]()


def check_reads_or_refuses(data: bytes, name: str = "plate.jpg") -> bool:
    """Read everything of the photograph, or check that what was raised is one sentence; return whether it read."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            photo = open_photo(data, name=name)
    except PhotoError as error:
        said = str(error)
        assert said.startswith(name) and said.endswith(".") and ":" in said and "\n" not in said
        return False
    light = photo.linear()
    assert light.shape == (photo.height, photo.width, 3) and light.dtype == np.float32 and np.isfinite(light).all()
    assert photo.clipped().shape == light.shape[:2]
    assert max(photo.preview(16).shape[:2]) <= 16
    return True


@pytest.mark.parametrize("kind", ORIGINALS)
@examples(60)
@given(share=st.floats(0, 0.97))
def test_a_file_cut_short_is_refused(kind, share):
    data = original(kind)
    assert check_reads_or_refuses(data)
    assert not check_reads_or_refuses(data[: int(len(data) * share)])


@pytest.mark.parametrize("kind", ORIGINALS)
@examples(60)
@given(damage=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=12))
def test_a_file_with_flipped_bytes_reads_or_is_refused(kind, damage):
    data = bytearray(original(kind))
    for place, value in damage:
        data[int(place * len(data))] = value
    check_reads_or_refuses(bytes(data))


STARTS = [
    b"",
    b"\xff\xd8\xff",
    b"\x89PNG\r\n\x1a\n",
    b"RIFF\x40\0\0\0WEBPVP8 ",
    b"II*\0\x08\0\0\0",
    b"MM\0*\0\0\0\x08",
    b"II+\0\x08\0\0\0\x10\0\0\0\0\0\0\0",
    b"\0\0\0\x18ftypheic",
    b"\0\0\0\x18ftypcrx ",
    b"II*\0\x10\0\0\0CR\2\0",
]


@examples(300)
@given(start=st.sampled_from(STARTS), rest=st.binary(max_size=400))
def test_random_bytes_read_or_are_refused(start, rest):
    check_reads_or_refuses(start + rest)


@examples(80)
@given(
    width=st.integers(1, 40), height=st.integers(1, 40), orientation=st.integers(1, 8), side=st.integers(1, 50),
    kind=st.sampled_from(["JPEG", "PNG", "WEBP", "TIFF"]),
)  # fmt: skip
def test_every_size_from_one_pixel_up_reads(width, height, orientation, side, kind):
    exif = Image.Exif()
    exif[274] = orientation
    photo = open_photo(pictures.saved(pictures.plain(BROWN, (width, height)), kind, exif=exif))
    upright = (height, width) if orientation < 5 else (width, height)
    assert photo.linear().shape == (*upright, 3)
    assert photo.linear((0, 0, 1, 1)).shape == (1, 1, 3)
    preview = photo.preview(side)
    assert max(preview.shape[:2]) == min(side, max(upright))


def several(kind: str) -> bytes:
    frames = [pictures.plain(colour, (8, 8)) for colour in (BROWN, (0, 0, 255), (0, 255, 0))]
    return pictures.saved(frames[0], kind, save_all=True, append_images=frames[1:])


def header_only_png(width: int, height: int) -> bytes:
    body = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I4s", 13, b"IHDR") + body + struct.pack(">I", zlib.crc32(b"IHDR" + body))
    )


def oversized_tiff() -> bytes:
    """A TIFF whose header claims 20 000 by 20 000 pixels."""
    data = bytearray(pictures.saved(pictures.plain(BROWN), "TIFF"))
    (offset,) = struct.unpack_from("<I", data, 4)
    (count,) = struct.unpack_from("<H", data, offset)
    for entry in range(count):
        at = offset + 2 + 12 * entry
        if struct.unpack_from("<H", data, at)[0] in (256, 257):
            struct.pack_into("<HII", data, at + 2, 4, 1, 20_000)
    return bytes(data)


def oversized_jpeg() -> bytes:
    data = bytearray(pictures.saved(pictures.plain(BROWN), "JPEG"))
    at = data.index(b"\xff\xc0")
    struct.pack_into(">HH", data, at + 5, 60_000, 60_000)
    return bytes(data)


REFUSED = {
    "an empty file": (b"", "is empty"),
    "text": (b"Dear client, here is the picture.", "is not a photograph"),
    "a GIF": (pictures.saved(pictures.plain(BROWN), "GIF"), "is a GIF"),
    "an animated GIF": (several("GIF"), "is a GIF"),
    "an animated PNG": (several("PNG"), "several pictures"),
    "an animated WebP": (several("WEBP"), "several pictures"),
    "a TIFF of several pages": (several("TIFF"), "several pages"),
    "a CMYK JPEG": (pictures.saved(pictures.plain(BROWN).convert("CMYK"), "JPEG"), "CMYK"),
    "a CMYK TIFF": (pictures.saved(pictures.plain(BROWN).convert("CMYK"), "TIFF"), "CMYK"),
    "a black and white PNG": (pictures.saved(pictures.plain(BROWN).convert("1"), "PNG"), "black and white"),
    "a black and white TIFF": (pictures.saved(pictures.plain(BROWN).convert("1"), "TIFF"), "black and white"),
    "a CIELAB TIFF": (pictures.saved(pictures.plain(BROWN).convert("LAB"), "TIFF"), "CIELAB"),
    "a TIFF of five channels": (pictures.tiff(np.zeros((8, 8, 5), np.uint16), photometric="rgb"), "unusual"),
    "a TIFF by planes": (
        pictures.tiff(np.zeros((3, 8, 8), np.uint16), photometric="rgb", planarconfig="separate"),
        "unusual",
    ),
    "a TIFF of half floats": (pictures.tiff(np.zeros((8, 8, 3), np.float16), photometric="rgb"), "unusual"),
    "a TIFF of 32-bit numbers": (pictures.tiff(np.zeros((8, 8, 3), np.uint32), photometric="rgb"), "8 or 16 bits"),
    "a big-endian BigTIFF": (pictures.tiff(np.zeros((8, 8, 3), np.uint16), bigtiff=True, byteorder=">"), "rare kind"),
    "a PDF": (pictures.saved(pictures.plain(BROWN), "PDF"), "is a PDF"),
    "an SVG": (b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"/>', "SVG"),
    "a BMP": (pictures.saved(pictures.plain(BROWN), "BMP"), "is a BMP"),
    "an AVIF": (b"\0\0\0\x1cftypavif\0\0\0\0avifmif1", "AVIF"),
    "a film": (b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom", "is a film"),
    "a burst": (b"\0\0\0\x18ftypmsf1\0\0\0\0msf1hevc", "several pictures"),
    "a PNG of too many pixels": (header_only_png(20_000, 20_000), "400 million pixels"),
    "a PNG a little over the limit": (header_only_png(120_001, 1000), "120 million pixels"),
    "a PNG of no pixels": (header_only_png(0, 5), "cut short or damaged"),
    "a JPEG of too many pixels": (oversized_jpeg(), "3600 million pixels"),
    "a TIFF of too many pixels": (oversized_tiff(), "400 million pixels"),
    "a file of too many bytes": (b"\xff\xd8\xff" + bytes(MAX_BYTES), "256 MB"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_no_readable_photograph_is_refused_with_advice(what):
    data, words = REFUSED[what]
    with pytest.raises(PhotoError, match=words):
        open_photo(data, name="plate.jpg")
    assert not check_reads_or_refuses(data)


@pytest.mark.parametrize("kind", ORIGINALS)
def test_every_format_is_held_to_the_limit_of_pixels(kind, monkeypatch):
    monkeypatch.setattr("matcher.photo.stored.MAX_PIXELS", 40 * 56)
    assert open_photo(original(kind)).width == 56
    monkeypatch.setattr("matcher.photo.stored.MAX_PIXELS", 40 * 56 - 1)
    with pytest.raises(PhotoError, match="million pixels"):
        open_photo(original(kind))


def test_the_limit_of_pixels_is_not_a_pixel_lower():
    """120 megapixels exactly go past the size check: this header has no picture behind it."""
    with pytest.raises(PhotoError, match="cut short"):
        open_photo(header_only_png(120_000, 1000))


def test_a_decompression_bomb_is_refused_before_it_is_unpacked():
    """A PNG of 400 megapixels in 400 kB: refused from its header, so in no memory."""
    import resource

    image = header_only_png(20_000, 20_000)
    packer = zlib.compressobj(9)
    body = b"".join(packer.compress(bytes(60_001)) for _ in range(2000)) + packer.flush()
    bomb = image + struct.pack(">I", len(body)) + b"IDAT" + body + struct.pack(">I", zlib.crc32(b"IDAT" + body))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(PhotoError, match="400 million pixels"):
        open_photo(bomb)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000  # kB


def test_a_wrong_name_does_not_matter_when_the_content_is_a_photograph(tmp_path: Path):
    path = tmp_path / "plate.jpg"
    path.write_bytes(original("PNG"))
    assert open_photo(path).encoding == "Display P3"
    assert open_photo(original("DNG"), name="plate.jpg").encoding == "camera raw"


def test_a_right_name_does_not_help_when_the_content_is_none(tmp_path: Path):
    path = tmp_path / "plate.jpg"
    path.write_text("brown, rather warm")
    with pytest.raises(PhotoError, match=r"^plate\.jpg is not a photograph"):
        open_photo(path)


def test_paths_that_cannot_be_read_are_refused(tmp_path: Path):
    with pytest.raises(PhotoError, match="is not there"):
        open_photo(tmp_path / "missing.jpg")
    with pytest.raises(PhotoError, match="is a folder"):
        open_photo(tmp_path)
    for strange in ("a\0b.jpg", "x" * 5000 + ".jpg"):
        with pytest.raises(PhotoError, match="cannot be read"):
            open_photo(strange)
    with pytest.raises(PhotoError, match="is a folder"):
        open_photo("")
    os.mkfifo(tmp_path / "pipe.jpg")
    with pytest.raises(PhotoError, match="is not a file"):
        open_photo(tmp_path / "pipe.jpg")
    large = tmp_path / "large.tif"
    with large.open("wb") as stream:
        stream.truncate(MAX_BYTES + 1_000_000)
    with pytest.raises(PhotoError, match="257 MB"):
        open_photo(large)


def test_a_file_without_permission_is_refused(tmp_path: Path, monkeypatch):
    path = tmp_path / "plate.jpg"
    path.write_bytes(original("JPEG"))

    def refuse(name: str, _: int) -> int:  # what the system does to anyone but root, which these tests may run as
        raise PermissionError(13, "Permission denied", name)

    monkeypatch.setattr(files, "_open_at_once", refuse)
    with pytest.raises(PhotoError, match=r"plate\.jpg may not be read"):
        open_photo(path)


def test_a_tiff_may_carry_small_copies_of_itself():
    """TIFF 6.0: NewSubfileType bit 0 marks a reduced copy."""
    stream = io.BytesIO()
    import tifffile

    with tifffile.TiffWriter(stream) as writer:
        writer.write(np.full((8, 12, 3), 20_000, np.uint16), photometric="rgb")
        writer.write(np.full((2, 3, 3), 20_000, np.uint16), photometric="rgb", subfiletype=1)
    assert open_photo(stream.getvalue()).width == 12


def test_every_further_picture_in_a_phones_jpeg_is_left_alone():
    photo = open_photo(several("MPO"))
    assert photo.preview(8)[4, 4].tolist() == pytest.approx(BROWN, abs=6)


def test_what_libraries_print_about_a_damaged_photograph_does_not_reach_standard_error(capfd):
    """libtiff, libpng and LibRaw write past Python; afterwards the process's own lines come through again."""
    damaged = bytearray(original("TIFF LZW"))
    damaged[300:330] = bytes(30)
    odd = pictures.png_with_chunk(original("PNG 16"), b"iCCP", b"x\0\0junk")
    cut = original("DNG")[: len(original("DNG")) * 2 // 3]
    for data in (bytes(damaged), odd, cut):
        check_reads_or_refuses(data)
    os.write(2, b"our own\n")
    assert capfd.readouterr().err == "our own\n"


def test_photographs_opened_by_several_threads_give_standard_error_back(capfd):
    with ThreadPoolExecutor(4) as pool:
        opened = list(pool.map(lambda kind: open_photo(original(kind)).width, ORIGINALS * 4))
    os.write(2, b"our own\n")
    assert set(opened) == {56} and capfd.readouterr().err == "our own\n"


@pytest.mark.parametrize("name", ["a" * 5000 + ".jpg", "plate\udcff.jpg", "two\nlines.jpg"])
def test_an_odd_name_is_said_short_and_printable(name):
    with pytest.raises(PhotoError) as refused:
        open_photo(b"GIF89a" + bytes(99), name=name)
    said = str(refused.value)
    assert len(said) < 250 and said.isprintable() and said.encode("utf-8") and "is a GIF" in said


@pytest.mark.parametrize("name", ["a" * 300 + ".jpg", "a" * 5000, "plate\udcff.jpg", "with\0nul.jpg"])
def test_a_file_of_a_name_that_cannot_be_is_refused_in_a_sentence(name, tmp_path):
    with pytest.raises(PhotoError, match=r": .*\.$") as refused:
        open_photo(tmp_path / name)
    assert str(refused.value).isprintable() and len(str(refused.value)) < 250


NO_PRIMARIES = {
    "all zero": (0,) * 8,
    "white without light": (31270, 0, 64000, 33000, 30000, 60000, 15000, 6000),
    "all one colour": (31270, 32900) * 4,
    "far out": (2**32 - 1,) * 8,
}


@pytest.mark.parametrize("primaries", NO_PRIMARIES)
@pytest.mark.parametrize("gamma", [45_455, 55_556])
@pytest.mark.parametrize("kind", ["PNG", "PNG 16"])
def test_a_png_whose_primaries_span_no_colours_is_read_as_srgb_with_a_warning(kind, gamma, primaries):
    """W3C PNG, third edition: cHRM is xy times 100 000 of white, red, green and blue."""
    plain = pictures.saved(pictures.plain(BROWN), "PNG") if kind == "PNG" else original(kind)
    body = struct.pack(">8I", *NO_PRIMARIES[primaries])
    odd = pictures.png_with_chunk(pictures.png_with_chunk(plain, b"gAMA", struct.pack(">I", gamma)), b"cHRM", body)
    photo = open_photo(odd)
    assert photo.encoding == "sRGB" and [caveat.code for caveat in photo.caveats] == ["profile_broken"]
    np.testing.assert_array_equal(photo.linear(), open_photo(plain).linear())


@pytest.mark.parametrize("gamma", [0, 1, 2**32 - 1])
def test_a_png_whose_gamma_is_none_is_read_as_srgb_with_a_warning(gamma):
    plain = pictures.saved(pictures.plain(BROWN), "PNG")
    photo = open_photo(pictures.png_with_chunk(plain, b"gAMA", struct.pack(">I", gamma)))
    assert photo.encoding == "sRGB" and [caveat.code for caveat in photo.caveats] == ["profile_broken"]


def test_a_very_large_raw_file_is_read_at_half_its_size_and_says_so(monkeypatch):
    whole = open_photo(original("DNG"), name="plate.dng")
    monkeypatch.setattr("matcher.photo.raw.MAX_WHOLE_PIXELS", 40 * 56 - 1)
    halved = open_photo(original("DNG"), name="plate.dng")
    assert (halved.width, halved.height) == (whole.width // 2, whole.height // 2)
    assert "raw_halved" in [caveat.code for caveat in halved.caveats]
    assert halved.linear().mean() == pytest.approx(whole.linear().mean(), rel=0.05)
