"""Photographs of every kind come out as the light that made them.

Outside references: colour-science 0.4.7 for sRGB and Display P3, IEC 61966-2-1's own constants, LittleCMS (through
Pillow) for ICC profiles.
"""

from __future__ import annotations

import hashlib
import io
import struct
import zlib
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import colour
import numpy as np
import pytest
from PIL import Image, ImageCms

from matcher.colour.cielab import D50_WHITE, lab_to_xyz, xyz_to_lab
from matcher.errors import PhotoError
from matcher.photo.camera import CameraInfo, surely_same, what_differs
from matcher.photo.encoding import coded_encoding, is_encoding
from matcher.photo.photo import open_photo
from tests import pictures

BROWN = (180, 90, 40)
BROWN_LIGHT = colour.models.eotf_sRGB(np.array(BROWN) / 255)


def middle(photo):
    """The linear RGB of the picture's middle, (3,)."""
    x, y = photo.width // 2, photo.height // 2
    return photo.linear((x, y, x + 1, y + 1))[0, 0]


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(pictures.saved(pictures.plain(BROWN), "PNG"), id="PNG"),
        pytest.param(pictures.saved(pictures.plain(BROWN), "WEBP", lossless=True), id="WebP"),
        pytest.param(pictures.saved(pictures.plain(BROWN), "TIFF"), id="TIFF"),
        pytest.param(pictures.saved(pictures.plain(BROWN), "TIFF", compression="tiff_lzw"), id="TIFF LZW"),
        pytest.param(pictures.png16(np.full((8, 12, 3), BROWN, np.uint16) * 257), id="PNG 16"),
        pytest.param(pictures.tiff(np.full((8, 12, 3), BROWN, np.uint16) * 257, photometric="rgb"), id="TIFF 16"),
        pytest.param(
            pictures.tiff(np.full((8, 12, 3), BROWN, np.uint16) * 257, photometric="rgb", byteorder=">"),
            id="TIFF 16 big-endian",
        ),
        pytest.param(
            pictures.tiff(np.full((8, 12, 3), BROWN, np.uint16) * 257, photometric="rgb", bigtiff=True),
            id="BigTIFF 16",
        ),
        pytest.param(
            pictures.tiff(np.full((8, 12, 3), BROWN, np.uint16) * 257, photometric="rgb", compression="deflate"),
            id="TIFF 16 deflate",
        ),
        pytest.param(
            pictures.saved(pictures.plain(BROWN).convert("P", palette=Image.Palette.ADAPTIVE), "PNG"), id="palette"
        ),
        pytest.param(pictures.saved(pictures.plain(BROWN).convert("RGBA"), "PNG"), id="opaque alpha"),
    ],
)
def test_lossless_formats_give_the_light_of_srgb(data):
    photo = open_photo(data)
    assert photo.encoding == "sRGB" and (photo.width, photo.height) == (12, 8) and not photo.caveats
    assert photo.linear().dtype == np.float32
    np.testing.assert_allclose(middle(photo), BROWN_LIGHT, atol=1e-6)


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(pictures.saved(pictures.plain(BROWN, (64, 48)), "JPEG", quality=100, subsampling=0), id="JPEG"),
        pytest.param(pictures.saved(pictures.plain(BROWN, (64, 48)), "MPO", quality=100, subsampling=0), id="MPO"),
        pytest.param(pictures.heic(pictures.plain(BROWN, (64, 48))), id="HEIC"),
        pytest.param(pictures.saved(pictures.plain(BROWN, (64, 48)), "WEBP", quality=100), id="WebP"),
    ],
)
def test_lossy_formats_give_the_light_of_srgb_within_their_coding(data):
    photo = open_photo(data)
    assert photo.encoding == "sRGB" and (photo.width, photo.height) == (64, 48)
    np.testing.assert_allclose(middle(photo), BROWN_LIGHT, atol=0.01)


