"""Any bytes read as samples or raise one of our own errors, one sentence each."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.errors import MatcherError
from matcher.instrument.files import read_targets
from matcher.instrument.measured import lab_reading
from matcher.instrument.munsell import munsell_reading
from tests.example_counts import examples
from tests.instrument_files import Read, cases

WRITTEN = (
    "LAB_L LAB_A LAB_B LAB_C LAB_H XYZ_X XYZ_Y XYZ_Z SPECTRAL_NM SPECTRAL_PCT SPECTRAL_NM400 nm700 SAMPLE_ID "
    "BEGIN_DATA END_DATA BEGIN_DATA_FORMAT END_DATA_FORMAT NUMBER_OF_SETS ILLUMINANT OBSERVER D50 D65 A 2 10 38 -14,5 "
    '1e308 nan "" # "a b" WEIGHTING_FUNCTION M0_LAB_L M0_LAB_A M0_LAB_B SCE_LAB_L D65/10 SPECTRAL_NORM 100 '
    "MEASUREMENT_GEOMETRY SCI 25° 45/0 MEASUREMENT_SOURCE M2 Illuminant: % "
    "MUNSELL 5YR L a b u , ; / < > </a> <Object> 400 700"
)
WORDS = st.sampled_from(WRITTEN.split(" "))
SEPARATORS = st.sampled_from([" ", "\t", "\n", "\r\n", ",", ";"])
TAGS = (
    "CxF Object ColorValues ReflectanceSpectrum ColorCIELab ColorCIEXYZ ColorCIELCh L A B C H X Y Z ColorSpecification "
    "Illuminant Observer WavelengthRange SingleAngle IlluminationAngle MeasurementAngle BRDFAngle Aspecular "
    "SphereGeometry DeviceIllumination MeasurementType CustomSpectrum SpectralPoint"
)
ELEMENTS = st.sampled_from(TAGS.split(" "))
texts = st.sampled_from(["", "38", "1e400", "0.1 0.2 0.3", "45", "M1_Daylight", "D50", "10_Degree", "x", "nan", "-5"])
attributes = st.sampled_from(
    ["", ' Id="S"', ' ColorSpecification="S"', ' WL="400"', ' StartWL="400" Increment="10"', ' Name=""']
)
trees = st.recursive(
    st.builds(lambda tag, how, text: f"<{tag}{how}>{text}</{tag}>", ELEMENTS, attributes, texts),
    lambda inner: st.builds(
        lambda tag, how, parts: f"<{tag}{how}>{''.join(parts)}</{tag}>",
        ELEMENTS,
        attributes,
        st.lists(inner, max_size=4),
    ),
    max_leaves=12,
)

GOOD = {what: case.data for what, case in cases().items() if isinstance(case, Read)}


def read_or_refuse(data):
    try:
        samples = read_targets(data, "file")
    except MatcherError as error:
        assert str(error).endswith("."), str(error)
        return
    for sample in samples:
        assert np.isfinite(sample.reading.lab).all()
        assert np.linalg.eigvalsh(sample.reading.covariance).min() >= -1e-9


@examples(200)
@given(st.binary(max_size=400))
def test_any_bytes(data):
    read_or_refuse(data)


@examples(400)
@given(st.lists(st.tuples(WORDS, SEPARATORS), max_size=60))
def test_any_heap_of_the_formats_own_words(parts):
    read_or_refuse("".join(word + gap for word, gap in parts).encode())


@examples(300)
@given(st.lists(WORDS, min_size=1, max_size=8), st.lists(st.lists(WORDS, max_size=8), max_size=4), st.booleans())
def test_any_table_under_any_heading(columns, rows, as_csv):
    if as_csv:
        text = "\n".join(";".join(line) for line in [columns, *rows])
    else:
        body = "\n".join(" ".join(line) for line in rows)
        text = f"BEGIN_DATA_FORMAT\n{' '.join(columns)}\nEND_DATA_FORMAT\nBEGIN_DATA\n{body}\nEND_DATA\n"
    read_or_refuse(text.encode())


@examples(300)
@given(trees)
def test_any_tree_of_elements(tree):
    read_or_refuse(tree.encode())


@examples(300)
@given(
    st.sampled_from(sorted(GOOD)), st.integers(0, 10**9), st.integers(0, 60), st.sampled_from(["", "-", "9", "\n", "%"])
)
def test_any_instruments_file_with_a_piece_cut_out_or_overwritten(what, at, length, instead):
    data = GOOD[what]
    at = at % len(data)
    read_or_refuse(data[:at] + instead.encode() + data[at + length :])


@examples(300)
@given(st.text(max_size=20) | st.from_regex(r"\A\d{0,2}\.?\d?(R|YR|GY|PB|N) ?\d{0,2}\.?\d?/\d{0,2}\Z"))
def test_any_notation(notation):
    try:
        reading = munsell_reading(notation)
    except MatcherError as error:
        assert str(error).endswith(".")
    else:
        assert np.isfinite(reading.lab).all()


@examples(100)
@given(
    st.lists(st.floats() | st.none(), max_size=4),
    st.text(max_size=5) | st.sampled_from(["D65", "A"]),
    st.sampled_from(["2", "10", "", "x"]),
    st.none() | st.floats(),
)
def test_any_typed_colour(lab, light, observer, sigma):
    try:
        reading = lab_reading(lab, light, observer, sigma)
    except MatcherError as error:
        assert str(error).endswith(".")
    else:
        assert np.isfinite(reading.covariance).all()


@pytest.mark.parametrize("sigma", ["x", [1, 2], [[1]]])
def test_a_sigma_that_is_no_number_is_refused(sigma):
    with pytest.raises(MatcherError, match="standard uncertaint"):
        lab_reading((38, 14, 22), sigma=sigma)
