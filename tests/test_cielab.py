"""CIELAB, sRGB and their derivatives against colour-science and the standards' own constants."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.colour.cielab import (
    D50_WHITE,
    SRGB_TO_XYZ_D50,
    bradford_to_d50,
    encode_srgb,
    lab_jacobian,
    lab_to_lch,
    lab_to_srgb8,
    lab_to_xyz,
    outside_srgb,
    xyz_to_lab,
)

labs = st.tuples(st.floats(1, 99), st.floats(-60, 60), st.floats(-60, 60))


def test_cielab_equals_colour_science():
    """Source: colour-science 0.4.7, XYZ_to_Lab, whose tests hold the published worked values."""
    import colour

    xyz = np.random.default_rng(3).uniform(0.0005, 1, (500, 3))
    white = colour.XYZ_to_xy(D50_WHITE)
    assert np.allclose(xyz_to_lab(xyz), colour.XYZ_to_Lab(xyz, white), atol=1e-9)
    assert np.allclose(lab_to_xyz(xyz_to_lab(xyz)), xyz, atol=1e-12)


def test_an_18_percent_grey_has_lightness_49_50():
    """Source: CIE 15, L* = 116 · 0.18^(1/3) − 16 = 49.496."""
    assert xyz_to_lab(0.18 * D50_WHITE) == pytest.approx([49.496, 0, 0], abs=0.001)


def test_d50_white_is_the_published_one():
    """Source: CIE 15, D50 chromaticity (0.3457, 0.3585)."""
    assert D50_WHITE[:2] / D50_WHITE.sum() == pytest.approx([0.3457, 0.3585], abs=1e-6)


def test_srgb_matrix_is_that_of_iec_61966_2_1_adapted_to_d50():
    """Source: IEC 61966-2-1 primaries and D65; Bradford matrix, both from colour-science."""
    import colour

    d65 = colour.xy_to_XYZ([0.3127, 0.3290])
    primaries = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]])
    to_xyz = colour.normalised_primary_matrix(primaries, [0.3127, 0.3290])
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(d65, D50_WHITE, transform="Bradford")
    assert pytest.approx(adapt @ to_xyz, abs=1e-6) == SRGB_TO_XYZ_D50
    assert SRGB_TO_XYZ_D50.sum(axis=1) == pytest.approx(D50_WHITE, abs=1e-12)


def test_srgb_curve_has_the_constants_of_the_standard():
    """Source: IEC 61966-2-1: linear below 0.0031308 with slope 12.92, then 1.055 x^(1/2.4) − 0.055."""
    assert encode_srgb([0.0, 0.002, 0.18, 1.0]) == pytest.approx([0, 0.02584, 0.46136, 1], abs=1e-5)


@given(labs)
def test_the_jacobian_is_the_derivative(lab):
    xyz = lab_to_xyz(lab)
    step = 1e-7
    numeric = np.stack(
        [(xyz_to_lab(xyz + step * row) - xyz_to_lab(xyz - step * row)) / (2 * step) for row in np.eye(3)], 1
    )
    assert np.allclose(lab_jacobian(xyz), numeric, rtol=2e-3, atol=0.5)


def test_hue_runs_from_0_to_360():
    assert lab_to_lch([50, 0, -10]) == pytest.approx([50, 10, 270])


def test_screen_colours_of_known_cielab():
    """Source: colour-science, XYZ_to_sRGB of the same CIELAB."""
    import colour

    white = colour.XYZ_to_xy(D50_WHITE)
    for lab in ([38.0, 14, 22], [49.5, 0, 0], [70, -20, 5], [100, 0, 0]):
        expected = colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab, white), white, chromatic_adaptation_transform="Bradford")
        assert lab_to_srgb8(lab) == pytest.approx(np.rint(np.clip(expected, 0, 1) * 255), abs=1)


def test_a_colour_that_no_screen_shows_is_noticed():
    assert outside_srgb([50, -90, 0])
    assert not outside_srgb([38, 14, 22])


@pytest.mark.parametrize("light", ["A", "C", "D65", "FL2"])
def test_a_change_of_light_is_by_bradford(light):
    """Source: colour-science, whose tests hold the published worked values."""
    import colour

    white = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][light])
    expected = colour.adaptation.matrix_chromatic_adaptation_VonKries(white, D50_WHITE, transform="Bradford")
    assert bradford_to_d50(white) == pytest.approx(expected, rel=1e-6, abs=1e-9)
    assert bradford_to_d50(white) @ white == pytest.approx(D50_WHITE)