def test_the_srgb_curve_has_the_constants_of_the_standard():
    """IEC 61966-2-1: 12.92 below 0.04045, else ((v + 0.055) / 1.055) ** 2.4; all 256 codes, and colour-science."""
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[np.newaxis, :, np.newaxis], 3, axis=2)
    light = open_photo(pictures.saved(Image.fromarray(ramp), "PNG")).linear()[0, :, 0]
    stored = np.arange(256) / 255
    by_hand = np.where(stored <= 0.04045, stored / 12.92, ((stored + 0.055) / 1.055) ** 2.4)
    np.testing.assert_allclose(light, by_hand, atol=1e-7)
    np.testing.assert_allclose(light, colour.models.eotf_sRGB(stored), atol=1e-7)


def test_sixteen_bits_are_kept():
    """Two values that 8 bits cannot tell apart stay apart, in PNG, TIFF and ten-bit HEIC."""
    pixels = np.zeros((4, 4, 3), np.uint16)
    pixels[:, :2], pixels[:, 2:] = 20_000, 20_050
    for data in (pictures.png16(pixels), pictures.tiff(pixels, photometric="rgb")):
        photo = open_photo(data)
        assert photo.bits == 16
        light = photo.linear()[0, :, 0]
        expected = colour.models.eotf_sRGB(np.array([20_000, 20_050]) / 65535)
        np.testing.assert_allclose(light[[0, 3]], expected, atol=1e-7)
        assert light[3] > light[0]


def test_ten_bit_heic_reaches_white_and_keeps_its_steps():
    import pillow_heif

    stream = io.BytesIO()
    pixels = np.full((64, 64, 3), 65535, np.uint16)
    pixels[:, 32:] = 0
    pillow_heif.from_bytes("RGB;16", (64, 64), pixels.tobytes()).save(stream, quality=-1)
    photo = open_photo(stream.getvalue())
    assert photo.bits == 16
    np.testing.assert_allclose(photo.linear((8, 8, 9, 9)), 1.0, atol=2e-3)
    assert photo.clipped()[8, 8] and not photo.clipped()[8, 56]


def test_xyz_of_the_file_is_that_of_srgb_under_d50():
    """(1, 1, 1) is D50's white exactly; the rest is colour-science's sRGB to XYZ with a Bradford transform."""
    photo = open_photo(pictures.saved(pictures.plain(BROWN), "PNG"))
    np.testing.assert_allclose(photo.rgb_to_xyz.sum(axis=1), D50_WHITE, atol=1e-12)
    expected = colour.RGB_to_XYZ(
        BROWN_LIGHT, "sRGB", illuminant=colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"],
        chromatic_adaptation_transform="Bradford",
    )  # fmt: skip
    np.testing.assert_allclose(photo.rgb_to_xyz @ middle(photo), expected, atol=3e-5)  # its matrix has four digits


def test_eighteen_percent_grey_reads_as_lab_49_5():
    """CIE 15: L* of reflectance 0.18 is 49.50; sRGB's code for it is 117.6 (IEC 61966-2-1), so 16 bits are used."""
    code = round(float(colour.models.eotf_inverse_sRGB(0.18)) * 65535)
    photo = open_photo(pictures.png16(np.full((3, 3, 3), code, np.uint16)))
    np.testing.assert_allclose(xyz_to_lab(photo.rgb_to_xyz @ middle(photo)), (49.50, 0, 0), atol=0.005)


P3_COLOURS = [(230, 60, 30), (20, 200, 60), (128, 128, 128), (255, 255, 255), (90, 60, 40), (0, 0, 0)]


@pytest.mark.parametrize("stored", P3_COLOURS)
@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP", "TIFF 16", "PNG 16"])
def test_a_display_p3_file_gives_the_colour_that_it_means(stored, kind):
    """colour-science's Display P3, in linear sRGB, which goes below 0 for colours outside sRGB."""
    profile = pictures.matrix_profile()
    if kind.endswith("16"):
        pixels = np.full((8, 12, 3), stored, np.uint16) * 257
        if kind == "TIFF 16":
            data = pictures.tiff(pixels, photometric="rgb", iccprofile=profile)
        else:
            data = pictures.png_with_chunk(pictures.png16(pixels), b"iCCP", b"p3\0\0" + zlib.compress(profile))
    else:
        options = {"lossless": True} if kind == "WEBP" else {}
        data = pictures.saved(pictures.plain(stored), kind, icc_profile=profile, **options)
    photo = open_photo(data)
    assert photo.encoding == "Display P3" and not photo.caveats
    expected = colour.RGB_to_RGB(
        np.array(stored) / 255, "Display P3", "sRGB", apply_cctf_decoding=True, chromatic_adaptation_transform=None
    )
    np.testing.assert_allclose(middle(photo), expected, atol=3e-4)


