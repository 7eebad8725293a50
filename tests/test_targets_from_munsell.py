"""Munsell notation: renotation values from outside, uncertainty, refusals."""

import numpy as np
import pytest

from matcher.colour.difference import delta_e_2000
from matcher.colour.library import colour_library
from matcher.errors import InstrumentFileError
from matcher.instrument.conversion import converted
from matcher.instrument.munsell import munsell_reading, parsed


def test_renotation_colours_read_as_their_published_chromaticities():
    """60 real colours of Newhall, Nickerson and Judd 1943, as tabled in colour-science (xyY under C).

    Their Y is on the magnesium-oxide scale; ASTM D1535 gives it relative to the perfect diffuser (× 0.975).
    """
    colour = colour_library()
    table = colour.MUNSELL_COLOURS["Munsell Colours Real"]
    rng = np.random.default_rng(5)
    off = []
    for (hue, value, chroma), xyy in [table[k] for k in rng.choice(len(table), 60, replace=False)]:
        xyz = colour.xyY_to_XYZ([xyy[0], xyy[1], xyy[2] * 0.975 / 100])
        wanted = converted(xyz / colour.xy_to_XYZ([0.31006, 0.31616]), "C", "2")
        off.append(float(delta_e_2000(munsell_reading(f"{hue} {value:g}/{chroma:g}").lab, wanted)))
    assert max(off) < 0.25


def test_notation_is_read_as_people_write_it():
    assert parsed("5YR 3/4") == (15.0, 3.0, 4.0)
    assert parsed(" 10r 3,5 / 2 ") == (10.0, 3.5, 2.0)
    assert parsed("N 5/") == parsed("N5") == parsed("n 5/0") == (0.0, 5.0, 0.0)
    assert munsell_reading("10R 3/4").lab == pytest.approx(munsell_reading("0YR 3/4").lab)


def test_a_grey_has_no_colour_and_the_lightness_of_astm_d1535():
    """Value 5 has Y = 19.77 relative to magnesium oxide, 19.27 to the perfect diffuser: L* 51.0 (ASTM D1535)."""
    assert munsell_reading("N 5/").lab == pytest.approx([51.0, 0, 0], abs=0.05)


def test_a_match_by_eye_is_less_certain_than_an_instrument_and_says_so():
    reading = munsell_reading("5YR 3/4")
    sigma = np.sqrt(np.diag(reading.covariance))
    assert (sigma > 1.0).all() and (sigma < 5.0).all()
    assert "matched-by-eye" in [caveat.code for caveat in reading.caveats]


@pytest.mark.parametrize("notation", ["5YR 3/4", "2.5G 5/6", "7.5RP 2/2"])
def test_the_uncertainty_is_that_of_notations_nearby(notation):
    """Notations one standard deviation off, each way along each axis, scatter as stated (renotation is not smooth)."""
    hue, value, chroma = parsed(notation)
    sigma = (1.2, 0.2, 0.5)
    families = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")
    spread = np.zeros((3, 3))
    for off in np.diag(sigma):
        ends = [np.array([hue, value, chroma]) + way * off for way in (-1, 1)]
        labs = [munsell_reading(f"{h % 10:.4f}{families[int(h // 10)]} {v:.4f}/{c:.4f}").lab for h, v, c in ends]
        spread += np.outer(labs[1] - labs[0], labs[1] - labs[0]) / 4
    stated = munsell_reading(notation, sigma).budget[0].covariance
    assert np.diag(stated) == pytest.approx(np.diag(spread), rel=0.25)


@pytest.mark.parametrize(
    ("notation", "words"),
    [
        ("brown", "5YR 3/4 or N 5/"),
        ("", "5YR 3/4 or N 5/"),
        ("11YR 3/4", "5YR 3/4 or N 5/"),
        ("N 11/", "5YR 3/4 or N 5/"),
        ("5YR 3/20", "chroma up to 8"),
        ("5YR 0.5/2", "value from 1 to 9"),
        ("7YR 9.5/1", "value from 1 to 9"),
    ],
)
def test_notation_outside_the_renotation_is_refused_with_what_is_inside(notation, words):
    with pytest.raises(InstrumentFileError, match=words):
        munsell_reading(notation)
