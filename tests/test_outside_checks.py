"""The main job against the outside: published spectra and sensitivities, a wide-gamut twin, real chart photographs."""

import io
import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.detect import find_card
from matcher.colour.cielab import D50_WHITE, encode_srgb
from matcher.colour.difference import delta_e_2000
from matcher.colour.uncertainty import CHI2_95
from matcher.photo.photo import open_photo
from matcher.reading.finish import read_finish
from tests.scenes import box, png

SENSOR = "Nikon 5100 (NPL)"


def sensor_response(reflectances, illuminant):
    """Return camera RGB (n, 3), white-balanced, of colour-science spectral distributions under an illuminant."""
    import colour

    shape = colour.SpectralShape(400, 700, 10)
    camera = colour.MSDS_CAMERA_SENSITIVITIES[SENSOR].copy().align(shape).values
    light = colour.SDS_ILLUMINANTS[illuminant].copy().align(shape).values
    spectra = np.array([spectrum.copy().align(shape).values for spectrum in reflectances])
    weights = camera * light[:, None]
    return spectra @ weights / weights.sum(axis=0)


def cielab_of(reflectances):
    """Return CIELAB (n, 3) under D50 of spectral distributions, by colour-science's own integration."""
    import colour

    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS["D50"]
    white = colour.XYZ_to_xy(D50_WHITE)
    xyz = [colour.sd_to_XYZ(spectrum, observer, light) / 100 for spectrum in reflectances]
    return np.array([colour.XYZ_to_Lab(value, white) for value in xyz])


def test_chart_patches_under_d50_with_a_grey_card_read_within_1_5():
    """Spectra: BabelColor Average; camera: measured sensitivities (NPL); light: CIE D50; all from colour-science.

    The camera's own matrix is the usual least-squares one for daylight. The best 3×3 of this sensor leaves 1.0.
    """
    import colour

    chart = list(colour.SDS_COLOURCHECKERS["BabelColor Average"].values())
    grey = colour.SpectralDistribution(dict.fromkeys(range(380, 731, 10), 0.18))
    truth = cielab_of(chart)
    raw = sensor_response([*chart, grey], "D50")
    wanted = colour.XYZ_to_sRGB(
        colour.Lab_to_XYZ(truth, colour.XYZ_to_xy(D50_WHITE)), colour.XYZ_to_xy(D50_WHITE), apply_cctf_encoding=False
    )
    matrix = np.linalg.lstsq(raw[:24], wanted, rcond=None)[0]
    linear = np.clip(0.8 * raw @ matrix, 0, 1)
    codes = np.repeat(np.repeat(np.rint(encode_srgb(linear) * 255).astype(np.uint8)[None], 60, axis=0), 60, axis=1)
    photo = open_photo(png(codes))
    calibration = calibrate(photo, find_card(photo, corners=box(24 * 60, 0, 25 * 60, 60)))
    delta = [
        float(delta_e_2000(read_finish(photo, calibration, box(60 * k + 5, 5, 60 * k + 55, 55)).lab, truth[k]))
        for k in range(24)
    ]
    assert np.mean(delta) <= 1.5
    assert np.mean(delta) >= 0.5, "too good to be a real sensor: the truth has leaked into the picture"


def test_a_display_p3_file_and_its_srgb_twin_give_the_same_reading():
    """Source: Display P3 primaries and transfer curve from colour-science; the profile is built per ICC.1."""
    import colour

    from tests.pictures import matrix_profile

    patches = np.array([[0.10, 0.05, 0.02], [0.30, 0.22, 0.10], [0.18, 0.18, 0.18]])
    wide = colour.RGB_to_RGB(patches, "sRGB", "Display P3")
    readings = []
    for linear, profile in ((patches, None), (wide, matrix_profile())):
        codes = np.rint(encode_srgb(linear) * 255).astype(np.uint8)
        picture = Image.fromarray(np.repeat(np.repeat(codes[None], 50, axis=0), 50, axis=1))
        buffer = io.BytesIO()
        picture.save(buffer, "PNG", icc_profile=profile)
        photo = open_photo(buffer.getvalue())
        calibration = calibrate(photo, find_card(photo, corners=box(100, 0, 150, 50)))
        readings.append([read_finish(photo, calibration, box(50 * k + 4, 4, 50 * k + 46, 46)).lab for k in (0, 1)])
    assert np.max(delta_e_2000(*np.array(readings))) < 0.6  # both files are rounded to 8 bits


REAL = os.environ.get("MATCHER_REAL_PHOTOS")


@pytest.mark.skipif(not REAL, reason="MATCHER_REAL_PHOTOS does not name a folder of chart photographs")
def test_a_real_chart_photograph_with_one_grey_patch_as_card_reads_within_5_5():
    """Truth: published chart values (colour-science, after November 2014); the N5 patch stands in for the grey card."""
    photo = open_photo(Path(REAL) / "copy_stand_chart.jpg")
    chart = find_card(photo, "24-patch chart")
    grey = next(item for item in chart.patches if item.patch.name.startswith("neutral 5"))
    card = find_card(photo, "grey card", corners=grey.outline, lab=grey.patch.lab)
    calibration = calibrate(photo, card)
    delta = [
        float(delta_e_2000(read_finish(photo, calibration, item.outline).lab, item.patch.lab))
        for item in chart.patches
        if item is not grey
    ]
    assert np.mean(delta) <= 5.5


@pytest.mark.skipif(not REAL, reason="MATCHER_REAL_PHOTOS does not name a folder of chart photographs")
@pytest.mark.parametrize(
    ("name", "encoding"),
    [("copy_stand_chart.jpg", None), ("linear_tl84_chart.jpg", "linear"), ("outdoor_chart.jpg", None)],
)
@pytest.mark.parametrize("with_profile", [False, True])
def test_95_per_cent_of_a_real_charts_patches_lie_in_their_intervals(name, encoding, with_profile):
    """Truth: published chart values (colour-science, after November 2014). The bar is 85 %: the charts' own age and
    batch are not known. The profile is that of the chart itself, so it tests the interval only, not the error."""
    photo = open_photo(Path(REAL) / name, encoding=encoding)
    chart = find_card(photo, "24-patch chart")
    grey = next(item for item in chart.patches if item.patch.name.startswith("neutral 5"))
    card = find_card(photo, "grey card", corners=grey.outline, lab=grey.patch.lab)
    calibration = calibrate(photo, card, profile_from_chart(photo, chart, "its own") if with_profile else None)
    held = []
    for item in chart.patches:
        if item is not grey:
            reading = read_finish(photo, calibration, item.outline)
            error = reading.lab - item.patch.lab
            held.append(error @ np.linalg.solve(reading.covariance, error) <= CHI2_95)
    assert np.mean(held) >= 0.85