@pytest.mark.parametrize("kind", ["JPEG", "HEIC"])
def test_a_display_p3_photograph_and_its_srgb_twin_read_the_same(kind):
    srgb = np.array((150.0, 100.0, 70.0)) / 255
    p3 = colour.RGB_to_RGB(
        srgb, "sRGB", "Display P3", apply_cctf_decoding=True, apply_cctf_encoding=True,
        chromatic_adaptation_transform=None,
    )  # fmt: skip
    labs = []
    for code, profile in ((srgb, None), (p3, pictures.matrix_profile())):
        grain = np.random.default_rng(1).normal(0, 3, (48, 64, 3))  # as a photograph has; it evens out the rounding
        image = Image.fromarray(np.rint(code * 255 + grain).astype(np.uint8))
        if kind == "HEIC":
            image.info["icc_profile"] = profile
            data = pictures.heic(image, chroma=444)
        else:
            data = pictures.saved(image, "JPEG", quality=100, subsampling=0, icc_profile=profile)
        photo = open_photo(data)
        labs.append(xyz_to_lab(photo.rgb_to_xyz @ photo.linear().mean(axis=(0, 1))))
    assert colour.delta_E(labs[0], labs[1], method="CIE 2000") < 0.2


def test_heic_code_points_for_display_p3_are_honoured():
    """ITU-T H.273: primaries 12 are SMPTE EG 432-1 (P3, D65), transfer 13 is IEC 61966-2-1."""
    data = pictures.heic(pictures.plain(BROWN, (64, 48)), color_primaries=12, transfer_characteristics=13)
    photo = open_photo(data)
    assert photo.encoding == "Display P3"
    expected = colour.RGB_to_RGB(np.array(BROWN) / 255, "Display P3", "sRGB", apply_cctf_decoding=True)
    np.testing.assert_allclose(middle(photo), expected, atol=0.012)


CURVES = {
    "sRGB parametric": pictures.SRGB_PARAMETRIC,
    "sRGB table": pictures.curve_of_table(colour.models.eotf_sRGB),
    "gamma 2.2": pictures.curve_of_gamma(2.2),
    "no curve": b"curv\0\0\0\0\0\0\0\0",
    "parametric 0": pictures.curve_parametric(0, 1.8),
    "parametric 1": pictures.curve_parametric(1, 2.0, 0.9, 0.1),
    "parametric 2": pictures.curve_parametric(2, 2.2, 0.9, 0.05, 0.02),
    "parametric 4": pictures.curve_parametric(4, 2.4, 0.9, 0.05, 0.1, 0.2, 0.01, 0.005),
}


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("colorants", [pictures.SRGB_COLORANTS, pictures.P3_COLORANTS], ids=["sRGB", "P3"])
def test_profiles_are_read_as_littlecms_reads_them(curve, colorants):
    """LittleCMS through Pillow, 8-bit sRGB out: within one code value."""
    profile = pictures.matrix_profile(colorants, CURVES[curve])
    patches = np.array([[(70, 60, 50), (120, 90, 70), (200, 190, 180), (128, 128, 128), (90, 110, 100)]], np.uint8)
    image = Image.fromarray(patches)
    theirs = np.asarray(
        ImageCms.profileToProfile(
            image,
            ImageCms.getOpenProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )
    )
    photo = open_photo(pictures.saved(image, "PNG", icc_profile=profile))
    ours = colour.models.eotf_inverse_sRGB(np.clip(photo.linear(), 0, 1)) * 255
    np.testing.assert_allclose(ours, theirs, atol=1.0)
    np.testing.assert_allclose(photo.preview(100), theirs, atol=1.0)


