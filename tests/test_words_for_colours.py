"""Colours in words, held against centroids of the ISCC-NBS method, and against plain sense."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.colour.cielab import SRGB_TO_XYZ_D50, xyz_to_lab
from matcher.colour.words_for_colours import FAMILIES, colour_family, colour_in_words
from tests.example_counts import examples

# ISCC-NBS centroids in sRGB (NBS Special Publication 440; values from memory), with their names there where ours say
# the same: ours leave "moderate" out, call the reddest of the plain browns warm, know no purplish pink and no reddish
# purple, and call light olive green what is yellow green there.
CENTROIDS = {
    "6F4E37": ("moderate brown", "warm brown"),
    "593319": ("deep brown", "dark warm brown"),
    "A67B5B": ("light brown", "light warm brown"),
    "422518": ("dark brown", "dark warm brown"),
    "80461B": ("strong brown", "strong warm brown"),
    "79443B": ("moderate reddish brown", "reddish brown"),
    "3E1D1E": ("dark reddish brown", "dark reddish brown"),
    "A87C6D": ("light reddish brown", "light reddish brown"),
    "826644": ("moderate yellowish brown", "yellowish brown"),
    "4B3621": ("dark yellowish brown", "dark yellowish brown"),
    "C19A6B": ("light yellowish brown", "light yellowish brown"),
    "967117": ("light olive brown", "light olive brown"),
    "6C541E": ("moderate olive brown", "olive brown"),
    "635147": ("greyish brown", "greyish warm brown"),
    "665D1E": ("moderate olive", "olive"),
    "4A5D23": ("moderate olive green", "olive green"),
    "2B3D26": ("dark olive green", "dark olive green"),
    "3B7861": ("moderate green", "green"),
    "1B4D3E": ("dark green", "dark green"),
    "6AAB8E": ("light green", "light green"),
    "5E716A": ("greyish green", "greyish green"),
    "317873": ("moderate bluish green", "bluish green"),
    "004B49": ("dark bluish green", "dark bluish green"),
    "367588": ("moderate greenish blue", "greenish blue"),
    "436B95": ("moderate blue", "blue"),
    "00304E": ("dark blue", "dark blue"),
    "536878": ("greyish blue", "greyish blue"),
    "604E81": ("moderate violet", "violet"),
    "AB4E52": ("moderate red", "red"),
    "722F37": ("dark red", "dark red"),
    "DEA5A4": ("moderate pink", "pink"),
    "D99058": ("moderate orange", "orange"),
    "C9AE5D": ("moderate yellow", "yellow"),
    "F2F3F4": ("white", "white"),
    "B9B8B5": ("light grey", "light grey"),
    "848482": ("medium grey", "grey"),
    "555555": ("dark grey", "dark grey"),
    "222222": ("black", "black"),
    "28201C": ("brownish black", "brownish black"),
    "1E2321": ("greenish black", "greenish black"),
    "25241D": ("olive black", "olive black"),
    "282022": ("reddish black", "reddish black"),
    "202428": ("bluish black", "bluish black"),
    "7D8984": ("greenish grey", "greenish grey"),
    "51585E": ("dark bluish grey", "dark bluish grey"),
    "5D555B": ("dark purplish grey", "dark purplish grey"),
    "50404D": ("dark greyish purple", "dark greyish purple"),
    "796878": ("greyish purple", "greyish purple"),
    "AA8A9E": ("pale reddish purple", "light purple"),
    "C3A6B1": ("greyish purplish pink", "greyish pink"),
    "867E36": ("light olive", "light olive"),
    "403D21": ("dark olive", "dark olive"),
    "5B5842": ("greyish olive", "greyish olive"),
    "8A9A5B": ("moderate yellow green", "light olive green"),
}


def lab_of(code: str) -> np.ndarray:
    value = np.array([int(code[k : k + 2], 16) for k in (0, 2, 4)]) / 255
    light = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return xyz_to_lab(SRGB_TO_XYZ_D50 @ light)


@pytest.mark.parametrize("code", CENTROIDS)
def test_a_centroid_is_called_by_its_name(code: str) -> None:
    assert colour_in_words(lab_of(code)) == CENTROIDS[code][1]


@examples(300)
@given(lightness=st.floats(0, 100), a=st.floats(-90, 90), b=st.floats(-90, 90))
def test_every_colour_has_words_and_a_family(lightness: float, a: float, b: float) -> None:
    words = colour_in_words((lightness, a, b)).split()
    assert 1 <= len(words) <= 5 and len(set(words)) == len(words)
    assert colour_family((lightness, a, b)) in FAMILIES


@examples(200)
@given(low=st.floats(0, 100), high=st.floats(0, 100), chroma=st.floats(0, 60), hue=st.floats(0, 360))
def test_of_one_name_the_darker_is_never_called_lighter(low: float, high: float, chroma: float, hue: float) -> None:
    a, b = chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))
    order = {"dark": 0, "light": 2, "pale": 3}

    def said(lightness: float) -> tuple[int, str]:
        first, *rest = colour_in_words((lightness, a, b)).split()
        return (order[first], " ".join(rest[-2:])) if first in order else (1, " ".join([first, *rest][-2:]))

    (darker, noun), (lighter, same) = said(min(low, high)), said(max(low, high))
    assert noun != same or darker <= lighter


@examples(50)
@given(lightness=st.floats(0, 100), chroma=st.floats(0, 60))
def test_hue_angles_close_in_a_circle(lightness: float, chroma: float) -> None:
    """Just under 360 degrees a colour is called what it is called just over 0."""
    assert colour_in_words((lightness, chroma, -1e-6)) == colour_in_words((lightness, chroma, 1e-6))


@examples(100)
@given(lightness=st.floats(0, 100), chroma=st.floats(0, 2.4), hue=st.floats(0, 360))
def test_what_has_no_hue_is_given_none(lightness: float, chroma: float, hue: float) -> None:
    lab = (lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue)))
    assert colour_in_words(lab) in ("black", "dark grey", "grey", "light grey", "white")