def test_a_profile_built_on_tables_reads_as_its_matrix_twin():
    patches = np.array([[(70, 60, 50), (120, 90, 70), (200, 190, 180), (128, 128, 128)]], np.uint8)
    tables = pictures.table_profile(pictures.P3_COLORANTS, colour.models.eotf_sRGB)
    read = [
        open_photo(pictures.saved(Image.fromarray(patches), "PNG", icc_profile=profile))
        for profile in (tables, pictures.matrix_profile())
    ]
    assert read[0].encoding == "ICC profile invented"
    np.testing.assert_allclose(read[0].preview(10), read[1].preview(10), atol=1)
    sixteen = pictures.tiff(patches.astype(np.uint16) * 257, photometric="rgb", iccprofile=tables)
    photo = open_photo(sixteen)
    assert [caveat.code for caveat in photo.caveats] == ["profile_eight_bits"]
    np.testing.assert_allclose(photo.linear(), read[0].linear(), atol=1e-6)


def test_grey_pictures_have_three_equal_channels():
    grey = Image.new("L", (5, 4), 118)
    for data in (pictures.saved(grey, "PNG"), pictures.saved(grey, "JPEG"), pictures.saved(grey, "TIFF")):
        light = open_photo(data).linear()
        assert light.shape == (4, 5, 3)
        np.testing.assert_allclose(light, colour.models.eotf_sRGB(118 / 255), atol=1e-3)


def test_a_grey_profile_gives_a_grey_picture_its_curve():
    data = pictures.saved(Image.new("L", (5, 4), 118), "PNG", icc_profile=pictures.grey_profile(CURVES["parametric 0"]))
    photo = open_photo(data)
    assert photo.encoding == "ICC profile invented" and not photo.caveats
    np.testing.assert_allclose(photo.linear(), (118 / 255) ** 1.8, atol=1e-5)


def test_white_is_zero_tiffs_are_not_negatives():
    """TIFF 6.0, PhotometricInterpretation 0."""
    eight = pictures.tiff(np.full((4, 4), 40, np.uint8), photometric="miniswhite")
    sixteen = pictures.tiff(np.full((4, 4), 40 * 257, np.uint16), photometric="miniswhite")
    for data in (eight, sixteen):
        np.testing.assert_allclose(open_photo(data).linear(), colour.models.eotf_sRGB(215 / 255), atol=1e-6)


BROKEN_PROFILES = {
    "rubbish": b"not a profile at all" * 20,
    "cut short": pictures.matrix_profile()[:300],
    "for inks": pictures.profile({b"kTRC": pictures.SRGB_PARAMETRIC}, space=b"CMYK"),
    "for grey": pictures.grey_profile(pictures.SRGB_PARAMETRIC),
    "falling curve": pictures.matrix_profile(curve=pictures.curve_of_table(lambda x: 1 - x)),
    "no white": pictures.matrix_profile([(0.1, 0.1, 0.1)] * 3),
    "unknown curve": pictures.matrix_profile(curve=pictures.curve_parametric(9, 1.0)),
    "tables cut short": pictures.table_profile(pictures.P3_COLORANTS, np.sqrt)[:2000],
    "empty tables": pictures.profile({b"A2B0": b"mft2\0\0\0\0"}),
}


@pytest.mark.parametrize("profile", BROKEN_PROFILES)
def test_a_broken_profile_costs_a_caveat_and_not_the_picture(profile):
    data = pictures.saved(pictures.plain(BROWN), "PNG", icc_profile=BROKEN_PROFILES[profile])
    photo = open_photo(data)
    assert [caveat.code for caveat in photo.caveats] == ["profile_broken"] and photo.encoding == "sRGB"
    np.testing.assert_allclose(middle(photo), BROWN_LIGHT, atol=1e-6)


def test_the_encoding_can_be_overruled():
    data = pictures.saved(pictures.plain(BROWN), "PNG", icc_profile=pictures.matrix_profile())
    assert open_photo(data, encoding="srgb").encoding == "sRGB"
    np.testing.assert_allclose(middle(open_photo(data, encoding="sRGB")), BROWN_LIGHT, atol=1e-6)
    linear = open_photo(data, encoding="linear")
    assert linear.encoding == "linear"
    np.testing.assert_allclose(middle(linear), np.array(BROWN) / 255, atol=1e-6)
    with pytest.raises(PhotoError, match="srgb or linear"):
        open_photo(data, encoding="P3")


def test_floating_point_tiffs_are_linear_when_said_so():
    pixels = np.full((4, 6, 3), (0.25, 0.125, 1.5), np.float32)
    data = pictures.tiff(pixels, photometric="rgb")
    photo = open_photo(data, encoding="linear")
    np.testing.assert_array_equal(photo.linear(), pixels)
    assert not photo.clipped().any()
    with pytest.raises(PhotoError, match="encoding is linear"):
        open_photo(data)
    pixels[0, 0, 0] = np.nan
    with pytest.raises(PhotoError, match="not numbers"):
        open_photo(pictures.tiff(pixels, photometric="rgb"), encoding="linear")


def test_png_gamma_and_primaries_are_honoured():
    """W3C PNG, third edition: gAMA is the exponent's inverse times 100 000, cHRM xy times 100 000."""
    png = pictures.saved(pictures.plain(BROWN), "PNG")
    linear = open_photo(pictures.png_with_chunk(png, b"gAMA", struct.pack(">I", 100_000)))
    np.testing.assert_allclose(middle(linear), np.array(BROWN) / 255, atol=1e-6)
    usual = open_photo(pictures.png_with_chunk(png, b"gAMA", struct.pack(">I", 45_455)))
    assert usual.encoding == "sRGB"
    p3 = struct.pack(">8I", 31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000)
    data = pictures.png_with_chunk(pictures.png_with_chunk(png, b"gAMA", struct.pack(">I", 45_455)), b"cHRM", p3)
    expected = colour.RGB_to_RGB(np.array(BROWN) / 255, "Display P3", "sRGB", apply_cctf_decoding=True)
    np.testing.assert_allclose(middle(open_photo(data)), expected, atol=1e-4)
    coded = open_photo(pictures.png_with_chunk(png, b"cICP", bytes((12, 13, 0, 1))))
    assert coded.encoding == "Display P3"
    with pytest.raises(PhotoError, match="HDR"):
        open_photo(pictures.png_with_chunk(png, b"cICP", bytes((9, 16, 0, 1))))


def test_a_camera_set_to_the_other_colour_space_is_believed():
    """DCF 2.0: no profile, ColorSpace uncalibrated and interoperability index R03 mean Adobe RGB (IEC 61966-2-5)."""
    exif = Image.Exif()
    exif[34665] = {0xA001: 0xFFFF, 0xA005: {1: "R03"}}
    image = pictures.plain(BROWN, (64, 48))
    photo = open_photo(pictures.saved(image, "JPEG", quality=100, subsampling=0, exif=exif))
    assert photo.encoding == "Adobe RGB"
    expected = colour.RGB_to_RGB(np.array(BROWN) / 255, "Adobe RGB (1998)", "sRGB", apply_cctf_decoding=True)
    np.testing.assert_allclose(middle(photo), expected, atol=0.012)
    exif[34665] = {0xA001: 0xFFFF}
    unknown = open_photo(pictures.saved(image, "JPEG", exif=exif))
    assert [caveat.code for caveat in unknown.caveats] == ["profile_missing"]


CORNERS = [(250, 0, 0), (0, 250, 0), (0, 0, 250), (250, 250, 0)]


def four_corners():
    """A 12 by 8 picture with another colour in each corner: red, green over blue, yellow."""
    pixels = np.zeros((8, 12, 3), np.uint8)
    pixels[:4, :6], pixels[:4, 6:], pixels[4:, :6], pixels[4:, 6:] = CORNERS
    return pixels


# Exif 2.32, tag 274: where the stored row 0 and column 0 lie in the upright picture, as numpy turns to get there.
TURNS = {
    1: lambda a: a,
    2: np.fliplr,
    3: lambda a: np.rot90(a, 2),
    4: np.flipud,
    5: lambda a: np.swapaxes(a, 0, 1),
    6: lambda a: np.rot90(a, -1),
    7: lambda a: np.rot90(np.swapaxes(a, 0, 1), 2),
    8: lambda a: np.rot90(a, 1),
}


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "TIFF", "TIFF LZW", "WEBP", "JPEG", "TIFF 16", "PNG 16", "HEIC"])
def test_every_orientation_comes_out_upright(orientation, kind):
    stored = four_corners().repeat(8, axis=0).repeat(8, axis=1)
    exif = Image.Exif()
    exif[274] = orientation
    if kind == "TIFF 16":
        tags = [(274, "H", 1, orientation, True)]
        data = pictures.tiff(stored.astype(np.uint16) * 257, photometric="rgb", extratags=tags)
    elif kind == "PNG 16":
        data = pictures.png_with_chunk(pictures.png16(stored.astype(np.uint16) * 257), b"eXIf", exif.tobytes()[6:])
    elif kind == "HEIC":
        data = pictures.heic(Image.fromarray(stored), exif=exif.tobytes())
    else:
        options = {
            "WEBP": {"lossless": True},
            "JPEG": {"quality": 95, "subsampling": 0},
            "TIFF LZW": {"compression": "tiff_lzw"},
        }.get(kind, {})
        data = pictures.saved(Image.fromarray(stored), kind.split()[0], exif=exif, **options)
    photo = open_photo(data)
    upright = TURNS[orientation](stored)
    assert (photo.height, photo.width) == upright.shape[:2]
    for picture in (photo.preview(10_000), np.rint(colour.models.eotf_inverse_sRGB(photo.linear()) * 255)):
        assert np.abs(picture.astype(int) - upright)[16::32, 16::32].max() <= 8
    box = (0, 0, photo.width // 2, photo.height // 3)
    np.testing.assert_array_equal(photo.linear(box), photo.linear()[: photo.height // 3, : photo.width // 2])
    small = photo.preview(12)
    assert max(small.shape) == 12
    assert np.abs(small[2::4, 2::4].astype(int) - TURNS[orientation](four_corners())[2::4, 2::4]).max() <= 8


def test_boxes_are_cut_to_the_picture_and_refused_outside_it():
    photo = open_photo(pictures.saved(pictures.plain(BROWN), "PNG"))
    assert photo.linear((-5, -5, 3.2, 2)).shape == (2, 4, 3)
    assert photo.clipped((10, 6, 50, 50)).shape == (2, 2)
    for box in ((12, 0, 20, 5), (3, 3, 3, 8), (5, 5, 2, 2), (np.nan, 0, 1, 1)):
        with pytest.raises(PhotoError):
            photo.linear(box)


def test_clipping_is_told_from_the_stored_values():
    pixels = np.zeros((1, 4, 3), np.uint8)
    pixels[0, 1], pixels[0, 2], pixels[0, 3] = (253, 253, 253), (255, 0, 0), (0, 0, 254)
    photo = open_photo(pictures.saved(Image.fromarray(pixels), "PNG", icc_profile=pictures.matrix_profile()))
    assert photo.clipped().tolist() == [[False, False, True, True]]


def test_the_preview_is_an_area_mean_and_never_larger():
    pixels = np.zeros((20, 40, 3), np.uint8)
    pixels[:, ::2] = 200
    photo = open_photo(pictures.saved(Image.fromarray(pixels), "PNG"))
    assert photo.preview(1000).shape == (20, 40, 3)
    small = photo.preview(10)
    assert small.shape == (5, 10, 3) and np.abs(small.astype(int) - 100).max() <= 1


def test_what_a_photo_gives_may_be_drawn_on():
    """Neither the preview nor the light is the photo's own store."""
    floats = pictures.tiff(np.full((4, 6, 3), 0.5, np.float32), photometric="rgb")
    for photo in (open_photo(pictures.png16(np.full((4, 6, 3), 9000, np.uint16))), open_photo(floats, "linear")):
        before = photo.linear()
        photo.preview(100)[:] = 0
        photo.linear()[:] = 0
        np.testing.assert_array_equal(photo.linear(), before)


def test_sixteen_bit_grey_with_alpha_is_grey():
    """PNG colour type 4 of 16 bits, written by hand: grey, then alpha."""
    rows = b"".join(b"\0" + struct.pack(">12H", *(30_000, 65535) * 6) for _ in range(4))
    header = struct.pack(">IIBBBBB", 6, 4, 16, 4, 0, 0, 0)
    png = b"\x89PNG\r\n\x1a\n"
    for kind, body in ((b"IHDR", header), (b"IDAT", zlib.compress(rows)), (b"IEND", b"")):
        png += struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
    photo = open_photo(png)
    assert photo.bits == 16 and not photo.caveats
    np.testing.assert_allclose(photo.linear(), colour.models.eotf_sRGB(30_000 / 65535), atol=1e-6)


def test_a_dark_linear_picture_is_shown_brighter_but_read_as_it_is():
    pixels = np.full((10, 10, 3), 600, np.uint16)
    photo = open_photo(pictures.png16(pixels), encoding="linear")
    assert photo.preview(10).min() > 180
    np.testing.assert_allclose(photo.linear(), 600 / 65535, rtol=1e-5)


def test_see_through_parts_are_a_caveat():
    image = pictures.plain(BROWN).convert("RGBA")
    image.putpixel((0, 0), (*BROWN, 9))
    for data in (pictures.saved(image, "PNG"), pictures.saved(image, "WEBP", lossless=True)):
        photo = open_photo(data)
        assert [caveat.code for caveat in photo.caveats] == ["transparent"]
        np.testing.assert_allclose(middle(photo), BROWN_LIGHT, atol=1e-6)


def test_the_camera_and_the_file_are_named(tmp_path: Path):
    exif = Image.Exif()
    exif[271], exif[272] = "Invented\0", "Box 1"
    exif[34665] = {0x829A: 0.008, 0x829D: 5.6, 0x8827: 200, 0x9003: "2024:05:06 07:08:09", 0xA434: "50 mm"}
    data = pictures.saved(pictures.plain(BROWN), "JPEG", exif=exif)
    path = tmp_path / "plate.jpg"
    path.write_bytes(data)
    photo = open_photo(path)
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    camera = photo.camera
    assert camera is not None
    assert (camera.make, camera.model, camera.lens) == ("Invented", "Box 1", "50 mm")
    assert camera.taken_at == datetime(2024, 5, 6, 7, 8, 9)
    assert camera.exposure_s == pytest.approx(0.008) and camera.f_number == pytest.approx(5.6) and camera.iso == 200
    assert camera.as_dict()["taken_at"] == "2024-05-06T07:08:09"
    assert open_photo(pictures.saved(pictures.plain(BROWN), "PNG")).camera is None


def test_senseless_exif_costs_what_it_would_have_said():
    exif = Image.Exif()
    exif[274], exif[271], exif[306] = 77, "Invented", "yesterday"
    photo = open_photo(pictures.saved(pictures.plain(BROWN), "JPEG", exif=exif))
    assert photo.width == 12 and photo.camera is not None and photo.camera.taken_at is None
    broken = pictures.saved(pictures.plain(BROWN), "JPEG", exif=b"Exif\0\0II*\0\xff\xff\xff\xff")
    assert open_photo(broken).camera is None


# A camera matrix of our own making: XYZ in daylight to camera RGB.
CAMERA = np.array([[0.9, -0.3, -0.1], [-0.4, 1.2, 0.2], [-0.1, 0.2, 0.6]])


def test_a_raw_file_is_linear_and_keeps_camera_rgb():
    steps = np.linspace(0.02, 0.9, 8)
    camera_rgb = np.repeat(steps, 16)[np.newaxis, :, np.newaxis] * np.ones((32, 1, 1)) * np.array([0.5, 1.0, 0.6])
    photo = open_photo(pictures.dng(pictures.mosaic(camera_rgb), CAMERA))
    assert photo.encoding == "camera raw" and photo.bits == 16 and not photo.caveats
    assert (photo.width, photo.height) == (128, 32)
    middles = photo.linear()[16, 8::16]
    np.testing.assert_allclose(photo.balance, 1 / np.array([0.5, 1.0, 0.6]), rtol=1e-4)
    np.testing.assert_allclose(middles, np.repeat(steps[:, np.newaxis], 3, axis=1), atol=2e-4)
    np.testing.assert_allclose(middles / photo.balance, camera_rgb[16, 8::16], atol=2e-4)
    assert not photo.clipped().any()


def test_a_raw_files_white_is_d50_and_its_colours_follow_its_matrix():
    """The colour of a daylight scene through the camera's matrix and back, DNG 1.7: CIELAB within the rounding."""
    d50, d65 = np.array([0.96422, 1.0, 0.82521]), np.array([0.95047, 1.0, 1.08883])  # CIE
    white = CAMERA @ d65
    assert white.argmax() == 1  # so that the green channel sets the scale
    for lab in ((100.0, 0.0, 0.0), (40.0, 15.0, 25.0), (60.0, -20.0, 10.0)):
        in_daylight = colour.chromatic_adaptation(lab_to_xyz(lab), d50, d65, method="Von Kries", transform="Bradford")
        camera_rgb = 0.8 * CAMERA @ in_daylight / white[1]
        sensor = pictures.mosaic(np.broadcast_to(camera_rgb, (32, 32, 3)))
        photo = open_photo(pictures.dng(sensor, CAMERA, neutral=white / white[1]))
        np.testing.assert_allclose(photo.rgb_to_xyz.sum(axis=1), D50_WHITE, atol=1e-6)
        np.testing.assert_allclose(xyz_to_lab(photo.rgb_to_xyz @ middle(photo) / 0.8), lab, atol=0.1)


def test_raw_files_come_upright_and_show_their_clipping():
    camera_rgb = np.full((32, 48, 3), 0.2)
    camera_rgb[:16, :16] = 1.0
    photo = open_photo(pictures.dng(pictures.mosaic(camera_rgb), CAMERA, neutral=(1, 1, 1), orientation=6))
    assert (photo.width, photo.height) == (32, 48)
    clipped = photo.clipped()
    assert clipped[4:12, -12:-4].all() and not clipped[20:].any()
    preview = photo.preview(48)
    assert preview.shape == (48, 32, 3) and preview[8, -8].min() > 200
    assert photo.camera is not None and photo.camera.model == "Camera"
    with pytest.raises(PhotoError, match="linear"):
        open_photo(pictures.dng(pictures.mosaic(camera_rgb), CAMERA), encoding="srgb")
    assert open_photo(pictures.dng(pictures.mosaic(camera_rgb), CAMERA), encoding="linear").encoding == "camera raw"


@pytest.mark.parametrize("chunks", [{b"gAMA": 55_556}, {b"gAMA": 100_000}, {b"gAMA": 45_455}, {}])
def test_every_encoding_that_a_png_gives_has_a_name_that_is_known(chunks):
    png = pictures.saved(pictures.plain(BROWN), "PNG")
    for kind, value in chunks.items():
        png = pictures.png_with_chunk(png, kind, struct.pack(">I", value))
    assert is_encoding(open_photo(png).encoding)


@pytest.mark.parametrize("primaries", [1, 9, 11, 12])
@pytest.mark.parametrize("transfer", [1, 4, 5, 8, 13])
def test_every_encoding_by_code_points_has_a_name_that_is_known(primaries, transfer):
    """ITU-T H.273 code points, as HEIC and PNG carry them."""
    encoding = coded_encoding(primaries, transfer)
    assert encoding is not None and is_encoding(encoding.name)


def test_no_other_name_is_an_encoding():
    for name in ("", "srgb", "RAW", "ICC", "gammas", "Lab"):
        assert not is_encoding(name)


ONE, DATED = CameraInfo("Invented", "One", "50 mm"), CameraInfo(taken_at=datetime(2024, 5, 14))


@pytest.mark.parametrize(
    ("one", "other", "differs", "same"),
    [
        (ONE, ONE, "", True),
        (ONE, replace(ONE, model="Two"), "camera", False),
        (ONE, replace(ONE, make="Devised"), "camera", False),
        (ONE, replace(ONE, lens="85 mm"), "lens", False),
        (ONE, replace(ONE, lens=None), "", True),
        (ONE, replace(ONE, taken_at=DATED.taken_at, iso=100), "", True),
        (ONE, DATED, "", False),
        (ONE, None, "", False),
        (ONE, CameraInfo(make="Invented"), "", False),
        (ONE, CameraInfo(make="Devised"), "camera", False),
        (DATED, DATED, "", False),
        (None, None, "", False),
    ],
)
def test_another_camera_is_one_that_is_known_to_be(one, other, differs, same):
    """What an EXIF block leaves out makes it neither another camera nor the same, whichever comes first."""
    assert what_differs(one, other) == what_differs(other, one) == differs
    assert surely_same(one, other) is surely_same(other, one) is same
